"""A clinic's own sheets of weeks and of runs: proposed, shown, settled in a file, imported."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Programme
from casebook.intake.mapping import NOTHING, ColumnUse, Dates, FileMapping, SummaryRows, undecided
from casebook.intake.mapping_file import mapping_of_text, mapping_text
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.mapping import is_understood, preview_mapping, propose_mapping
from casebook.services.prescribing import list_prescriptions, prescribe
from casebook.services.running import list_runs

WEEKS = (
    "Diary,,,,,,\nAthlete,Week starting,Sessions done,Pain during,Pain next morning,Notes,Phase\n"
    'T-001,02/03/2026,3,2,1,went well,1\n,09/03/2026,2,"3,5",,,1\nTotal,,5,,,,\n'
)


@pytest.fixture
def clinic_with_programme(sqlite_clinic: Casebook) -> Casebook:
    programme = Programme(runner="T-001", title="Hip strength", started_on=date(2026, 3, 2))
    prescribe(sqlite_clinic, Prescription(programme=programme), by="")
    return sqlite_clinic


def test_a_sheet_of_weeks_is_proposed_shown_and_stored_with_the_programme(
    clinic_with_programme: Casebook, tmp_path: Path
) -> None:
    casebook = clinic_with_programme
    path = tmp_path / "diary.csv"
    path.write_text(WEEKS, encoding="utf-8")
    assert not is_understood(casebook, path)
    proposal = propose_mapping(casebook, path)
    (sheet,) = proposal.mapping.sheets
    assert len(undecided(sheet)) == 2  # the phase, and the order of day and month
    assert proposal.sheets[0].blanks == {"runner": 1}
    settled = replace(
        sheet,
        dates=Dates.DAY_FIRST,
        summary_rows=SummaryRows.LEAVE_OUT,
        fill_down=("runner",),
        fixed=(("programme", "Hip strength"), ("sessions_planned", "3")),
        columns=tuple(
            ColumnUse(header="Phase", holds=NOTHING) if one.header == "Phase" else one
            for one in sheet.columns
        ),
    )
    mapping = mapping_of_text(mapping_text(FileMapping(sheets=(settled,)), proposal.sheets))
    assert mapping.sheets == (settled,)
    (preview,) = preview_mapping(casebook, path, mapping)
    assert preview.problems == ()
    assert [line for line, _ in preview.records] == [3, 4]
    assert preview.records[1][1]["pain_during"] == 3.5
    report = import_files(casebook, [path], mappings={path: mapping})
    assert report.problems == ()
    (stored,) = list_prescriptions(casebook, "T-001")
    assert [
        (week.week_start, week.sessions_done, week.pain_during, week.pain_morning_after)
        for week in stored.prescription.programme.adherence
    ] == [(date(2026, 3, 2), 3, 2.0, 1.0), (date(2026, 3, 9), 2, 3.5, None)]
    assert stored.prescription.programme.adherence[0].comment == "went well"
    assert check_casebook(casebook).ok


def test_runs_in_miles_and_hours_are_stored_in_kilometres_and_minutes(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "runs.csv"
    path.write_text(
        "Athlete;Date;Distance (mi);Time (h);RPE\nT-001;2026-03-03;5;0,75;4\n", encoding="utf-8"
    )
    proposal = propose_mapping(sqlite_clinic, path)
    assert proposal.open_questions == ()
    report = import_files(sqlite_clinic, [path], mappings={path: proposal.mapping})
    assert report.problems == ()
    (run,) = list_runs(sqlite_clinic, "T-001")
    assert run.distance_km == pytest.approx(8.04672)
    assert (run.minutes, run.effort) == (pytest.approx(45.0), 4.0)


def test_what_a_sheet_of_weeks_lacks_and_what_is_wrong_in_it_is_told(
    clinic_with_programme: Casebook, tmp_path: Path
) -> None:
    casebook = clinic_with_programme
    path = tmp_path / "diary.csv"
    path.write_text("Athlete,Week starting,Sessions done\nT-001,2026-03-02,99\n", encoding="utf-8")
    (sheet,) = propose_mapping(casebook, path).mapping.sheets
    wrong = replace(
        sheet,
        columns=(*sheet.columns[:2], ColumnUse(header="Sessions done", holds="speed_km_h")),
    )
    told = str(
        import_files(casebook, [path], mappings={path: FileMapping(sheets=(wrong,))}).problems
    )
    for words in (
        "no column holds the title of the programme; say which one does, or give it for the whole",
        "no column holds the sessions done",
        "'speed_km_h' is nothing that a column of a sheet with a row for each week can hold",
    ):
        assert words in told
    settled = replace(
        wrong,
        columns=(*sheet.columns[:2], ColumnUse(header="Sessions done", holds="sessions_done")),
        fixed=(("programme", "Hip strength"), ("sessions_planned", "3")),
    )
    (problem,) = import_files(
        casebook, [path], mappings={path: FileMapping(sheets=(settled,))}
    ).problems
    assert (problem.row, problem.column, problem.value) == (2, "Sessions done", "99")
    (stored,) = list_prescriptions(casebook, "T-001")
    assert stored.prescription.programme.adherence == ()
