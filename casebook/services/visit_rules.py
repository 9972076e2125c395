"""What a visit must keep to before it is stored, whoever stores it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.fitting import value_problems
from casebook.domain.sides import Side
from casebook.domain.visits import Value, Visit, missing_value, value_of_mean, value_of_trials
from casebook.services.visit_words import named
from casebook.storage import visits


def settled(visit: Visit) -> Visit:
    """The visit with n, mean and SD made from the trials, whoever made the values."""
    values: list[Value] = []
    problems: list[Problem] = []
    for value in visit.values:
        try:
            values.append(settled_value(value))
        except InputRefused as refused:
            problems.extend(refused.problems)
    if problems:
        raise InputRefused(tuple(problems))
    return replace(visit, values=tuple(values))


def settled_value(value: Value) -> Value:
    """The value with n, mean and SD made from its trials."""
    marking = value.marking_sd
    if value.trials:
        settled = value_of_trials(value.metric, value.side, value.trials)
        return replace(settled, marking_sd=marking, trial_numbers=value.trial_numbers)
    if value.mean is not None:
        settled = value_of_mean(value.metric, value.side, value.mean, value.n_trials)
        return replace(settled, sd=value.sd if value.n_trials > 1 else None, marking_sd=marking)
    if value.missing_reason is not None:
        return missing_value(value.metric, value.side, value.missing_reason)
    raise InputRefused(
        (
            Problem(
                code="value_empty",
                column=value.metric,
                message=f"{named(value.metric, value.side)} has neither a number nor a reason "
                "why it is missing; give one of them or leave it out.",
            ),
        )
    )


def date_problems(visit: Visit, born: date | None, today: date) -> Iterator[Problem]:
    """What is wrong with a visit's days and session."""
    day = visit.visited_on
    if day > today:
        yield Problem(
            code="date_in_future",
            column="visit_date",
            value=day.isoformat(),
            message=f"the visit is dated {day}, which lies in the future (today is {today}).",
        )
    if born is not None and day < born:
        yield Problem(
            code="date_before_birth",
            column="visit_date",
            value=day.isoformat(),
            message=f"the visit is dated {day}, before runner '{visit.runner}' was born. Check "
            "the date of the visit and the birth date.",
        )
    if visit.session < 1:
        yield Problem(
            code="session",
            column="session",
            value=str(visit.session),
            message=f"session is {visit.session}; expected 1, 2, ...",
        )
    if visit.next_due_on is not None and visit.next_due_on < day:
        yield Problem(
            code="due_before_visit",
            column="next_due_on",
            value=visit.next_due_on.isoformat(),
            message=f"the next visit is due on {visit.next_due_on}, before this one on {day}.",
        )


def value_rule_problems(
    visit: Visit, metrics: Mapping[str, visits.KnownMetric]
) -> Iterator[Problem]:
    """What is wrong with a visit's values."""
    seen: set[tuple[str, Side]] = set()
    for value in visit.values:
        known = metrics.get(value.metric)
        if known is None:
            yield Problem(
                code="unknown_metric",
                column="metric",
                value=value.metric,
                message=f"'{value.metric}' is not in the catalogue. Check the key, or add the "
                "metric to the catalogue first.",
            )
            continue
        if not known.metric.active:
            yield Problem(
                code="inactive_metric",
                column="metric",
                value=value.metric,
                message=f"'{value.metric}' is switched off in the catalogue; switch it on to "
                "record it.",
            )
        if (value.metric, value.side) in seen:
            yield Problem(
                code="value_twice",
                column="metric",
                value=value.metric,
                message=f"{named(value.metric, value.side)} is given twice; give all its trials "
                "together.",
            )
        seen.add((value.metric, value.side))
        yield from value_problems(known.metric, value)
        if value.sd is not None and not (math.isfinite(value.sd) and value.sd >= 0):
            yield Problem(
                code="sd",
                column=value.metric,
                value=str(value.sd),
                message=f"{named(value.metric, value.side)}: the SD is {value.sd}; expected a "
                "number of zero or more.",
            )
