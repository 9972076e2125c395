"""Raw SQL, past every check of the program: the database itself refuses what must never be."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.exc import SQLAlchemyError

from casebook.domain.errors import CasebookError, Conflict, InputRefused
from casebook.services.keeping import Casebook, create_casebook
from casebook.services.recording import record_visit
from casebook.services.registering import record_consent, record_injury
from casebook.storage.refusals import refusal
from casebook.storage.session import connected
from casebook.storage.tables import Row
from tests.builders import a_consent, a_visit, an_injury
from tests.stores import Server, furnish

ROWS: dict[str, dict[str, Any]] = {
    "clinic_user": {
        "clinic_id": 1,
        "code": "AB",
        "display_name": "",
        "role": "lead",
        "active": True,
    },
    "runner": {"clinic_id": 1, "code": "R-2", "sex": "male", "discipline": "", "revision": 1},
    "runner_identity": {"runner_id": 1, "given_name": "", "family_name": ""},
    "consent": {"runner_id": 1, "purpose": "research", "given_on": "2026-02-01"},
    "injury": {
        "runner_id": 1,
        "region": "foot",
        "pathology": "fascia",
        "side": "right",
        "onset_on": "2026-02-01",
        "onset": "gradual",
        "occurrence": "first",
        "course": "open",
    },
    "visit": {
        "runner_id": 1,
        "visited_on": "2026-04-01",
        "session": 1,
        "kind": "review",
        "surface": "",
        "footwear": "",
        "view": "",
        "assessor": "",
        "note": "",
        "recorded_at": "2026-04-01 10:00:00+00:00",
        "recorded_by": "",
        "revision": 1,
    },
    "visit_save": {
        "visit_id": 1,
        "revision": 2,
        "saved_at": "2026-04-01 10:00:00+00:00",
        "saved_by": "",
    },
    "metric": {
        "key": "new_metric",
        "label": "x",
        "metric_group": "table",
        "unit": "N",
        "scale": "ratio",
        "sided": True,
        "plane": "",
        "view": "",
        "phase": "",
        "sign_convention": "",
        "better": "higher",
        "plausible_low": 0.0,
        "plausible_high": 10.0,
        "resolution": 1.0,
        "floor_kind": "reading",
        "usual_trials": 1,
        "asymmetry_form": "none",
        "sensitive_to": "[]",
        "grades": "[]",
        "notes": "",
        "sources": "",
        "position": 1,
        "starter": False,
        "active": True,
        "revision": 1,
    },
    "error_figure": {
        "metric_id": "METRIC",
        "applies_to": "side_value",
        "origin": "own",
        "between_sd": 2.0,
        "within_sd": 1.0,
        "published_as": "",
        "averaged": "",
        "population": "",
        "source": "a test",
        "adopted_at": "2026-04-01 10:00:00+00:00",
    },
    "value": {
        "visit_id": 1,
        "metric_id": "METRIC",
        "side": "none",
        "n_trials": 2,
        "mean": 1.0,
        "sd": 0.5,
        "saved_in": 1,
    },
    "trial": {"value_id": 1, "number": 9, "reading": 1.5},
    "programme": {
        "runner_id": 1,
        "title": "hips",
        "kind": "injury",
        "rationale": "",
        "started_on": "2026-04-01",
    },
    "programme_block": {
        "programme_id": 1,
        "position": 2,
        "aim": "strength",
        "exercise": "x",
        "side": "both",
        "load": "",
    },
    "target": {
        "programme_id": 1,
        "metric_id": "METRIC",
        "what": "none",
        "direction": "up",
        "amount": 1.0,
        "due_on": "2026-05-01",
    },
    "adherence": {
        "programme_id": 1,
        "week_start": "2026-04-06",
        "sessions_planned": 3,
        "sessions_done": 2,
        "comment": "",
    },
    "flag_acknowledgement": {
        "visit_id": 1,
        "metric_id": "METRIC",
        "kind": "symptom_up",
        "reason": "seen",
        "acknowledged_by": 1,
        "acknowledged_at": "2026-04-01 10:00:00+00:00",
    },
}

NAN, INF = float("nan"), float("inf")
UNKNOWN_ENUMS = [
    (table, {column.name: "no_such"})
    for table in ROWS
    for column in Row.metadata.tables[table].columns
    if type(column.type).__name__ == "Enum"
]
# Every way to break a rule: table, what of a valid row is changed.
BREAKS: list[tuple[str, dict[str, Any]]] = [
    *UNKNOWN_ENUMS,
    ("clinic_user", {"code": ""}),
    ("runner", {"code": ""}),
    ("runner", {"birth_year": 1899}),
    ("runner", {"height_cm": 17.0}),
    ("runner", {"mass_kg": INF}),
    ("consent", {"withdrawn_on": "2026-01-31"}),
    ("injury", {"returned_on": "2026-01-31"}),
    ("visit", {"session": 0}),
    ("visit", {"speed_km_h": 0.0}),
    ("visit", {"speed_km_h": INF}),
    ("visit", {"incline_pct": 31.0}),
    ("visit", {"frames_per_s": 0.0}),
    ("visit", {"pain_today": 11.0}),
    ("visit", {"next_due_on": "2026-03-31"}),
    ("visit_save", {"revision": 1}),
    ("metric", {"plausible_low": 10.0}),
    ("metric", {"plausible_high": INF}),
    ("metric", {"resolution": -1.0}),
    ("metric", {"resolution": INF}),
    ("metric", {"usual_trials": 0}),
    ("metric", {"important_change": 0.0}),
    ("metric", {"better": "range"}),
    ("metric", {"better": "range", "target_low": 3.0, "target_high": 2.0}),
    ("metric", {"better": "range", "target_low": 3.0}),
    ("error_figure", {"within_sd": None}),
    ("error_figure", {"sem": 1.0}),
    ("error_figure", {"sem": 1.0, "between_sd": None, "within_sd": None}),
    ("error_figure", {"between_sd": None}),
    ("error_figure", {"origin": "within_session"}),
    ("error_figure", {"origin": "none"}),
    ("error_figure", {"grade_step": 1}),
    ("error_figure", {"grade_step": 1, "between_sd": None, "within_sd": None, "sem_trials": 3}),
    ("error_figure", {"grade_step": -1, "between_sd": None, "within_sd": None}),
    ("error_figure", {"grade_step": 21, "between_sd": None, "within_sd": None}),
    (
        "error_figure",
        {
            "grade_step": 1,
            "between_sd": None,
            "within_sd": None,
            "origin": "within_session",
        },
    ),
    ("error_figure", {"between_sd": -1.0}),
    ("error_figure", {"within_sd": INF}),
    ("error_figure", {"source": ""}),
    ("error_figure", {"published_level": 5.0}),
    ("error_figure", {"retired_at": "2026-03-01 10:00:00+00:00"}),
    ("value", {"mean": None, "sd": None, "n_trials": 0}),
    ("value", {"missing_reason": "painful"}),
    ("value", {"mean": None, "sd": None, "missing_reason": "painful"}),
    ("value", {"n_trials": 0}),
    ("value", {"n_trials": 501}),
    ("value", {"n_trials": 1}),
    ("value", {"mean": INF}),
    ("value", {"mean": 1e9}),
    ("value", {"sd": -0.1}),
    ("value", {"sd": INF}),
    ("value", {"saved_in": 0}),
    ("trial", {"number": 0}),
    ("trial", {"number": 501}),
    ("trial", {"reading": -INF}),
    ("trial", {"reading": 1e9}),
    ("programme", {"title": ""}),
    ("programme", {"ended_on": "2026-03-31"}),
    ("programme_block", {"position": 0}),
    ("programme_block", {"sets": 0}),
    ("programme_block", {"repetitions": 0}),
    ("programme_block", {"hold_s": -1.0}),
    ("programme_block", {"sessions_per_week": INF}),
    ("target", {"amount": 0.0}),
    ("target", {"amount": INF}),
    ("adherence", {"sessions_planned": -1}),
    ("adherence", {"sessions_done": 71}),
    ("adherence", {"pain_during": 11.0}),
    ("adherence", {"pain_morning_after": -1.0}),
    ("flag_acknowledgement", {"reason": ""}),
]
# NaN reads as NULL on SQLite, so that there only a column that must be given refuses it.
NOT_NUMBERS = [
    ("value", "mean"),
    ("value", "sd"),
    ("trial", "reading"),
    ("metric", "plausible_low"),
    ("metric", "plausible_high"),
    ("metric", "resolution"),
    ("metric", "important_change"),
    ("error_figure", "between_sd"),
    ("error_figure", "within_sd"),
    ("error_figure", "published_level"),
    ("runner", "height_cm"),
    ("runner", "mass_kg"),
    ("visit", "speed_km_h"),
    ("visit", "incline_pct"),
    ("visit", "frames_per_s"),
    ("visit", "pain_today"),
    ("target", "amount"),
    ("programme_block", "hold_s"),
    ("programme_block", "sessions_per_week"),
    ("adherence", "pain_during"),
    ("adherence", "pain_morning_after"),
]
REFERENCES = [
    (table.name, key.parent.name)
    for table in Row.metadata.sorted_tables
    if table.name in ROWS
    for key in sorted(table.foreign_keys, key=lambda key: key.parent.name)
]
NATURAL_KEYS = [table for table in ROWS if table != "error_figure"]


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def furnished(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Casebook]:
    """A casebook that holds a row of everything, for all tests here."""
    if request.param == "sqlite":
        url = str(tmp_path_factory.mktemp("furnished") / "casebook.sqlite")
    else:
        server: Server = request.getfixturevalue("postgresql")
        url = server.url(server.create())
    casebook = create_casebook(url)
    furnish(casebook)
    record_visit(casebook, a_visit(), by="AB")
    record_injury(casebook, an_injury())
    record_consent(casebook, a_consent())
    with connected(casebook.engine) as connection:
        _insert(connection, "clinic_user", {"code": "ZZ"})
        _insert(connection, "programme", {"title": "feet"})
        connection.commit()
    yield casebook
    casebook.close()


@pytest.fixture
def raw(furnished: Casebook) -> Iterator[Connection]:
    """A connection whose work is undone after the test."""
    with connected(furnished.engine) as connection:
        yield connection
        connection.rollback()


def _insert(connection: Connection, table: str, changes: dict[str, Any]) -> None:
    row = {**ROWS[table], **changes}
    if row.get("metric_id") == "METRIC":
        query = text("SELECT id FROM metric WHERE key = 'test_steps'")
        row["metric_id"] = connection.execute(query).scalar_one()
    columns = ", ".join(row)
    places = ", ".join(f":{name}" for name in row)
    connection.execute(text(f"INSERT INTO {table} ({columns}) VALUES ({places})"), row)


def _refused(connection: Connection, statement: Callable[[], None]) -> CasebookError:
    """The casebook's own error for what the database must refuse."""
    with pytest.raises(SQLAlchemyError) as refused, connection.begin_nested():
        statement()
    told = refusal(refused.value)
    assert isinstance(told, CasebookError)
    assert "Nothing was stored" in str(told)
    return told


