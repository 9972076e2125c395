"""Which visits form the baseline."""

from __future__ import annotations

import pandas as pd
import pytest

from casebook.statistics.reference import mark_reference


def visits(*rows: tuple[int, str, str]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "runner": pd.array([row[0] for row in rows], dtype="int64"),
            "visited_on": pd.to_datetime([row[1] for row in rows]).astype("datetime64[ns]"),
            "session": [1] * len(rows),
            "kind": [row[2] for row in rows],
        }
    )


def starts(**days: str) -> pd.Series:
    return pd.Series(
        pd.to_datetime(list(days.values())),
        index=[int(key[1:]) for key in days],
        dtype="datetime64[ns]",
    )


@pytest.mark.parametrize(
    ("kinds", "start", "expected"),
    [
        (["baseline", "review", "review"], None, [True, False, False]),
        (["baseline", "baseline", "review"], None, [True, True, False]),
        (["review", "review"], None, [True, False]),
        (["repeat", "review", "review"], None, [False, True, False]),
        (["baseline", "review", "review"], "2026-01-02", [True, True, False]),
        (["baseline", "repeat", "review"], "2026-01-03", [True, False, True]),
        (["baseline", "baseline", "review"], "2025-12-31", [True, True, False]),
        (["repeat", "repeat"], None, [False, False]),
    ],
)
def test_the_baseline_is_what_was_measured_before_the_programme(
    kinds: list[str], start: str | None, expected: list[bool]
) -> None:
    frame = visits(*((7, f"2026-01-{day:02d}", kind) for day, kind in enumerate(kinds, 1)))
    first_starts = starts(r7=start) if start else starts()
    assert mark_reference(frame, first_starts)["reference"].tolist() == expected


def test_runners_are_settled_apart_and_rows_may_come_in_any_order() -> None:
    frame = visits(
        (2, "2026-01-05", "review"),
        (1, "2026-02-01", "review"),
        (2, "2026-01-01", "review"),
        (1, "2026-01-01", "baseline"),
    )
    marked = mark_reference(frame, starts(r1="2026-03-01"))
    assert marked["runner"].tolist() == [1, 1, 2, 2]
    assert marked["order"].tolist() == [0, 1, 0, 1]
    assert marked["reference"].tolist() == [True, True, True, False]


def test_no_visits_give_no_baseline() -> None:
    assert mark_reference(visits(), starts()).empty
