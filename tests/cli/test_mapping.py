"""A spreadsheet from the command line: proposed into a file, mended, imported."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Casebook
from tests.intake.workbooks import saved


def test_a_proposal_is_written_mended_and_imported(
    casebook: Casebook, empty: Path, tmp_path: Path
) -> None:
    own = saved(
        tmp_path / "own.xlsx",
        {"S": [["Athlete", "Date", "Knee flexion L"], ["R-1", "2026-03-02", "38,5"]]},
    )
    runners = tmp_path / "runners.csv"
    runners.write_text("runner,sex\nR-1,female\n")
    refused = casebook("import", own, "--db", empty)
    assert (refused.code, "propose-mapping" in refused.err) == (1, True)
    mapping = tmp_path / "m.toml"
    said = casebook("propose-mapping", own, "--into", mapping, "--db", empty)
    assert (said.code, said.err) == (0, "")
    assert "what the column 'Knee flexion L' holds" in said.out
    again = casebook("propose-mapping", own, "--into", mapping, "--db", empty)
    assert (again.code, "there already" in again.err) == (1, True)
    report = casebook("propose-mapping", own, "--db", empty, "--json").report
    assert report["mapping"] == mapping.read_text(encoding="utf-8")
    (sheet,) = report["sheets"]
    assert [column["sure"] for column in sheet["columns"]] == [True, True, False]
    mapping.write_text(
        report["mapping"].replace('holds = "?"', 'metric = "knee_flexion_midstance"\nside = "left"')
    )
    done = casebook("import", runners, own, "--mapping", mapping, "--db", empty, "--json")
    assert (done.code, done.report["added"]) == (0, 2)
    assert [file["table"] for file in done.report["files"]] == ["runners", "visits_wide"]
    mapping.write_text("version = 1\n[[sheet]]\nodd = 1\n")
    wrong = casebook("import", own, "--mapping", mapping, "--db", empty)
    assert (wrong.code, "sheet.odd" in wrong.err) == (1, True)
