"""A backup as one file: a zip of tables, attached files and a list of all of it with hashes.

    manifest.json        what stands in it: revision, parts with size and SHA-256, last ids
    tables/visit.jsonl   the columns' names in the first line, then a line for each row
    files/<SHA-256>      an attached file, as it is

Every part is read once and its hash compared before anything of it is believed. The comment
of the zip is the hash of the manifest, so that it too is seen to be whole.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any
from uuid import uuid4

from casebook.domain.errors import InputRefused, Problem, StoreUnavailable

WHAT = "casebook backup"
FORM = 1
MANIFEST = "manifest.json"
TABLES, LINES = "tables/", ".jsonl"
FILES = "files/"
BYTES_AT_ONCE = 1024**2
LARGEST_MANIFEST = 256 * 1024**2
LONGEST_LINE = 64 * 1024**2
# A fixed day: what stands in the manifest says when, and the parts are the same each time.
DAY = (1980, 1, 1, 0, 0, 0)
# What the library raises on a damaged zip, and (RuntimeError) an unknown packing or a password.
DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    RuntimeError,
    ValueError,
    OSError,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of a backup: its name, size and SHA-256, and of a table how many rows."""

    name: str
    n_bytes: int
    sha256: str
    rows: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What stands in a backup.

    Parameters
    ----------
    made_at : str
        ISO 8601, UTC.
    made_by : str
        Version of the program.
    revision : str
        Of the tables.
    parts : tuple of Part
    last_ids : mapping of str to int
        The last id that each table gave.
    entries, last_hash : int, str
        How many entries the history has, and the seal of the last one.
    found_wrong : tuple of str
        What 'casebook check' found wrong when the backup was made.
    """

    made_at: str
    made_by: str
    revision: str
    parts: tuple[Part, ...]
    last_ids: Mapping[str, int]
    entries: int
    last_hash: str
    found_wrong: tuple[str, ...]

    @property
    def tables(self) -> dict[str, Part]:
        """The tables by name."""
        return {
            part.name.removeprefix(TABLES).removesuffix(LINES): part
            for part in self.parts
            if part.name.startswith(TABLES)
        }

    @property
    def files(self) -> dict[str, Part]:
        """The attached files by hash."""
        return {
            part.name.removeprefix(FILES): part
            for part in self.parts
            if part.name.startswith(FILES)
        }


class BackupWriter:
    """Writes the parts of a backup, and the manifest last."""

    def __init__(self, opened: zipfile.ZipFile) -> None:
        self._zip = opened
        self._parts: list[Part] = []

    def add_table(self, name: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> int:
        """Write a table; returns how many rows it has."""
        number = 0

        def lines() -> Iterator[bytes]:
            nonlocal number
            yield _line(columns)
            for row in rows:
                number += 1
                yield _line(row)

        done = self._write(f"{TABLES}{name}{LINES}", lines(), packed=True)
        self._parts.append(
            Part(name=done.name, n_bytes=done.n_bytes, sha256=done.sha256, rows=number)
        )
        return number

    def add_file(self, sha256: str, content: Iterable[bytes]) -> None:
        """Write an attached file; pictures and documents are packed as they are."""
        self._parts.append(self._write(f"{FILES}{sha256}", content, packed=False))

    def finish(self, **known: Any) -> Manifest:
        """Write the manifest; takes what `Manifest` holds beside the parts."""
        manifest = Manifest(parts=tuple(self._parts), **known)
        said = {"what": WHAT, "form": FORM} | asdict(manifest)
        content = json.dumps(said, indent=1, ensure_ascii=False).encode("utf-8")
        self._write(MANIFEST, [content], packed=True)
        self._zip.comment = hashlib.sha256(content).hexdigest().encode("ascii")
        return manifest

    def _write(self, name: str, content: Iterable[bytes], *, packed: bool) -> Part:
        entry = zipfile.ZipInfo(name, date_time=DAY)
        entry.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        entry.external_attr = 0o600 << 16
        total, n_bytes = hashlib.sha256(), 0
        with self._zip.open(entry, "w", force_zip64=True) as out:
            for part in content:
                total.update(part)
                n_bytes += len(part)
                out.write(part)
        return Part(name=name, n_bytes=n_bytes, sha256=total.hexdigest())


def _line(row: Sequence[object]) -> bytes:
    text = json.dumps(list(row), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode("utf-8") + b"\n"


@contextmanager
def new_backup(path: Path) -> Iterator[BackupWriter]:
    """Write a backup that stands under its name only when it is whole.

    Raises
    ------
    StoreUnavailable
        When something stands there, or the place cannot be written.
    """
    if path.exists():
        raise StoreUnavailable(
            f"{path} is there already. A backup never replaces another file: give another name."
        )
    part = path.with_name(f".{path.name}.{uuid4().hex[:12]}.part")
    try:
        # For nobody else to read: it holds names.
        handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w+b") as out:
            with zipfile.ZipFile(out, "w") as opened:
                yield BackupWriter(opened)
            out.flush()
            os.fsync(out.fileno())
        give_name(part, path)
    except OSError as error:
        raise StoreUnavailable(
            f"The backup cannot be written to {path} ({error.strerror or error}). No backup was "
            "made; make room there, or name another place."
        ) from error
    finally:
        part.unlink(missing_ok=True)


def give_name(part: Path, path: Path) -> None:
    """Give a finished file its name, but never that of a file that stands."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:
        # A disk without hard links.
        if path.exists():
            raise FileExistsError(f"{path} is there already") from None
        part.rename(path)
        return
    part.unlink()


