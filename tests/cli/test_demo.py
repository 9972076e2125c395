"""The demo: built whole or not at all, in a file of its own, and never over a real casebook."""

from __future__ import annotations

import csv
import resource
from pathlib import Path

import pytest

from tests.cli.conftest import Casebook, casebook_process

DEMO_RUNNERS = Path(__file__).resolve().parents[2] / "seed_demo" / "runners.csv"


def test_the_demo_holds_every_invented_runner_and_is_whole(casebook: Casebook, demo: Path):
    with DEMO_RUNNERS.open(encoding="utf-8", newline="") as lines:
        codes = [row["runner"] for row in csv.DictReader(lines)]
    assert len(codes) >= 28
    for code in codes[:3]:
        assert casebook("review", code, "--db", demo, "--json").report["visits"] >= 1
    assert casebook("check", "--db", demo).code == 0


def test_a_demo_that_stands_is_found_and_kept_as_it_was_left(
    casebook: Casebook, demo: Path, tmp_path: Path
):
    visits = tmp_path / "more.csv"
    visits.write_text(
        "runner,visit_date,metric,side,trial,value\nMINE,2025-04-03,cadence,none,1,170\n",
        encoding="utf-8",
    )
    assert casebook("import", visits, "--db", demo).code == 0
    said = casebook("demo", "--no-serve", "--db", demo)
    assert said.code == 0
    assert f"found: {demo}" in said.out
    assert casebook("review", "MINE", "--db", demo).code == 0
    assert f"built: {demo}" in casebook("demo", "--no-serve", "--fresh", "--db", demo).out
    assert casebook("review", "MINE", "--db", demo).code == 1


def test_a_casebook_that_is_not_the_demo_is_left_alone(casebook: Casebook, empty: Path):
    before = empty.read_bytes()
    for more in ([], ["--fresh"]):
        said = casebook("demo", "--no-serve", "--db", empty, *more)
        assert said.code == 1
        assert str(empty) in said.err
    assert empty.read_bytes() == before


def test_the_demo_never_goes_where_the_environment_points(
    casebook: Casebook, empty: Path, tmp_path: Path, demo: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(empty))
    assert casebook("demo", "--no-serve", "--db", demo).code == 0
    assert casebook("flags", "--json", "--all").report["flags"] == []


def test_the_demo_wants_a_file(casebook: Casebook):
    said = casebook("demo", "--no-serve", "--db", "postgresql://somebody@127.0.0.1:1/none")
    assert said.code == 1
    assert "SQLite file" in said.err


def test_a_full_disk_leaves_no_half_built_demo(tmp_path: Path):
    """A limit on the size of files stands for the full disk: the writes fail in the same way."""

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))

    said = casebook_process(
        "demo", "--no-serve", "--folder", tmp_path / "full", preexec_fn=small_files
    )
    assert said.returncode == 1
    assert "Traceback" not in said.stderr
    assert "Something went wrong inside" not in said.stderr
    assert list((tmp_path / "full").iterdir()) == []


def test_a_folder_that_cannot_be_made_is_told(casebook: Casebook, tmp_path: Path):
    (tmp_path / "letter").write_text("not a folder", encoding="utf-8")
    said = casebook("demo", "--no-serve", "--folder", tmp_path / "letter" / "demo")
    assert said.code == 1
    assert "--folder" in said.err
