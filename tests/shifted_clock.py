"""The day that casebook takes for today, for tests in which weeks pass between two pages.

`casebook/services/clock.py` is the only reader of time, and asks the standard library; what it
asks is put forward or back here, nothing of casebook itself.
"""

from __future__ import annotations

import os
from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any, Self

from casebook.services import clock

DAYS_FROM = "TESTS_DAYS_FORWARD_FILE"
STARTED = (
    "import os\n"
    f"if os.environ.get({DAYS_FROM!r}):\n"
    "    from tests.shifted_clock import follow_file\n"
    "    follow_file()\n"
)


def shifted(days: Any) -> type[datetime]:
    """The standard library's datetime, so many days later than it is."""

    class Shifted(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> Self:
            return super().now(tz) + timedelta(days=days())

    return Shifted


def set_today(monkeypatch: Any, day: date) -> None:
    """Let today be that day until the test ends or another day is set."""
    forward = (day - datetime.now().astimezone().date()).days
    monkeypatch.setattr(clock, "datetime", shifted(lambda: forward))


def follow_file() -> None:
    """Let the days of a file be added to today, in a process of its own."""
    path = Path(os.environ[DAYS_FROM])
    vars(clock)["datetime"] = shifted(lambda: int(path.read_text()))


def start_shifted(folder: Path, environment: Any) -> Path:
    """Make every Python that is started from now on read its days from the file returned."""
    (folder / "sitecustomize.py").write_text(STARTED)
    days = folder / "days"
    days.write_text("0")
    house = Path(__file__).parents[1]
    environment.setenv("PYTHONPATH", os.pathsep.join([str(folder), str(house)]))
    environment.setenv(DAYS_FROM, str(days))
    return days
