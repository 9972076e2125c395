"""The only reader of time."""

from __future__ import annotations

from datetime import UTC, date, datetime


def now() -> datetime:
    """The present instant, aware, in UTC."""
    return datetime.now(UTC)


def today() -> date:
    """Today's date where the machine stands.

    Local and not UTC: a visit is dated by the calendar on the clinic's wall.
    """
    return datetime.now(UTC).astimezone().date()
