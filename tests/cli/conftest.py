"""Running the command line as a person would, and the demo casebook that it builds."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from casebook.cli.calm import run


@dataclass(frozen=True)
class Said:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def report(self) -> dict[str, Any]:
        """Standard output as the one JSON object it must be, without NaN or infinity."""

        def refuse_constant(name: str) -> None:
            raise AssertionError(f"{name} is no JSON")

        found = json.loads(self.out, parse_constant=refuse_constant)
        assert isinstance(found, dict)
        return found


Casebook = Callable[..., Said]


@pytest.fixture
def casebook(capsys: pytest.CaptureFixture[str]) -> Casebook:
    """Run one command within this process."""

    def command(*words: object) -> Said:
        capsys.readouterr()
        code = run([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Said(code, out, err)

    return command


def casebook_process(*words: object, **more: Any) -> subprocess.CompletedProcess[str]:
    """Run one command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "casebook.cli", *(str(word) for word in words)],
        capture_output=True, encoding="utf-8", errors="replace", timeout=120, check=False, **more,
    )  # fmt: skip


@pytest.fixture
def demo(demo_built: Path, tmp_path: Path) -> Path:
    """A copy of the demo casebook that a test may change."""
    return Path(shutil.copy(demo_built, tmp_path / "demo.sqlite"))


@pytest.fixture(scope="session")
def empty_built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A casebook in which nobody has been seen yet, made once by the command itself."""
    path = tmp_path_factory.mktemp("empty") / "casebook.sqlite"
    assert run(["init", "--db", str(path)]) == 0
    return path


@pytest.fixture
def empty(empty_built: Path, tmp_path: Path) -> Path:
    """A copy of the empty casebook that a test may change."""
    return Path(shutil.copy(empty_built, tmp_path / "casebook.sqlite"))
