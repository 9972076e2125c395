"""What a runner's row keeps coarse is looked for in everything else that leaves of the runner."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert, select, update

from casebook.domain.exporting import ExportKey, ExportSettings, Trait
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose
from casebook.services.exporting_audit import ExportReport, export_audit
from casebook.services.keeping import Casebook, open_casebook
from casebook.storage.session import writing
from casebook.storage.tables import (
    InjuryRow,
    MetricRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    ValueRow,
    VisitRow,
)
from tests.exportable import UNTIL, add_cohort

KEY = ExportKey(secret=bytes(32))
WHOLE = ExportSettings(
    purpose=Purpose.AUDIT, as_of=UNTIL + timedelta(days=7), formats=(FileFormat.CSV,)
)
HIDING = replace(WHOLE, leave_out=(Trait.REGION, Trait.SIDE))


@pytest.fixture(scope="module")
def casebook(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    """Runners with a force in newtons and per kilogram, and a knee's questionnaire for knees."""
    path = tmp_path_factory.mktemp("giving") / "casebook.sqlite"
    path.write_bytes(sqlite_template.read_bytes())
    opened = open_casebook(str(path))
    add_cohort(opened, 40, metrics=1, visits=2, alike=True)
    with writing(opened.engine) as unit:
        metric = {row.key: row.id for row in unit.scalars(select(MetricRow))}
        unit.execute(update(RunnerRow).values(mass_kg=62.5))
        knees = set(unit.scalars(select(InjuryRow.runner_id).where(InjuryRow.region == "knee")))
        values = []
        for visit in unit.scalars(select(VisitRow)):
            mean = {"visit_id": visit.id, "n_trials": 3, "sd": 1.0, "missing_reason": None}
            given = [("calf_strength", "left", 1250.0), ("calf_strength_per_kg", "left", 20.0)]
            given += [("akps_total", "none", 60.0 + visit.id % 9)] * (visit.runner_id in knees)
            given += [("hip_extensor_strength", "left", 300.0)]
            values += [
                {**mean, "metric_id": metric[key], "side": side, "mean": number}
                for key, side, number in given
            ]
            values.append(
                {
                    **mean, "metric_id": metric["hop_distance"], "side": "left", "mean": None,
                    "n_trials": 0, "sd": None, "missing_reason": "painful",
                }
            )  # fmt: skip
        unit.execute(insert(ValueRow), values)
        unit.execute(
            insert(TargetRow),
            [
                {
                    "programme_id": row.id, "metric_id": metric[key], "what": "none",
                    "direction": "up", "amount": 10.0, "due_on": row.started_on,
                }
                for row in unit.scalars(select(ProgrammeRow))
                for key in ("visa_a_total", "akps_total", "cadence")
            ],
        )  # fmt: skip
        unit.commit()
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def hiding(casebook: Casebook, tmp_path_factory: pytest.TempPathFactory) -> ExportReport:
    folder = tmp_path_factory.mktemp("hiding") / "out"
    return export_audit(casebook, HIDING, folder, key=KEY, by="KM")


def _rows(report: ExportReport, table: str) -> list[dict[str, str]]:
    with (report.folder / "data" / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


MEASURED = ("values", "asymmetries", "outcomes")


def test_no_force_divided_by_another_is_a_runners_mass(hiding: ExportReport) -> None:
    runner = {row["visit"]: row["runner"] for row in _rows(hiding, "visits")}
    for table, number in (("values", "mean"), ("outcomes", "change")):
        of_runner: dict[str, dict[str, float]] = defaultdict(dict)
        for row in _rows(hiding, table):
            if row[number]:
                of_runner[runner[row["visit"]]][row["metric"]] = float(row[number])
        assert of_runner
        for read in of_runner.values():
            assert not {key for key in read if f"{key}_per_kg" in read}
    kept = {row["metric"] for row in _rows(hiding, "values")}
    # Where no such pair was read, the force leaves.
    assert {"calf_strength_per_kg", "hip_extensor_strength"} <= kept


def test_no_questionnaire_of_a_body_area_tells_the_region_that_is_kept_coarse(
    casebook: Casebook, hiding: ExportReport, tmp_path: Path
) -> None:
    telling = {"akps_total", "visa_a_total"}
    for table in (*MEASURED, "targets"):
        metrics = {row["metric"] for row in _rows(hiding, table)}
        assert metrics
        assert not metrics & telling, table
    # And it leaves of those alone whose region does.
    whole = export_audit(casebook, WHOLE, tmp_path / "whole", key=KEY, by="KM")
    region = {row["runner"]: row["injury_region"] for row in _rows(whole, "runners")}
    visits = {row["visit"]: row["runner"] for row in _rows(whole, "visits")}
    filled = {
        region[visits[row["visit"]]]
        for row in _rows(whole, "values")
        if row["metric"] == "akps_total"
    }
    assert filled <= {"knee"}


def test_no_reason_of_a_missing_value_tells_the_side_that_is_kept_coarse(
    hiding: ExportReport,
) -> None:
    missing = [row for row in _rows(hiding, "values") if row["missing"] and row["side"] != "none"]
    assert len(missing) > 40
    assert {row["missing"] for row in missing} == {"withheld"}
