"""Backup and restore: the same casebook again, on either database, or nothing at all."""

from __future__ import annotations

import hashlib
import json
import shutil
import signal
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from sqlalchemy import event, select, text

from casebook.domain.errors import CasebookError, InputRefused, StoreUnavailable
from casebook.domain.people import Identity
from casebook.domain.sides import Side
from casebook.domain.visits import Visit, value_of_mean, value_of_trials
from casebook.services.attaching import (
    GivenFile,
    attach_files,
    list_attachments,
    read_attachment,
    strike_out_attachment,
)
from casebook.services.backing_up import back_up
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.recording import find_visit, record_visit
from casebook.services.registering import record_injury, register_runner
from casebook.services.restoring import restore
from casebook.storage import dumping, migrating
from casebook.storage.session import connected, writing
from casebook.storage.tables import Row
from tests.builders import BEND, STRENGTH, a_runner, a_visit, an_injury
from tests.forked import Forked
from tests.pictures import a_jpeg, a_pdf, a_png
from tests.stores import Server, furnish

ROOT = Path(__file__).resolve().parents[2]
DAY = a_visit().visited_on
Everything = dict[str, list[tuple[Any, ...]]]


def everything(casebook: Casebook) -> Everything:
    """Every row of every table, read by the product's own typed columns."""
    with connected(casebook.engine) as connection:
        return {
            table.name: [
                tuple(row)
                for row in connection.execute(select(table).order_by(*table.primary_key.columns))
            ]
            for table in Row.metadata.sorted_tables
        }


def last_ids(casebook: Casebook) -> dict[str, int]:
    with connected(casebook.engine) as connection:
        return dumping.last_ids(connection, dumping.tables_of(connection))


def fill(casebook: Casebook) -> None:
    """Names, visits, a complaint, and attachments of which one is struck out."""
    register_runner(
        casebook,
        a_runner(code="Ü-2 ‘x’", birth_year=1988),
        Identity(runner="Ü-2 ‘x’", given_name="Ina\t–", family_name="Vented", birth_date=None),
    )
    record_injury(casebook, an_injury())
    record_visit(casebook, a_visit(note='two\nlines, "quoted", \\ and é'), by="AB")
    record_visit(casebook, a_visit(visited_on=date(2026, 4, 1)), by="")
    files = [
        GivenFile(name="a", content=a_jpeg(), caption="side"),
        GivenFile(name="b", content=a_png()),
    ]
    _, second = attach_files(casebook, "T-001", DAY, files, by="AB").attached
    attach_files(casebook, "T-001", date(2026, 4, 1), [GivenFile(name="c", content=a_pdf())], by="")
    strike_out_attachment(casebook, second, reason="not this runner", by="AB")


@pytest.fixture
def files_of_servers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "files of servers"
    monkeypatch.setenv("CASEBOOK_FILES", str(folder))
    return folder


@contextmanager
def new_place(kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    if kind == "sqlite":
        yield str(tmp_path / "restored.sqlite")
        return
    server: Server = request.getfixturevalue("postgresql")
    name = server.create()
    yield server.url(name)
    server.drop(name)


@pytest.mark.parametrize("into", ["sqlite", "postgresql"])
def test_a_restored_casebook_is_the_same_on_either_database(
    clinic: Casebook,
    into: str,
    request: pytest.FixtureRequest,
    tmp_path: Path,
    files_of_servers: Path,
):
    fill(clinic)
    made = back_up(clinic, tmp_path / "b.zip")
    assert (made.told, made.files, made.entries) == ((), 3, everything(clinic)["history"][-1][0])
    before = everything(clinic)
    if into == clinic.engine.dialect.name == "postgresql":
        shutil.rmtree(files_of_servers)  # both would share it
    with new_place(into, request, tmp_path) as place:
        done = restore(tmp_path / "b.zip", place)
        assert (done.rows, done.files, done.told) == (made.rows, 3, ())
        again = open_casebook(place)
        assert everything(again) == before
        assert last_ids(again) == last_ids(clinic)
        assert check_casebook(again).ok
        for one in list_attachments(again, "T-001"):
            assert read_attachment(again, one.attachment_id)[0] == one
        # The guard of the history stands, and new rows get new ids.
        with pytest.raises(Exception, match="only ever added to"), writing(again.engine) as unit:
            unit.execute(text("DELETE FROM history"))
        third = record_visit(again, a_visit(visited_on=date(2026, 5, 1)), by="AB")
        assert third.visit_id > max(row[0] for row in before["visit"])
        again.close()


amounts = st.floats(-1e6, 1e6, allow_nan=False).map(lambda number: number + 0.0)
visits = st.builds(
    lambda day, left, right, note: Visit(
        runner="T-001",
        visited_on=DAY + timedelta(days=day - 60),
        kind=a_visit().kind,
        conditions=a_visit().conditions,
        values=(
            value_of_trials(STRENGTH, Side.LEFT, left),
            value_of_mean(BEND, Side.RIGHT, right, 3),
        ),
        note=note,
    ),
    st.integers(0, 59),
    st.lists(amounts.map(abs), min_size=1, max_size=7),
    amounts,
    st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), max_size=30),
)


