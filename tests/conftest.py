"""What every test shares: how hard properties are tried, and a data folder of its own."""

from __future__ import annotations

import os
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

# Stores to test with: SQLite files and a PostgreSQL server.
pytest_plugins = ["tests.stores"]


@pytest.fixture(autouse=True)
def own_data_folder(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """No test touches the casebook of whoever runs it."""
    folder = tmp_path_factory.mktemp("data")
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    monkeypatch.delenv("CASEBOOK_DATABASE_URL", raising=False)
    return folder
