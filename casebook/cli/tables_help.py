"""The tables that can be imported, laid out for a help page."""

from __future__ import annotations

import textwrap

from casebook.intake.columns import describe_tables

WIDTH = 96
AS_IT_STANDS = "\b"  # the help's formatter leaves such a paragraph's lines alone


def tables_help() -> str:
    """Every table and column, wrapped to the width of a help page."""
    return "\n\n".join(_paragraph(part) for part in describe_tables().split("\n\n"))


def _paragraph(part: str) -> str:
    lines = [
        textwrap.fill(line, WIDTH, subsequent_indent="      " if line.startswith(" ") else "")
        for line in part.splitlines()
    ]
    return "\n".join([AS_IT_STANDS, *lines])
