"""An import is undone as a whole, while nobody has built on it; its history stays."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.domain.decisions import Choice, Decision, Decisions
from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.history import Act, Subject
from casebook.domain.sides import Side
from casebook.domain.visits import value_of_mean
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.recording import find_visit, list_visits, record_visit
from casebook.services.registering import list_runners, record_injury
from casebook.services.undoing_imports import list_imports, undo_import
from casebook.storage import history
from casebook.storage.session import connected, reading
from tests.builders import STEPS, a_visit, an_injury
from tests.stores import furnish

TABLES = {
    "runners.csv": "runner,sex,birth_date,given_name,family_name\n"
    "A,female,1990-02-03,Ann,Au\nT-001,,,Tia,Tau\n",
    "visits.csv": "runner,visit_date,speed_km_h,metric,side,trial,value,n_trials,missing_reason\n"
    "A,2026-03-02,10,test_steps,none,1,170,,\n"
    "A,2026-03-02,10,test_bend,left,1,40,,\nA,2026-03-02,10,test_bend,left,2,41.5,,\n"
    "A,2026-03-02,10,test_bend,right,,40.25,5,\n"
    "A,2026-03-02,10,test_strength,left,,,,painful\n"
    "B,2026-03-03,11,test_steps,none,1,171,,\n",
    "injuries.csv": "runner,region,pathology,side,onset_on\nA,knee,tendinopathy,left,2026-01-02\n",
    "consents.csv": "runner,purpose,given_on\nT-001,audit,2026-01-02\n",
    "programmes.csv": "runner,title,started_on,injury_onset_on\nA,strong,2026-02-02,2026-01-02\n",
    "blocks.csv": "runner,programme,position,aim,exercise\nA,strong,1,strength,squat\n",
    "targets.csv": "runner,programme,metric,what,direction,amount,due_on\n"
    "A,strong,test_steps,none,up,5,2026-06-01\n",
    "figures.csv": "metric,origin,within_sd,between_sd,source\ntest_bend,own,1,2,own study\n",
}


def written(folder: Path, **tables: str) -> list[Path]:
    paths = []
    for name, text in tables.items():
        path = folder / name.replace("_csv", ".csv")
        path.write_text(text)
        paths.append(path)
    return paths


def all_tables(folder: Path) -> list[Path]:
    return written(folder, **{name.replace(".", "_"): text for name, text in TABLES.items()})


def everything(casebook: Casebook) -> dict[str, list[tuple[object, ...]]]:
    """Every row but history, imports and what merely counts saves."""
    found = {}
    with connected(casebook.engine) as connection:
        for table, columns in {
            "runner": "id, code, sex, birth_year, discipline",
            "runner_identity": "*",
            "injury": "*",
            "consent": "*",
            "programme": "*",
            "programme_block": "*",
            "target": "*",
            "error_figure": "*",
            "visit": "id, runner_id, visited_on, speed_km_h, note",
            "value": "id, visit_id, metric_id, side, n_trials, mean, sd, missing_reason",
            "trial": "*",
        }.items():
            rows = connection.exec_driver_sql(f"SELECT {columns} FROM {table}")
            # The last digit of an SD depends on who summed it up.
            found[table] = sorted(
                (
                    tuple(round(one, 9) if isinstance(one, float) else one for one in row)
                    for row in rows
                ),
                key=repr,
            )
    return found


def test_an_import_is_undone_as_a_whole_and_its_history_stays(
    clinic: Casebook, tmp_path: Path
) -> None:
    before = everything(clinic)
    paths = all_tables(tmp_path)
    report = import_files(clinic, paths, by="AB")
    assert (report.problems, report.ok) == ((), True)
    assert report.run_id is not None
    with reading(clinic.engine) as unit:
        did = history.entries_of_import(unit, report.run_id)
    assert {(entry.act, entry.subject) for entry in did} >= {
        (Act.RECORDED, subject)
        for subject in (
            Subject.RUNNER,
            Subject.IDENTITY,
            Subject.INJURY,
            Subject.CONSENT,
            Subject.PROGRAMME,
            Subject.BLOCK,
            Subject.TARGET,
            Subject.ERROR_FIGURE,
            Subject.VISIT,
        )
    }
    visits = [entry for entry in did if entry.subject is Subject.VISIT]
    assert len(visits) == 2
    assert visits[0].fields["value:test_bend:left"] == (None, {"trials": [40.0, 41.5]})
    assert visits[0].fields["value:test_bend:right"] == (None, {"mean": 40.25, "n": 5})
    assert visits[0].fields["value:test_strength:left"] == (None, {"missing": "painful"})
    identities = [entry for entry in did if entry.subject is Subject.IDENTITY]
    assert "Ann" not in "".join(entry.content for entry in identities)
    assert check_casebook(clinic).ok

    undone = undo_import(clinic, report.run_id, reason="the wrong file", by="CD")
    assert (undone.visits, undone.records) == (2, len(did) - 2)
    assert everything(clinic) == before
    assert check_casebook(clinic).ok
    with reading(clinic.engine) as unit:
        entries = history.entries_of_import(unit, report.run_id)
    assert entries[: len(did)] == did
    assert {(entry.act, entry.reason, entry.by) for entry in entries[len(did) :]} == {
        (Act.UNDONE, "the wrong file", "CD")
    }
    [run] = list_imports(clinic)
    assert [file["name"] for file in run.files] == list(TABLES)
    assert (run.by, run.added, run.undone_by, run.undo_reason) == (
        "AB",
        report.added,
        "CD",
        "the wrong file",
    )
    again = import_files(clinic, paths, by="AB")
    assert (again.added, again.ok) == (report.added, True)
    assert check_casebook(clinic).ok


def test_what_an_import_added_to_stands_again_as_it_was(clinic: Casebook, tmp_path: Path) -> None:
    record_visit(clinic, a_visit(conditions=a_visit().conditions), by="AB")
    before = everything(clinic)
    text = (
        "runner,visit_date,footwear,metric,side,trial,value\n"
        "T-001,2026-03-02,racing,test_strength,left,4,330\n"
        "T-001,2026-03-02,racing,test_steps,none,1,170\n"
    )
    report = import_files(clinic, written(tmp_path, more_csv=text))
    assert (report.added, report.ok) == (2, True)
    assert everything(clinic) != before
    assert report.run_id is not None
    undo_import(clinic, report.run_id, reason="typed into the wrong visit")
    assert everything(clinic)["visit"] == before["visit"]
    assert everything(clinic)["trial"] == before["trial"]
    kept = find_visit(clinic, "T-001", date(2026, 3, 2))
    assert kept is not None
    assert (kept.visit.values, kept.revision) == (a_visit().values, 3)
    assert check_casebook(clinic).ok


@pytest.mark.parametrize("built", ["visit of a new runner", "value", "complaint", "import"])
def test_an_import_that_somebody_built_on_is_not_undone_and_what_it_was_is_named(
    sqlite_clinic: Casebook, tmp_path: Path, built: str
) -> None:
    clinic = sqlite_clinic
    run_id = import_files(clinic, all_tables(tmp_path), by="AB").run_id
    assert run_id is not None
    if built == "visit of a new runner":
        record_visit(clinic, a_visit(runner="B"), by="EF")
        named = "a visit of 'B' was stored by 'EF'"
    elif built == "value":
        visit = list_visits(clinic, "B")[0].visit
        more = a_visit(
            runner="B",
            visited_on=visit.visited_on,
            kind=visit.kind,
            conditions=visit.conditions,
            values=(value_of_mean("test_bend", Side.LEFT, 41.0, 2),),
        )
        record_visit(clinic, more, by="EF", expected_revision=1)
        named = "a visit of 'B' was added to by 'EF'"
    elif built == "complaint":
        record_injury(clinic, an_injury(runner="A"))
        named = "a complaint of 'A' was stored"
    else:
        text = f"runner,visit_date,metric,side,trial,value\nB,2026-03-03,{STEPS},none,2,172\n"
        later = import_files(clinic, written(tmp_path, later_csv=text)).run_id
        named = f"a visit of 'B' was added to through import {later}"
    before = everything(clinic)
    with pytest.raises(Conflict, match=named):
        undo_import(clinic, run_id, reason="wrong file")
    assert everything(clinic) == before
    if built == "import":
        assert later is not None
        undo_import(clinic, later, reason="first this")
        undo_import(clinic, run_id, reason="then that")
        assert [runner.code for runner in list_runners(clinic)] == ["T-001"]
        assert check_casebook(clinic).ok


def test_undoing_asks_for_a_reason_and_for_an_import_that_stands(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    run_id = import_files(sqlite_clinic, all_tables(tmp_path)).run_id
    assert run_id is not None
    with pytest.raises(InputRefused, match="reason"):
        undo_import(sqlite_clinic, run_id, reason=" ")
    with pytest.raises(NotFound, match="no import 99"):
        undo_import(sqlite_clinic, 99, reason="x")
    undo_import(sqlite_clinic, run_id, reason="x")
    with pytest.raises(Conflict, match="undone already"):
        undo_import(sqlite_clinic, run_id, reason="x")


def test_an_import_that_stores_nothing_leaves_no_trace(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    paths = all_tables(tmp_path)
    assert import_files(sqlite_clinic, paths, dry_run=True).run_id is None
    bad = written(tmp_path, bad_csv="runner,sex\nC,strange\n")
    assert import_files(sqlite_clinic, [*paths, *bad]).run_id is None
    assert list_imports(sqlite_clinic) == ()
    import_files(sqlite_clinic, paths)
    assert import_files(sqlite_clinic, paths).run_id is None
    assert len(list_imports(sqlite_clinic)) == 1


@st.composite
def tables(draw: st.DrawFn) -> str:
    """A tidy table over few visits and metrics, so that two of them often meet and differ."""
    lines = ["runner,visit_date,speed_km_h,metric,side,trial,value,n_trials,missing_reason"]
    places = st.tuples(
        st.sampled_from(["A", "B"]),
        st.sampled_from(["2026-03-02", "2026-03-09"]),
        st.sampled_from(["test_bend,left", "test_bend,right", "test_steps,none"]),
    )
    speeds: dict[tuple[str, str], str] = {}
    for runner, day, metric in draw(st.lists(places, min_size=1, max_size=6, unique=True)):
        speed = speeds.setdefault((runner, day), draw(st.sampled_from(["", "10", "11"])))
        form = draw(st.sampled_from(["mean", "missing", "trials"]))
        if form == "trials":
            numbers = draw(st.integers(1, 3))
            cells = [f"{one},{draw(st.integers(40, 43))},," for one in range(1, numbers + 1)]
        else:
            cells = [f",{draw(st.integers(40, 43))},5," if form == "mean" else ",,,not_done"]
        lines += [f"{runner},{day},{speed},{metric},{cell}" for cell in cells]
    return "\n".join(lines) + "\n"


@settings(max_examples=10)
@given(first=tables(), second=tables())
def test_whatever_an_import_changed_by_decision_undoing_gives_the_same_values(
    first: str,
    second: str,
    sqlite_template: Path,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    folder = tmp_path_factory.mktemp("undo")
    shutil.copyfile(sqlite_template, folder / "casebook.sqlite")
    clinic = open_casebook(str(folder / "casebook.sqlite"))
    try:
        furnish(clinic)
        assert import_files(clinic, written(folder, one_csv=first)).ok
        before = everything(clinic)
        paths = written(folder, two_csv=second)
        asked = import_files(clinic, paths, dry_run=True).questions
        took = Decision(choice=Choice.TAKE, reason="read again")
        decisions = Decisions(by_key={question.key: took for question in asked})
        report = import_files(clinic, paths, decisions=decisions)
        assert report.ok
        assert report.read == report.added + report.unchanged
        assert check_casebook(clinic).ok
        if report.run_id is not None:
            undo_import(clinic, report.run_id, reason="not ours")
        assert everything(clinic) == before
        assert check_casebook(clinic).ok
    finally:
        clinic.close()
