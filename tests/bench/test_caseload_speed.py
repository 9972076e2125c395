"""Judging a caseload stays near the bare arithmetic, and is done anew for one runner only."""

from __future__ import annotations

import pytest

from tests.bench.caseload_speed import measure_all


@pytest.mark.bench
def test_a_caseload_is_judged_within_a_few_times_the_bare_arithmetic() -> None:
    # A small store and a wide margin, for a shared machine: fixed costs count in full.
    (small, larger) = measure_all(few=100, many=400, rounds=2)
    assert larger.times_bare <= 8.0, larger
    assert larger.judged_s / small.judged_s <= 8.0, (small, larger)
    assert (small.judged_again, larger.judged_again) == (1, 1)
