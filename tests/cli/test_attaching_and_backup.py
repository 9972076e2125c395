"""Attaching, backup and restore on the command line, from a clinic's day to another machine."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from pathlib import Path

import pytest

from tests.cli.conftest import Casebook
from tests.pictures import SECRET, a_jpeg, a_pdf, a_png

VISITS = (
    "runner,visit_date,kind,metric,side,trial,value\n"
    "R-01,2025-04-03,baseline,knee_flexion_midstance,left,1,38.2\n"
    "R-01,2025-06-12,review,knee_flexion_midstance,left,1,39.0\n"
)


@pytest.fixture
def clinic(empty: Path, tmp_path: Path, casebook: Casebook) -> Path:
    (tmp_path / "visits.csv").write_text(VISITS)
    assert casebook("import", tmp_path / "visits.csv", "--db", empty).code == 0
    for name, content in (("side.jpg", a_jpeg()), ("still.png", a_png()), ("a.pdf", a_pdf())):
        (tmp_path / name).write_bytes(content)
    (tmp_path / "film.mov").write_bytes(b"moov" * 20)
    return empty


def test_what_is_attached_is_listed_copied_out_and_struck_out(
    clinic: Path, tmp_path: Path, casebook: Casebook
):
    files = [tmp_path / name for name in ("side.jpg", "film.mov", "a.pdf")]
    said = casebook(
        "attach", "R-01", "2025-04-03", *files, "--caption", "left midstance", "--by", "AB",
        "--db", clinic, "--json",
    )  # fmt: skip
    assert said.code == 1
    assert "film.mov: its content is of no kind" in said.err
    assert [one["name"] for one in said.report["attached"]] == ["side.jpg", "a.pdf"]
    assert said.report["problems"][0]["code"] == "attachment_kind"

    again = casebook("attach", "R-01", "2025-04-03", tmp_path / "side.jpg", "--db", clinic)
    assert (again.code, again.out) == (0, "Attached already, unchanged: side.jpg\n")

    listed = casebook("attachments", "R-01", "--db", clinic, "--into", tmp_path / "out", "--json")
    for one in listed.report["attachments"]:
        content = Path(one["copied_to"]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == one["sha256"]
        assert SECRET.encode() not in content
        assert (one["caption"], one["visited_on"]) == ("left midstance", "2025-04-03")
    twice = casebook("attachments", "R-01", "--db", clinic, "--into", tmp_path / "out")
    assert (twice.code, "cannot be copied" in twice.err) == (1, True)
    assert "left midstance" in casebook("attachments", "R-01", "--db", clinic).out
    none = casebook("attachments", "R-01", "--on", "2025-06-12", "--db", clinic)
    assert none.out == "Nothing is attached.\n"

    first = listed.report["attachments"][0]["sha256"]
    bare = casebook("attachments", "R-01", "--db", clinic, "--strike-out", first[:10])
    assert (bare.code, "reason must be given" in bare.err) == (1, True)
    assert casebook("attachments", "R-01", "--db", clinic, "--strike-out", "zz").code == 2
    struck = casebook(
        "attachments", "R-01", "--db", clinic, "--strike-out", first[:10], "--reason", "mixed up"
    )
    assert struck.out == "Struck out: side.jpg of 2025-04-03\n"
    left = casebook("attachments", "R-01", "--db", clinic, "--json").report["attachments"]
    assert [one["name"] for one in left] == ["a.pdf"]
    assert casebook("check", "--db", clinic).code == 0


def test_a_visit_or_file_that_is_not_there_is_told(
    clinic: Path, tmp_path: Path, casebook: Casebook
):
    picture = tmp_path / "still.png"
    for words, told in (
        (("R-02", "2025-04-03", picture), "There is no runner 'R-02'"),
        (("R-01", "2025-04-04", picture), "No visit of 'R-01' on 2025-04-04"),
        (("R-01", "2025-04-03", tmp_path / "none.png"), "none.png: it cannot be read"),
    ):
        said = casebook("attach", *words, "--db", clinic)
        assert (said.code, told in said.err) == (1, True)
    assert casebook("attach", "R-01", "3.4.2025", picture, "--db", clinic).code == 2


def test_a_casebook_comes_back_from_its_backup_and_an_altered_backup_does_not(
    clinic: Path, tmp_path: Path, casebook: Casebook
):
    assert (
        casebook("attach", "R-01", "2025-04-03", tmp_path / "still.png", "--db", clinic).code == 0
    )
    made = casebook("backup", tmp_path / "b.zip", "--db", clinic, "--json")
    assert (made.code, made.report["files"], made.report["told"]) == (0, 1, [])
    over = casebook("backup", tmp_path / "b.zip", "--db", clinic)
    assert (over.code, "is there already" in over.err) == (1, True)

    new = tmp_path / "new.sqlite"
    done = casebook("restore", tmp_path / "b.zip", "--db", new, "--json")
    assert (done.code, done.report["rows"]) == (0, made.report["rows"])
    assert casebook("check", "--db", new).code == 0
    for words in (("attachments", "R-01"), ("review", "R-01")):
        one, other = (casebook(*words, "--db", db, "--json").report for db in (clinic, new))
        assert one == other
    with sqlite3.connect(new) as connection, pytest.raises(sqlite3.Error, match="only ever added"):
        connection.execute("UPDATE history SET reason = 'x'")
    connection.close()
    onto = casebook("restore", tmp_path / "b.zip", "--db", clinic)
    assert (onto.code, "stands at" in onto.err) == (1, True)

    content = bytearray((tmp_path / "b.zip").read_bytes())
    content[len(content) // 3] ^= 1
    (tmp_path / "b.zip").write_bytes(content)
    refused = casebook("restore", tmp_path / "b.zip", "--db", tmp_path / "other.sqlite")
    assert (refused.code, "Nothing was restored" in refused.err) == (1, True)
    assert not list(tmp_path.glob("other*"))
    assert json.loads(casebook("check", "--db", new, "--json").out)["ok"]
