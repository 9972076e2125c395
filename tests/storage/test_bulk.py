"""Whole tables at a time go through the driver, and are refused in the same words."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from casebook.domain.errors import Conflict, InputRefused
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason
from casebook.services.keeping import Casebook
from casebook.services.recording import find_visit, record_visit
from casebook.storage import bulk
from casebook.storage.session import reading, writing
from tests.builders import STRENGTH, a_visit


def store_trial(casebook: Casebook, value_id: int, number: int, reading: float) -> None:
    with writing(casebook.engine) as unit:
        bulk.insert_trials(
            unit,
            bulk.KeptTrials(
                value_id=np.array([value_id]),
                number=np.array([number]),
                reading=np.array([reading]),
            ),
            lambda _: None,
        )
        unit.commit()


def test_a_trial_of_no_value_is_refused_as_an_orphan(clinic: Casebook) -> None:
    with pytest.raises(InputRefused) as refused:
        store_trial(clinic, 999_999, 1, 4.5)
    assert refused.value.problems[0].code == "orphan"


def test_a_reading_beyond_the_store_s_bounds_is_refused_as_a_broken_rule(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="")
    with reading(clinic.engine) as unit:
        value_id = int(bulk.values_of(unit, [1]).value_id[0])
    with pytest.raises(InputRefused) as refused:
        store_trial(clinic, value_id, 77, 1e9)
    assert refused.value.problems[0].code == "rule_broken"


def test_a_trial_number_that_is_taken_is_a_conflict(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="")
    with reading(clinic.engine) as unit:
        value_id = int(bulk.trials_of(unit, [1]).value_id[0])
    with pytest.raises(Conflict, match="this trial number"):
        store_trial(clinic, value_id, 1, 4.5)


def test_what_was_logged_by_hand_is_read_back_as_numbers(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="")
    with reading(clinic.engine) as unit:
        values = bulk.values_of(unit, [1])
        kept = bulk.trials_of(unit, [1])
        metric = bulk.metric_ids(unit)[STRENGTH]
    left = (values.metric_id == metric) & (values.side == bulk.SIDES.index(Side.LEFT))
    assert values.n_trials[left].tolist() == [3]
    assert sorted(kept.reading[np.isin(kept.value_id, values.value_id[left])].tolist()) == [
        310.0,
        318.0,
        322.0,
    ]
    reasons = [bulk.REASONS[code] for code in values.reason.tolist() if code >= 0]
    assert reasons == [MissingReason.NOT_VISIBLE]


def test_ids_given_in_bulk_and_ids_given_one_by_one_never_meet(clinic: Casebook) -> None:
    record_visit(clinic, a_visit(), by="")
    visit = find_visit(clinic, "T-001", date(2026, 3, 2))
    assert visit is not None
    with writing(clinic.engine) as unit:
        before = bulk.values_of(unit, [visit.visit_id]).value_id
        ids = bulk.insert_values(
            unit,
            bulk.ValueColumns(
                visit_id=np.array([visit.visit_id]),
                metric_id=np.array([bulk.metric_ids(unit)["cadence"]]),
                side=np.array([2]),
                n_trials=np.array([1]),
                mean=np.array([170.0]),
                sd=np.array([np.nan]),
                reason=np.array([-1]),
                saved_in=np.array([1]),
            ),
            lambda _: None,
        )
        unit.commit()
    assert not set(ids.tolist()) & set(before.tolist())
    record_visit(clinic, a_visit(visited_on=date(2026, 4, 2)), by="")
    again = find_visit(clinic, "T-001", date(2026, 4, 2))
    assert again is not None
    assert len(again.visit.values) == 3
