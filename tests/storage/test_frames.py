"""Frames of what is stored: declared columns and types, and an index for one runner."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import pandas as pd
import pytest
from sqlalchemy import Engine, event, select, text

from casebook.domain.sides import Side
from casebook.domain.visits import Conditions, VisitKind, value_of_mean, value_of_trials
from casebook.services.keeping import Casebook
from casebook.services.recording import find_visit, list_visits, record_visit
from casebook.services.registering import list_consents, list_injuries, register_runner
from casebook.storage import frames
from casebook.storage.session import connected, reading
from casebook.storage.tables import MetricRow, RunnerRow, VisitRow
from tests.builders import BEND, QUALITY, STEPS, STRENGTH, a_runner, a_visit


@pytest.fixture
def filled(clinic: Casebook) -> Casebook:
    """Two runners: one with two visits, one with one."""
    register_runner(clinic, a_runner(code="T-002", birth_year=None))
    record_visit(clinic, a_visit(), by="AB")
    record_visit(
        clinic,
        a_visit(
            visited_on=date(2026, 5, 4),
            kind=VisitKind.REVIEW,
            next_due_on=date(2026, 8, 3),
            conditions=Conditions(assessor="CD"),
            values=(value_of_trials(STEPS, Side.NONE, [170.0]),),
        ),
        by="AB",
    )
    record_visit(
        clinic,
        a_visit(runner="T-002", values=(value_of_mean(QUALITY, Side.RIGHT, 1.0, 1),)),
        by="AB",
    )
    return clinic


def _keys(casebook: Casebook) -> dict[int, str]:
    with reading(casebook.engine) as unit:
        return {row.id: row.key for row in unit.scalars(select(MetricRow))}


def _runner_id(casebook: Casebook, code: str) -> int:
    with reading(casebook.engine) as unit:
        return unit.scalars(select(RunnerRow.id).where(RunnerRow.code == code)).one()


def test_values_of_a_caseload_come_with_n_mean_and_sd_and_missing_ones_apart(
    filled: Casebook,
) -> None:
    with reading(filled.engine) as unit:
        values, missing = frames.values_frame(unit), frames.missing_frame(unit)
    keys = _keys(filled)
    assert {name: str(kind) for name, kind in values.dtypes.items()} == {
        "runner": "int64",
        "visit": "int64",
        "metric": "int64",
        "side": "int8",
        "n": "int64",
        "mean": "float64",
        "sd": "float64",
        "marking_sd": "float64",
    }
    told = {
        (keys[row.metric], row.side): (row.n, row.mean, None if math.isnan(row.sd) else row.sd)
        for row in values.itertuples()
    }
    expected = value_of_trials(STRENGTH, Side.LEFT, [310.0, 322.0, 318.0])
    assert told == {
        (STRENGTH, 0): (3, expected.mean, expected.sd),
        (STRENGTH, 1): (3, 287.5, None),
        (STEPS, 2): (1, 170.0, None),
        (QUALITY, 1): (1, 1.0, None),
    }
    assert [(keys[row.metric], row.side, row.reason) for row in missing.itertuples()] == [
        (BEND, 0, "not_visible")
    ]


def test_visits_come_in_order_with_conditions_and_open_ones_as_missing(filled: Casebook) -> None:
    with reading(filled.engine) as unit:
        visits = frames.visits_frame(unit)
    assert list(visits.columns) == list(frames.VISITS)
    assert {name: str(kind) for name, kind in visits.dtypes.items()} == frames.VISITS
    first, second = visits.iloc[0], visits.iloc[1]
    assert first["visited_on"] == pd.Timestamp("2026-03-02")
    assert pd.isna(first["next_due_on"])
    assert second["next_due_on"] == pd.Timestamp("2026-08-03")
    assert (first["speed_km_h"], first["surface"], first["kind"]) == (10.0, "treadmill", "baseline")
    assert math.isnan(second["speed_km_h"])
    assert (second["surface"], second["assessor"]) == ("", "CD")


@pytest.mark.parametrize("read", [frames.values_frame, frames.visits_frame, frames.missing_frame])
def test_one_runner_only_comes_when_asked_for(
    filled: Casebook, read: Callable[..., pd.DataFrame]
) -> None:
    runner = _runner_id(filled, "T-001")
    with reading(filled.engine) as unit:
        everything, own, nobody = read(unit), read(unit, [runner]), read(unit, [])
    assert len(own) >= 1
    pd.testing.assert_frame_equal(
        own.sort_values(["visit"]).reset_index(drop=True),
        everything[everything["runner"] == runner].sort_values(["visit"]).reset_index(drop=True),
    )
    assert nobody.empty
    assert nobody.dtypes.equals(everything.dtypes)


def test_an_empty_casebook_gives_empty_frames_of_the_same_types(casebook: Casebook) -> None:
    with reading(casebook.engine) as unit:
        for frame in (
            frames.values_frame(unit),
            frames.visits_frame(unit),
            frames.missing_frame(unit),
            frames.trials_frame(unit, 1),
            frames.runners_frame(unit, casebook.clinic_id),
        ):
            assert frame.empty
            assert "object" not in {str(kind) for kind in frame.dtypes}


def test_trials_of_a_visit_come_in_the_order_of_the_catalogue(filled: Casebook) -> None:
    stored = find_visit(filled, "T-001", a_visit().visited_on)
    assert stored is not None
    with reading(filled.engine) as unit:
        trials = frames.trials_frame(unit, stored.visit_id)
    assert trials.to_dict("list") == {
        "metric": [STRENGTH] * 3,
        "side": [0, 0, 0],
        "number": [1, 2, 3],
        "reading": [310.0, 322.0, 318.0],
    }


def test_runners_come_by_code_without_identifiers(filled: Casebook) -> None:
    with reading(filled.engine) as unit:
        runners = frames.runners_frame(unit, filled.clinic_id)
    assert list(runners["code"]) == ["T-001", "T-002"]
    assert runners["birth_year"].iloc[0] == 1990
    assert math.isnan(runners["birth_year"].iloc[1])
    assert not {"given_name", "family_name", "birth_date"} & set(runners.columns)


@contextmanager
def _statements(engine: Engine) -> Iterator[list[tuple[str, Any]]]:
    """Every SELECT that is sent meanwhile, with its parameters."""
    sent: list[tuple[str, Any]] = []

    def keep(
        _connection: object, _cursor: object, statement: str, parameters: Any, *_rest: object
    ) -> None:
        if statement.lstrip().upper().startswith("SELECT"):
            sent.append((statement, parameters))

    event.listen(engine, "before_cursor_execute", keep)
    yield sent
    event.remove(engine, "before_cursor_execute", keep)


GROWING = ("runner", "visit", "value", "trial", "injury", "consent", "runner_identity")


def _plan(casebook: Casebook, statement: str, parameters: Any) -> list[str]:
    with connected(casebook.engine) as connection:
        if connection.dialect.name == "sqlite":
            rows = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
            return [str(row[3]) for row in rows]
        # Small tables are always read whole; the question is whether an index would serve.
        connection.execute(text("SET LOCAL enable_seqscan = off"))
        rows = connection.exec_driver_sql(f"EXPLAIN {statement}", parameters)
        return [str(row[0]).strip() for row in rows]


def test_opening_a_runner_never_reads_a_growing_table_from_end_to_end(filled: Casebook) -> None:
    runner = _runner_id(filled, "T-001")
    with reading(filled.engine) as unit:
        visit = unit.scalars(select(VisitRow.id).where(VisitRow.runner_id == runner)).first()
    assert visit is not None
    with _statements(filled.engine) as sent:
        find_visit(filled, "T-001", a_visit().visited_on)
        list_visits(filled, "T-001")
        list_injuries(filled, "T-001")
        list_consents(filled, "T-001")
        with reading(filled.engine) as unit:
            frames.values_frame(unit, [runner])
            frames.visits_frame(unit, [runner])
            frames.missing_frame(unit, [runner])
            frames.trials_frame(unit, visit)
    assert len(sent) > 10
    for statement, parameters in sent:
        for step in _plan(filled, statement, parameters):
            for table in GROWING:
                assert not step.startswith(f"SCAN {table}"), (statement, step)
                assert f"Seq Scan on {table} " not in step, (statement, step)
