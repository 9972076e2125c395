"""The command line: words in, words or one JSON object out. Knows services only."""

from __future__ import annotations

import os


def main() -> None:
    """Run `casebook` with the arguments of this process and end it with the exit code."""
    # Many small matrices: threads that wait for one another take up to three times as long.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from casebook.cli.calm import run

    raise SystemExit(run())
