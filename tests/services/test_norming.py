"""Where the clinic's runners started from, and what of a change was to be expected by itself."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from casebook.domain.metrics import AppliesTo, Condition, ErrorFigure, ErrorOrigin
from casebook.domain.sides import Side
from casebook.domain.verdicts import Reason, Verdict, What
from casebook.domain.visits import Conditions, VisitKind, value_of_mean
from casebook.services.cataloguing import adopt_figure, get_metric, save_metric
from casebook.services.keeping import Casebook
from casebook.services.norming import NormGroup, Norms, clinic_norms, norms_stamp
from casebook.services.recording import record_visit
from casebook.services.registering import register_runner
from casebook.services.reviewing import review_runner
from casebook.services.striking_out import strike_out_visit
from casebook.storage import baselines
from tests.builders import BEND, a_runner, a_visit
from tests.services.test_reviewing import START

FIGURE = ErrorFigure(
    metric=BEND,
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.OWN,
    between_sd=3.0,
    within_sd=0.0,
    source="our repeats",
)
# A reading to 1 degree cannot scatter by less than 1 / sqrt(12), over five trials.
SEM2 = 9.0 + 1.0 / 12.0 / 5.0


def seen(casebook: Casebook, code: str, week: int, left: float, right: float) -> None:
    record_visit(
        casebook,
        a_visit(
            runner=code,
            visited_on=START + timedelta(weeks=week),
            kind=VisitKind.BASELINE if week == 0 else VisitKind.REVIEW,
            values=(
                value_of_mean(BEND, Side.LEFT, left, 5),
                value_of_mean(BEND, Side.RIGHT, right, 5),
            ),
        ),
        by="ab",
    )


@pytest.fixture
def busy(clinic: Casebook) -> Casebook:
    """Twelve others between 20 and 42 degrees on the left, and T-001 far above them."""
    adopt_figure(clinic, FIGURE)
    for number in range(12):
        code = f"T-1{number:02d}"
        register_runner(clinic, a_runner(code=code))
        seen(clinic, code, 0, 20.0 + 2 * number, 30.0)
        seen(clinic, code, 6, 90.0, 90.0)
    seen(clinic, "T-001", 0, 50.0, 30.0)
    seen(clinic, "T-001", 8, 44.0, 30.0)
    return clinic


def verdict_of(casebook: Casebook, what: What, norms: Norms | None) -> Verdict:
    found = review_runner(casebook, "T-001", norms=norms).verdicts
    return next(v for v in found if (v.metric, v.what) == (BEND, what))


def test_the_norms_are_the_baselines_of_all_runners_and_not_their_later_visits(
    busy: Casebook,
) -> None:
    norms = clinic_norms(busy)
    group = norms.groups[BEND, What.LEFT]
    assert sorted(group.baseline) == [*range(20, 44, 2), 50.0]
    assert group.sem == pytest.approx(np.sqrt(SEM2))
    assert set(norms.groups) == {(BEND, What.LEFT), (BEND, What.RIGHT), (BEND, What.ASYMMETRY)}
    assert norms.groups[BEND, What.ASYMMETRY].sem == pytest.approx(np.sqrt(2 * SEM2))
    with pytest.raises(ValueError, match="read-only"):
        group.baseline[0] = 1.0


def test_what_was_to_be_expected_by_itself_stands_beside_the_change(busy: Casebook) -> None:
    left = verdict_of(busy, What.LEFT, clinic_norms(busy)).regression
    assert left is not None
    others = np.arange(20.0, 44.0, 2.0)
    true = others.var(ddof=1) - SEM2
    icc = true / (true + SEM2)
    # T-001 itself is not among the others.
    assert (left.runners, left.clinic_mean) == (12, pytest.approx(31.0))
    assert left.icc == pytest.approx(icc)
    assert left.expected == pytest.approx((1 - icc) * (31.0 - 50.0))
    asymmetry = verdict_of(busy, What.ASYMMETRY, clinic_norms(busy)).regression
    assert asymmetry is not None
    # Signed right minus left: 30 - 50 at baseline, the others on average 30 - 31.
    assert asymmetry.clinic_mean == pytest.approx(-1.0)
    assert asymmetry.expected > 0


def test_without_norms_or_with_few_others_nothing_is_told(
    busy: Casebook,
) -> None:
    assert verdict_of(busy, What.LEFT, None).regression is None
    norms = clinic_norms(busy)
    few = NormGroup(runners=np.arange(900, 909), baseline=np.arange(9.0), sem=np.ones(9))
    groups = {**norms.groups, (BEND, What.LEFT): few}
    assert verdict_of(busy, What.LEFT, Norms(groups=groups)).regression is None


def test_where_the_visits_cannot_be_compared_nothing_is_expected_of_their_difference(
    busy: Casebook,
) -> None:
    stored = get_metric(busy, BEND)
    save_metric(
        busy,
        replace(stored.metric, sensitive_to=(Condition.SPEED,)),
        expected_revision=stored.revision,
    )
    record_visit(
        busy,
        a_visit(
            visited_on=START + timedelta(weeks=9),
            kind=VisitKind.REVIEW,
            conditions=Conditions(speed_km_h=16.0),
            values=(value_of_mean(BEND, Side.LEFT, 40.0, 5),),
        ),
        by="ab",
    )
    told = verdict_of(busy, What.LEFT, clinic_norms(busy))
    assert told.reason is Reason.NOT_LIKE_FOR_LIKE
    assert told.regression is None


def test_the_stamp_of_the_norms_stays_until_a_record_moves(
    clinic: Casebook,
) -> None:
    stamps = [norms_stamp(clinic)]
    assert norms_stamp(clinic) == stamps[0]
    seen(clinic, "T-001", 0, 50.0, 30.0)
    stamps.append(norms_stamp(clinic))
    strike_out_visit(clinic, "T-001", START, expected_revision=1, reason="wrong runner", by="ab")
    stamps.append(norms_stamp(clinic))
    register_runner(clinic, a_runner(code="T-002"))
    stamps.append(norms_stamp(clinic))
    adopt_figure(clinic, FIGURE)
    stamps.append(norms_stamp(clinic))
    assert len(set(stamps)) == len(stamps)


def test_a_baseline_without_a_known_error_is_no_norm(clinic: Casebook) -> None:
    seen(clinic, "T-001", 0, 50.0, 30.0)
    assert clinic_norms(clinic).groups == {}


def test_more_visits_than_one_statement_takes_are_fetched_in_several(
    busy: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = clinic_norms(busy).groups[BEND, What.LEFT]
    monkeypatch.setattr(baselines, "VISITS_AT_ONCE", 5)
    parts = clinic_norms(busy).groups[BEND, What.LEFT]
    np.testing.assert_array_equal(parts.runners, whole.runners)
    np.testing.assert_array_equal(parts.baseline, whole.baseline)
