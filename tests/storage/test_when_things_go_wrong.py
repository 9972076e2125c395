"""A full disk, a killed save, a lock, a read-only file: told clearly, and the store stays whole."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, text
from sqlalchemy.exc import OperationalError

from casebook.domain.errors import InputRefused, StoreUnavailable
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.recording import find_visit, record_visit
from casebook.storage.database import sqlite_path
from casebook.storage.refusals import of_sqlite_code, refusal
from casebook.storage.session import reading, writing
from casebook.storage.tables import ClinicRow
from tests.builders import a_visit

HERE = Path(__file__).parent
ROOT = HERE.parent.parent


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def _until_full(*command: str) -> dict[str, object]:
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=300, env=_environment(), check=False
    )
    assert done.returncode == 0, done.stderr
    told: dict[str, object] = json.loads(done.stdout)
    return told


def _assert_full_and_whole(told: dict[str, object]) -> None:
    saved = told["saved"]
    assert isinstance(saved, int)
    assert saved >= 1
    assert "full" in str(told["told"])
    assert "Nothing was stored" in str(told["told"])
    assert told["kept"] == [saved, 4 * saved, 1200 * saved]
    assert told["sound"] is True


def test_a_database_that_may_not_grow_refuses_and_stays_whole(sqlite_clinic: Casebook) -> None:
    path = sqlite_path(sqlite_clinic.url)
    assert path is not None
    sqlite_clinic.close()
    pages = path.stat().st_size // 4096 + 40
    script = str(HERE / "until_full.py")
    _assert_full_and_whole(_until_full(sys.executable, script, str(path), str(pages)))


def test_a_full_disk_refuses_and_leaves_the_casebook_whole(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    """A real file system of one megabyte, where the system lets us have one."""
    path = sqlite_path(sqlite_clinic.url)
    assert path is not None
    sqlite_clinic.close()
    tiny = tmp_path / "tiny"
    tiny.mkdir()
    script = str(HERE / "until_full.py")
    inside = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c"]
    mount = f"mount -t tmpfs -o size=1m tmpfs '{tiny}'"
    possible = (
        shutil.which("unshare")
        and not subprocess.run([*inside, mount], capture_output=True, check=False).returncode
    )
    if possible:
        command = f"{mount} && cp '{path}' '{tiny}/c.sqlite' && '{sys.executable}' '{script}' "
        told = _until_full(*inside, f"{command} '{tiny}/c.sqlite' 0")
    else:
        # Where namespaces are forbidden the system can still limit how long a file may grow.
        limit = path.stat().st_size // 1024 + 400
        command = f"ulimit -f {limit}; '{sys.executable}' '{script}' '{path}' 0"
        told = _until_full("bash", "-c", command)
    _assert_full_and_whole(told)


def test_a_save_that_is_killed_midway_leaves_nothing_half_written(clinic: Casebook) -> None:
    save = subprocess.Popen(
        [sys.executable, str(HERE / "killed_midway.py"), clinic.url],
        stdout=subprocess.PIPE,
        text=True,
        env=_environment(),
    )
    assert save.stdout is not None
    assert save.stdout.readline() == "written\n"
    save.send_signal(signal.SIGKILL)
    save.communicate(timeout=60)
    assert save.returncode == -signal.SIGKILL
    assert find_visit(clinic, "T-001", a_visit().visited_on) is None
    assert check_casebook(clinic).ok
    saved = record_visit(clinic, a_visit(), by="AB")
    assert (saved.revision, saved.added) == (1, 3)
    assert check_casebook(clinic).ok


def test_a_casebook_that_stays_locked_is_told_and_nothing_is_stored(
    sqlite_clinic: Casebook,
) -> None:
    path = sqlite_path(sqlite_clinic.url)
    assert path is not None
    event.listen(
        sqlite_clinic.engine,
        "connect",
        lambda connection, _: connection.execute("PRAGMA busy_timeout = 50"),
    )
    sqlite_clinic.engine.dispose()
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreUnavailable, match="written by somebody else"):
        record_visit(sqlite_clinic, a_visit(), by="AB")
    # Reading goes on meanwhile.
    assert find_visit(sqlite_clinic, "T-001", a_visit().visited_on) is None
    holder.execute("ROLLBACK")
    holder.close()
    assert record_visit(sqlite_clinic, a_visit(), by="AB").added == 3


def test_a_row_that_stays_locked_on_a_server_is_told(
    postgresql_casebook: Casebook,
) -> None:
    statement = text("UPDATE clinic SET name = 'x'")

    def rename() -> None:
        with writing(postgresql_casebook.engine) as unit:
            unit.execute(text("SET LOCAL lock_timeout = 50"))
            unit.execute(statement)

    with writing(postgresql_casebook.engine) as holder:
        holder.execute(statement)
        with pytest.raises(StoreUnavailable, match="written by somebody else"):
            rename()


def test_nobody_writes_beside_a_unit_that_must_be_alone(clinic: Casebook) -> None:
    setting = "PRAGMA busy_timeout = 50"
    if clinic.engine.dialect.name == "postgresql":
        setting = "SET lock_timeout = 50"
    other = open_casebook(clinic.url)
    event.listen(other.engine, "connect", lambda connection, _: _set(connection, setting))
    other.engine.dispose()
    with writing(clinic.engine, alone=True):
        with pytest.raises(StoreUnavailable, match="written by somebody else"):
            record_visit(other, a_visit(), by="AB")
        assert find_visit(other, "T-001", a_visit().visited_on) is None
    assert record_visit(other, a_visit(), by="AB").added == 3
    other.close()


def _set(connection: Any, setting: str) -> None:
    connection.execute(setting)
    connection.commit()


def test_a_read_only_casebook_is_told(sqlite_clinic: Casebook) -> None:
    event.listen(
        sqlite_clinic.engine,
        "connect",
        lambda connection, _: connection.execute("PRAGMA query_only = ON"),
    )
    sqlite_clinic.engine.dispose()
    with pytest.raises(StoreUnavailable, match="may not be written"):
        record_visit(sqlite_clinic, a_visit(), by="AB")


def test_a_unit_that_reads_cannot_write_on_a_server(postgresql_casebook: Casebook) -> None:
    with (
        pytest.raises(StoreUnavailable, match="may not be written"),
        reading(postgresql_casebook.engine) as unit,
    ):
        unit.execute(text("UPDATE clinic SET name = 'x'"))


def test_a_unit_that_does_not_commit_stores_nothing(casebook: Casebook) -> None:
    with writing(casebook.engine) as unit:
        unit.execute(text("UPDATE clinic SET name = 'not said to be kept'"))
    with reading(casebook.engine) as unit:
        assert unit.get_one(ClinicRow, casebook.clinic_id).name == "Clinic"


def test_a_unit_that_fails_stores_nothing_and_gives_its_connection_back(
    casebook: Casebook,
) -> None:
    def fail() -> None:
        with writing(casebook.engine) as unit:
            unit.execute(text("UPDATE clinic SET name = 'lost'"))
            raise KeyError("a bug")

    for _ in range(20):
        with pytest.raises(KeyError):
            fail()
    with reading(casebook.engine) as unit:
        assert unit.get_one(ClinicRow, casebook.clinic_id).name == "Clinic"


def test_a_reader_sees_one_state_while_somebody_saves(clinic: Casebook) -> None:
    count = text("SELECT count(*) FROM visit")
    with reading(clinic.engine) as unit:
        assert unit.execute(count).scalar_one() == 0
        record_visit(clinic, a_visit(), by="AB")
        assert unit.execute(count).scalar_one() == 0
    with reading(clinic.engine) as unit:
        assert unit.execute(count).scalar_one() == 1


def test_a_server_that_stops_in_between_is_told(postgresql_casebook: Casebook) -> None:
    def write_while_the_connection_is_cut() -> None:
        with writing(postgresql_casebook.engine) as unit:
            own = unit.execute(text("SELECT pg_backend_pid()")).scalar_one()
            with reading(postgresql_casebook.engine) as other:
                other.execute(text("SELECT pg_terminate_backend(:own)"), {"own": own})
            unit.execute(text("UPDATE clinic SET name = 'x'"))

    with pytest.raises(StoreUnavailable, match="cannot be reached"):
        write_while_the_connection_is_cut()
    again = open_casebook(postgresql_casebook.url)
    assert check_casebook(again).ok
    again.close()


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("SQLITE_BUSY_SNAPSHOT", "somebody else"),
        ("SQLITE_LOCKED", "somebody else"),
        ("SQLITE_FULL", "full"),
        ("SQLITE_READONLY_DIRECTORY", "read-only"),
        ("SQLITE_CORRUPT_INDEX", "damaged"),
        ("SQLITE_NOTADB", "not a casebook"),
        ("SQLITE_CANTOPEN", "cannot be opened"),
        ("SQLITE_IOERR_WRITE", "could not be read or written"),
    ],
)
def test_every_failure_of_a_file_has_its_sentence(code: str, told: str) -> None:
    # Result codes as SQLite documents them (sqlite.org/rescode.html, names from memory).
    assert told in str(of_sqlite_code(code))


def test_a_number_too_large_for_its_column_is_refused(postgresql_casebook: Casebook) -> None:
    with (
        pytest.raises(InputRefused, match="cannot keep"),
        writing(postgresql_casebook.engine) as unit,
    ):
        unit.execute(text("SELECT 99999999999::bigint::integer"))


def test_an_error_of_the_program_is_not_dressed_up_as_a_refusal(casebook: Casebook) -> None:
    with pytest.raises(Exception, match="no_such_table") as bug, writing(casebook.engine) as unit:
        unit.execute(text("SELECT * FROM no_such_table"))
    assert not isinstance(bug.value, StoreUnavailable)
    assert refusal(bug.value) is bug.value  # type: ignore[arg-type]
    assert isinstance(bug.value, OperationalError) or "UndefinedTable" in str(bug.value)
