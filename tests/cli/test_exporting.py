"""`casebook export` and `casebook exports`, and the folder in the hands of readers not ours."""

from __future__ import annotations

import csv
import json
import stat
from pathlib import Path

import openpyxl
import pyarrow.parquet as pq
import pytest
from frictionless import validate

from tests.cli.conftest import Casebook


@pytest.fixture(scope="module")
def exported(demo_built: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A copy of the demo casebook, and an export of it with its key beside it."""
    import shutil

    from casebook.cli.calm import run

    room = tmp_path_factory.mktemp("exported")
    db = Path(shutil.copy(demo_built, room / "demo.sqlite"))
    said = run(
        ["export", "--for", "audit", "-o", str(room / "out"), "--by", "KM", "--new-key",
         str(room / "a.key"), "--db", str(db), "--clinicians"]
    )  # fmt: skip
    assert said == 0
    return db, room / "out"


def test_an_independent_validator_and_independent_readers_take_the_folder(
    exported: tuple[Path, Path],
) -> None:
    _, folder = exported
    judged = validate(str(folder / "datapackage.json"))
    assert judged.valid, judged.flatten(["type", "note"])
    book = openpyxl.load_workbook(folder / "tables.xlsx", read_only=True)
    described = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    names = [one["name"] for one in described["resources"]]
    assert names[:4] == ["runners", "injuries", "metrics", "visits"]
    for name in names:
        with (folder / "data" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        parquet = pq.read_table(folder / "data" / f"{name}.parquet")
        assert parquet.num_rows == len(rows)
        assert parquet.column_names == list(rows[0])
        assert name in book.sheetnames
    book.close()
    words = (folder / "dictionary.md").read_text(encoding="utf-8")
    assert "Age in years at the first visit, in bands." in words


def test_the_export_is_logged_and_its_key_carried_on_gives_the_same_pseudonyms(
    casebook: Casebook, exported: tuple[Path, Path], tmp_path: Path
) -> None:
    db, folder = exported
    key = folder.parent / "a.key"
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    said = casebook(
        "export", "--for", "audit", "-o", tmp_path / "b", "--by", "AB", "--key", key,
        "--format", "csv", "--clinicians", "--db", db, "--json",
    )  # fmt: skip
    assert (said.code, said.err) == (0, "")
    report = said.report
    assert report["ok"]
    assert report["risk"]["k"] >= 5
    assert report["files"]["data/runners.csv"]
    runners = "data/runners.csv"
    assert (tmp_path / "b" / runners).read_bytes() == (folder / runners).read_bytes()
    assert not (tmp_path / "b" / "tables.xlsx").exists()
    logged = casebook("exports", "--db", db, "--json").report["exports"]
    assert [(one["by"], one["settings"]["formats"]) for one in logged] == [
        ("AB", ["csv"]),
        ("KM", ["csv", "parquet", "xlsx"]),
    ]
    assert len({one["key_fingerprint"] for one in logged}) == 1
    assert logged[0]["files"] == report["files"]
    told = casebook("exports", "--db", db).out
    assert "by KM" in told
    assert key.read_text().strip() not in told + said.out
    assert casebook("check", "--db", db).code == 0
    history = casebook("history", "--head", "--db", db)
    assert history.code == 0


def test_what_cannot_be_done_is_said_and_leaves_nothing(
    casebook: Casebook, empty: Path, exported: tuple[Path, Path], tmp_path: Path
) -> None:
    db, folder = exported
    about = ("export", "--for", "audit", "--by", "KM", "--db", db, "-o")
    nobody = casebook(
        "export", "--for", "research", "-o", tmp_path / "n", "--by", "KM", "--db", empty,
        "--new-key", tmp_path / "n.key",
    )  # fmt: skip
    assert nobody.code == 1
    assert "No runner's consent covers research" in nobody.err
    assert list(tmp_path.glob("n*")) == []
    for words, said in (
        ((folder,), "stands"),
        ((tmp_path / "x", "--k", "1"), "k is 1; expected 2 to 1000"),
        ((tmp_path / "x", "--l", "9"), "l is 9; expected 1 to k (5)"),
        ((tmp_path / "x", "--as-of", "1.2.2026"), "expected a day such as"),
        ((tmp_path / "x", "--as-of", "2199-01-01"), "still to come"),
        ((tmp_path / "x", "--metric", "cadense"), "Did you mean 'cadence'"),
        ((tmp_path / "x", "--key", db), "holds no key"),
        ((tmp_path / "x", "--key", tmp_path / "none"), "cannot be read"),
        ((tmp_path / "x", "--new-key", db), "is not replaced"),
        ((tmp_path / "x", "--new-key", tmp_path / "no" / "k"), "cannot be written"),
        ((tmp_path / "x", "--key", db, "--new-key", tmp_path / "k"), "give one of them"),
        ((tmp_path / "x", "--k", "200"), "none of them may leave"),
    ):
        refused = casebook(*about, *words)
        assert (refused.code, refused.out) == (1, "")
        assert said in refused.err, refused.err
    assert not (tmp_path / "x").exists()
    assert casebook("exports", "R-99", "--db", db).code == 1
    assert "No export yet" in casebook("exports", "--db", empty).out


def test_a_preview_says_the_risk_and_writes_nothing(
    casebook: Casebook, exported: tuple[Path, Path], tmp_path: Path
) -> None:
    db, _ = exported
    about = ("export", "--for", "audit", "-o", tmp_path / "p", "--by", "KM", "--preview")
    before = casebook("exports", "--db", db, "--json").out
    told = casebook(*about, "--db", db)
    assert told.out.startswith("# Risk of this export")
    found = casebook(*about, "--db", db, "--json").report
    assert found["facts"]["largest"] <= 0.2
    assert not (tmp_path / "p").exists()
    assert casebook("exports", "--db", db, "--json").out == before
