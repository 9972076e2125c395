"""Details of programmes, full returns, runs and findings come from tables, and go with an undo."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from casebook.domain.cautions import Finding
from casebook.domain.errors import Conflict
from casebook.domain.hypotheses import HypothesisKind, Link, Role
from casebook.domain.prescriptions import Mode, Supervision, Tempo
from casebook.domain.programmes import TargetDirection, TargetOn
from casebook.services.cautioning import findings_of, list_cautions
from casebook.services.hypothesising import write_hypothesis
from casebook.services.importing import import_files
from casebook.services.keeping import check_casebook
from casebook.services.opened import Casebook
from casebook.services.prescribing import list_injuries_of, list_prescriptions
from casebook.services.running import list_runs
from casebook.services.undoing_imports import undo_import
from tests.builders import STRENGTH

TABLES = {
    "injuries.csv": "runner,region,pathology,side,onset_on,returned_on,fully_back_on,consulted\n"
    "T-001,knee,tendinopathy,left,2026-01-12,2026-01-20,2026-01-27,yes\n",
    "programmes.csv": "runner,title,started_on,injury_onset_on,mode,planned_weeks,setting\n"
    "T-001,Hip,2026-03-02,2026-01-12,individual,12,at home\n",
    "blocks.csv": "runner,programme,position,aim,exercise,sets,tempo_lower_s,tempo_hold_s,"
    "tempo_lift_s,rest_s,progress_when,supervision\n"
    "T-001,Hip,1,strength,side plank,3,3,0,1,60,no pain for a week,unsupervised\n",
    "runs.csv": "runner,run_date,number,distance_km,minutes,effort\n"
    "T-001,2026-03-03,,8.5,45,4\nT-001,2026-03-03,2,2,,\n",
    "visits.csv": "runner,visit_date,metric,side,trial,value\n"
    "T-001,2026-03-02,test_strength,left,1,300\n",
    "findings.csv": "runner,visit_date,finding,present\n"
    "T-001,2026-03-02,numbness,yes\nT-001,2026-03-02,fever,no\n",
}


def written(folder: Path, **changes: str) -> list[Path]:
    paths = []
    for name, text in {**TABLES, **{f"{key}.csv": value for key, value in changes.items()}}.items():
        path = folder / name
        path.write_text(text)
        paths.append(path)
    return paths


def test_everything_of_a_plan_is_imported_once_and_undone_as_a_whole(
    clinic: Casebook, tmp_path: Path
) -> None:
    report = import_files(clinic, written(tmp_path), by="kim")
    assert report.problems == ()
    [stored] = list_prescriptions(clinic, "T-001")
    prescription = stored.prescription
    assert (prescription.detail.mode, prescription.detail.planned_weeks) == (Mode.INDIVIDUAL, 12)
    [detail] = prescription.block_details
    assert detail.tempo == Tempo(lower_s=3, hold_s=0, lift_s=1)
    assert detail.supervision is Supervision.UNSUPERVISED
    [(injury_id, injury)] = list_injuries_of(clinic, "T-001")
    assert stored.injury_id == injury_id
    assert (injury.fully_back_on, injury.consulted) == (date(2026, 1, 27), True)
    assert [run.distance_km for run in list_runs(clinic, "T-001")] == [8.5, 2.0]
    assert findings_of(clinic, "T-001", date(2026, 3, 2)) == {
        Finding.NUMBNESS: True,
        Finding.FEVER: False,
    }
    assert len(list_cautions(clinic, "T-001")) == 1
    again = import_files(clinic, written(tmp_path), by="kim")
    assert (again.added, again.problems) == (0, ())
    assert check_casebook(clinic).ok
    assert report.run_id is not None
    undo_import(clinic, report.run_id, reason="wrong files", by="kim")
    assert list_prescriptions(clinic, "T-001") == ()
    assert list_runs(clinic, "T-001") == ()
    assert check_casebook(clinic).ok


def test_an_import_that_a_hypothesis_rests_on_is_not_undone(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    report = import_files(sqlite_clinic, written(tmp_path), by="kim")
    assert report.run_id is not None
    [stored] = list_prescriptions(sqlite_clinic, "T-001")
    write_hypothesis(
        sqlite_clinic,
        stored.programme_id,
        kind=HypothesisKind.STRENGTH,
        driver="weak on the left",
        links=[
            Link(
                position=1,
                role=Role.DRIVER,
                metric=STRENGTH,
                on=TargetOn.LEFT,
                direction=TargetDirection.UP,
                amount=30.0,
                due_on=date(2999, 1, 1),
            )
        ],
        sureness_pct=60,
        by="kim",
    )
    with pytest.raises(Conflict, match="a working hypothesis of 'T-001'"):
        undo_import(sqlite_clinic, report.run_id, reason="wrong files", by="kim")


def test_what_does_not_fit_is_refused_with_its_row(sqlite_clinic: Casebook, tmp_path: Path) -> None:
    paths = written(
        tmp_path,
        injuries="runner,region,pathology,side,onset_on,returned_on,fully_back_on\n"
        "T-001,knee,tendinopathy,left,2026-01-12,2026-01-20,2026-01-15\n",
        blocks="runner,programme,position,aim,exercise,tempo_lower_s\n"
        "T-001,Hip,1,strength,side plank,3\n",
        findings="runner,visit_date,finding,present\nT-001,2026-03-05,numbness,yes\n"
        "T-001,2026-03-02,fever,no\nT-001,2026-03-02,fever,no\n",
        runs="runner,run_date,distance_km\nT-001,2026-03-03,8\nT-001,2026-03-03,9\n",
    )
    report = import_files(sqlite_clinic, paths)
    found = {(problem.code, problem.row) for problem in report.problems}
    assert {
        ("fully_back_too_early", 2),
        ("tempo_in_part", 2),
        ("unknown_visit", 2),
        ("duplicate_row", 4),
        ("duplicate_row", 3),
    } <= found
    assert list_prescriptions(sqlite_clinic, "T-001") == ()


def test_a_finding_that_differs_is_asked_about_and_stays(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    import_files(sqlite_clinic, written(tmp_path), by="kim")
    other = "runner,visit_date,finding,present\nT-001,2026-03-02,fever,yes\n"
    report = import_files(sqlite_clinic, written(tmp_path, findings=other))
    assert [problem.code for problem in report.problems] == ["conflict"]
    assert findings_of(sqlite_clinic, "T-001", date(2026, 3, 2))[Finding.FEVER] is False
