from __future__ import annotations

from datetime import UTC, datetime

from casebook.domain.history import Subject
from casebook.domain.whole_record import HeldRow, WholeRecord


def test_the_rows_of_one_kind_are_told_by_number() -> None:
    injury, consent = (
        HeldRow(kind=kind, number=1, fields={"code": "x"})
        for kind in (Subject.INJURY, Subject.CONSENT)
    )
    record = WholeRecord(
        code="R-1", written_at=datetime(2026, 11, 27, tzinfo=UTC), rows=(injury, consent)
    )
    assert record.of_kind(Subject.INJURY) == (injury,)
    assert record.of_kind(Subject.RUNNER) == ()
