"""A date in words, the same on every page, on paper and in every sentence."""

from __future__ import annotations

from datetime import date


def day_words(day: date) -> str:
    """A date that nobody can misread.

    Examples
    --------
    >>> day_words(date(2026, 3, 9))
    '9 Mar 2026'
    """
    return f"{day.day} {day:%b %Y}"
