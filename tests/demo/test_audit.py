"""The audit of the demo, held against what is really so there as far as its error allows.

Counts are asked no more of than their chances (`expected.py`) bear; means may miss the true ones
by what measurement error makes of them, and by what was to be expected by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom, norm

import seed_demo
from casebook.domain.audit import AuditChoice, Step
from casebook.domain.audit_outcomes import Audit, On, Split
from casebook.domain.verdicts import SideMoved, What
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort, load_cohort
from casebook.services.cohort_choosing import choose
from casebook.services.cohort_rows import chosen_metrics, outcome_rows
from casebook.services.judging import judge_runners
from casebook.services.keeping import open_casebook
from casebook.storage.session import reading
from seed_demo.stories import CAST, Course
from tests.demo.expected import LEVEL, chances_of, fewest_expected
from tests.demo.told import catalogue, stories, truth_rows

# Of two runners up everything is told, so that the truth can be counted.
CHOICE = AuditChoice(as_of=date(2026, 11, 27), least_group=2)
BOUND = float(norm.ppf(1 - LEVEL / 2))


@pytest.fixture(scope="module")
def loaded(demo_built: Path) -> Iterator[LoadedCohort]:
    casebook = open_casebook(str(demo_built))
    yield load_cohort(casebook)
    casebook.close()


@pytest.fixture(scope="module")
def told(loaded: LoadedCohort) -> Audit:
    return audit(loaded, CHOICE)


def test_the_flow_is_that_of_the_stories(loaded: LoadedCohort, told: Audit) -> None:
    steps = {step: count.n for step, count in told.flow.steps}
    programmes = pd.read_csv(seed_demo.FOLDER / "programmes.csv")["runner"].nunique()
    assert steps[Step.REGISTERED] == steps[Step.BASELINE] == len(CAST) == 43
    assert steps[Step.STARTED] == programmes
    assert steps[Step.DISCHARGED] == sum(one.discharge for one in CAST)
    lost = {one.number for one in CAST if one.course is Course.LOST}
    found = set((np.flatnonzero(choose(loaded, CHOICE).lost) + 1).tolist())
    # The stories lose seven; whoever stayed away as long is lost, too.
    assert lost <= found
    assert all(one.number not in found or not one.discharge for one in CAST)


def test_the_worse_side_is_the_one_that_the_verdicts_tell(
    loaded: LoadedCohort, demo_built: Path
) -> None:
    casebook = open_casebook(str(demo_built))
    with reading(casebook.engine) as unit:
        verdicts = judge_runners(unit).judged.verdicts
    casebook.close()
    own = loaded.references.assign(runner=loaded.references["runner"] + 1)
    both = verdicts.merge(own, on=["runner", "metric", "what"], suffixes=("", "_told"))
    both = both[both["what"] == list(What).index(What.ASYMMETRY)]
    assert len(both) > 1000
    assert (both["worse"] == both["worse_told"]).all()
    assert set(both["worse"]) == {-1, 0, 1}


def test_as_many_asymmetries_shrank_by_the_worse_side_and_grew_as_their_chances_bear(
    told: Audit,
) -> None:
    groups = [dict(one.splits)[Split.NONE][0] for one in told.outcomes if one.on is On.ASYMMETRY]
    gained = sum(
        part.count or 0
        for group in groups
        for moved, part in group.moved
        if moved is SideMoved.WORSE_SIDE_GAINED
    )
    worsened = sum(group.worsened.count or 0 for group in groups)
    judged = sum(group.improved.total or 0 for group in groups)
    chances = [chances_of(story) for _, story in stories("weak_side_gained")]
    late = [chances_of(story) for _, story in stories("worsened_late")]
    # Groups of one are withheld, even here.
    assert gained >= fewest_expected([one.improved_by_worse_side for one in chances]) - 2
    assert worsened >= fewest_expected([one.worsened for one in late]) - 2
    # Of all that is steady at most 5 % is called changed, half of it to either side.
    assert gained <= len(chances) + binom.ppf(1 - LEVEL, judged, 0.025)
    assert worsened <= len(late) + 2 + binom.ppf(1 - LEVEL, judged, 0.025)


def test_means_miss_the_truth_by_error_and_by_what_was_expected_by_itself(
    loaded: LoadedCohort,
) -> None:
    rows = outcome_rows(loaded, choose(loaded, CHOICE), chosen_metrics(loaded, CHOICE))
    truth = {(row["runner"], row["metric"]): row for row in truth_rows()}
    worse = dict(
        zip(
            zip(loaded.references["runner"], loaded.references["metric"], strict=True),
            loaded.references["worse"],
            strict=True,
        )
    )
    missed: dict[On, list[float]] = {on: [] for on in On}
    by_itself: dict[On, list[float]] = {on: [] for on in On}
    for at in np.flatnonzero(np.isfinite(rows.gain) & np.isfinite(rows.expected)):
        on = tuple(On)[rows.on[at]]
        runner, metric = int(rows.runner[at]), loaded.metrics[rows.metric[at]]
        sign = {"higher": 1.0, "lower": -1.0}.get(catalogue()[metric.key]["better"])
        row = truth.get((f"SKV-{runner + 1:02d}", metric.key))
        if row is None or sign is None or on is On.ASYMMETRY:
            continue
        side = What.RIGHT if worse[runner, rows.metric[at]] == 1 else What.LEFT
        if on is On.OTHER_SIDE:
            side = What.LEFT if side is What.RIGHT else What.RIGHT
        name = "none" if on is On.VALUE else side.value
        true = sign * (row[f"now_{name}"] - row[f"before_{name}"])
        error = math.sqrt(
            (row["between_sd"] ** 2 + row["shared_sd"] ** 2 + row["within_sd"] ** 2 / row["trials"])
            * (1 + 1 / row["baseline_visits"])
        )
        missed[on].append((rows.gain[at] - true) / error)
        by_itself[on].append(rows.expected[at] / error)
    for on in (On.VALUE, On.WORSE_SIDE, On.OTHER_SIDE):
        n = len(missed[on])
        assert n > 20, on
        left = np.array(missed[on]) - np.array(by_itself[on])
        # A reading of a whole number and a range of values that ends at 0 spread a little more.
        assert abs(left.sum()) / math.sqrt(n) < 1.3 * BOUND, on
    # Who is picked for being the worse is measured better the next time, and the other worse.
    assert np.mean(by_itself[On.WORSE_SIDE]) > 0 > np.mean(by_itself[On.OTHER_SIDE])
