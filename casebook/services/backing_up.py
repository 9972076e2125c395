"""Backing up a whole casebook into one file, from one moment's state of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection

from casebook import __version__
from casebook.domain.errors import StoreUnavailable
from casebook.intake.backup_file import BackupWriter, Manifest, new_backup
from casebook.services import clock
from casebook.services.checking_files import file_findings
from casebook.services.opened import Casebook, files_folder
from casebook.storage import attachments, checks, dumping, files, history, migrating
from casebook.storage.session import reading


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupReport:
    """What stands in a backup.

    Parameters
    ----------
    tables, rows, files : int
        How many.
    n_bytes : int
        Size of the backup's file.
    told : tuple of str
        What was wrong with the casebook and is so in the backup, too.
    """

    path: str
    tables: int
    rows: int
    files: int
    entries: int
    n_bytes: int
    told: tuple[str, ...]


def back_up(casebook: Casebook, path: Path) -> BackupReport:
    """Write the whole casebook into one file: every table and every attached file.

    It is taken from one moment's state, while others go on working, and can be restored into
    an SQLite file or a PostgreSQL database alike. The casebook is checked on the way: what is
    wrong with it is told, and is in the backup as it is.

    Parameters
    ----------
    path : Path
        Of the backup; nothing may stand there.

    Raises
    ------
    StoreUnavailable
        When the file cannot be written or stands already.
    """
    path = path.expanduser().absolute()
    with new_backup(path) as backup, reading(casebook.engine) as unit:
        connection = unit.connection()
        wrong = [finding for finding in _findings(casebook, connection) if not finding.ok]
        told = [f"{finding.name}: {finding.detail}" for finding in wrong]
        tables = dumping.tables_of(connection)
        for table in tables:
            backup.add_table(table.name, table.columns.keys(), dumping.rows_out(connection, table))
        told += _add_files(casebook, connection, backup)
        entries, last_hash = history.last(connection)
        manifest = backup.finish(
            made_at=clock.now().isoformat(),
            made_by=__version__,
            revision=migrating.revision_of(connection) or "",
            last_ids=dumping.last_ids(connection, tables),
            entries=entries,
            last_hash=last_hash,
            found_wrong=tuple(finding.name for finding in wrong),
        )
    return _report(path, manifest, told)


def _findings(casebook: Casebook, connection: Connection) -> Iterator[checks.Finding]:
    yield from checks.findings(connection)
    yield from file_findings(casebook.url, connection)


def _add_files(casebook: Casebook, connection: Connection, backup: BackupWriter) -> Iterator[str]:
    """Write every file that a row or the history names; tells of those that are not whole."""
    named = {sha256 for sha256, _ in attachments.hashes_in_rows(connection)}
    in_rows = frozenset(named)
    named.update(attachments.hashes_in_history(connection))
    if not named:
        return
    try:
        folder = files_folder(casebook.url)
    except StoreUnavailable as why:
        yield str(why)
        return
    for sha256 in sorted(named):
        wrong = files.wrong_with(folder, sha256)
        if wrong is None:
            backup.add_file(sha256, files.stream(folder, sha256))
        elif sha256 not in in_rows:
            yield f"the file {sha256[:12]}… of an attachment that was struck out is {wrong}"


def _report(path: Path, manifest: Manifest, told: list[str]) -> BackupReport:
    return BackupReport(
        path=str(path),
        tables=len(manifest.tables),
        rows=sum(part.rows or 0 for part in manifest.tables.values()),
        files=len(manifest.files),
        entries=manifest.entries,
        n_bytes=path.stat().st_size,
        told=tuple(told),
    )