def _refused_row(connection: Connection, table: str, changes: dict[str, Any]) -> CasebookError:
    count = text(f"SELECT count(*) FROM {table}")
    before = connection.execute(count).scalar_one()
    told = _refused(connection, lambda: _insert(connection, table, changes))
    assert connection.execute(count).scalar_one() == before
    return told


@pytest.mark.parametrize("table", ROWS)
def test_a_valid_row_is_taken(raw: Connection, table: str) -> None:
    _insert(raw, table, {})
    assert raw.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() >= 1


@pytest.mark.parametrize("table", sorted({table for table, _ in BREAKS}))
def test_a_row_that_breaks_a_rule_is_refused_with_the_rule_in_words(
    raw: Connection, table: str
) -> None:
    for changes in (changes for broken, changes in BREAKS if broken == table):
        told = _refused_row(raw, table, changes)
        assert isinstance(told, InputRefused), changes
        assert told.problems[0].code == "rule_broken", changes
        assert any(column in str(told) for column in changes), changes


@pytest.mark.parametrize(("table", "column"), NOT_NUMBERS)
def test_nan_is_never_stored(raw: Connection, table: str, column: str) -> None:
    required = not Row.metadata.tables[table].columns[column].nullable
    needed = required or table == "error_figure" or (table, column) == ("value", "mean")
    needed = needed and column != "published_level"
    if raw.dialect.name == "postgresql" or needed:
        assert isinstance(_refused_row(raw, table, {column: NAN}), InputRefused)
        return
    _insert(raw, table, {column: NAN})
    newest = text(f"SELECT {column} FROM {table} WHERE {column} IS NOT NULL")
    stored = raw.execute(newest).scalars().all()
    assert not any(math.isnan(number) for number in stored)


