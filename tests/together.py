"""Which tests one worker runs together, so that what they share is made once.

xdist's own groups say nothing any more to pytest 9, so the units are named here: all of a folder
that shares a server, a browser or a built demo, else all of a file, which shares its modules'
fixtures. The units that take longest come first, so that no worker is left with one at the end.
"""

from __future__ import annotations

import pytest
from xdist.scheduler import LoadScopeScheduling

# In the order in which they are handed out. What is drawn needs an engine that takes two seconds
# to start, the app's tests its pages compiled.
SHARING = ("tests/browser/", "tests/cli/", "tests/app/", "tests/charts/")
# Each by its file, but early: what takes more than some five seconds of a processor.
DEAR = (
    "tests/services/test_backing_up.py",
    "tests/services/test_keeping.py",
    "tests/storage/test_killed_anywhere.py",
    "tests/services/test_many_at_once.py",
    "tests/migrations/",
    "tests/demo/",
    "tests/services/",
    "tests/attacks/",
    "tests/storage/",
)
FIRST = (*SHARING, *DEAR)


def unit_of(nodeid: str) -> str:
    """The unit of work that a test belongs to."""
    file = nodeid.partition("::")[0]
    return next((folder for folder in SHARING if file.startswith(folder)), file)


def turn(item: pytest.Item) -> int:
    """Which turn a test has: a place in `FIRST`, or behind them all."""
    return next(
        (place for place, folder in enumerate(FIRST) if item.nodeid.startswith(folder)), len(FIRST)
    )


class Together(LoadScopeScheduling):
    """Units handed out in the order in which they were collected."""

    def _split_scope(self, nodeid: str) -> str:
        return unit_of(nodeid)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> Together | None:
    if config.getoption("dist") != "loadscope":
        return None
    config.option.loadscopereorder = False
    return Together(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if hasattr(config, "workerinput"):
        items.sort(key=turn)
