"""Where the folders that travel beside the package are found."""

from __future__ import annotations

from pathlib import Path

from casebook.domain.errors import StoreUnavailable

PACKAGE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """A folder such as `migrations`, beside the package or bundled inside it.

    In a source tree the folder stands beside `casebook/`; in an installed wheel it travels
    as `casebook/bundled/<name>`. The bundled one wins, because what stands beside an
    installed package is anybody's.

    Raises
    ------
    StoreUnavailable
        When the installation is incomplete.
    """
    for place in (PACKAGE / "bundled" / name, PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise StoreUnavailable(
        f"This installation of casebook lacks its folder '{name}'. Install it again from a "
        "complete wheel or source tree."
    )
