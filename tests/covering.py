"""Which tests count for coverage, so that no other pays for being watched.

Every branch of the domain and of statistics must be reached by a test whose cases are written
down. What hypothesis draws, what is simulated and what passes by chance through an app or a
command count for nothing, and run without the tracer, which makes them up to twice as slow.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pkgutil import walk_packages

import pytest
from coverage import Coverage

from casebook import domain, statistics

ROOMS = (
    "tests/domain/",
    "tests/statistics/",
    "tests/published/",
    "casebook/domain/",
    "casebook/statistics/",
)


def counts(item: pytest.Item) -> bool:
    """Whether the branches that a test reaches count as tested."""
    drawn = any(item.get_closest_marker(name) for name in ("hypothesis", "simulated"))
    return item.nodeid.startswith(ROOMS) and not drawn


class Watch:
    """The tracer, on while a test runs that counts."""

    def __init__(self, coverage: Coverage) -> None:
        self.coverage = coverage
        self.on = True

    def turn(self, *, on: bool) -> None:
        if on != self.on:
            (self.coverage.start if on else self.coverage.stop)()
            self.on = on

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.turn(on=counts(item))
        return (yield)


@pytest.hookimpl(trylast=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    coverage = Coverage.current()
    if coverage is None:
        return
    if session.config.getoption("dist", "no") != "no" and not hasattr(
        session.config, "workerinput"
    ):
        # Whoever only hands out tests runs none.
        coverage.stop()
        return
    # What stands at the head of a module is reached when it is first read: here, under the
    # tracer, so that the tracer can rest while libraries and tests are read.
    for package in (domain, statistics):
        for module in walk_packages(package.__path__, f"{package.__name__}."):
            import_module(module.name)
    watch = Watch(coverage)
    watch.turn(on=False)
    session.config.pluginmanager.register(watch)
