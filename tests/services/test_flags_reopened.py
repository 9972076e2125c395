"""A flag that was acknowledged is open again once numbers are added on which it rests."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import select

from casebook.domain.history import Act, Subject
from casebook.domain.people import User
from casebook.domain.sides import Side
from casebook.domain.verdicts import FlagKind
from casebook.domain.visits import Value, VisitKind, value_of_trials
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.recording import record_visit
from casebook.services.registering import register_user
from casebook.services.undoing_imports import undo_import
from casebook.storage import cases, history
from casebook.storage.session import reading, writing
from casebook.storage.tables import MetricRow, UserRow, VisitRow
from tests.builders import BEND, STRENGTH, a_visit
from tests.services.test_undoing_imports import written

BASELINE, LATER, BEFORE, AFTER = (date(2026, month, 2) for month in (3, 5, 2, 6))
HEAD = "runner,visit_date,metric,side,trial,value\n"


def left(metric: str, *trials: float) -> tuple[Value, ...]:
    return (value_of_trials(metric, Side.LEFT, trials),)


@pytest.fixture
def seen(clinic: Casebook) -> Casebook:
    """A baseline and a later visit with an acknowledged flag on strength."""
    register_user(clinic, User(code="kim"))
    record_visit(clinic, a_visit(visited_on=BASELINE, values=left(STRENGTH, 300.0)), by="kim")
    later = a_visit(visited_on=LATER, kind=VisitKind.REVIEW, values=left(STRENGTH, 200.0))
    saved = record_visit(clinic, later, by="kim")
    with writing(clinic.engine) as unit:
        told = cases.add_acknowledgement(
            unit,
            (
                saved.visit_id,
                unit.scalars(select(MetricRow.id).where(MetricRow.key == STRENGTH)).one(),
                FlagKind.DRIFT,
            ),
            reason="new shoes",
            user_id=unit.scalars(select(UserRow.id)).one(),
            at=unit.scalars(select(VisitRow.recorded_at).limit(1)).one(),
        )
        history.append(
            unit, [told], by="kim", at=unit.scalars(select(VisitRow.recorded_at)).all()[0]
        )
        unit.commit()
    return clinic


def count(casebook: Casebook) -> int:
    with reading(casebook.engine) as unit:
        return len(cases.acknowledgements(unit))


def last_reason(casebook: Casebook) -> str:
    with reading(casebook.engine) as unit:
        told = [e for e in history.every_entry(unit) if e.subject is Subject.ACKNOWLEDGEMENT]
    assert told[-1].act is Act.STRUCK_OUT
    return told[-1].reason


@pytest.mark.parametrize(
    "row", ["2026-03-02,test_strength,left,2,180", "2026-02-02,test_strength,left,1,180"]
)
def test_trials_or_a_visit_that_an_import_adds_before_it_until_that_is_undone(
    seen: Casebook, tmp_path: Path, row: str
) -> None:
    report = import_files(seen, written(tmp_path, more_csv=f"{HEAD}T-001,{row}\n"), by="kim")
    assert report.ok
    assert count(seen) == 0
    assert "what was added by an import to the visit of 2026-0" in last_reason(seen)
    assert report.run_id is not None
    undo_import(seen, report.run_id, reason="wrong file", by="kim")
    assert count(seen) == 1
    assert check_casebook(seen).ok


def test_a_visit_recorded_before_it_and_a_value_added_to_one(seen: Casebook) -> None:
    record_visit(seen, a_visit(visited_on=BEFORE, values=left(BEND, 30.0)), by="kim")
    record_visit(seen, a_visit(visited_on=AFTER, values=left(STRENGTH, 280.0)), by="kim")
    assert count(seen) == 1, "neither another metric nor a later visit is what it rests on"
    right = VisitChange(values=[value_of_trials(STRENGTH, Side.RIGHT, [290.0])])
    amend_visit(seen, "T-001", BASELINE, 1, right, expected_revision=1, reason="", by="kim")
    assert count(seen) == 0
    assert last_reason(seen).startswith("It rested on a record without what was added to")
    assert check_casebook(seen).ok


def test_a_backdated_baseline_that_is_recorded(seen: Casebook) -> None:
    record_visit(seen, a_visit(visited_on=BEFORE, values=left(STRENGTH, 220.0)), by="kim")
    assert count(seen) == 0
    assert check_casebook(seen).ok
