"""The import stays near a plain one: a small table and a wide margin, for a shared machine."""

from __future__ import annotations

import pytest

from tests.bench.import_speed import measure


@pytest.mark.bench
@pytest.mark.parametrize("trials", [7, 1])
def test_an_import_takes_at_most_a_few_times_as_long_as_a_plain_one(trials: int) -> None:
    # A small table pays the import's fixed cost (the catalogue, the look-ups) in full.
    measured = measure(20_000, trials=trials, repeats=3)
    assert measured.ratio <= 10.0, measured
