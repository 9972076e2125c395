"""What was altered, removed or put in behind the program's back is found by the check."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import Connection, text

from casebook.domain.history import Act, Subject
from casebook.domain.people import Identity, Role, User
from casebook.domain.sides import Side
from casebook.domain.verdicts import FlagKind
from casebook.domain.visits import value_of_mean, value_of_trials
from casebook.services import clock
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.attaching import GivenFile, attach_files, strike_out_attachment
from casebook.services.keeping import check_casebook, create_casebook, open_casebook
from casebook.services.opened import Casebook
from casebook.services.recording import record_visit
from casebook.services.registering import (
    record_consent,
    record_injury,
    register_runner,
    register_user,
)
from casebook.storage import cases, checks, history, migrating, people
from casebook.storage.session import reading, writing
from casebook.storage.visits import known_metrics
from tests import pictures
from tests.builders import STEPS, STRENGTH, a_consent, a_runner, a_visit, an_injury
from tests.stores import KINDS, Server, furnish

DAY = date(2026, 3, 2)


def fill(casebook: Casebook) -> None:
    """Two runners, three visits, one of them amended, and one of everything recorded by hand."""
    furnish(casebook)
    identity = Identity(runner="T-002", given_name="Invented", family_name="Person")
    register_runner(casebook, a_runner(code="T-002"), identity, by="kim")
    register_user(casebook, User(code="kim", display_name="Kim", role=Role.LEAD))
    record_injury(casebook, an_injury(), by="kim")
    record_consent(casebook, a_consent(), by="kim")
    record_consent(casebook, a_consent(withdrawn_on=date(2026, 2, 1)), by="kim")
    for code, day in (("T-001", DAY), ("T-001", date(2026, 4, 2)), ("T-002", DAY)):
        record_visit(casebook, a_visit(runner=code, visited_on=day), by="kim")
    change = VisitChange(
        values=[
            value_of_trials(STRENGTH, Side.LEFT, [300.0, 301.5]),
            value_of_mean(STEPS, Side.NONE, 171.0, 2),
        ],
        removed=[(STRENGTH, Side.RIGHT)],
        details={"speed_km_h": 11.0},
    )
    amend_visit(casebook, "T-001", DAY, 1, change, expected_revision=1, reason="slip", by="kim")
    with writing(casebook.engine) as unit:
        user_id = people.find_user(unit, casebook.clinic_id, "kim")
        assert user_id is not None
        metric_id = known_metrics(unit, [STRENGTH])[STRENGTH].metric_id
        told = cases.add_acknowledgement(
            unit, (2, metric_id, FlagKind.DRIFT), reason="known", user_id=user_id, at=clock.now()
        )
        history.append(unit, [told], by="kim", at=clock.now())
        unit.commit()


@pytest.fixture(scope="module")
def filled_sqlite(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> Path:
    path = tmp_path_factory.mktemp("filled") / "casebook.sqlite"
    shutil.copyfile(sqlite_template, path)
    casebook = open_casebook(str(path))
    fill(casebook)
    casebook.close()
    return path


@pytest.fixture(scope="module")
def filled_postgresql(postgresql: Server, postgresql_template: str) -> str:
    name = postgresql.create(postgresql_template)
    casebook = open_casebook(postgresql.url(name))
    fill(casebook)
    casebook.close()
    return name


@contextmanager
def a_copy(request: pytest.FixtureRequest, kind: str, folder: Path) -> Iterator[Casebook]:
    if kind == "sqlite":
        path = folder / "casebook.sqlite"
        shutil.copyfile(request.getfixturevalue("filled_sqlite"), path)
        casebook = open_casebook(str(path))
        yield casebook
        casebook.close()
        return
    server: Server = request.getfixturevalue("postgresql")
    name = server.create(request.getfixturevalue("filled_postgresql"))
    casebook = open_casebook(server.url(name))
    yield casebook
    casebook.close()
    server.drop(name)


@pytest.fixture(params=KINDS)
def filled(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Casebook]:
    """A casebook with something of everything, on SQLite and then on PostgreSQL."""
    with a_copy(request, request.param, tmp_path) as casebook:
        yield casebook


@pytest.fixture(scope="module", params=KINDS)
def kept(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Casebook]:
    """The same, for tests that take back whatever they did."""
    with a_copy(request, request.param, tmp_path_factory.mktemp("kept")) as casebook:
        yield casebook


def tamper(casebook: Casebook, *statements: str, unguarded: bool = False) -> None:
    """Plain SQL past the program."""
    with casebook.engine.connect() as connection:
        _tamper(connection, statements, unguarded=unguarded)
        connection.commit()


def _tamper(connection: Connection, statements: tuple[str, ...], *, unguarded: bool) -> None:
    """With `unguarded` the history's guards are off for as long as it takes."""
    sqlite = connection.dialect.name == "sqlite"
    triggers: list[str] = []
    if unguarded and sqlite:
        query = "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'history'"
        triggers = [row[0] for row in connection.exec_driver_sql(query)]
        for name in ("history_stands", "history_stays"):
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
    elif unguarded:
        connection.exec_driver_sql("ALTER TABLE history DISABLE TRIGGER USER")
    for statement in statements:
        connection.execute(text(statement))
    for trigger in triggers:
        connection.exec_driver_sql(trigger)
    if unguarded and not sqlite:
        connection.exec_driver_sql("ALTER TABLE history ENABLE TRIGGER USER")


