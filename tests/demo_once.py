"""The demo casebook, built as a user builds it, once for all workers of a run."""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def demo_built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo casebook, built once by the command itself; copy it before changing it."""
    place = tmp_path_factory.getbasetemp()
    # A worker's folder lies in that of the run.
    folder = (place.parent if "PYTEST_XDIST_WORKER" in os.environ else place) / "demo-once"
    folder.mkdir(exist_ok=True)
    built = folder / "demo.sqlite"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not built.exists():
            said = subprocess.run(
                [sys.executable, "-m", "casebook.cli", "demo", "--no-serve", "--folder", folder],
                capture_output=True, text=True, timeout=120, check=False,
                env=os.environ | {"HOME": str(folder)},
            )  # fmt: skip
            assert (said.returncode, said.stderr) == (0, "")
    return built
