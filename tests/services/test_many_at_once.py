"""Many people at once; `tests/bench/two_people.py` does the same for a minute."""

from __future__ import annotations

from casebook.services.keeping import Casebook
from tests.bench.two_people import READERS, WRITERS, prepare, work_together

SECONDS = 2.5
# Waiting for one another is fair: far from this even on a busy machine.
SLOWEST_S = 10.0


def test_ten_writers_and_ten_readers_lose_nothing_and_nobody_is_turned_away(
    casebook: Casebook,
) -> None:
    prepare(casebook)
    told = work_together(casebook.url, SECONDS)
    assert told.refused == []
    assert told.lost == []
    assert told.whole
    assert len(told.saves) >= WRITERS
    assert told.reads >= READERS
    assert max(told.saves) < SLOWEST_S
