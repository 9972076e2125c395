"""How a graded metric leans at the visit that tells the outcome, by a proportional odds model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.audit import AuditChoice, Count, OutcomeVisit, Step
from casebook.domain.audit_growth import (
    CohortGrades,
    GradeShare,
    NoModel,
    OddsTerm,
)
from casebook.domain.audit_growth_words import NO_GRADES, grades_words, odds_words
from casebook.domain.audit_outcomes import On
from casebook.domain.metrics import Better, Metric
from casebook.domain.programmes import ProgrammeKind
from casebook.services.audit_flow import flow_of, told
from casebook.services.audit_refusals import asked_metric
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_as_of import as_known
from casebook.services.cohort_choosing import Members, choose
from casebook.services.cohort_levels import LEFT, RIGHT, WHOLE_BODY
from casebook.statistics.codes import Floats, Whole
from casebook.statistics.cohort_withholding import withheld_groups
from casebook.statistics.ordinal import (
    OrdinalFit,
    OrdinalRefusedError,
    fit_ordinal,
    grade_shares,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Graded:
    """Each runner's grade at the outcome visit, at the baseline, and kind of programme."""

    grade: Floats
    baseline: Floats
    kind: Whole
    rounded: int


def cohort_grades(
    loaded: LoadedCohort, choice: AuditChoice, metric: str, on: On, *, by: bool = True
) -> CohortGrades | NoModel:
    """Fit the grades at the visit that tells the outcome, one row a runner.

    The grade at the baseline and, where kinds are told apart, the programme's kind go with the
    odds. One row a runner leaves nothing clustered.

    Parameters
    ----------
    loaded : LoadedCohort
    choice : AuditChoice
        Its visit says which one tells the outcome.
    metric : str
        Key of a graded metric.
    on : On
        Of a metric with sides the one that was worse at the baseline, as it was read (the right
        one of two alike), or the other.
    by : bool
        Whether kinds of programme are told apart.

    Returns
    -------
    CohortGrades or NoModel

    Raises
    ------
    InputRefused
        For a metric that is not in the catalogue, or has no such side.
    """
    at = asked_metric(loaded, choice, metric, on)
    known = loaded.metrics[at]
    loaded = as_known(loaded, choice)
    members, least = choose(loaded, choice), choice.least_group
    # Of the discharged alone it would tell how many there are.
    if choice.visit is OutcomeVisit.DISCHARGE and not told(
        flow_of(members, choice), Step.DISCHARGED
    ):
        return _none(known, on, "withheld", NO_GRADES["withheld"])
    rows = _graded(loaded, members, at, on)
    if len(rows.grade) < least:
        return _none(known, on, "group_too_small", NO_GRADES["group_too_small"])
    kinds, sizes = np.unique(rows.kind, return_counts=True)
    several = by and len(kinds) > 1
    apart = several and bool(sizes.min() >= least)
    covariates = [rows.baseline, *((rows.kind == one).astype(np.float64) for one in kinds[1:])]
    try:
        fit = fit_ordinal(rows.grade, np.column_stack(covariates if apart else covariates[:1]))
    except OrdinalRefusedError as refused:
        return _none(known, on, refused.why.value, NO_GRADES[refused.why.value])
    names = tuple(list(ProgrammeKind)[one].value for one in kinds) if apart else ()
    return CohortGrades(
        metric=known.key,
        label=known.label,
        on=on,
        n_runners=fit.n,
        terms=_terms(fit, names),
        groups=_groups(fit, rows, names, kinds, least),
        log_likelihood=fit.log_likelihood,
        words=grades_words(on, rounded=rows.rounded, small_kind=several and not apart),
    )


def _none(metric: Metric, on: On, code: str, words: str) -> NoModel:
    return NoModel(metric=metric.key, label=metric.label, on=on, code=code, words=words)


def _graded(loaded: LoadedCohort, members: Members, metric: int, on: On) -> _Graded:
    levels, references = loaded.levels, loaded.references
    count = len(loaded.runners)
    # One column a side: left, right, whole body.
    before = np.full((count, 3), np.nan)
    rows = references[(references["metric"] == metric) & (references["what"] <= WHOLE_BODY)]
    before[rows["runner"].to_numpy(), rows["what"].to_numpy()] = rows["baseline"].to_numpy()
    now = np.full((count, 3), np.nan)
    rows = levels[(levels["metric"] == metric) & (levels["what"] <= WHOLE_BODY)]
    telling = members.outcome_visit[rows["runner"].to_numpy()] == rows["visit"].to_numpy()
    rows = rows[telling]
    now[rows["runner"].to_numpy(), rows["what"].to_numpy()] = rows["value"].to_numpy()
    side = _sides(before, loaded.metrics[metric], on)
    each = np.arange(count)
    baseline, value = before[each, side], now[each, side]
    known = members.reviewed & np.isfinite(baseline) & np.isfinite(value)
    grade = np.round(value[known])
    return _Graded(
        grade=grade,
        baseline=baseline[known],
        kind=loaded.runners["kind"].to_numpy()[known].astype(np.int64),
        rounded=int(np.sum(np.abs(grade - value[known]) > 1e-9)),
    )


def _sides(before: Floats, metric: Metric, on: On) -> Whole:
    if on is On.VALUE:
        return np.full(len(before), WHOLE_BODY, dtype=np.int64)
    gap = before[:, RIGHT] - before[:, LEFT]
    left_worse = gap > 0 if metric.better is Better.HIGHER else gap < 0
    worse = np.where(left_worse, LEFT, RIGHT)
    side: Whole = (worse if on is On.WORSE_SIDE else LEFT + RIGHT - worse).astype(np.int64)
    return side


def _terms(fit: OrdinalFit, names: tuple[str, ...]) -> tuple[OddsTerm, ...]:
    keys = ("baseline", *(f"kind[T.{name}]" for name in names[1:]))
    return tuple(
        OddsTerm(
            name=key,
            words=odds_words(key, names),
            ratio=float(np.exp(fit.log_odds[at])),
            low=float(np.exp(fit.low[at])),
            high=float(np.exp(fit.high[at])),
        )
        for at, key in enumerate(keys)
    )


def _groups(
    fit: OrdinalFit, rows: _Graded, names: tuple[str, ...], kinds: Whole, least: int
) -> tuple[tuple[str, tuple[GradeShare, ...]], ...]:
    found = []
    for number, name in enumerate(names or ("",)):
        inside = rows.kind == kinds[number] if names else np.ones(len(rows.kind), dtype=np.bool_)
        others = [1.0 if number == one else 0.0 for one in range(1, len(names))]
        (shares,) = grade_shares(fit, np.array([[rows.baseline.mean(), *others]]))
        counts = [int(np.sum(rows.grade[inside] == grade)) for grade in fit.grades]
        hidden = withheld_groups(counts, least).beside_the_whole
        found.append(
            (
                name,
                tuple(
                    GradeShare(
                        grade=float(grade),
                        count=Count(n=None if hide else count),
                        predicted=float(share),
                    )
                    for grade, share, count, hide in zip(
                        fit.grades, shares, counts, hidden, strict=True
                    )
                ),
            )
        )
    return tuple(found)
