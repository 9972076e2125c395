"""Opening the casebook that a command was pointed at, and letting go of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from casebook.services.keeping import Casebook, open_casebook, resolve_url


@contextmanager
def opened(db: str | None) -> Iterator[Casebook]:
    """The casebook that `--db`, the environment or the data folder names.

    Raises
    ------
    StoreUnavailable
        When there is none, or it is not of this version.
    """
    casebook = open_casebook(resolve_url(db))
    try:
        yield casebook
    finally:
        casebook.close()
