"""Files beside the database, each under the hash of its content.

A file is written under another name, flushed to the disk and only then given its own name, so
that what stands under a hash is whole; and whoever reads it compares the hash. A file is put
in place before the row that names it: a program that is killed in between leaves a file that
nobody names, never a row without its file.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from uuid import uuid4

from casebook.domain.errors import CasebookError, StoreUnavailable
from casebook.storage.database import sqlite_path
from casebook.storage.refusals import FULL, INPUT_OUTPUT, NOTHING_STORED

FOLDER_VARIABLE = "CASEBOOK_FILES"
BYTES_AT_ONCE = 1024**2
HASH = re.compile(r"[0-9a-f]{64}")
UNFINISHED = "incoming-"


def folder_of(url: str, given: str | None) -> Path:
    """Where a casebook keeps its files; makes nothing.

    Parameters
    ----------
    url : str
        Of the database. Beside an SQLite file it is the folder of the same name with '.files'.
    given : str or None
        Content of CASEBOOK_FILES, for a database on a server.

    Raises
    ------
    StoreUnavailable
        For a database on a server when no folder is named.
    """
    path = sqlite_path(url)
    if path is not None:
        return path.with_name(path.name + ".files")
    if not (given and given.strip()):
        raise StoreUnavailable(
            "A casebook on a database server keeps its attached files in a folder that you "
            f"name: set {FOLDER_VARIABLE} to the path of one that everybody who uses this "
            "casebook shares."
        )
    return Path(given.strip()).expanduser().resolve()


def path_of(folder: Path, sha256: str) -> Path:
    """Where the file of a hash stands."""
    if not HASH.fullmatch(sha256):
        raise ValueError(f"{sha256!r} is no SHA-256 in hexadecimal")
    return folder / sha256[:2] / sha256


def put(folder: Path, sha256: str, parts: Iterable[bytes]) -> bool:
    """Put a file in its place, whole or not at all; False when it stood there whole already.

    Parameters
    ----------
    parts : iterable of bytes
        The content in order; the hash must be its.

    Raises
    ------
    StoreUnavailable
        When the disk is full or may not be written, or the content is not that of the hash.
    """
    place = path_of(folder, sha256)
    try:
        if wrong_with(folder, sha256) is None:
            return False
        place.parent.mkdir(parents=True, exist_ok=True)
        part = folder / f"{UNFINISHED}{uuid4().hex}"
        try:
            found = _write(part, parts)
            if found != sha256:
                raise StoreUnavailable(
                    f"The content of a file is not the one that its hash {sha256[:12]}… stands "
                    f"for. {NOTHING_STORED}"
                )
            part.replace(place)
            flush_folder(place.parent)
            flush_folder(folder)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise _refusal(error, folder) from error
    return True


def _write(path: Path, parts: Iterable[bytes]) -> str:
    total = hashlib.sha256()
    with path.open("xb") as out:
        for part in parts:
            total.update(part)
            out.write(part)
        out.flush()
        os.fsync(out.fileno())
    return total.hexdigest()


def flush(path: Path) -> None:
    """Let a file's content reach the disk."""
    with path.open("rb") as opened:
        os.fsync(opened.fileno())


def flush_folder(folder: Path) -> None:
    """Let the folder's own entry reach the disk, where the system can do that."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in {errno.EINVAL, errno.EBADF, errno.EACCES}:
            raise
    finally:
        os.close(handle)


def read(folder: Path, sha256: str) -> bytes:
    """The content of a file, seen to be the one of its hash.

    Raises
    ------
    StoreUnavailable
        When it is missing or was altered.
    """
    try:
        content = path_of(folder, sha256).read_bytes()
    except FileNotFoundError as error:
        raise StoreUnavailable(_missing(folder, sha256)) from error
    except OSError as error:
        raise _refusal(error, folder) from error
    if hashlib.sha256(content).hexdigest() != sha256:
        raise StoreUnavailable(
            f"The attached file {path_of(folder, sha256)} was altered or is damaged. Restore it "
            "from a backup."
        )
    return content


def _missing(folder: Path, sha256: str) -> str:
    return (
        f"The attached file {path_of(folder, sha256)} is missing. Restore it from a backup, or "
        f"check that {folder} is the folder of this casebook."
    )


def stream(folder: Path, sha256: str) -> Iterator[bytes]:
    """The content of a file in parts; the hash is for the caller to compare."""
    with path_of(folder, sha256).open("rb") as opened:
        while part := opened.read(BYTES_AT_ONCE):
            yield part


def wrong_with(folder: Path, sha256: str) -> str | None:
    """'missing' or 'altered', or None when the file stands with the content of its hash."""
    total = hashlib.sha256()
    try:
        for part in stream(folder, sha256):
            total.update(part)
    except OSError:
        return "missing"
    return None if total.hexdigest() == sha256 else "altered"


def remove(folder: Path, sha256: str) -> None:
    """Take a file away again that a refused restore had put there, and folders left empty."""
    place = path_of(folder, sha256)
    place.unlink(missing_ok=True)
    for empty in (place.parent, folder):
        try:
            empty.rmdir()
        except OSError:
            return


def hashes_in(folder: Path) -> Iterator[str]:
    """The hash of every file that stands in its place."""
    if not folder.is_dir():
        return
    for part in sorted(folder.iterdir()):
        if part.is_dir() and len(part.name) == 2:
            for place in sorted(part.iterdir()):
                if HASH.fullmatch(place.name):
                    yield place.name


def unfinished_in(folder: Path) -> int:
    """How many files were left half-written by a program that was cut short."""
    return sum(1 for _ in folder.glob(f"{UNFINISHED}*"))


def _refusal(error: OSError, folder: Path) -> CasebookError:
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return StoreUnavailable(FULL)
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return StoreUnavailable(
            f"The folder of the attached files, {folder}, may not be read or written. "
            f"{NOTHING_STORED} Ask for permission."
        )
    if error.errno in {errno.ENOTDIR, errno.EEXIST, errno.ENOENT}:
        return StoreUnavailable(
            f"The folder of the attached files cannot be made: something else stands at "
            f"{folder}, or the folder above it is missing. {NOTHING_STORED}"
        )
    return StoreUnavailable(INPUT_OUTPUT)
