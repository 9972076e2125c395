from __future__ import annotations

from datetime import UTC, datetime

import pytest
import sqlalchemy as sa

from casebook.domain.errors import CasebookError
from casebook.domain.history import Act, Change, Entry, Subject, seal
from casebook.services.keeping import Casebook
from casebook.storage import history
from casebook.storage.session import connected, reading, writing

AT = datetime(2026, 11, 27, 9, 30, tzinfo=UTC)


def a_change(number: int) -> Change:
    return Change(
        act=Act.RECORDED,
        subject=Subject.VISIT,
        subject_id=number,
        visit_id=number,
        runner_id=7,
        fields={"note": (None, f"Läufer {number} ✓")},
    )


def told(casebook: Casebook) -> list[Entry]:
    with reading(casebook.engine) as unit:
        return list(history.every_entry(unit))


def tell(casebook: Casebook, *numbers: int) -> None:
    with writing(casebook.engine) as unit:
        history.append(unit, [a_change(n) for n in numbers], by="kim", at=AT, import_run_id=5)
        unit.commit()


def test_entries_come_back_as_they_were_sealed_and_follow_on_one_another(
    casebook: Casebook,
) -> None:
    before = told(casebook)
    tell(casebook, 901, 902)
    tell(casebook, 903)
    entries = told(casebook)
    assert [entry.subject_id for entry in entries[len(before) :]] == [901, 902, 903]
    assert [entry.number for entry in entries] == list(range(1, len(entries) + 1))
    assert all(seal(entry) == entry.hash for entry in entries)
    assert [entry.previous for entry in entries] == ["", *(entry.hash for entry in entries)][:-1]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE history SET reason = 'better so'",
        "DELETE FROM history",
        "TRUNCATE history",
        "INSERT INTO history SELECT * FROM history",
    ],
)
def test_the_database_itself_refuses_to_change_the_history(
    casebook: Casebook, statement: str
) -> None:
    tell(casebook, 901)
    before = told(casebook)
    with casebook.engine.connect() as connection, pytest.raises(sa.exc.DatabaseError):
        connection.exec_driver_sql(statement)
    assert told(casebook) == before


def test_nothing_is_told_of_a_unit_that_was_not_committed(casebook: Casebook) -> None:
    before = told(casebook)
    with writing(casebook.engine) as unit:
        history.append(unit, [a_change(901)], by="kim", at=AT)
    assert told(casebook) == before


def test_an_amendment_without_a_reason_is_refused_by_the_database(casebook: Casebook) -> None:
    bare = Change(act=Act.AMENDED, subject=Subject.VISIT, subject_id=1)
    with pytest.raises(CasebookError), writing(casebook.engine) as unit:
        history.append(unit, [bare], by="kim", at=AT)


def test_the_entries_of_a_runner_a_visit_or_an_import_are_found(casebook: Casebook) -> None:
    tell(casebook, 901, 902)
    with reading(casebook.engine) as unit:
        assert [e.subject_id for e in history.entries_of_runner(unit, 7)] == [901, 902]
        assert [e.subject_id for e in history.entries_of_visit(unit, 902)] == [902]
        assert [e.subject_id for e in history.entries_of_import(unit, 5)] == [901, 902]
        newest = history.last(unit)[0]
        assert history.find_entry(unit, newest) is not None
        assert history.find_entry(unit, newest + 1) is None


def test_the_id_of_a_runner_or_visit_is_never_given_twice(sqlite_casebook: Casebook) -> None:
    with connected(sqlite_casebook.engine) as connection:
        for table in ("runner", "visit"):
            made = connection.exec_driver_sql(
                f"SELECT sql FROM sqlite_master WHERE name = '{table}'"
            ).scalar_one()
            assert "AUTOINCREMENT" in made
