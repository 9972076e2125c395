"""Text that a spreadsheet would take for a formula, and run, when it opens a table."""

from __future__ import annotations

from typing import Final

# How such a text begins; the last four are the wide forms, which some spreadsheets take alike.
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
MARK: Final = "'"


def harmless(text: str) -> str:
    """The text with a ' before it where a spreadsheet would run it; `as_meant` takes that off.

    Examples
    --------
    >>> harmless("=1+1"), harmless("'=1+1"), harmless("1+1")
    ("'=1+1", "''=1+1", '1+1')
    """
    return f"{MARK}{text}" if _runs(text) else text


def as_meant(text: str) -> str:
    """The text without the ' that `harmless` put before it.

    Examples
    --------
    >>> as_meant("'=1+1"), as_meant("''=1+1"), as_meant("'tis sore")
    ('=1+1', "'=1+1", "'tis sore")
    """
    return text[1:] if text.startswith(MARK) and _runs(text) else text


def _runs(text: str) -> bool:
    return text.lstrip(MARK).startswith(FORMULA)
