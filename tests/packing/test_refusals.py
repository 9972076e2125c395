"""What contradicts its description is refused by table, row, column and value; nothing is left."""

from __future__ import annotations

import resource
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from casebook.domain.errors import Conflict, InputRefused, StoreUnavailable
from casebook.domain.packages import FileFormat
from casebook.packing.writing import PackageWriter, check_place
from tests.packing.packed import PACKAGE, frames, write


def with_cell(table: str, column: str, row: int, value: object) -> dict[str, pd.DataFrame]:
    """The frames with one other cell; the row counts from the heading, 1."""
    frame = frames()[table].astype(object)
    frame.loc[row - 2, column] = value
    return {table: frame}


@pytest.mark.parametrize(
    ("table", "column", "row", "value", "code"),
    [
        ("runners", "runner", 3, "Mary Miller", "text_not_allowed"),
        ("runners", "runner", 3, "=cmd|' /C calc'!A0", "text_not_allowed"),
        ("runners", "runner", 3, "R00af\n", "text_not_allowed"),
        ("runners", "runner", 2, "", "text_not_allowed"),
        ("runners", "runner", 2, 12, "wrong_type"),
        ("runners", "age_band", 2, "41", "text_not_allowed"),
        ("runners", "withheld", 3, "yes", "wrong_type"),
        ("runners", "withheld", 2, 1, "wrong_type"),
        ("visits", "runner", 4, None, "missing_value"),
        ("visits", "day", 3, 31.5, "wrong_type"),
        ("visits", "day", 3, True, "wrong_type"),
        ("visits", "day", 3, "31", "wrong_type"),
        ("visits", "day", 3, -1, "below"),
        ("visits", "day", 3, 4001, "above"),
        ("visits", "day", 3, 2**70, "wrong_type"),
        ("visits", "day", 2, pd.Timestamp("2026-01-01"), "wrong_type"),
        ("visits", "runner", 3, "R9999", "link_to_nothing"),
        ("visits", "before", 2, "V0002", None),
        ("visits", "before", 2, "V0009", "link_to_nothing"),
        ("visits", "visit", 4, "V0001", "key_twice"),
        ("readings", "contact", 5, float("inf"), "not_finite"),
        ("readings", "contact", 5, "slow", "wrong_type"),
        ("readings", "drop", 3, False, "wrong_type"),
        ("readings", "visit", 5, "V0004", "link_to_nothing"),
        ("readings", "side", 3, "left", "key_twice"),
        ("visits", "day", 3, float("-inf"), "wrong_type"),
        ("readings", "drop", 3, 2**53 + 1, "wrong_type"),
        ("counts", "n", 2, 2**53 + 1, "wrong_type"),
    ],
)
def test_a_cell_that_contradicts_its_description_is_refused_by_name_and_nothing_is_left(
    tmp_path: Path, table: str, column: str, row: int, value: object, code: str | None
):
    changed = with_cell(table, column, row, value)
    if code is None:  # a link to a row of the same frame
        assert write(tmp_path / "out", changed=changed).manifest.files
        return
    with pytest.raises(InputRefused) as refused:
        write(tmp_path / "out", changed=changed)
    (problem,) = refused.value.problems
    assert (problem.code, problem.file, problem.row) == (code, table, row)
    if table != "readings" or code != "key_twice":
        assert problem.column == column
        assert problem.value == ("" if value is None else str(value))
    assert list(tmp_path.iterdir()) == []


def test_the_row_that_is_refused_is_counted_over_all_frames(tmp_path: Path):
    with pytest.raises(InputRefused, match="readings, row 4, column side"):
        write(tmp_path / "out", changed=with_cell("readings", "side", 4, "both"), rows_at_once=1)


def test_every_column_that_fails_is_told_at_once(tmp_path: Path):
    frame = frames()["readings"].assign(side="both", contact=-1.0)
    with pytest.raises(InputRefused) as refused:
        write(tmp_path / "out", changed={"readings": frame})
    assert [problem.column for problem in refused.value.problems] == ["side", "contact"]


