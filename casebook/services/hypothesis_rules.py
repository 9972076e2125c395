"""What a hypothesis may predict, held against the catalogue as it is stored."""

from __future__ import annotations

from datetime import datetime

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.history import Change
from casebook.domain.hypotheses import Hypothesis
from casebook.domain.programmes import TargetOn
from casebook.intake.nearest import hint
from casebook.storage import cases, hypotheses
from casebook.storage.session import Unit


def add_checked(
    unit: Unit, place: tuple[int, int, int], wanted: Hypothesis, *, at: datetime
) -> list[Change]:
    """Add a version to a unit of work; returns what the history is to be told.

    Parameters
    ----------
    place : (int, int, int)
        Ids of runner and programme, and the hypothesis' number within the programme.

    Raises
    ------
    InputRefused
        For a metric or side that does not fit the catalogue.
    """
    metrics = {metric.key: (key, metric) for key, metric in cases.metrics_by_id(unit).items()}
    problems = []
    for link in wanted.links:
        if link.metric not in metrics:
            problems.append(
                Problem(
                    code="unknown_metric",
                    column="metric",
                    value=link.metric,
                    message=f"prediction {link.position}: the catalogue has no metric "
                    f"'{link.metric}'.{hint(link.metric, metrics)}",
                )
            )
        elif metrics[link.metric][1].sided == (link.on is TargetOn.NONE):
            sided = metrics[link.metric][1].sided
            expected = "left, right or asymmetry" if sided else "none"
            problems.append(
                Problem(
                    code="what_not_taken",
                    column="on",
                    value=link.on.value,
                    message=f"prediction {link.position} on {link.metric} is set on '{link.on}'; "
                    f"expected {expected}.",
                )
            )
    if problems:
        raise InputRefused(tuple(problems))
    return hypotheses.add_version(
        unit, place, wanted, {key: one for key, (one, _) in metrics.items()}, at=at
    )
