"""What no audit can be asked for: dates out of order, numbers out of reach, names unknown here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from difflib import get_close_matches

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import On
from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.metrics import AsymmetryForm, Metric
from casebook.services.cohort import LoadedCohort

FEWEST_IN_GROUP = 2
# A mean with its interval gives both values of a pair back.
FEWEST_FOR_OTHERS = 3
MOST_IN_GROUP = 1000
MOST_DAYS = 36_600


def check_choice(loaded: LoadedCohort, choice: AuditChoice) -> None:
    """Refuse a choice with all that is wrong with it.

    Raises
    ------
    InputRefused
        With a problem for each field.
    """
    problems = tuple(_problems(loaded, choice))
    if problems:
        raise InputRefused(problems)


def _problems(loaded: LoadedCohort, choice: AuditChoice) -> Iterator[Problem]:
    start, end = choice.started_from, choice.started_to
    if start is not None and end is not None and end < start:
        yield Problem(
            code="dates_out_of_order",
            column="started_to",
            value=str(end),
            message=f"programmes started from {start} to {end}: the last day lies before the "
            "first. Give the earlier day as the first.",
        )
    if start is not None and start > choice.as_of:
        yield Problem(
            code="dates_out_of_order",
            column="started_from",
            value=str(start),
            message=f"programmes started from {start}, told as of {choice.as_of}: nothing of "
            "them is seen yet on that day. Give a later day for the audit.",
        )
    fewest = FEWEST_IN_GROUP if choice.purpose is None else FEWEST_FOR_OTHERS
    for column, number, least, most in (
        ("least_group", choice.least_group, fewest, MOST_IN_GROUP),
        ("grace_days", choice.grace_days, 0, MOST_DAYS),
        ("lost_after_days", choice.lost_after_days, 1, MOST_DAYS),
    ):
        if not least <= number <= most:
            yield Problem(
                code="number_out_of_range",
                column=column,
                value=str(number),
                message=f"{column} is {number}; expected a whole number from {least} to {most}.",
            )
    yield from _unknown("metrics", choice.metrics, [metric.key for metric in loaded.metrics])
    yield from _unknown("clinicians", choice.clinicians, loaded.clinicians)


def _unknown(column: str, given: Sequence[str], known: Sequence[str]) -> Iterator[Problem]:
    for one in given:
        if one in known:
            continue
        near = get_close_matches(one, known, n=1, cutoff=0.5)
        if near:
            mend = f"Did you mean '{near[0]}'?"
        elif column == "metrics":
            mend = "The catalogue lists them with their keys."
        else:
            mend = f"Those who assessed a visit: {', '.join(known) or 'nobody yet'}."
        yield Problem(
            code=f"unknown_{column[:-1]}",
            column=column,
            value=one,
            message=f"there is no {column[:-1]} '{one}' in this casebook. {mend}",
        )


def asked_metric(loaded: LoadedCohort, choice: AuditChoice, key: str, on: On) -> int:
    """Position of the metric that a model is asked of; refuses what it does not have.

    Raises
    ------
    InputRefused
        For a choice that contradicts itself, a metric that is not in the catalogue, a side of a
        metric without sides, and the like.
    """
    check_choice(loaded, replace(choice, metrics=(key,)))
    at = next(at for at, one in enumerate(loaded.metrics) if one.key == key)
    metric = loaded.metrics[at]
    has = ons_of(metric)
    if on in has:
        return at
    names = ", ".join(one.value for one in has)
    raise refuse(
        "on_not_there",
        f"{metric.key} has no {on.value.replace('_', ' ')}; expected one of: {names}.",
        column="on",
        value=on.value,
    )


def ons_of(metric: Metric) -> tuple[On, ...]:
    """What outcomes of a metric are about."""
    if not metric.sided:
        return (On.VALUE,)
    sides = (On.WORSE_SIDE, On.OTHER_SIDE)
    return sides if metric.asymmetry_form is AsymmetryForm.NONE else (On.ASYMMETRY, *sides)
