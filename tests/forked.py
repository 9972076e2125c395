"""Programs of the tests' own in processes of their own, without starting Python anew for each.

A process that is to be killed must be a real one, but most of a second goes into importing what it
needs. Here one process imports that once and a fork of it runs each program.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from types import ModuleType

PRELOADED = ["casebook.services.restoring", "casebook.services.importing", "tests.forked"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a program ended: its code (a signal that killed it below zero), and what it said."""

    returncode: int
    stdout: str
    stderr: str


class Forked:
    """A program that runs, in this process's environment.

    Parameters
    ----------
    program : str
        Its text.
    said : Path
        A folder of its own for what it says; made here.
    """

    def __init__(self, program: str, *arguments: str, said: Path) -> None:
        said.mkdir()
        self._said = said
        forks = get_context("forkserver")
        forks.set_forkserver_preload(PRELOADED)
        self._process = forks.Process(
            target=_run, args=(program, list(arguments), dict(os.environ), str(said))
        )
        # A fork reads the script of its parent's main module, and an AppTest leaves its own there.
        main = sys.modules["__main__"]
        sys.modules["__main__"] = ModuleType("__main__")
        try:
            self._process.start()
        finally:
            sys.modules["__main__"] = main

    def ended(self, within_s: float = 120.0) -> Ended:
        """Wait for its end."""
        self._process.join(within_s)
        if self._process.exitcode is None:
            self._process.kill()
            self._process.join()
        code = self._process.exitcode
        assert code is not None
        self._process.close()
        out, err = ((self._said / name).read_text("utf-8") for name in ("stdout", "stderr"))
        return Ended(returncode=code, stdout=out, stderr=err)


def _run(program: str, arguments: list[str], environment: Mapping[str, str], said: str) -> None:
    os.environ.clear()
    os.environ.update(environment)
    for number, name in ((1, "stdout"), (2, "stderr")):
        handle = os.open(Path(said, name), os.O_WRONLY | os.O_CREAT)
        os.dup2(handle, number)
        os.close(handle)
    sys.argv = ["-c", *arguments]
    code = 1
    try:
        exec(compile(program, "<program>", "exec"), {"__name__": "__main__"})  # noqa: S102
        code = 0
    except Exception:
        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)
