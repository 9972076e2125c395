"""A growth model of one metric in the runners of an audit."""

from __future__ import annotations

import numpy as np

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_growth import (
    CohortGrowth,
    GrowthCourse,
    GrowthTerm,
    NoModel,
    Phase,
    RandomEffects,
    RawCourse,
    ResidualPoint,
    Term,
)
from casebook.domain.audit_growth_words import (
    growth_cautions,
    residual_words,
    term_unit,
    term_words,
)
from casebook.domain.audit_outcomes import On
from casebook.domain.growth_words import model_words
from casebook.domain.metrics import Metric, Scale
from casebook.domain.wording import asymmetry_unit, unit_words
from casebook.services.audit_refusals import asked_metric
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_as_of import as_known
from casebook.services.cohort_choosing import choose
from casebook.services.cohort_growth_rows import (
    ADHERENCE,
    KIND,
    PHASE,
    SPEED,
    GrowthRows,
    growth_rows,
)
from casebook.statistics.codes import Floats, Whole
from casebook.statistics.growth.courses import predict_course
from casebook.statistics.growth.model import GrowthFit, fit_growth
from casebook.statistics.growth.residuals import ResidualChecks, residual_checks
from casebook.statistics.growth.table import GrowthTable, told_apart

TIME = "time"
TERMS = {
    "Intercept": Term.LEVEL,
    TIME: Term.SLOPE,
    PHASE: Term.STEP,
    SPEED: Term.BASELINE_SPEED,
    ADHERENCE: Term.ADHERENCE,
    f"{TIME}:{ADHERENCE}": Term.SLOPE_BY_ADHERENCE,
}
# So many single courses can still be told apart as a cloud, and so many points drawn at once.
MOST_RAW, MOST_POINTS = 120, 1500
# What is left of squares of this size by rounding alone.
ROUNDING = 1e-14
# Points of a predicted course.
STEPS = 41


def cohort_growth(
    loaded: LoadedCohort, choice: AuditChoice, metric: str, on: On, *, by: bool = True
) -> CohortGrowth | NoModel:
    """Fit a growth model to one metric of the runners of an audit.

    Fixed effects are time since the programme's start, a step at the start, the programme's kind,
    speed at the baseline and adherence, each where it is recorded and can be told; random ones
    each runner's level and slope, as far as the visits support them.

    Parameters
    ----------
    loaded : LoadedCohort
    choice : AuditChoice
        Its metrics do not matter here.
    metric : str
        Key; not a grade (see `cohort_ordinal`).
    on : On
        What of it.
    by : bool
        Whether kinds of programme are told apart.

    Returns
    -------
    CohortGrowth or NoModel
        Single runners are in it for the clinic's own look only (no purpose in the choice).

    Raises
    ------
    InputRefused
        For a metric that is not in the catalogue, or has no such thing.
    """
    at = asked_metric(loaded, choice, metric, on)
    known = loaded.metrics[at]
    loaded = as_known(loaded, choice)
    rows = growth_rows(loaded, choose(loaded, choice), at, on, by=by, least=choice.least_group)
    if rows is None:
        return _none(
            known,
            on,
            "group_too_small",
            f"Fewer than {choice.least_group} runners with a programme have this measured: "
            "nothing is told of so few.",
        )
    if not told_apart(rows.table):
        return _none(
            known,
            on,
            "no_slope",
            "The visits cannot tell a course: they would have to lie at more than one time "
            "since the programme's start.",
        )
    fit = fit_growth(rows.table, error_variance=rows.error_variance)
    if fit.fit.residual_variance <= ROUNDING * np.mean(np.square(rows.table.value)):
        return _none(
            known,
            on,
            "no_scatter",
            "Each runner's values lie on one line without any scatter, or all are the same: no "
            "interval can be told of them.",
        )
    return _told(known, on, rows, fit, choice)


def _none(metric: Metric, on: On, code: str, words: str) -> NoModel:
    return NoModel(metric=metric.key, label=metric.label, on=on, code=code, words=words)


def _told(
    metric: Metric, on: On, rows: GrowthRows, fit: GrowthFit, choice: AuditChoice
) -> CohortGrowth:
    own_look = choice.purpose is None
    unit = unit_words(metric.unit) or ("points" if metric.scale is Scale.SCORE else "")
    if on is On.ASYMMETRY:
        unit = asymmetry_unit(metric.asymmetry_form, metric.unit)
    checks = residual_checks(fit, rows.table)
    terms = _terms(fit, rows.table, unit)
    return CohortGrowth(
        metric=metric.key,
        label=metric.label,
        on=on,
        unit=unit,
        n_runners=fit.n_subjects,
        n_rows=fit.n_rows,
        terms=terms,
        random=_random(fit),
        log_likelihood=fit.fit.log_likelihood,
        converged=fit.fit.converged,
        model=fit.random.value,
        check=fit.check,
        courses=_courses(fit, rows.table, choice.least_group),
        raw=_raw(rows.table) if own_look else (),
        residuals=_points(checks) if own_look else (),
        words=(
            *model_words(
                fit.random.value,
                tuple((part.value, why.value) for part, why in fit.given_up),
                converged=fit.fit.converged,
                error_share=fit.error_share,
                error_too_large=fit.error_too_large,
                check=fit.check,
            ),
            *rows.left_out,
            *residual_words(
                beyond_2=checks.beyond_2,
                beyond_3=checks.beyond_3,
                far=checks.far,
                widens=checks.widens,
                uneven=checks.uneven,
            ),
            *growth_cautions(
                on,
                fit.n_subjects,
                adherence=any(one.what is Term.ADHERENCE for one in terms),
                raw=own_look,
            ),
        ),
    )


