"""What a measurement set is, and the order in which its metrics are read."""

from __future__ import annotations

from dataclasses import replace

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.measurement_sets import MeasurementSet, in_looking_order
from casebook.domain.metrics import MetricGroup
from tests.builders import a_metric


def test_metrics_stand_as_a_clinician_looks_and_a_set_orders_within_a_view() -> None:
    table, late = a_metric(key="table_one", position=1), a_metric(key="table_two", position=9)
    behind = a_metric(key="behind", group=MetricGroup.POSTERIOR_VIEW, position=50)
    metrics = (table, late, behind)
    assert [m.key for m in in_looking_order(metrics)] == ["behind", "table_one", "table_two"]
    ordered = in_looking_order(metrics, ("table_two", "behind"))
    assert [m.key for m in ordered] == ["behind", "table_two", "table_one"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"name": "  "}, "needs a name"),
        ({"name": "x" * 101}, "at most 100"),
        ({"metrics": ()}, "has no metric"),
        ({"metrics": ("cadence", "cadence")}, "named twice: cadence"),
    ],
)
def test_what_is_no_set_is_refused(changes: dict[str, object], words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        replace(MeasurementSet(name="Sprint", metrics=("cadence",)), **changes)
