"""Folders that travel beside the package or inside it."""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook import places
from casebook.domain.errors import StoreUnavailable


def test_migrations_stand_beside_the_package_in_a_source_tree() -> None:
    assert (places.folder("migrations") / "env.py").is_file()


def test_what_is_bundled_comes_before_what_stands_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "casebook"
    (tmp_path / "migrations").mkdir()
    monkeypatch.setattr(places, "PACKAGE", package)
    assert places.folder("migrations") == tmp_path / "migrations"
    (package / "bundled" / "migrations").mkdir(parents=True)
    assert places.folder("migrations") == package / "bundled" / "migrations"


def test_a_folder_that_did_not_travel_is_told() -> None:
    with pytest.raises(StoreUnavailable, match="lacks its folder 'no_such'"):
        places.folder("no_such")
