"""Key files: made for their owner alone, read, never shown."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from casebook.domain.errors import Conflict, StoreUnavailable
from casebook.domain.exporting import KEY_BYTES, ExportKey, key_of_text

LONGEST_FILE = 4096


def fresh_key() -> ExportKey:
    """A key that nobody had before."""
    return ExportKey(secret=secrets.token_bytes(KEY_BYTES))


def read_key(path: Path) -> ExportKey:
    """The key that a file holds.

    Raises
    ------
    StoreUnavailable
        When the file cannot be read.
    InputRefused
        When it holds no key.
    """
    try:
        with path.open("rb") as file:
            text = file.read(LONGEST_FILE)
    except OSError as error:
        raise StoreUnavailable(
            f"The key file {path} cannot be read ({error.strerror or error}). Name one that "
            "`casebook export --new-key FILE` wrote."
        ) from error
    return key_of_text(text.decode("ascii", "replace"), file=path.name)


def write_key(key: ExportKey, path: Path) -> None:
    """Write a key where only its owner may read it; nothing that stands is replaced.

    Raises
    ------
    Conflict
        When something stands there.
    StoreUnavailable
        When it cannot be written.
    """
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as error:
        raise Conflict(
            f"{path} stands already and is not replaced, for it may hold a key that is still "
            "needed. Name a new file, or carry that key on with --key."
        ) from error
    except OSError as error:
        raise StoreUnavailable(
            f"The key cannot be written to {path} ({error.strerror or error}). Name a file in a "
            "folder that may be written."
        ) from error
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(key.text())
