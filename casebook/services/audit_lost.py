"""How the runners who were lost differed at the baseline from those who were not."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import LostDifference, On
from casebook.domain.audit_words import LOST_ON
from casebook.domain.people import Sex
from casebook.domain.wording import asymmetry_unit, unit_words
from casebook.services.audit_outcomes import amount
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import Members
from casebook.services.cohort_rows import ONS, runs_of
from casebook.services.judging import number_or_none
from casebook.statistics.codes import Flags, Floats, code_of
from casebook.statistics.cohort_outcomes import (
    Mean,
    difference_of_means,
    difference_of_shares,
    mean_of,
    standardised_difference,
)
from casebook.statistics.proportions import wilson

DAYS_IN_YEAR = 365.2425


def lost_of(
    loaded: LoadedCohort, members: Members, choice: AuditChoice, metrics: Flags, *, told: bool
) -> tuple[LostDifference, ...]:
    """Differences at the baseline; nothing where the number of the lost is withheld.

    Parameters
    ----------
    told : bool
        Whether the flow shows how many were lost.

    Returns
    -------
    tuple of LostDifference
        Age at the baseline, sex, adherence, then metrics. Where either group has fewer runners
        than are shown, none of the numbers is told: from one the other could be worked out.
    """
    if not told or not members.lost.any():
        return ()
    seen = members.baseline
    lost, followed = seen & members.lost, seen & ~members.lost
    least = choice.least_group
    compared = [
        _compared(what, label, unit, values[lost], values[followed], least)
        for what, label, unit, values in _of_runners(loaded)
    ]
    compared.insert(1, _sexes(loaded, lost, followed, least))
    references = loaded.references
    on, metric = references["on"].to_numpy(), references["metric"].to_numpy()
    runner = references["runner"].to_numpy()
    ended = loaded.runners["baseline_last_day"].to_numpy() <= members.as_of
    rows = np.flatnonzero((on >= 0) & metrics[metric] & (seen & ended)[runner])
    key = metric[rows].astype(np.int64) * ONS + on[rows]
    order = np.argsort(key, kind="stable")
    rows, key = rows[order], key[order]
    groups = sorted(runs_of(key), key=lambda one: loaded.metrics[int(key[one[0]]) // ONS].position)
    for start, end in groups:
        own = rows[start:end]
        at, code = divmod(int(key[start]), ONS)
        values = references["baseline"].to_numpy()[own]
        away = lost[runner[own]]
        compared.append(_of_metric(loaded, at, tuple(On)[code], values[away], values[~away], least))
    return tuple(compared)


def _of_runners(loaded: LoadedCohort) -> Iterator[tuple[str, str, str, Floats]]:
    runners = loaded.runners
    year = 1970 + np.floor(runners["baseline_first_day"].to_numpy() / DAYS_IN_YEAR)
    yield "age", "Age", "years", year - runners["birth_year"].to_numpy()
    share = 100.0 * runners["adherence"].to_numpy()
    yield "adherence", "Sessions done of those planned", "%", share


def _of_metric(
    loaded: LoadedCohort, at: int, on: On, lost: Floats, followed: Floats, least: int
) -> LostDifference:
    metric = loaded.metrics[at]
    asymmetry = on is On.ASYMMETRY
    unit = (
        asymmetry_unit(metric.asymmetry_form, metric.unit) if asymmetry else unit_words(metric.unit)
    )
    if asymmetry:  # its size: which side is the larger says nothing of a group
        lost, followed = np.abs(lost), np.abs(followed)
    words = LOST_ON[on]
    return _compared(f"{metric.key}{words}", f"{metric.label}{words}", unit, lost, followed, least)


def _compared(
    what: str, label: str, unit: str, lost: Floats, followed: Floats, least: int
) -> LostDifference:
    lost, followed = (group[np.isfinite(group)] for group in (lost, followed))
    hidden = min(lost.size, followed.size) < least
    return LostDifference(
        what=what,
        label=label,
        unit=unit,
        lost=amount(mean_of(lost), hidden=hidden),
        followed=amount(mean_of(followed), hidden=hidden),
        difference=amount(difference_of_means(lost, followed), hidden=hidden),
        standardised=None if hidden else number_or_none(standardised_difference(lost, followed)),
    )


def _sexes(loaded: LoadedCohort, lost: Flags, followed: Flags, least: int) -> LostDifference:
    """Share of women among those of whom it is recorded that they are women or men."""
    sex = loaded.runners["sex"].to_numpy()
    women = sex == code_of(Sex.FEMALE)
    known = women | (sex == code_of(Sex.MALE))
    groups = [women[known & group] for group in (lost, followed)]
    hidden = min(group.size for group in groups) < least
    what, label = "sex_female", "Women, of women and men"
    if hidden:
        none = amount(mean_of(np.empty(0)), hidden=True)
        return LostDifference(
            what=what, label=label, unit="", lost=none, followed=none, difference=none,
            standardised=None,
        )  # fmt: skip
    counts = [(int(group.sum()), int(group.size)) for group in groups]
    shares = [wilson(*one) for one in counts]
    means = [Mean(n=one.total, mean=one.share, low=one.low, high=one.high) for one in shares]
    numbers = [group.astype(np.float64) for group in groups]
    return LostDifference(
        what=what,
        label=label,
        unit="",
        lost=amount(means[0]),
        followed=amount(means[1]),
        difference=amount(difference_of_shares(*counts[0], *counts[1])),
        standardised=number_or_none(standardised_difference(numbers[0], numbers[1])),
    )
