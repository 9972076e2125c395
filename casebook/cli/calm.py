"""How a command ends: a refusal in words, a bug in a log file, never a traceback.

Exit codes: 0 fine, 1 the data or the request was refused (or a bug), 2 wrong usage,
130 ended from the keyboard.
"""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

import typer
from platformdirs import user_data_path
from typer.main import get_command

from casebook.domain.errors import CasebookError

REFUSED = 1
STOPPED = 130


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str or None
        What stands behind `casebook`; None takes them from the process.

    Returns
    -------
    int
        The exit code.
    """
    _accept_any_character()
    try:
        code = _end(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        return _reader_left()
    return code


def _end(arguments: Sequence[str] | None) -> int:
    try:
        _commands()(args=arguments, prog_name="casebook")
    except SystemExit as ending:
        return _code(ending)
    except CasebookError as refusal:
        typer.echo(refusal, err=True)
        return REFUSED
    except KeyboardInterrupt:
        return STOPPED
    except BrokenPipeError:
        raise
    except Exception:
        typer.echo(
            "Something went wrong inside casebook; nothing half-done was stored. "
            f"What happened is written down in {_write_down()}: send that file to whoever "
            "looks after this program (it holds no names of runners, but look before you send).",
            err=True,
        )
        return REFUSED
    return 0


@cache
def _commands() -> Callable[..., object]:
    """All commands with their options, which takes ten times as long as most commands to make."""
    from casebook.cli.commands import app

    return get_command(app)


def _code(ending: SystemExit) -> int:
    if isinstance(ending.code, int):
        return ending.code
    return 0 if ending.code is None else REFUSED


def _accept_any_character() -> None:
    """A runner code may hold any sign; a terminal that cannot show it must not end the command."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _reader_left() -> int:
    """The next program in the pipe has read enough (`casebook flags | head`): no complaint."""
    # Python would complain once more while it flushes standard output at its end.
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    return REFUSED


def _write_down() -> Path | str:
    """Append the exception at hand to the log file, and say where that is."""
    path = user_data_path("casebook", appauthor=False) / "casebook.log"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = logging.FileHandler(path, encoding="utf-8", errors="backslashreplace")
    except OSError as problem:
        return f"no file, for the log could not be opened ({problem})"
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    log = logging.getLogger("casebook.cli")
    log.addHandler(handler)
    log.propagate = False
    try:
        log.exception("casebook %s ended unexpectedly", " ".join(sys.argv[1:2]))
    finally:
        log.removeHandler(handler)
        handler.close()
    return path
