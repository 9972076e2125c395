"""From the arrays of a judgement to the values and frames that a face shows."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd

from casebook.domain.metrics import ErrorFigure
from casebook.domain.verdicts import Call, Reason, Regression, Verdict, What
from casebook.services.judging import JudgedRunners, number_or_none, rows_of
from casebook.services.norming import Norms
from casebook.statistics.codes import (
    CALLS,
    MOVED,
    NOTHING,
    ORIGINS,
    REASONS,
    WHATS,
    code_of,
    conditions_of,
    mask_of,
)
from casebook.statistics.levels import PUBLISHED, WITHIN
from casebook.statistics.regression_to_mean import expected_regression

WORSE_SIDES = {1: What.RIGHT, -1: What.LEFT, 0: None}

COURSE_COLUMNS = (
    "metric",
    "what",
    "visited_on",
    "session",
    "value",
    "sem",
    "n",
    "reference",
    "baseline",
    "baseline_visits",
    "mdc95",
    "verdict",
    "reason",
    "lower_bound",
    "flagged",
    "unlike",
)


def latest_verdicts(
    found: JudgedRunners, latest: Sequence[Any], norms: Norms | None = None
) -> tuple[Verdict, ...]:
    """The verdict on the latest visit that has each metric and side, in the catalogue's order.

    Of one runner only; `latest` as `latest_rows` gives it. With `norms` the change to be
    expected by itself stands beside it. What was measured at baseline and at no later visit,
    although there was one, is missing.
    """
    verdicts = [(row, _verdict(row, found, norms)) for row in latest]
    if not found.judged.expected.empty:
        told = {(row.metric, row.what) for row, _ in verdicts}
        verdicts += [
            (row, _missing(row, found))
            for row in rows_of(found.judged.references)
            if (row.metric, row.what) not in told
        ]
    verdicts.sort(key=lambda pair: (*_place(found, pair[0].metric), pair[0].what))
    return tuple(verdict for _, verdict in verdicts)


def every_verdict(found: JudgedRunners) -> Iterator[tuple[int, Verdict]]:
    """Every verdict on every later visit with whose it is (the frames' `runner`), in order."""
    days = found.visits.set_index("visit")[["visited_on", "order"]]
    rows = found.judged.verdicts.join(days, on="visit")
    for row in rows_of(rows.sort_values(["runner", "order"], kind="stable")):
        yield int(row.runner), _verdict(row, found, None)


def _place(found: JudgedRunners, metric: int) -> tuple[int, int]:
    return found.metrics[metric].position, metric


def figures_used(
    found: JudgedRunners, latest: Sequence[Any]
) -> dict[tuple[str, What], ErrorFigure]:
    """The error figure behind each of the latest verdicts that has one."""
    return {
        (found.metrics[row.metric].key, WHATS[row.what]): found.figures[row.figure]
        for row in latest
        if row.figure != NOTHING
    }


def latest_rows(found: JudgedRunners) -> tuple[Any, ...]:
    """The judged rows of the latest visit that has each metric and what; of one runner only."""
    frame = found.judged.verdicts
    days = found.visits.set_index("visit")[["visited_on", "order"]]
    rows = frame.join(days, on="visit").sort_values("order", kind="stable")
    return tuple(rows_of(rows.drop_duplicates(["metric", "what"], keep="last")))


def _verdict(row: Any, found: JudgedRunners, norms: Norms | None) -> Verdict:
    metric = found.metrics[row.metric]
    figure = found.figures[row.figure] if row.figure != NOTHING else None
    return Verdict(
        metric=metric.key,
        what=WHATS[row.what],
        baseline=number_or_none(row.baseline),
        baseline_visits=int(row.baseline_visits),
        latest=number_or_none(row.latest),
        latest_date=row.visited_on.date(),
        change=number_or_none(row.change),
        se_change=number_or_none(row.se_change),
        mdc95=number_or_none(row.mdc95),
        verdict=CALLS[row.call],
        reason=REASONS[row.reason] if row.reason != NOTHING else None,
        which_side_moved=MOVED[row.moved] if row.moved != NOTHING else None,
        error_origin=ORIGINS[row.origin],
        error_source=figure.source if figure else "",
        like_for_like=conditions_of(int(row.differs)),
        not_recorded=tuple(
            condition
            for condition in conditions_of(int(row.not_recorded))
            if condition in metric.sensitive_to
        ),
        p_better=number_or_none(row.p_better),
        asymmetry_form=metric.asymmetry_form,
        important_change=None if WHATS[row.what] is What.ASYMMETRY else metric.important_change,
        p_important=number_or_none(row.p_important),
        bridged=bool(row.bridged),
        baseline_sem=number_or_none(row.baseline_sem),
        latest_sem=number_or_none(row.latest_sem),
        best_sem=number_or_none(row.best_sem),
        latest_trials=int(row.latest_n),
        worse_side=WORSE_SIDES[int(row.worse)],
        left_change=number_or_none(row.left_change),
        left_mdc95=number_or_none(row.left_mdc95),
        right_change=number_or_none(row.right_change),
        right_mdc95=number_or_none(row.right_mdc95),
        regression=_regression(row, metric.key, norms),
    )


def _missing(row: Any, found: JudgedRunners) -> Verdict:
    metric = found.metrics[row.metric]
    return Verdict(
        metric=metric.key,
        what=WHATS[row.what],
        baseline=number_or_none(row.baseline),
        baseline_visits=int(row.visits),
        latest=None,
        latest_date=None,
        change=None,
        se_change=None,
        mdc95=None,
        verdict=Call.CANNOT_SAY,
        reason=Reason.MISSING,
        which_side_moved=None,
        error_origin=ORIGINS[row.origin],
        error_source=found.figures[row.figure].source if row.figure != NOTHING else "",
        like_for_like=(),
        not_recorded=(),
        p_better=None,
        asymmetry_form=metric.asymmetry_form,
        bridged=bool(row.bridged),
        baseline_sem=number_or_none(row.sem),
    )


def _regression(row: Any, metric: str, norms: Norms | None) -> Regression | None:
    """What of the change was to be expected by itself; None where the change means nothing."""
    means_something = (
        row.origin <= PUBLISHED
        and math.isfinite(row.se_change)
        and row.reason != code_of(Reason.NOT_LIKE_FOR_LIKE)
    )
    group = norms.groups.get((metric, WHATS[row.what])) if norms is not None else None
    if group is None or not means_something:
        return None
    others, sems = group.without(int(row.runner))
    return expected_regression(float(row.baseline), float(row.baseline_sem), others, sems)


def course_frame(found: JudgedRunners) -> pd.DataFrame:
    """Every level of one runner by visit, with the baseline and its band.

    Returns
    -------
    DataFrame, one row a visit, metric and what
        `metric` (key), `what` ('left', 'right', 'none', 'asymmetry'), `visited_on`
        (datetime64), `session`, `value` and `sem` (in the metric's unit, or that of its
        asymmetry form), `n` (trials), `reference` (bool: part of the baseline), `baseline`
        (NaN without one), `baseline_visits`, `mdc95` (of a change from the baseline to this
        visit; NaN at baseline visits and without an error figure), `verdict` ('' at baseline
        visits), `reason` (why there is none, else ''), `lower_bound` (bool: the error is that
        within a session only, so `sem` and `mdc95` are too small), `flagged` (bool), `unlike`
        (bool: not like for like in what matters for the metric, whatever else there is no
        verdict for).
    """
    judged = found.judged
    keys = ["visit", "metric", "what"]
    told = judged.verdicts[[*keys, "mdc95", "call", "reason", "origin", "differs"]]
    told = told.rename(columns={"origin": "told_origin"})
    frame = judged.measures.merge(told, on=keys, how="left")
    flagged = judged.flags[["visit", "metric"]].drop_duplicates().assign(flagged=True)
    frame = frame.merge(flagged, on=["visit", "metric"], how="left")
    frame = frame.join(
        found.visits.set_index("visit")[["visited_on", "session", "order"]],
        on="visit",
    )
    references = judged.references[["metric", "what", "baseline", "visits"]]
    frame = frame.merge(references, on=["metric", "what"], how="left")
    sensitive = np.array([mask_of(metric.sensitive_to) for metric in found.metrics], dtype=int)
    positions = np.array([metric.position for metric in found.metrics], dtype=np.int64)
    frame = frame.assign(place=positions[frame["metric"].to_numpy()])
    frame = frame.sort_values(["place", "metric", "what", "order"], kind="stable")
    calls, reasons = frame["call"].to_numpy(), frame["reason"].fillna(NOTHING).astype(int)
    return pd.DataFrame(
        {
            "metric": [found.metrics[index].key for index in frame["metric"]],
            "what": [str(WHATS[code]) for code in frame["what"]],
            "visited_on": frame["visited_on"].to_numpy(),
            "session": frame["session"].to_numpy(),
            "value": frame["value"].to_numpy(),
            "sem": frame["sem"].to_numpy(),
            "n": frame["n"].to_numpy(),
            "reference": frame["reference"].to_numpy(),
            "baseline": frame["baseline"].to_numpy(),
            "baseline_visits": frame["visits"].fillna(0).astype(int).to_numpy(),
            "mdc95": frame["mdc95"].to_numpy(),
            "verdict": ["" if math.isnan(call) else str(CALLS[int(call)]) for call in calls],
            "reason": ["" if code == NOTHING else str(REASONS[code]) for code in reasons],
            "lower_bound": (
                frame["origin"].eq(WITHIN) | frame["told_origin"].eq(WITHIN)
            ).to_numpy(),
            "flagged": frame["flagged"].eq(other=True).to_numpy(),
            "unlike": (
                frame["differs"].fillna(0).to_numpy(dtype=int)
                & sensitive[frame["metric"].to_numpy()]
            )
            != 0,
        },
        columns=list(COURSE_COLUMNS),
    )
