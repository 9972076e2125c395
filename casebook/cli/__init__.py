"""The command line: words in, words or one JSON object out. Knows services only."""

from __future__ import annotations


def main() -> None:
    """Run `casebook` with the arguments of this process and end it with the exit code."""
    from casebook.cli.calm import run

    raise SystemExit(run())