def wrong_after(casebook: Casebook, statement: str, *, unguarded: bool = False) -> dict[str, str]:
    """What the check finds after a statement, which is then taken back."""
    with casebook.engine.connect() as connection:
        _tamper(connection, (statement,), unguarded=unguarded)
        found = {one.name: one.detail for one in checks.findings(connection) if not one.ok}
        connection.rollback()
    return found


def wrong(casebook: Casebook, *, expected_head: str = "") -> dict[str, str]:
    parts = check_casebook(casebook, expected_head=expected_head).parts
    return {part.name: part.detail for part in parts if not part.ok}


def head(casebook: Casebook) -> tuple[int, str]:
    with reading(casebook.engine) as unit:
        return history.last(unit)


def test_what_the_program_stored_agrees_with_its_history(kept: Casebook) -> None:
    parts = {part.name: part for part in check_casebook(kept).parts}
    assert wrong(kept) == {}
    number, last = head(kept)
    assert parts["history_chain"].detail == f"{number} entries, the last with the hash {last}"


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE value SET mean = 290.0 WHERE mean = 287.5 AND visit_id = 2", "visit 2 differs"),
        (
            "UPDATE trial SET reading = reading + 1 WHERE number = 2 AND value_id IN "
            "(SELECT id FROM value WHERE visit_id = 3)",
            "value:test_strength:left",
        ),
        ("UPDATE value SET marking_sd = 0.25 WHERE visit_id = 3 AND mean > 0", "visit 3 differs"),
        (
            "UPDATE value SET missing_reason = 'painful' WHERE missing_reason = 'not_visible'",
            "value:test_bend:left",
        ),
        ("DELETE FROM value WHERE mean = 287.5 AND visit_id = 3", "value:test_strength:right"),
        (
            "INSERT INTO value (id, visit_id, metric_id, side, n_trials, mean, saved_in) "
            "SELECT 999, 2, id, 'none', 1, 170.0, 1 FROM metric WHERE key = 'test_steps'",
            "value:test_steps:none",
        ),
        ("UPDATE visit SET speed_km_h = 12.0 WHERE id = 1", "visit 1 differs"),
        ("UPDATE visit SET visited_on = '2026-03-05' WHERE id = 3", "visited_on"),
        ("UPDATE visit SET recorded_by = 'lee' WHERE id = 3", "recorded_by"),
        ("UPDATE visit SET runner_id = 2 WHERE id = 2", "runner_id"),
        ("UPDATE runner SET birth_year = 1980 WHERE id = 1", "runner 1 differs"),
        ("UPDATE runner_identity SET family_name = ''", "identity 2 differs"),
        ("UPDATE injury SET course = 'resolved'", "injury 1 differs"),
        ("DELETE FROM injury", "injury 1 is gone"),
        ("UPDATE consent SET withdrawn_on = NULL", "consent 1 differs"),
        (
            "INSERT INTO consent (id, runner_id, purpose, given_on) "
            "VALUES (77, 2, 'research', '2026-01-01')",
            "consent 77 stands and its history does not tell of it",
        ),
        ("UPDATE clinic_user SET role = 'clinician'", "role"),
        ("UPDATE metric SET plausible_high = 90.5 WHERE key = 'test_bend'", "plausible_high"),
        (
            "UPDATE error_figure SET sem = sem / 2 WHERE id = "
            "(SELECT min(id) FROM error_figure WHERE sem IS NOT NULL)",
            "error_figure",
        ),
        ("UPDATE flag_acknowledgement SET reason = 'other'", "acknowledgement 1 differs"),
        ("UPDATE measurement_set SET name = 'Another' WHERE id = 1", "measurement_set 1"),
        (
            "DELETE FROM measurement_set_metric WHERE set_id = 1 AND position = 0",
            "measurement_set 1",
        ),
    ],
)
def test_a_record_altered_past_the_program_is_found(
    kept: Casebook, statement: str, words: str
) -> None:
    found = wrong_after(kept, statement)
    assert words in found["history_agrees"]
    assert "history_chain" not in found


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE history SET \"by\" = 'lee' WHERE number = 3", "entry 3 is not what was sealed"),
        (
            "UPDATE history SET content = replace(content, '301.5', '302.5') WHERE act = 'amended'",
            "is not what was sealed",
        ),
        ("DELETE FROM history WHERE number = 4", "entry 4 is missing before entry 5"),
        ("UPDATE history SET content = 'nonsense' WHERE number = 3", "entry 3 is not what"),
    ],
)
def test_an_entry_altered_or_removed_is_found_though_the_guards_stand_again(
    kept: Casebook, statement: str, words: str
) -> None:
    found = wrong_after(kept, statement, unguarded=True)
    assert words in found["history_chain"]
    assert "history_guarded" not in found


