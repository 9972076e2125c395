"""What is told as expected by itself, where nobody changed and the truth is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import GroupOutcome, On
from casebook.domain.audit_words import REGRESSION
from casebook.domain.injuries import Region
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort
from tests.services.drawn_cohorts import AS_OF, WHOLE, drawn_cohort

CHOICE = AuditChoice(as_of=date(1970, 1, 1) + timedelta(days=AS_OF), metrics=("test_pain",))
MEAN, OWN, ERROR = 200.0, 10.0, 8.0


def nobody_changed(seed: int, *, picked: bool) -> LoadedCohort:
    """Readings of a true value that stays; the higher half by the baseline has a knee complaint.

    Where `picked` the clinic has only seen runners whose baseline reads high.
    """
    loaded = drawn_cohort(600, seed)
    random = np.random.default_rng(seed)
    levels, references = loaded.levels, loaded.references
    true = random.normal(MEAN, OWN, 6000)
    first = true + random.normal(0.0, ERROR, 6000)
    if picked:
        order = np.argsort(first)[-600:]
        true, first = true[order], first[order]
    true, first = true[:600], first[:600]
    after = true[levels["runner"]] + random.normal(0.0, ERROR, len(levels))
    region = np.where(first > np.median(first), list(Region).index(Region.KNEE), 0)
    return replace(
        loaded,
        runners=loaded.runners.assign(region=region.astype("int8")),
        references=references.assign(baseline=first[references["runner"]], sem=ERROR),
        levels=levels.assign(
            value=np.where(levels["reference"], first[levels["runner"]], after), sem=ERROR
        ),
    )


def whole(loaded: LoadedCohort, choice: AuditChoice = CHOICE) -> GroupOutcome:
    (outcome,) = audit(loaded, choice).outcomes
    assert outcome.on is On.VALUE
    return outcome.splits[0][1][0]


def test_of_runners_picked_within_the_clinic_it_is_what_comes_by_itself() -> None:
    found = whole(nobody_changed(1, picked=False), replace(CHOICE, regions=(Region.KNEE,)))
    assert found.regression is not None
    assert found.change.low is not None
    assert found.change.high is not None
    assert found.change.low > 0.0  # a fall of pain, though nobody changed
    assert found.change.low < found.regression < found.change.high


def test_of_a_clinic_that_was_picked_itself_it_is_too_little_and_the_words_say_so() -> None:
    found = whole(nobody_changed(1, picked=True))
    assert found.regression is not None
    assert found.change.low is not None
    assert abs(found.regression) < 0.5
    assert found.change.low > 3.0
    assert "more comes by itself than it says" in REGRESSION


def test_an_important_change_is_not_lost_to_a_decimal_fraction() -> None:
    assert 3.3 - 1.3 < 2.0
    loaded = drawn_cohort(100, 2)
    levels, references = loaded.levels, loaded.references
    value = levels["value"].mask(levels["metric"] == WHOLE, 1.3)
    baseline = references["baseline"].mask(references["metric"] == WHOLE, 3.3)
    exact = replace(
        loaded,
        levels=levels.assign(value=value),
        references=references.assign(baseline=baseline),
    )
    important = whole(exact).important
    assert important is not None
    assert important.count == important.total
    assert important.total