@pytest.mark.parametrize(
    ("frame", "told"),
    [
        (frames()["visits"].assign(name="Mary"), "strange or twice: name"),
        (frames()["visits"].drop(columns="day"), "Missing: day"),
        (
            pd.concat([frames()["visits"], frames()["visits"][["day"]]], axis=1),
            "strange or twice: day",
        ),
    ],
)
def test_columns_that_are_not_the_tables_are_refused(
    tmp_path: Path, frame: pd.DataFrame, told: str
):
    with pytest.raises(InputRefused, match=told):
        write(tmp_path / "out", changed={"visits": frame})
    assert list(tmp_path.iterdir()) == []


def test_a_link_of_two_fields_is_whole_or_missing(tmp_path: Path):
    from casebook.domain.packages import Field, FieldType, Link, Package, Table

    def number(name: str) -> Field:
        return Field(name=name, type=FieldType.INTEGER, words="A number.")

    always = Field(name="id", type=FieldType.INTEGER, words="A number.")
    link = Link(fields=("a", "b"), table="pairs", its_fields=("a", "b"))
    pairs = Table(name="pairs", words="A pair.", fields=(number("a"), number("b")), key=("a", "b"))
    notes = Table(
        name="notes", words="One.", fields=(always, number("a"), number("b")), key=("id",),
        links=(link,),
    )  # fmt: skip
    package = Package(name="two", title="Two", words="Two.", tables=(pairs, notes))

    def noted(rows: list[tuple[int, int | None, int | None]]) -> None:
        with PackageWriter(tmp_path / "out", package) as writer:
            writer.add("pairs", pd.DataFrame({"a": [1, 11], "b": [11, 1]}))
            writer.add("notes", pd.DataFrame(rows, columns=["id", "a", "b"], dtype="Int64"))

    noted([(1, 1, 11), (2, None, None), (3, 11, 1)])
    with pytest.raises(InputRefused, match="notes, row 3, column a, b: A link to 'pairs' fills"):
        noted([(1, 1, 11), (2, 1, None)])
    with pytest.raises(InputRefused, match="No row of 'pairs' with the key '1, 1'"):
        noted([(1, 1, 1)])


def test_a_key_that_stands_twice_far_apart_is_found_without_remembering_it(tmp_path: Path):
    readings = frames()["readings"]
    again = pd.concat([readings, readings.iloc[[1]]])
    with pytest.raises(InputRefused, match="readings, row 6: Its key stands already in row 3"):
        write(tmp_path / "out", changed={"readings": again}, rows_at_once=2)
    assert list(tmp_path.iterdir()) == []


def test_a_frame_of_categories_a_slice_and_arrow_text_are_as_good_as_any(tmp_path: Path):
    readings = frames()["readings"].assign(side=lambda them: them["side"].astype("category"))
    other = {
        "readings": readings.astype({"visit": "string[pyarrow]"}),
        "visits": frames()["visits"].astype({"day": "Int64"}).iloc[:, ::-1],
        "runners": frames()["runners"].set_index(np.array([7, 7])),
    }
    one, two = write(tmp_path / "one"), write(tmp_path / "two", changed=other)
    assert one.manifest.written() == two.manifest.written()


@pytest.mark.parametrize("name", ["manifest.json", "../note.txt", "note.exe", "a/b.txt", ".txt"])
def test_a_text_with_a_name_that_is_not_its_own_is_refused(tmp_path: Path, name: str):
    with (
        pytest.raises(InputRefused, match="cannot be a text of the package"),
        PackageWriter(tmp_path / "out", PACKAGE) as writer,
    ):
        writer.finish(texts={name: "x"})
    assert list(tmp_path.iterdir()) == []


