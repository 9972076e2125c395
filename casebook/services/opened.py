"""An open casebook, as every service is handed it."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Engine

from casebook.storage import files
from casebook.storage.database import shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Casebook:
    """An open casebook.

    Parameters
    ----------
    url : str
        Its address; may hold a password, so it is never shown (`place` is).
    engine : Engine
        For the services only.
    clinic_id : int
    """

    url: str = field(repr=False)
    engine: Engine = field(repr=False)
    clinic_id: int

    @property
    def place(self) -> str:
        """Where it is kept, as it may be shown."""
        return shown(self.url)

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()


def files_folder(url: str) -> Path:
    """Where the casebook of an address keeps its attached files; makes nothing.

    Raises
    ------
    StoreUnavailable
        For a database on a server when CASEBOOK_FILES names no folder.
    """
    return files.folder_of(url, os.environ.get(files.FOLDER_VARIABLE))
