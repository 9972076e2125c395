"""Deciding what an import asks, and undoing it, at the command line."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Casebook

HEADER = "runner,visit_date,metric,side,trial,value\n"


def test_questions_are_written_decided_and_the_import_is_undone(
    casebook: Casebook, empty: Path, tmp_path: Path
) -> None:
    first, second = tmp_path / "first.csv", tmp_path / "second.csv"
    first.write_text(f"{HEADER}A,2026-03-02,cadence,none,1,170\n")
    second.write_text(f"{HEADER}A,2026-03-02,cadence,none,1,175\na,2026-03-02,cadence,none,1,171\n")
    assert "import 1" in casebook("import", first, "--db", empty).out
    refused = casebook("import", second, "--db", empty)
    assert refused.code == 1
    assert "2 questions only you can decide" in refused.err
    assert "--write-decisions" in refused.err
    file = tmp_path / "decide.toml"
    written = casebook("import", second, "--db", empty, "--write-decisions", file, "--json")
    assert written.code == 1
    assert [one["choices"] for one in written.report["questions"]] == [
        ["same", "another", "leave_out"],
        ["keep", "take", "leave_out"],
    ]
    text = file.read_text()
    assert "170 steps/min" in text
    filled = text.replace('choice = ""', 'choice = "another"', 1)
    file.write_text(filled.replace('choice = ""', 'choice = "take"'))
    why = casebook("import", second, "--db", empty, "--decide", file)
    assert why.code == 1
    assert "say why" in why.err
    file.write_text(file.read_text().replace('reason = ""', 'reason = "counted again"'))
    done = casebook("import", second, "--db", empty, "--decide", file, "--json")
    assert (done.code, done.report["added"], done.report["import"]) == (0, 2, 2)
    listed = casebook("imports", "--db", empty, "--json").report["imports"]
    assert [(one["import"], one["files"][0]["name"]) for one in listed] == [
        (2, "second.csv"),
        (1, "first.csv"),
    ]
    blocked = casebook("undo-import", 1, "--reason", "not ours", "--db", empty)
    assert blocked.code == 1
    assert "a visit of 'A' was amended through import 2" in blocked.err
    undone = casebook("undo-import", 2, "--reason", "not ours", "--db", empty)
    assert undone.code == 0
    assert "undone" in casebook("imports", "--db", empty).out
    assert casebook("undo-import", 1, "--reason", "not ours", "--db", empty, "--json").report == {
        "import": 1,
        "visits": 1,
        "records": 1,
    }
    assert casebook("check", "--db", empty).code == 0
    assert casebook("undo-import", 9, "--reason", "x", "--db", empty).code == 1


def test_a_file_with_nothing_to_decide_writes_no_decisions(
    casebook: Casebook, empty: Path, tmp_path: Path
) -> None:
    table, file = tmp_path / "one.csv", tmp_path / "decide.toml"
    table.write_text(f"{HEADER}A,2026-03-02,cadence,none,1,170\n")
    said = casebook("import", table, "--db", empty, "--write-decisions", file)
    assert said.code == 0
    assert "Nothing has to be decided" in said.err
    assert not file.exists()
