"""A killed import and a full disk leave the casebook whole and without any of the import."""

from __future__ import annotations

import signal
import sqlite3
import textwrap
import threading
from pathlib import Path

import pytest
from sqlalchemy import event

from casebook.domain.errors import StoreUnavailable
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.registering import list_runners
from casebook.storage.database import make_engine, sqlite_path
from tests.bench.import_speed import write_table
from tests.forked import Forked

N_VALUES = 60_000


def test_an_import_killed_while_it_writes_leaves_none_of_it(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = sqlite_path(sqlite_casebook.url)
    assert path is not None
    table = tmp_path / "visits.csv"
    write_table(table, N_VALUES, trials=1)
    sqlite_casebook.close()
    # The child stops itself for good in the midst of the values, as a kill would.
    program = textwrap.dedent(
        """
        import os, signal, sys
        from casebook.services.importing import import_files
        from casebook.services.keeping import open_casebook

        def kill(done, whole, what):
            if what == "Storing" and done > whole / 2:
                print(done, flush=True)
                os.kill(os.getpid(), signal.SIGKILL)

        import_files(open_casebook(sys.argv[1]), [sys.argv[2]], progress=kill)
        """
    )
    child = Forked(program, str(path), str(table), said=tmp_path / "said").ended()
    assert child.returncode == -signal.SIGKILL, child.stderr
    assert int(child.stdout) > N_VALUES
    casebook = open_casebook(str(path))
    try:
        assert check_casebook(casebook).ok
        assert list_runners(casebook) == ()
        with sqlite3.connect(path) as connection:
            counts = [
                connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
                for name in ("visit", "value", "trial")
            ]
        assert counts == [0, 0, 0]
        report = import_files(casebook, [table])
        assert report.added == N_VALUES
    finally:
        casebook.close()


def test_a_full_disk_is_told_calmly_and_nothing_is_stored(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = sqlite_path(sqlite_casebook.url)
    assert path is not None
    table = tmp_path / "visits.csv"
    write_table(table, 20_000, trials=1)
    # SQLite itself then answers as it does on a full disk.
    full = make_engine(sqlite_casebook.url)

    @event.listens_for(full, "connect")
    def no_more_pages(connection: sqlite3.Connection, record: object) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages + 50}")

    cramped = Casebook(url=sqlite_casebook.url, engine=full, clinic_id=sqlite_casebook.clinic_id)
    with pytest.raises(StoreUnavailable, match="full"):
        import_files(cramped, [table])
    cramped.close()
    assert check_casebook(sqlite_casebook).ok
    assert list_runners(sqlite_casebook) == ()


def test_two_imports_at_once_take_turns_and_lose_nothing(
    casebook: Casebook, tmp_path: Path
) -> None:
    tables = []
    for number in range(2):
        path = tmp_path / f"{number}.csv"
        rows = "".join(f"R{number}-{i},2026-03-02,cadence,none,1,170\n" for i in range(300))
        both = f"BOTH,2026-03-02,step_width,none,{number + 1},4\n"
        path.write_text(f"runner,visit_date,metric,side,trial,value\n{both}{rows}")
        tables.append(path)
    added: list[int] = []

    def run(path: Path) -> None:
        added.append(import_files(casebook, [path]).added)

    threads = [threading.Thread(target=run, args=(path,)) for path in tables]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert added == [301, 301]
    assert len(list_runners(casebook)) == 601
    assert check_casebook(casebook).ok


def test_no_file_of_the_user_is_ever_written(sqlite_casebook: Casebook, tmp_path: Path) -> None:
    table = tmp_path / "visits.csv"
    write_table(table, 50, trials=1)
    before = (table.read_bytes(), table.stat().st_mtime_ns)
    import_files(sqlite_casebook, [table])
    assert (table.read_bytes(), table.stat().st_mtime_ns) == before
