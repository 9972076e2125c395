"""Hypotheses written elsewhere come in with their dates: all of them, or none."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from casebook.domain.errors import CasebookError, InputRefused, NotFound
from casebook.domain.hypotheses import Hypothesis, HypothesisKind, Link, Role
from casebook.domain.people import Runner
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Programme, TargetDirection, TargetOn
from casebook.services import clock
from casebook.services.hypotheses_in import take_over_hypotheses
from casebook.services.hypothesising import list_hypotheses
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.prescribing import prescribe
from casebook.services.registering import register_runner

START = date(2026, 3, 2)
WRITTEN = Hypothesis(
    runner="R1",
    programme="Hips",
    kind=HypothesisKind.STRENGTH,
    driver="weak left hip",
    links=(
        Link(
            position=1,
            role=Role.DRIVER,
            metric="cadence",
            on=TargetOn.NONE,
            direction=TargetDirection.UP,
            amount=8.0,
            due_on=date(2026, 6, 1),
        ),
    ),
    sureness_pct=70,
    written_on=START,
    written_by="AB",
)


@pytest.fixture
def with_programme(sqlite_casebook: Casebook) -> Casebook:
    register_runner(sqlite_casebook, Runner(code="R1"))
    programme = Programme(runner="R1", title="Hips", started_on=START)
    prescribe(sqlite_casebook, Prescription(programme=programme), by="")
    return sqlite_casebook


def test_they_count_as_they_were_dated_and_the_history_tells_of_them(
    with_programme: Casebook,
) -> None:
    late = replace(WRITTEN, driver="long steps", written_on=START + timedelta(days=1))
    take_over_hypotheses(with_programme, [WRITTEN, late])
    first, second = list_hypotheses(with_programme, "R1")
    assert (first.number, first.counts) == (1, WRITTEN)
    assert (second.number, second.counts, second.latest) == (2, None, late)
    assert check_casebook(with_programme).ok


@pytest.mark.parametrize(
    ("wrong", "kind", "says"),
    [
        ({"programme": "Ankles"}, NotFound, "no programme 'Ankles'"),
        ({"runner": "R2"}, NotFound, "no runner 'R2'"),
        ({"version": 2, "reason": "thought again"}, InputRefused, "expected a first version"),
        (
            {"links": (replace(WRITTEN.links[0], metric="cadense"),)},
            InputRefused,
            "no metric 'cadense'",
        ),
    ],
)
def test_one_that_does_not_fit_keeps_all_of_them_out(
    with_programme: Casebook, wrong: dict[str, object], kind: type[CasebookError], says: str
) -> None:
    with pytest.raises(kind, match=says):
        take_over_hypotheses(with_programme, [WRITTEN, replace(WRITTEN, **wrong)])  # type: ignore[arg-type]
    assert list_hypotheses(with_programme, "R1") == ()


def test_a_day_that_lies_ahead_is_refused(with_programme: Casebook) -> None:
    tomorrow = clock.today() + timedelta(days=1)
    links = (replace(WRITTEN.links[0], due_on=tomorrow + timedelta(days=30)),)
    with pytest.raises(InputRefused, match="written by today"):
        take_over_hypotheses(with_programme, [replace(WRITTEN, written_on=tomorrow, links=links)])