@pytest.mark.parametrize(("table", "column"), REFERENCES)
def test_an_orphan_is_refused(raw: Connection, table: str, column: str) -> None:
    told = _refused_row(raw, table, {column: 987_654})
    assert isinstance(told, InputRefused)
    assert told.problems[0].code == "orphan"


@pytest.mark.parametrize("table", NATURAL_KEYS)
def test_a_second_row_of_the_same_natural_key_is_refused(raw: Connection, table: str) -> None:
    _insert(raw, table, {})
    told = _refused_row(raw, table, {})
    assert isinstance(told, Conflict)
    assert "already" in str(told)
    assert "such a row" not in str(told)


def test_two_error_figures_in_force_are_refused_and_a_retired_one_beside_is_kept(
    raw: Connection,
) -> None:
    _insert(raw, "error_figure", {"retired_at": "2026-04-02 10:00:00+00:00"})
    _insert(raw, "error_figure", {"retired_at": "2026-04-03 10:00:00+00:00"})
    _insert(raw, "error_figure", {})
    told = _refused_row(raw, "error_figure", {})
    assert isinstance(told, Conflict)
    assert "an error figure of this origin in force" in str(told)


@pytest.mark.parametrize("table", ROWS)
def test_what_must_be_given_cannot_be_left_out(raw: Connection, table: str) -> None:
    needed = [
        column.name
        for column in Row.metadata.tables[table].columns
        if column.name in ROWS[table] and not column.nullable and not column.primary_key
    ]
    assert needed
    for column in needed:
        told = _refused_row(raw, table, {column: None})
        assert isinstance(told, InputRefused), column
        assert told.problems[0].code in {"empty", "rule_broken"}, column
        assert column in str(told)


@pytest.mark.parametrize("table", ["clinic", "runner", "visit", "value", "metric", "programme"])
def test_what_others_refer_to_cannot_be_deleted(raw: Connection, table: str) -> None:
    _insert(raw, "programme_block", {})
    told = _refused(raw, lambda: _run(raw, f"DELETE FROM {table}"))
    assert isinstance(told, InputRefused)
    assert raw.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() >= 1


def _run(connection: Connection, statement: str) -> None:
    connection.execute(text(statement))