def test_a_tail_cut_off_with_its_records_is_told_by_the_head_that_was_noted_down(
    filled: Casebook,
) -> None:
    number, noted = head(filled)
    tamper(
        filled,
        "DELETE FROM flag_acknowledgement",
        f"DELETE FROM history WHERE number = {number}",
        unguarded=True,
    )
    # Nothing within the store can tell: that is why the head is shown, to be noted elsewhere.
    assert wrong(filled) == {}
    assert "no entry has the hash" in wrong(filled, expected_head=noted)["history_head"]
    assert wrong(filled, expected_head=head(filled)[1]) == {}


def test_a_picture_moved_to_another_runners_visit_is_found(
    request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    with a_copy(request, "sqlite", tmp_path) as casebook:
        given = [
            GivenFile(name=f"{shade}.png", content=pictures.a_png(shade=shade))
            for shade in (10, 20)
        ]
        gone, _ = attach_files(casebook, "T-001", DAY, given, by="kim").attached
        strike_out_attachment(casebook, gone, reason="wrong picture", by="kim")
        assert wrong(casebook) == {}
        tamper(casebook, "UPDATE attachment SET visit_id = 3")
        assert "differs from its history in its visit" in wrong(casebook)["history_agrees"]
        tamper(
            casebook, "UPDATE attachment SET sha256 = replace(sha256, substr(sha256, 1, 1), 'x')"
        )
        assert "cannot be read" in wrong(casebook)["attachments"]


def test_a_cell_that_no_program_could_have_written_is_a_finding_and_no_crash(
    request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    with a_copy(request, "sqlite", tmp_path) as casebook:
        tamper(casebook, "UPDATE metric SET sensitive_to = '[' WHERE id = 1")
        assert "cannot be read" in wrong(casebook)["history_agrees"]


def test_a_wiped_history_is_not_made_good_by_init(filled: Casebook) -> None:
    tamper(filled, "DELETE FROM history", unguarded=True)
    create_casebook(filled.url).close()
    found = wrong(filled)
    assert "stands and its history does not tell of it" in found["history_agrees"]


@pytest.mark.parametrize("name", ["history_stands", "history_stays"])
def test_a_guard_that_was_taken_away_or_weakened_is_found(filled: Casebook, name: str) -> None:
    sqlite = filled.engine.dialect.name == "sqlite"
    tamper(filled, f"DROP TRIGGER {name}" + ("" if sqlite else " ON history"))
    assert f"trigger {name} is missing" in wrong(filled)["history_guarded"]
    tamper(
        filled,
        f"CREATE TRIGGER {name} BEFORE UPDATE ON history BEGIN SELECT 1; END"
        if sqlite
        else f"CREATE TRIGGER {name} BEFORE INSERT ON history FOR EACH ROW "
        "EXECUTE FUNCTION casebook_history_stands()",
    )
    assert f"trigger {name} is not as it was made" in wrong(filled)["history_guarded"]


def test_a_trigger_on_any_other_table_is_found(kept: Casebook) -> None:
    sqlite = kept.engine.dialect.name == "sqlite"
    statement = "CREATE TRIGGER quiet AFTER INSERT ON value " + (
        "BEGIN UPDATE value SET mean = mean + 1 WHERE id = new.id; END"
        if sqlite
        else "FOR EACH ROW EXECUTE FUNCTION casebook_history_stands()"
    )
    assert wrong_after(kept, statement) == {
        "history_guarded": "trigger quiet on the table value is not this program's"
    }


def test_a_second_clinic_and_a_runner_moved_to_it_are_found(filled: Casebook) -> None:
    tamper(
        filled,
        "INSERT INTO clinic (id, code, name, created_at) "
        "SELECT 77, 'other', 'Other', created_at FROM clinic",
        "UPDATE runner SET clinic_id = 77 WHERE code = 'T-002'",
    )
    found = wrong(filled)
    assert found["one_clinic"].startswith("1 clinics more or fewer")
    assert found["runners_have_clinic"].startswith("1 runners of another clinic")


def test_a_guard_that_was_switched_off_or_hollowed_out_is_found(
    postgresql_casebook: Casebook,
) -> None:
    tamper(postgresql_casebook, "ALTER TABLE history DISABLE TRIGGER history_stays")
    assert "switched off" in wrong(postgresql_casebook)["history_guarded"]
    tamper(
        postgresql_casebook,
        "ALTER TABLE history ENABLE TRIGGER history_stays",
        "CREATE OR REPLACE FUNCTION casebook_history_stands() RETURNS trigger LANGUAGE plpgsql "
        "AS $$ BEGIN RETURN NEW; END $$",
    )
    assert "the function of trigger" in wrong(postgresql_casebook)["history_guarded"]


def test_amending_what_an_acknowledged_flag_rests_on_opens_the_flag_again(
    filled: Casebook,
) -> None:
    # The flag is of the visit of 2 April; what was amended is its baseline.
    change = VisitChange(values=[value_of_trials(STRENGTH, Side.LEFT, [250.0])])
    amend_visit(filled, "T-001", DAY, 1, change, expected_revision=2, reason="slip", by="kim")
    with reading(filled.engine) as unit:
        assert cases.acknowledgements(unit) == {}
        entry = list(history.every_entry(unit))[-1]
    assert (entry.act, entry.subject.value) == (Act.STRUCK_OUT, "acknowledgement")
    assert "slip" in entry.reason
    assert wrong(filled) == {}


def test_what_stood_before_there_was_a_history_is_adopted_with_the_migration(
    filled: Casebook,
) -> None:
    # As if there had never been a history: the tables of then could not hold all it tells of.
    tamper(filled, "DELETE FROM history", unguarded=True)
    migrating.downgrade(filled.engine, "first_tables")
    again = create_casebook(filled.url)
    assert wrong(again) == {}
    with reading(again.engine) as unit:
        entries = list(history.every_entry(unit))
        visits = [entry for entry in entries if entry.visit_id == entry.subject_id == 1]
    starter = {Subject.MEASUREMENT_SET, Subject.EXERCISE}
    assert {entry.act for entry in entries if entry.subject not in starter} == {Act.ADOPTED}
    assert visits[0].fields["value:test_strength:left"] == (None, {"trials": [300.0, 301.5]})
    again.close()