class BackupReader:
    """Reads a backup of which every part was seen to be whole."""

    def __init__(self, opened: zipfile.ZipFile, manifest: Manifest) -> None:
        self._zip = opened
        self.manifest = manifest

    def columns(self, table: str) -> list[str]:
        """Names of a table's columns, in the order of its rows."""
        return next(self._lines(table))

    def rows(self, table: str) -> Iterator[list[Any]]:
        """A table's rows, one at a time."""
        lines = self._lines(table)
        next(lines)
        yield from lines

    def file(self, sha256: str) -> Iterator[bytes]:
        """The content of an attached file, in parts."""
        with self._zip.open(f"{FILES}{sha256}") as opened:
            yield from _pieces(opened)

    def _lines(self, table: str) -> Iterator[list[Any]]:
        name = f"{TABLES}{table}{LINES}"
        with self._zip.open(name) as opened:
            number = 0
            while line := opened.readline(LONGEST_LINE):
                number += 1
                try:
                    row = json.loads(line)
                except ValueError as error:
                    raise refused(name, f"line {number} is no JSON") from error
                if not isinstance(row, list):
                    raise refused(name, f"line {number} is no row")
                yield row


@contextmanager
def open_backup(path: Path) -> Iterator[BackupReader]:
    """Open a backup after every part of it was read and its hash compared.

    Raises
    ------
    InputRefused
        For a file that is no backup, or whose parts are missing, damaged, altered or too many;
        names the part.
    """
    try:
        raw = path.open("rb")
    except OSError as error:
        raise refused(str(path), f"it cannot be read ({error.strerror or error})") from error
    with raw, _opened(path, raw) as opened:
        manifest = _manifest(path, opened)
        _compare(path, opened, manifest)
        yield BackupReader(opened, manifest)


def _opened(path: Path, raw: IO[bytes]) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(raw)
    except DAMAGED as error:
        raise refused(str(path), "it is no backup, or it breaks off") from error


def _manifest(path: Path, opened: zipfile.ZipFile) -> Manifest:
    try:
        if opened.getinfo(MANIFEST).file_size > LARGEST_MANIFEST:
            raise refused(MANIFEST, "it is larger than any backup's", path)
        content = opened.read(MANIFEST)
    except KeyError as error:
        raise refused(str(path), f"it is no backup: '{MANIFEST}' is missing") from error
    except DAMAGED as error:
        raise refused(MANIFEST, "it is damaged", path) from error
    if hashlib.sha256(content).hexdigest().encode() != opened.comment:
        raise refused(MANIFEST, "it was altered or is damaged: its hash does not fit", path)
    try:
        said = json.loads(content)
        what, form = said.pop("what"), said.pop("form")
    except (ValueError, KeyError, AttributeError) as error:
        raise refused(MANIFEST, "it cannot be read", path) from error
    if what != WHAT or not isinstance(form, int):
        raise refused(MANIFEST, "it is of another kind of file", path)
    if form > FORM:
        raise refused(
            MANIFEST, "the backup was made by a newer version of casebook; install that one", path
        )
    try:
        parts = tuple(Part(**part) for part in said.pop("parts"))
        wrong = tuple(said.pop("found_wrong"))
        return Manifest(parts=parts, found_wrong=wrong, **said)
    except (TypeError, KeyError) as error:
        raise refused(MANIFEST, "it cannot be read", path) from error


def _compare(path: Path, opened: zipfile.ZipFile, manifest: Manifest) -> None:
    there = Counter(entry.filename for entry in opened.infolist())
    listed = Counter([MANIFEST, *(part.name for part in manifest.parts)])
    for name in listed - there:
        raise refused(name, "it is missing", path)
    for name in there - listed:
        raise refused(name, "it does not belong to the backup or stands in it twice", path)
    for part in manifest.parts:
        total, n_bytes = hashlib.sha256(), 0
        try:
            with opened.open(part.name) as content:
                for piece in _pieces(content):
                    total.update(piece)
                    n_bytes += len(piece)
                    if n_bytes > part.n_bytes:
                        break
        except DAMAGED as error:
            raise refused(part.name, "it is damaged", path) from error
        if n_bytes != part.n_bytes or total.hexdigest() != part.sha256:
            raise refused(part.name, "it was altered or is damaged: its hash does not fit", path)


def _pieces(opened: IO[bytes]) -> Iterator[bytes]:
    while piece := opened.read(BYTES_AT_ONCE):
        yield piece


def refused(part: str, words: str, path: Path | None = None) -> InputRefused:
    """A backup that is not taken, by the part that is wrong."""
    where = f"{path}, part {part}" if path else part
    return InputRefused(
        (
            Problem(
                code="backup_refused",
                file=where,
                message=f"{words}. Nothing was restored. Use another copy of the backup.",
            ),
        )
    )
