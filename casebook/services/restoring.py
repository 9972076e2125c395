"""Restoring a backup into a new casebook, all or nothing.

Every part of the backup is compared with its hash first. Then the tables are made as they were
at the backup's revision, filled, brought up to date and checked; only when all of that held
does the new casebook stand. An SQLite file is filled under another name in the same folder
(`NAME.restoring-...`) and moved to its place last; on a server all of it is one transaction.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from casebook.domain.errors import Conflict, InputRefused, StoreUnavailable
from casebook.intake.backup_file import BackupReader, give_name, open_backup, refused
from casebook.services.checking_files import file_findings
from casebook.services.opened import files_folder
from casebook.storage import checks, dumping, files, history, migrating
from casebook.storage.database import address, make_engine, shown, sqlite_path
from casebook.storage.refusals import refusal
from casebook.storage.session import connected, writing

HISTORY = "tables/history.jsonl"
JOURNALS = ("-wal", "-shm", "-journal")


@dataclass(frozen=True, slots=True, kw_only=True)
class RestoreReport:
    """What was restored, and where.

    Parameters
    ----------
    made_at : str
        When the backup was made, ISO 8601 in UTC.
    told : tuple of str
        What was wrong with the casebook already when it was backed up.
    """

    place: str
    made_at: str
    tables: int
    rows: int
    files: int
    entries: int
    told: tuple[str, ...]


def restore(path: Path, url: str) -> RestoreReport:
    """Restore a backup into a new casebook; a refused one leaves nothing behind.

    Parameters
    ----------
    path : Path
        Of the backup.
    url : str
        Path or URL of the new casebook: a file that does not exist, or an empty database.

    Raises
    ------
    InputRefused
        For a damaged or altered backup, by name of the part.
    StoreUnavailable
        When something stands in the new place, or it cannot be written.
    """
    url = address(url)
    place = sqlite_path(url)
    if place is not None:
        _refuse_taken(place)
    with open_backup(path.expanduser()) as backup:
        if backup.manifest.revision not in migrating.known_revisions():
            raise StoreUnavailable(
                "The backup was made by a newer version of casebook (revision "
                f"'{backup.manifest.revision}'). Install that version. Nothing was restored."
            )
        folder = files_folder(url) if place is not None or backup.manifest.files else None
        with _files_put(backup, folder):
            told = _into_server(backup, url) if place is None else _into_file(backup, url, place)
        return _report(backup, url, told)


def _refuse_taken(place: Path) -> None:
    if place.exists():
        raise StoreUnavailable(
            f"Something stands at {place} already. A backup is restored into a new casebook "
            "only: name another file with --db, or move that one away first."
        )
    if not place.parent.is_dir():
        raise StoreUnavailable(
            f"The folder {place.parent} does not exist. Make it first, or name another place "
            "with --db."
        )


@contextmanager
def _files_put(backup: BackupReader, folder: Path | None) -> Iterator[None]:
    """Put the attached files in their places; take away again what was new if it fails."""
    new: list[str] = []
    try:
        if folder is not None:
            for sha256 in backup.manifest.files:
                if not files.HASH.fullmatch(sha256):
                    raise refused(f"files/{sha256}", "its name is no hash")
                if files.put(folder, sha256, backup.file(sha256)):
                    new.append(sha256)
        yield
    except BaseException:
        if folder is not None:
            for sha256 in new:
                files.remove(folder, sha256)
        raise


def _into_file(backup: BackupReader, url: str, place: Path) -> tuple[str, ...]:
    part = place.with_name(f"{place.name}.restoring-{uuid4().hex[:12]}")
    engine = make_engine(address(part))
    try:
        migrating.upgrade(engine, backup.manifest.revision)
        with writing(engine) as unit:
            _fill(backup, unit.connection())
            unit.commit()
        migrating.upgrade(engine)
        with connected(engine) as connection:
            told = _checked(backup, connection, url)
        # Closing the last connection writes SQLite's journal back into the one file.
        engine.dispose()
        files.flush(part)
        _give(part, place)
    finally:
        engine.dispose()
        for ending in ("", *JOURNALS):
            part.with_name(part.name + ending).unlink(missing_ok=True)
    return told


def _give(part: Path, place: Path) -> None:
    try:
        give_name(part, place)
    except FileExistsError:
        _refuse_taken(place)
        raise


def _into_server(backup: BackupReader, url: str) -> tuple[str, ...]:
    engine = make_engine(url)
    try:
        with migrating.making_alone(engine), writing(engine) as unit:
            connection = unit.connection()
            if migrating.table_names(connection):
                raise StoreUnavailable(
                    f"{shown(url)} holds tables already. A backup is restored into a new, empty "
                    "database only: make one and name it with --db."
                )
            migrating.upgrade_within(connection, backup.manifest.revision)
            _fill(backup, connection)
            migrating.upgrade_within(connection)
            told = _checked(backup, connection, url)
            unit.commit()
    finally:
        engine.dispose()
    return told


def _fill(backup: BackupReader, connection: Connection) -> None:
    """Put every row in its table, and see that all are there."""
    tables = {table.name: table for table in dumping.tables_of(connection)}
    listed = backup.manifest.tables
    for name in listed.keys() ^ tables.keys():
        words = "it is missing" if name in tables else "there is no such table at this revision"
        raise refused(f"tables/{name}.jsonl", words)
    for name, table in tables.items():
        part = listed[name]
        try:
            number = dumping.rows_in(connection, table, backup.columns(name), backup.rows(name))
        except dumping.WrongRow as wrong:
            where = f", column {wrong.column}" if wrong.column else ""
            raise refused(part.name + where, wrong.words) from wrong
        except SQLAlchemyError as error:
            found = refusal(error)
            if isinstance(found, Conflict | InputRefused):
                raise refused(part.name, f"a row of it cannot be stored ({found})") from error
            raise
        if number != part.rows:
            raise refused(part.name, f"it holds {number} rows instead of {part.rows}")
    if history.last(connection) != (backup.manifest.entries, backup.manifest.last_hash):
        raise refused(HISTORY, "it does not end as the manifest says")
    for name, last in backup.manifest.last_ids.items():
        if name in tables:
            dumping.never_give_again(connection, name, int(last))


def _checked(backup: BackupReader, connection: Connection, url: str) -> tuple[str, ...]:
    """Check the new casebook; what was wrong already when it was backed up is only told."""
    manifest = backup.manifest
    wrong = [
        finding
        for finding in (*checks.findings(connection), *file_findings(url, connection))
        if not finding.ok
    ]
    for finding in wrong:
        if finding.name not in manifest.found_wrong:
            part = HISTORY if finding.name.startswith("history") else "as restored"
            raise refused(part, f"the check '{finding.name}' fails: {finding.detail}")
    return tuple(f"{finding.name}: {finding.detail}" for finding in wrong)


def _report(backup: BackupReader, url: str, told: tuple[str, ...]) -> RestoreReport:
    manifest = backup.manifest
    return RestoreReport(
        place=shown(url),
        made_at=manifest.made_at,
        tables=len(manifest.tables),
        rows=sum(part.rows or 0 for part in manifest.tables.values()),
        files=len(manifest.files),
        entries=manifest.entries,
        told=told,
    )
