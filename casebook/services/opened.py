"""An open casebook, as every service is handed it."""

from __future__ import annotations

from dataclasses import dataclass, field

from sqlalchemy import Engine

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