def test_what_no_manifest_can_hold_is_refused_and_nothing_is_left(tmp_path: Path):
    with (
        pytest.raises(InputRefused, match="finite numbers"),
        PackageWriter(tmp_path / "out", PACKAGE) as writer,
    ):
        writer.finish(extra={"risk": float("nan")})
    assert list(tmp_path.iterdir()) == []


def test_the_described_format_cannot_be_left_out(tmp_path: Path):
    with pytest.raises(InputRefused, match="CSV cannot be left out; given: xlsx"):
        PackageWriter(tmp_path / "out", PACKAGE, {FileFormat.XLSX})
    assert list(tmp_path.iterdir()) == []


def test_what_stands_is_never_replaced_and_an_empty_folder_is_filled(tmp_path: Path):
    folder = tmp_path / "out"
    folder.mkdir()
    check_place(folder)
    before = write(folder).manifest
    kept = (folder / "manifest.json").read_bytes()
    for place in (folder, folder / "manifest.json"):
        with pytest.raises(Conflict, match="never replaces what stands"):
            write(place)
    assert (folder / "manifest.json").read_bytes() == kept == before.written()
    assert list(tmp_path.iterdir()) == [folder]


def test_what_came_to_stand_meanwhile_is_not_replaced(tmp_path: Path):
    folder = tmp_path / "out"
    with PackageWriter(folder, PACKAGE) as writer:
        folder.mkdir()
        (folder / "mine.txt").write_text("mine")
        with pytest.raises(Conflict):
            writer.finish()
    assert [path.name for path in tmp_path.rglob("*")] == ["out", "mine.txt"]


def test_a_place_that_cannot_be_written_is_told_in_words(tmp_path: Path):
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(StoreUnavailable, match="cannot be written to"):
        PackageWriter(tmp_path / "file" / "out", PACKAGE)


@contextmanager
def no_file_above(size: int) -> Iterator[None]:
    """The system refuses to write more than so many bytes into a file."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_disk_that_is_full_is_told_in_words_and_nothing_is_left(tmp_path: Path):
    many = pd.DataFrame({"n": np.random.default_rng(1).integers(0, 2**50, 200_000)})
    with (
        pytest.raises(StoreUnavailable, match="Nothing was exported; make room there"),
        no_file_above(400_000),
    ):
        write(tmp_path / "out", changed={"counts": many}, rows_at_once=100_000)
    assert list(tmp_path.iterdir()) == []


KILLED = """
import sys
from pathlib import Path
from casebook.packing.writing import PackageWriter
from tests.packing.packed import PACKAGE, frames
writer = PackageWriter(Path(sys.argv[1]), PACKAGE)
writer.add("runners", frames()["runners"])
print("written", flush=True)
sys.stdin.read()
"""


def test_a_killed_export_leaves_nothing_in_its_place_and_the_next_one_clears_up(tmp_path: Path):
    folder = tmp_path / "out [1]"
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(folder)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        cwd=Path(__file__).parents[2],
    ) as process:  # fmt: skip
        assert process.stdout.readline() == "written\n"
        (living,) = tmp_path.iterdir()
        write(tmp_path / "other")
        # Another export to the same place leaves a living one's folder alone.
        with PackageWriter(folder, PACKAGE):
            assert living.is_dir()
        process.send_signal(signal.SIGKILL)
    assert living.is_dir()
    assert not folder.exists()
    write(folder)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["other", "out [1]"]


def test_whole_numbers_that_a_spreadsheet_cannot_hold_are_refused(tmp_path: Path):
    large = pd.DataFrame({"n": [1, 2**53 + 1]})
    with pytest.raises(InputRefused, match="counts, row 3, column n: It is at most"):
        write(tmp_path / "out", changed={"counts": large})


def test_minus_zero_is_written_as_zero(tmp_path: Path):
    readings = frames()["readings"].assign(drop=-0.0)
    folder = write(tmp_path / "out", changed={"readings": readings}).folder
    assert "-0" not in (folder / "data/readings.csv").read_text("utf-8")
