"""What every test shares: how hard properties are tried, and a data folder of its own."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from itertools import count
from pathlib import Path

# Before anything loads numpy; the Makefile says why.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

# Two cores and a shared machine: a deadline would measure the neighbours. In CI the same
# examples every time, so that a red run is red again on the desk.
settings.register_profile(
    "casebook",
    max_examples=20,
    deadline=None,
    derandomize=bool(os.environ.get("CI")),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("casebook")

# What counts for coverage, what runs together, the demo, and stores to test with: SQLite files
# and a PostgreSQL server.
pytest_plugins = ["tests.covering", "tests.together", "tests.demo_once", "tests.stores"]


def pytest_collection_finish(session: pytest.Session) -> None:
    """Let the collector leave alone what stays until the end: a tenth of the time of a test."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(5_000, 20, 20)


@pytest.fixture(scope="session")
def data_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Names for folders of data, one a test.

    Counted here: pytest's own numbering looks through every folder there is for the next one.
    """
    root = tmp_path_factory.mktemp("data")
    return (root / str(number) for number in count())


@pytest.fixture(autouse=True)
def own_data_folder(data_folders: Iterator[Path], monkeypatch: pytest.MonkeyPatch) -> Path:
    """No test touches the casebook of whoever runs it."""
    folder = next(data_folders)
    folder.mkdir()
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    for name in ("CASEBOOK_DATABASE_URL", "CASEBOOK_FILES"):
        monkeypatch.delenv(name, raising=False)
    return folder
