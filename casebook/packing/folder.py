"""A folder that stands under its name only when everything in it is whole."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from glob import escape
from pathlib import Path
from typing import IO, Final
from uuid import uuid4

from casebook.domain.errors import Conflict, StoreUnavailable

LOCK: Final = ".lock"


def check_place(folder: Path) -> None:
    """Refuse a place where something stands.

    Raises
    ------
    Conflict
        For a file, or a folder that is not empty.
    """
    if folder.is_dir() and not any(folder.iterdir()):
        return
    if folder.exists() or folder.is_symlink():
        raise Conflict(
            f"{folder} stands already and is not empty. An export never replaces what stands: "
            "name a new folder or an empty one."
        )


@contextmanager
def disk_trouble(folder: Path) -> Iterator[None]:
    """Say in words that a disk refused.

    Raises
    ------
    StoreUnavailable
        Instead of an error of the system.
    """
    try:
        yield
    except OSError as error:
        raise StoreUnavailable(
            f"The tables cannot be written to {folder} ({error.strerror or error}). Nothing was "
            "exported; make room there, or name another folder."
        ) from error


class FolderInTheMaking:
    """A hidden folder beside its later place; gone unless it was given its name.

    It is locked while its program lives. What a killed program left beside the place is
    therefore known by its lock being free, and is swept away by the next one.

    Raises
    ------
    Conflict, StoreUnavailable
        Where something stands in the place, or where it cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder = folder.resolve()
        # The name is the caller's; what differs each time never enters the files.
        self.path = folder.with_name(f".{folder.name}.{uuid4().hex[:12]}.part")
        check_place(folder)
        with disk_trouble(folder):
            folder.parent.mkdir(parents=True, exist_ok=True)
            _sweep(folder)
            # For nobody else to read, under its own name, too: who shares it decides that.
            self.path.mkdir(mode=0o700)
            self._lock: IO[bytes] | None = (self.path / LOCK).open("wb")
        _locked(self._lock)

    def give_name(self) -> None:
        """Give the folder its name, in one step.

        Raises
        ------
        Conflict, StoreUnavailable
            Where something came to stand there meanwhile, or the disk refuses.
        """
        check_place(self.folder)
        with disk_trouble(self.folder):
            self._unlock()
            (self.path / LOCK).unlink()
            if self.folder.is_dir():
                self.folder.rmdir()
            self.path.rename(self.folder)

    def remove(self) -> None:
        """Remove what was not given its name."""
        self._unlock()
        shutil.rmtree(self.path, ignore_errors=True)

    def _unlock(self) -> None:
        if self._lock is not None:
            self._lock.close()
            self._lock = None


def _sweep(folder: Path) -> None:
    for left in folder.parent.glob(f".{escape(folder.name)}.*.part"):
        try:
            with (left / LOCK).open("r+b") as lock:
                if _locked(lock):
                    shutil.rmtree(left, ignore_errors=True)
        except OSError:
            continue


def _locked(lock: IO[bytes]) -> bool:
    """Whether the lock could be had; never where the system has none of this kind."""
    if sys.platform == "win32":
        return False
    import fcntl  # noqa: PLC0415 - only where it is

    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