@settings(
    max_examples=3,
    # Each example makes three databases: a failing one is short enough as it is.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(drawn=st.lists(visits, min_size=1, max_size=6, unique_by=lambda visit: visit.visited_on))
def test_whatever_is_stored_comes_back_from_file_to_server_to_file(
    drawn: list[Visit],
    sqlite_template: Path,
    postgresql: Server,
    tmp_path: Path,
    files_of_servers: Path,
):
    for old in tmp_path.iterdir():
        old.unlink() if old.is_file() else shutil.rmtree(old)
    shutil.copyfile(sqlite_template, tmp_path / "first.sqlite")
    first = open_casebook(str(tmp_path / "first.sqlite"))
    furnish(first)
    for visit in drawn:
        record_visit(first, visit, by="AB")
    back_up(first, tmp_path / "1.zip")
    name = postgresql.create()
    restore(tmp_path / "1.zip", postgresql.url(name))
    server = open_casebook(postgresql.url(name))
    back_up(server, tmp_path / "2.zip")
    restore(tmp_path / "2.zip", str(tmp_path / "last.sqlite"))
    last = open_casebook(str(tmp_path / "last.sqlite"))
    assert everything(first) == everything(server) == everything(last)
    # Even the backups' tables are alike, byte for byte.
    with zipfile.ZipFile(tmp_path / "1.zip") as one, zipfile.ZipFile(tmp_path / "2.zip") as two:
        names = [name for name in one.namelist() if name != "manifest.json"]
        assert [one.read(name) for name in names] == [two.read(name) for name in names]
    for casebook in (first, server, last):
        casebook.close()
    postgresql.drop(name)


@pytest.fixture(scope="module")
def sound(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound backup, made once."""
    folder = tmp_path_factory.mktemp("sound")
    shutil.copyfile(sqlite_template, folder / "c.sqlite")
    casebook = open_casebook(str(folder / "c.sqlite"))
    furnish(casebook)
    fill(casebook)
    back_up(casebook, folder / "b.zip")
    casebook.close()
    return folder / "b.zip"


def rewritten(
    sound: Path, place: Path, change: Callable[[dict[str, bytes]], None], *, rehash: bool = False
) -> Path:
    """A backup with other parts; with `rehash` its manifest says that they are right."""
    with zipfile.ZipFile(sound) as old:
        parts, comment = {name: old.read(name) for name in old.namelist()}, old.comment
    change(parts)
    if rehash:
        said = json.loads(parts["manifest.json"])
        for part in said["parts"]:
            content = parts[part["name"]]
            part |= {"n_bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
        parts["manifest.json"] = json.dumps(said).encode()
        comment = hashlib.sha256(parts["manifest.json"]).hexdigest().encode()
    with zipfile.ZipFile(place, "w") as new:
        for name, content in parts.items():
            new.writestr(name, content)
        new.comment = comment
    return place


def replaced(name: str, old: bytes, new: bytes) -> Callable[[dict[str, bytes]], None]:
    def change(parts: dict[str, bytes]) -> None:
        assert old in parts[name]
        parts[name] = parts[name].replace(old, new, 1)

    return change


def first_file(parts: dict[str, bytes]) -> None:
    name = next(name for name in parts if name.startswith("files/"))
    parts[name] = parts[name][:-1] + b"x"


ALTERED = [
    (replaced("tables/visit.jsonl", b"2026-03-02", b"2026-03-03"), "tables/visit.jsonl: it was"),
    (first_file, r"files/[0-9a-f]{64}: it was altered"),
    (replaced("manifest.json", b"2026", b"2025"), "manifest.json: it was altered"),
    (lambda parts: parts.pop("tables/trial.jsonl"), "tables/trial.jsonl: it is missing"),
    (lambda parts: parts.pop("manifest.json"), "'manifest.json' is missing"),
    (lambda parts: parts.update({"../x": b"y"}), r"\.\./x: it does not belong"),
]
FORGED = [
    (
        replaced("tables/history.jsonl", b"not this runner", b"nothing to see"),
        r"tables/history\.jsonl: the check 'history_chain' fails",
    ),
    (replaced("tables/trial.jsonl", b"310.0", b"311.0"), "check 'trials_agree' fails"),
    (replaced("tables/visit.jsonl", b'"2026-03-02"', b'"once"'), "column visited_on"),
    (replaced("tables/value.jsonl", b",1,", b",8888,"), "value"),
    (replaced("tables/runner.jsonl", b'"code"', b'"coda"'), "columns are not those"),
    (lambda parts: parts.update({"tables/trial.jsonl": b"{}\n"}), "line 1 is no row"),
    (replaced("tables/attachment.jsonl", b"\n", b"\n\n"), "line 2 is no JSON"),
]


@pytest.mark.parametrize(
    ("change", "told", "rehash"),
    [(*case, False) for case in ALTERED] + [(*case, True) for case in FORGED],
)
def test_an_altered_backup_is_refused_by_name_of_the_part_and_leaves_nothing(
    sound: Path,
    tmp_path: Path,
    change: Callable[[dict[str, bytes]], None],
    told: str,
    rehash: bool,
):
    altered = rewritten(sound, tmp_path / "b.zip", change, rehash=rehash)
    with pytest.raises(InputRefused, match=told) as refusal:
        restore(altered, str(tmp_path / "new.sqlite"))
    assert "Nothing was restored" in str(refusal.value)
    assert [path.name for path in tmp_path.iterdir()] == ["b.zip"]


def test_a_forged_history_leaves_an_empty_database_on_a_server(
    sound: Path, postgresql: Server, tmp_path: Path, files_of_servers: Path
):
    change, told = FORGED[0]
    altered = rewritten(sound, tmp_path / "b.zip", change, rehash=True)
    name = postgresql.create()
    with pytest.raises(InputRefused, match=told):
        restore(altered, postgresql.url(name))
    assert not files_of_servers.exists()
    # Nothing stands in its way: the sound one is taken by the same database.
    restore(sound, postgresql.url(name))
    with pytest.raises(StoreUnavailable, match="holds tables already"):
        restore(sound, postgresql.url(name))
    postgresql.drop(name)


@pytest.mark.parametrize("part", [0.0, 0.3, 0.999])
def test_a_backup_that_breaks_off_is_refused(sound: Path, tmp_path: Path, part: float):
    content = sound.read_bytes()
    (tmp_path / "b.zip").write_bytes(content[: int(len(content) * part)])
    with pytest.raises(InputRefused, match=r"no backup, or it breaks off|its hash does not fit"):
        restore(tmp_path / "b.zip", str(tmp_path / "new.sqlite"))
    assert [path.name for path in tmp_path.iterdir()] == ["b.zip"]


def test_no_flipped_byte_goes_unseen(sound: Path, tmp_path: Path):
    content = sound.read_bytes()
    kept = 0
    for place in range(7, len(content), len(content) // 20):
        wrong = bytearray(content)
        wrong[place] ^= 0x41
        (tmp_path / "b.zip").write_bytes(wrong)
        try:
            restore(tmp_path / "b.zip", str(tmp_path / "new.sqlite"))
        except CasebookError:
            assert sorted(path.name for path in tmp_path.iterdir()) == ["b.zip"]
            continue
        # A byte of the zip that means nothing, such as a date: what was restored is whole.
        kept += 1
        again = open_casebook(str(tmp_path / "new.sqlite"))
        assert check_casebook(again).ok
        assert find_visit(again, "T-001", DAY) is not None
        again.close()
        (tmp_path / "new.sqlite").unlink()
        shutil.rmtree(tmp_path / "new.sqlite.files")
    assert kept < 6


def test_what_was_wrong_already_is_told_and_restored_as_it_was(
    sqlite_clinic: Casebook, tmp_path: Path
):
    fill(sqlite_clinic)
    with writing(sqlite_clinic.engine) as unit:
        unit.execute(text("UPDATE trial SET reading = reading + 1 WHERE number = 2"))
        unit.commit()
    gone = list_attachments(sqlite_clinic, "T-001")[0].sha256
    shutil.rmtree(tmp_path / "casebook.sqlite.files" / gone[:2])
    made = back_up(sqlite_clinic, tmp_path / "b.zip")
    done = restore(tmp_path / "b.zip", str(tmp_path / "new.sqlite"))
    for told in (made.told, done.told):
        assert {line.partition(":")[0] for line in told} >= {"trials_agree", "attachments"}
    assert f"{gone[:12]}… is missing" in done.told[-1]
    again = open_casebook(str(tmp_path / "new.sqlite"))
    assert everything(again) == everything(sqlite_clinic)
    again.close()


def test_nothing_that_stands_is_replaced(sound: Path, tmp_path: Path, sqlite_casebook: Casebook):
    kept = tmp_path / "kept"
    kept.write_text("mine")
    with pytest.raises(StoreUnavailable, match="is there already"):
        back_up(sqlite_casebook, kept)
    with pytest.raises(StoreUnavailable, match=r"stands at .* already"):
        restore(sound, str(kept))
    assert kept.read_text() == "mine"
    with pytest.raises(StoreUnavailable, match="cannot be written"):
        back_up(sqlite_casebook, tmp_path / "no" / "b.zip")
    with pytest.raises(StoreUnavailable, match="does not exist"):
        restore(sound, str(tmp_path / "no" / "new.sqlite"))
    with pytest.raises(InputRefused, match="cannot be read"):
        restore(tmp_path / "none.zip", str(tmp_path / "new.sqlite"))
    left = {path.name for path in tmp_path.iterdir()}
    assert {name for name in left if not name.startswith("casebook.sqlite")} == {"kept"}


def test_a_backup_shows_one_moment_while_somebody_saves(clinic: Casebook, tmp_path: Path):
    record_visit(clinic, a_visit(), by="AB")
    before = everything(clinic)
    other = open_casebook(clinic.url)
    later = replace(a_visit(), visited_on=date(2026, 4, 1))
    saved = []

    @event.listens_for(clinic.engine, "before_cursor_execute")
    def save(_c: Any, _k: Any, statement: str, *_: Any) -> None:
        if "FROM visit" in statement and "ORDER BY" in statement and not saved:
            saved.append(record_visit(other, later, by="CD"))

    back_up(clinic, tmp_path / "b.zip")
    assert saved
    restore(tmp_path / "b.zip", str(tmp_path / "then.sqlite"))
    then = open_casebook(str(tmp_path / "then.sqlite"))
    assert everything(then) == before
    assert everything(clinic) != before
    for casebook in (then, other):
        casebook.close()


def test_a_backup_of_an_older_revision_is_brought_up_to_date(
    sound: Path, empty_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    files_of_servers: Path,
):  # fmt: skip
    newer = tmp_path / "migrations"
    shutil.copytree(ROOT / "migrations", newer)
    (newer / "versions" / "later.py").write_text(
        f"from alembic import op\nimport sqlalchemy as sa\n"
        f"revision, down_revision = 'later', {migrating.head()!r}\n"
        "branch_labels = depends_on = None\n"
        "def upgrade():\n"
        "    op.add_column('clinic', sa.Column('motto', sa.Text(), server_default='calm'))\n"
    )
    monkeypatch.setattr(migrating, "folder", lambda _: newer)
    restore(sound, empty_url)
    again = open_casebook(empty_url)
    with connected(again.engine) as connection:
        assert connection.execute(text("SELECT motto FROM clinic")).scalar_one() == "calm"
    assert check_casebook(again).ok
    again.close()
    monkeypatch.undo()
    monkeypatch.setenv("CASEBOOK_FILES", str(files_of_servers))
    with pytest.raises(StoreUnavailable, match="newer version"):
        open_casebook(empty_url)


KILLED = """
import os, sys
from pathlib import Path
from sqlalchemy import event
import casebook.services.restoring as restoring
from casebook.storage.session import Unit
def die(*_, **__):
    os.kill(os.getpid(), 9)
when = sys.argv[3]
if when == "before the rows":
    restoring._fill = die
elif when == "before the commit":
    event.listen(Unit, "before_commit", die)
else:
    restoring._give = die
restoring.restore(Path(sys.argv[1]), sys.argv[2])
"""


@pytest.mark.parametrize(
    ("kind", "when"),
    [
        ("sqlite", "before the rows"),
        ("sqlite", "before the commit"),
        ("sqlite", "before it has its name"),
        ("postgresql", "before the commit"),
    ],
)
def test_a_restore_that_is_killed_leaves_nothing_that_opens_and_can_be_done_again(
    sound: Path,
    tmp_path: Path,
    kind: str,
    when: str,
    request: pytest.FixtureRequest,
    files_of_servers: Path,
):
    with new_place(kind, request, tmp_path) as place:
        killed = Forked(KILLED, str(sound), place, when, said=tmp_path / "said").ended()
        assert killed.returncode == -signal.SIGKILL, killed.stderr
        with pytest.raises(StoreUnavailable, match=r"There is no casebook|holds no casebook"):
            open_casebook(place)
        # Under the name of a restore that goes on stands nothing, or the whole of it.
        for left in tmp_path.glob("*.restoring-????????????"):
            if when == "before it has its name":
                whole = open_casebook(str(left))
                assert whole.place.endswith(left.name)
                assert find_visit(whole, "T-001", DAY) is not None
                whole.close()
                continue
            with pytest.raises(StoreUnavailable, match=r"not finished|no casebook"):
                open_casebook(str(left))
        restore(sound, place)
        again = open_casebook(place)
        assert check_casebook(again).ok
        again.close()
