"""What leaves in an export: whose, until when, under which words; and nothing half-done."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import delete, func, insert, select, text, update

from casebook.domain.errors import Conflict, InputRefused
from casebook.domain.exporting import ExportKey, ExportSettings, Trait
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose, Runner, Sex
from casebook.intake.fhir_out import bundle_text
from casebook.services.exporting_audit import (
    ExportReport,
    export_audit,
    exports_of_runner,
    preview_export,
)
from casebook.services.keeping import Casebook, open_casebook
from casebook.services.recording_out import get_record, readable_files
from casebook.services.registering import list_runners, register_runner
from casebook.storage.session import writing
from casebook.storage.tables import (
    AdherenceRow,
    BlockRow,
    InjuryRow,
    MetricRow,
    ProgrammeRow,
    Row,
    RunnerRow,
    TargetRow,
    ValueRow,
    VisitRow,
)
from tests.exportable import SINCE, UNTIL, add_cohort

KEY = ExportKey(secret=bytes(32))
SETTINGS = ExportSettings(
    purpose=Purpose.AUDIT, as_of=UNTIL + timedelta(days=7), formats=(FileFormat.CSV,)
)
# Parents last, as they are removed.
PRESCRIBED = (AdherenceRow, TargetRow, BlockRow, ProgrammeRow)
MEASURED = (ValueRow, VisitRow)


def _rows(report: ExportReport, table: str) -> list[dict[str, str]]:
    with (report.folder / "data" / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def clinic_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("leaving") / "casebook.sqlite"
    path.write_bytes(sqlite_template.read_bytes())
    opened = open_casebook(str(path))
    add_cohort(opened, 40, metrics=2, alike=True)
    opened.close()
    return path


@pytest.fixture
def clinic(clinic_file: Path, tmp_path: Path) -> Iterator[Casebook]:
    path = tmp_path / "casebook.sqlite"
    path.write_bytes(clinic_file.read_bytes())
    opened = open_casebook(str(path))
    yield opened
    opened.close()


def test_both_databases_give_the_same_rows(
    sqlite_casebook: Casebook, postgresql_casebook: Casebook, tmp_path: Path
) -> None:
    reports = []
    for casebook in (sqlite_casebook, postgresql_casebook):
        add_cohort(casebook, 24, metrics=2, visits=2)
        name = casebook.engine.dialect.name
        settings = replace(SETTINGS, clinicians=True)
        reports.append(export_audit(casebook, settings, tmp_path / name, key=KEY, by="KM"))
    one, other = reports
    # Those by group are rounded by each clinic's own secret.
    rounded = {"data/flow.csv", "data/outcomes_by_group.csv", "manifest.json", "datapackage.json"}
    assert {k: v for k, v in one.files.items() if k not in rounded} == {
        k: v for k, v in other.files.items() if k not in rounded
    }
    assert one.n_rows == other.n_rows
    assert one.facts == other.facts
    assert min(one.n_rows.values()) > 0


def test_nothing_after_the_day_counts(clinic: Casebook, tmp_path: Path) -> None:
    whole = export_audit(clinic, SETTINGS, tmp_path / "a", key=KEY, by="KM")
    cut = replace(SETTINGS, as_of=SINCE + timedelta(days=45))
    early = export_audit(
        clinic, cut, tmp_path / "b", key=ExportKey(secret=bytes(31) + b"x"), by="KM"
    )
    with writing(clinic.engine) as unit:  # since when is not known, or later than the consent
        for runner_id, day in ((1, None), (2, SETTINGS.as_of + timedelta(days=1))):
            where = update(RunnerRow).where(RunnerRow.id == runner_id)
            unit.execute(where.values(registered_on=day))
        unit.commit()
    register_runner(clinic, Runner(code="LATER", sex=Sex.FEMALE, birth_year=1990))
    again = export_audit(clinic, SETTINGS, tmp_path / "c", key=KEY, by="KM")
    assert again.files == whole.files
    assert early.n_rows["visits"] < whole.n_rows["visits"]
    assert max(int(row["day"]) for row in _rows(early, "visits")) <= 45
    assert not [row for row in _rows(early, "injuries") if row["first_run_days"]]
    assert [row for row in _rows(whole, "injuries") if row["first_run_days"]]
    assert early.n_rows["programmes"] < whole.n_rows["programmes"]


def test_values_are_means_by_side_with_a_reason_where_there_is_none(
    clinic: Casebook, tmp_path: Path
) -> None:
    report = export_audit(clinic, SETTINGS, tmp_path / "a", key=KEY, by="KM")
    rows = _rows(report, "values")
    assert {row["side"] for row in rows} == {"left", "right", "none"}
    for row in rows:
        assert bool(row["mean"]) != bool(row["missing"])
        assert row["trials"] == ("5" if row["mean"] else "0")
    both: dict[tuple[str, str], dict[str, float]] = {}
    for row in rows:
        if row["mean"] and row["side"] != "none":
            both.setdefault((row["visit"], row["metric"]), {})[row["side"]] = float(row["mean"])
    forms = {row["metric"]: row["asymmetry_form"] for row in _rows(report, "metrics")}
    checked = 0
    for row in _rows(report, "asymmetries"):
        sides = both[row["visit"], row["metric"]]
        if forms[row["metric"]] == "difference":  # right minus left
            assert float(row["asymmetry"]) == pytest.approx(sides["right"] - sides["left"], abs=0.2)
            checked += 1
    assert checked > 50
    visits = {row["visit"]: row for row in _rows(report, "visits")}
    at_first = {row["runner"]: name for name, row in visits.items() if row["baseline"] == "true"}
    compared = 0
    for row in _rows(report, "outcomes"):  # the first visit is the baseline of each
        assert row["verdict"] in {"improved", "worsened", "unchanged", "cannot_say"}
        first = at_first[visits[row["visit"]]["runner"]]
        was = both.get((first, row["metric"]), {}).get(row["what"])
        now = both.get((row["visit"], row["metric"]), {}).get(row["what"])
        if was is not None and now is not None:
            assert float(row["change"]) == pytest.approx(now - was, abs=0.2)
            compared += 1
    assert compared > 100


def test_extreme_speeds_are_drawn_in_and_a_clinician_of_few_is_nobody(
    clinic: Casebook, tmp_path: Path
) -> None:
    with writing(clinic.engine) as unit:
        some = list(unit.scalars(select(VisitRow.id).order_by(VisitRow.id).limit(3)))
        for visit_id, speed in zip(some, (0.7, 31.3, 12.34), strict=True):
            where = update(VisitRow).where(VisitRow.id == visit_id)
            unit.execute(where.values(speed_km_h=speed, assessor="RARE", footwear="clogs"))
        unit.commit()
    settings = replace(SETTINGS, clinicians=True)
    report = export_audit(clinic, settings, tmp_path / "a", key=KEY, by="KM")
    rows = _rows(report, "visits")
    speeds = sorted(float(row["speed_km_h"]) for row in rows)
    assert 5 < speeds[0] < speeds[-1] < 20
    assert all((2 * speed).is_integer() for speed in speeds)
    of_runner: dict[str, set[str]] = {}
    for row in rows:
        of_runner.setdefault(row["clinician"], set()).add(row["runner"])
    assert all(len(runners) >= SETTINGS.k for name, runners in of_runner.items() if name)
    assert len([name for name in of_runner if name.startswith("C")]) == 2
    assert {row["same_footwear"] for row in rows} == {"yes", "no"}


@pytest.mark.parametrize("k", [5, 40])
def test_the_slowest_and_fastest_numbers_are_those_of_k_runners_at_least(
    clinic: Casebook, tmp_path: Path, k: int
) -> None:
    with writing(clinic.engine) as unit:  # the fifth slowest is 8.3: 8 is nobody's but the first's
        unit.execute(update(VisitRow).values(speed_km_h=8.3))
        (one, *_) = unit.scalars(select(VisitRow.id).order_by(VisitRow.id))
        unit.execute(update(VisitRow).where(VisitRow.id == one).values(speed_km_h=5.0))
        ids = list(unit.scalars(select(RunnerRow.id)))
        for runner_id in ids[:8]:
            where = update(VisitRow).where(VisitRow.runner_id == runner_id)
            unit.execute(where.values(incline_pct=float(runner_id % 4)))
        unit.commit()
    report = export_audit(clinic, replace(SETTINGS, k=k), tmp_path / "a", key=KEY, by="KM")
    for column in ("speed_km_h", "incline_pct", "frames_per_s"):
        runners: dict[float, set[str]] = {}
        for row in _rows(report, "visits"):
            runners.setdefault(float(row[column]), set()).add(row["runner"])
        assert len(runners[min(runners)]) >= k, (column, min(runners))
        assert len(runners[max(runners)]) >= k, (column, max(runners))


def test_what_is_left_out_stands_nowhere_and_what_stays_may_leave_less_coarse(
    clinic: Casebook, tmp_path: Path
) -> None:
    with writing(clinic.engine) as unit:  # heights and sexes in which nobody is alike
        for at, runner_id in enumerate(unit.scalars(select(RunnerRow.id)).all()):
            where = update(RunnerRow).where(RunnerRow.id == runner_id)
            unit.execute(where.values(height_cm=150.0 + at, sex=("female", "male")[at % 2]))
        unit.commit()
    whole = export_audit(clinic, SETTINGS, tmp_path / "a", key=KEY, by="KM")
    settings = replace(SETTINGS, leave_out=(Trait.HEIGHT, Trait.SEX))
    key = ExportKey(secret=bytes([2]) * 32)
    less = export_audit(clinic, settings, tmp_path / "b", key=key, by="KM")
    names = {"runner", *(trait.value for trait in settings.traits)}
    assert set(_rows(less, "runners")[0]) == names
    assert set(_rows(whole, "runners")[0]) - names == {"height_band", "sex"}
    words = (tmp_path / "b" / "dictionary.md").read_text(encoding="utf-8")
    assert "height_band" not in words
    assert "mass_band" in words
    assert "Left out for everybody, as asked: sex, height." in less.page
    assert less.facts.loss < whole.facts.loss
    assert less.facts.k >= SETTINGS.k
    # Carried on, what was left out stays withheld: joined by pseudonym, it would come back.
    carried = export_audit(clinic, SETTINGS, tmp_path / "c", key=key, by="KM")
    rows = _rows(carried, "runners")
    assert {(row["height_band"], row["sex"]) for row in rows} == {("withheld", "withheld")}
    assert {row["runner"] for row in rows} == {row["runner"] for row in _rows(less, "runners")}


def test_a_complaint_that_is_left_out_is_told_in_no_other_table(
    clinic: Casebook, tmp_path: Path
) -> None:
    settings = replace(SETTINGS, leave_out=(Trait.REGION, Trait.SIDE))
    report = export_audit(clinic, settings, tmp_path / "a", key=KEY, by="KM")
    assert _rows(report, "injuries") == []
    told = {(row["kind"], row["for_injury"]) for row in _rows(report, "programmes")}
    assert told == {("withheld", "withheld")}
    assert {row["exercise"] for row in _rows(report, "blocks")} == {"withheld"}


def test_a_metric_of_the_clinics_own_leaves_only_when_it_is_named(
    clinic: Casebook, tmp_path: Path
) -> None:
    with writing(clinic.engine) as unit:
        row = unit.scalars(select(MetricRow).where(MetricRow.key == "cadence")).one()
        names = [one.key for one in MetricRow.__mapper__.column_attrs if one.key != "id"]
        copied: dict[str, Any] = {name: getattr(row, name) for name in names}
        mine = MetricRow(**{**copied, "key": "our_own", "label": "Ours", "starter": False})
        unit.add(mine)
        unit.flush()
        given = {"visit_id": 1, "metric_id": mine.id, "side": "none", "n_trials": 1, "mean": 170.0}
        unit.execute(insert(ValueRow).values(given))
        unit.commit()
    assert "our_own" not in preview_export(clinic, SETTINGS).metrics
    named = replace(SETTINGS, metrics=("our_own",))
    report = export_audit(clinic, named, tmp_path / "a", key=KEY, by="KM")
    assert [row["mean"] for row in _rows(report, "values") if row["metric"] == "our_own"] == ["170"]
    assert "Ours" not in (tmp_path / "a" / "dictionary.md").read_text(encoding="utf-8")


def test_runners_of_whom_too_few_look_alike_do_not_leave_and_move_no_byte(
    clinic: Casebook, tmp_path: Path
) -> None:
    with writing(clinic.engine) as unit:  # one alone among forty who are alike
        unit.execute(
            update(RunnerRow)
            .where(RunnerRow.id == 1)
            .values(sex="other", birth_year=1930, discipline="sprint", height_cm=201, mass_kg=120)
        )
        unit.commit()
    settings = replace(SETTINGS, leave_out=(Trait.REGION, Trait.SIDE))
    report = export_audit(clinic, settings, tmp_path / "a", key=KEY, by="KM")
    facts = report.facts
    assert (facts.consenting, facts.exported, facts.left_out, facts.withheld) == (40, 39, 1, 0)
    assert report.n_rows["runners"] == facts.exported
    assert facts.too_few + facts.too_alike == facts.withheld + facts.left_out
    with writing(clinic.engine) as unit:  # whatever had been measured and done of that runner
        last = select(func.max(VisitRow.id)).where(VisitRow.runner_id == 1).scalar_subquery()
        read = (ValueRow.visit_id == last) & ValueRow.mean.is_not(None)
        unit.execute(update(ValueRow).where(read).values(mean=99_000.0))
        unit.execute(update(VisitRow).where(VisitRow.id == last).values(kind="review"))
        unit.execute(
            update(ProgrammeRow).where(ProgrammeRow.runner_id == 1).values(kind="performance")
        )
        unit.commit()
    again = export_audit(clinic, settings, tmp_path / "b", key=KEY, by="KM")
    assert again.files == report.files


@pytest.mark.parametrize("gone", [PRESCRIBED, MEASURED, (*PRESCRIBED, *MEASURED, InjuryRow)])
def test_a_clinic_that_prescribed_or_measured_nothing_exports_the_rest(
    clinic: Casebook, tmp_path: Path, gone: tuple[type[Row], ...]
) -> None:
    with writing(clinic.engine) as unit:
        for table in gone:
            unit.execute(delete(table))
        unit.commit()
    assert "runners" in preview_export(clinic, SETTINGS).first_rows
    report = export_audit(clinic, SETTINGS, tmp_path / "a", key=KEY, by="KM")
    names = {"programme": "programmes", "visit": "visits", "injury": "injuries"}
    empty = {names[one.__tablename__] for one in gone if one.__tablename__ in names}
    assert {name for name in names.values() if not report.n_rows[name]} == empty
    assert report.n_rows["runners"] == report.facts.exported >= 30


def test_what_cannot_be_logged_does_not_stay(clinic: Casebook, tmp_path: Path) -> None:
    with writing(clinic.engine) as unit:
        unit.execute(text("DROP TABLE export_run"))
        unit.commit()
    with pytest.raises(Exception, match="no such table: export_run"):
        export_audit(clinic, SETTINGS, tmp_path / "a", key=KEY, by="KM")
    assert list(tmp_path.glob("[!c]*")) == []


def test_a_taken_folder_and_nobodys_name_are_refused_before_anything(
    clinic: Casebook, tmp_path: Path
) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "mine.txt").write_text("mine")
    with pytest.raises(Conflict):
        export_audit(clinic, SETTINGS, tmp_path / "a", key=KEY, by="KM")
    with pytest.raises(InputRefused, match="by is empty"):
        export_audit(clinic, SETTINGS, tmp_path / "b", key=KEY, by=" ")
    assert (tmp_path / "a" / "mine.txt").read_text() == "mine"


def test_whoever_asks_for_their_record_is_told_which_exports_they_were_in(
    clinic: Casebook, tmp_path: Path
) -> None:
    code = list_runners(clinic)[5].code
    assert get_record(clinic, code).history == ()
    settings = replace(SETTINGS, k=2, diversity=1)
    report = export_audit(clinic, settings, tmp_path / "a", key=KEY, by="KM")
    record = get_record(clinic, code)
    assert [(line.by, line.what) for line in record.history] == [
        ("KM", f"left de-identified in export {report.number} (for audit)")
    ]
    assert "left de-identified" in readable_files(record)["history.csv"].decode("utf-8-sig")
    assert "left de-identified" in bundle_text(record)
    assert [one.number for one in exports_of_runner(clinic, code)] == [report.number]