def _terms(fit: GrowthFit, table: GrowthTable, unit: str) -> tuple[GrowthTerm, ...]:
    found = []
    for name, estimate, se in zip(fit.names, fit.fit.fixed, fit.fit.se, strict=True):
        what = TERMS.get(name) or (
            Term.LEVEL_BY_KIND if name.startswith(f"{KIND}[") else Term.SLOPE_BY_KIND
        )
        found.append(
            GrowthTerm(
                name=name,
                what=what,
                words=term_words(what, table.groups),
                unit=term_unit(what, unit),
                estimate=float(estimate),
                se=float(se),
                low=float(estimate - fit.wide * se),
                high=float(estimate + fit.wide * se),
            )
        )
    return tuple(found)


def _random(fit: GrowthFit) -> RandomEffects:
    covariance = fit.fit.random_covariance
    sds = np.sqrt(np.diag(covariance))
    return RandomEffects(
        sd_level=float(sds[0]) if len(sds) else None,
        sd_slope=float(sds[1]) if len(sds) > 1 else None,
        correlation=float(covariance[0, 1] / (sds[0] * sds[1])) if len(sds) > 1 else None,
        sd_residual=float(np.sqrt(fit.fit.residual_variance)),
        sd_error=None if fit.error_variance is None else float(np.sqrt(fit.error_variance)),
        error_share=fit.error_share,
    )


def _courses(fit: GrowthFit, table: GrowthTable, least: int) -> tuple[GrowthCourse, ...]:
    first, last = _span(table, least)
    pieces: list[tuple[Phase | None, float, float]] = [(None, first, last)]
    if PHASE in fit.names:
        pieces = [(Phase.BEFORE, min(first, 0.0), 0.0), (Phase.AFTER, 0.0, max(last, 0.0))]
    found = []
    for phase, start, end in pieces:
        weeks = np.linspace(start, end, STEPS)
        at = {PHASE: 1.0} if phase is Phase.AFTER else None
        for course in predict_course(fit, table, weeks, at=at):
            found.append(
                GrowthCourse(
                    group=course.group,
                    phase=phase,
                    weeks=tuple(weeks.tolist()),
                    mean=tuple(course.mean.tolist()),
                    low=tuple(course.low.tolist()),
                    high=tuple(course.high.tolist()),
                )
            )
    return tuple(found)


def _span(table: GrowthTable, least: int) -> tuple[float, float]:
    """Weeks on which as many runners as may be shown are still, or already, seen."""
    starts = np.full(int(table.subject.max()) + 1, np.inf)
    np.minimum.at(starts, table.subject, table.time)
    ends = np.full(len(starts), -np.inf)
    np.maximum.at(ends, table.subject, table.time)
    place = min(least, len(starts)) - 1
    first, last = float(np.sort(starts)[place]), float(np.sort(ends)[::-1][place])
    # Where no week was seen of so many at once, the weeks between.
    return min(first, last), max(first, last)


def _raw(table: GrowthTable) -> tuple[RawCourse, ...]:
    count = int(table.subject.max()) + 1
    chosen = np.unique(np.linspace(0, count - 1, min(count, MOST_RAW)).round().astype(np.int64))
    found = []
    for one in chosen:
        rows = np.flatnonzero(table.subject == one)
        rows = rows[np.argsort(table.time[rows], kind="stable")]
        group = "" if table.group is None else table.groups[int(table.group[rows[0]])]
        found.append(
            RawCourse(
                group=group,
                weeks=tuple(table.time[rows].tolist()),
                values=tuple(table.value[rows].tolist()),
            )
        )
    return tuple(found)


def _points(checks: ResidualChecks) -> tuple[ResidualPoint, ...]:
    """Some points spread evenly over the ranks, the outermost among them."""
    ranked: Whole = np.argsort(checks.residual, kind="stable")
    places = np.linspace(0, len(ranked) - 1, min(len(ranked), MOST_POINTS)).round()
    chosen = ranked[np.unique(places.astype(np.int64))]
    columns: tuple[Floats, ...] = (checks.fitted, checks.residual, checks.expected)
    return tuple(
        ResidualPoint(fitted=float(fitted), residual=float(residual), expected=float(expected))
        for fitted, residual, expected in zip(*(one[chosen] for one in columns), strict=True)
    )
