"""How a metric runs with time in a cohort, and how grades lean: what an audit tells of its models.

A model describes. What it is told in leaves no room for a cause, and single runners are drawn in
the clinic's own look only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from casebook.domain.audit import Count
from casebook.domain.audit_outcomes import On


class Term(StrEnum):
    """What a part of the fixed effects says."""

    LEVEL = "level"
    SLOPE = "slope"
    STEP = "step"
    LEVEL_BY_KIND = "level_by_kind"
    SLOPE_BY_KIND = "slope_by_kind"
    BASELINE_SPEED = "baseline_speed"
    ADHERENCE = "adherence"
    SLOPE_BY_ADHERENCE = "slope_by_adherence"


class Phase(StrEnum):
    """Before the programme's start, or from then on."""

    BEFORE = "before"
    AFTER = "after"


class FitCheck(StrEnum):
    """What a second judgement by an independent likelihood said of a fit.

    AGREES: its value is the same and it is flat there. REFITTED: it was not, and the fit told is
    that of the other. UNCONFIRMED: neither the check nor the other fit succeeded. CLOSED_FORM: no
    search was needed, so that none is checked.
    """

    AGREES = "agrees"
    REFITTED = "refitted"
    UNCONFIRMED = "unconfirmed"
    CLOSED_FORM = "closed_form"


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthTerm:
    """One fixed effect with its 95 % interval, by Student's t with the runners' degrees of freedom.

    Parameters
    ----------
    name : str
        As a script finds it ('time', 'kind[T.performance]', 'time:adherence').
    what : Term
    words : str
        What one more of it means, for a reader.
    unit : str
        Of the estimate.
    """

    name: str
    what: Term
    words: str
    unit: str
    estimate: float
    se: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RandomEffects:
    """How far runners go their own way; None where the model has no such part.

    Parameters
    ----------
    sd_level : float or None
        Of the runners' own levels at the programme's start, in the unit of the value.
    sd_slope : float or None
        Of their own slopes, in that unit a week.
    correlation : float or None
        Between the two.
    sd_residual : float
    sd_error : float or None
        Known measurement error of a visit's value (root mean square over the rows).
    error_share : float or None
        Share of the residual variance that it makes up; above 1 where the residuals are smaller,
        as chance alone makes them in every other cohort that scatters by nothing else.
    """

    sd_level: float | None
    sd_slope: float | None
    correlation: float | None
    sd_residual: float
    sd_error: float | None
    error_share: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthCourse:
    """The predicted mean course of one group, with its 95 % band, by weeks since the start.

    Covariates stand at their mean over the runners. One piece a phase where the model has a step
    at the start.
    """

    group: str
    phase: Phase | None
    weeks: tuple[float, ...]
    mean: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RawCourse:
    """What was measured of one runner, who is not named."""

    group: str
    weeks: tuple[float, ...]
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidualPoint:
    """What is left of one row after its runner's own line, in the SD that the model gives it.

    `fitted` is on that line; `expected` is where a normal distribution has that rank.
    """

    fitted: float
    residual: float
    expected: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortGrowth:
    """A growth model of one metric in a cohort.

    Parameters
    ----------
    unit : str
        Of the value, in words. An asymmetry counts in the direction that it had at the runner's
        baseline: below 0 it has crossed over.
    n_runners, n_rows : int
    terms : tuple of GrowthTerm
    random : RandomEffects
    courses : tuple of GrowthCourse
    raw : tuple of RawCourse
        Empty where the audit is for others than the clinic. Of many, some spread evenly.
    residuals : tuple of ResidualPoint
        As `raw`.
    model : str
        The random part fitted.
    check : FitCheck
    words : tuple of str
        What was fitted, left out, given up and checked, what it is worth, and what it cannot say:
        a sentence or two each.
    """

    metric: str
    label: str
    on: On
    unit: str
    n_runners: int
    n_rows: int
    terms: tuple[GrowthTerm, ...]
    random: RandomEffects
    log_likelihood: float
    converged: bool
    model: str
    check: FitCheck
    courses: tuple[GrowthCourse, ...]
    raw: tuple[RawCourse, ...]
    residuals: tuple[ResidualPoint, ...]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeShare:
    """One grade in one group: how many runners, and the share that the model predicts.

    Small counts are withheld, and others that would give them away beside the whole group.
    """

    grade: float
    count: Count
    predicted: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OddsTerm:
    """How the odds of a higher grade move with one more of something, with a 95 % interval."""

    name: str
    words: str
    ratio: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortGrades:
    """A proportional odds model of one graded metric at the visit that tells the outcome.

    Parameters
    ----------
    terms : tuple of OddsTerm
        The grade at the baseline first.
    groups : tuple of (str, tuple of GradeShare)
        By programme kind, or '' where kinds are not told apart; predicted at the mean baseline.
    """

    metric: str
    label: str
    on: On
    n_runners: int
    terms: tuple[OddsTerm, ...]
    groups: tuple[tuple[str, tuple[GradeShare, ...]], ...]
    log_likelihood: float
    words: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class NoModel:
    """Why a model of a metric is not told; `code` for scripts, `words` for readers.

    Codes: group_too_small, no_slope, no_scatter, and those of grades: withheld, one_grade,
    too_few_rows, not_apart, separated, not_converged.
    """

    metric: str
    label: str
    on: On
    code: str
    words: str


RETURN_WORDS = (
    "Kaplan-Meier estimate with the 95 % interval on the scale of log(-log). Counted from the day "
    "the complaint began to the first run, or to full training where no first run is recorded. A "
    "runner is watched from the first visit on (delayed entry), since of those who ran again "
    "sooner most never came; who ran again before the first visit is not in it. The curve begins "
    "where enough runners are watched, tells of those not running by that day, and takes it that "
    "who came early and who came late would run again alike. A runner without a first run counts "
    "as not running until the last visit, as if those no longer seen would run again as soon as "
    "those still seen; who stays away may be who runs already. It foretells no day for a new "
    "complaint. The curve ends where fewer runners remain than may be shown. Runners who never "
    "stopped can make it misleading."
)
RETURN_WEEKS = (
    "For others than the clinic the curve has steps at ends of weeks only, each of as many returns "
    "as may be shown, in whole percent: a finer one would tell single runners' days."
)


def return_words(*, weekly: bool) -> str:
    """How times to running again were told, and what to beware of.

    Parameters
    ----------
    weekly : bool
        Whether the audit is for others than the clinic.

    Examples
    --------
    >>> return_words(weekly=False) == RETURN_WORDS
    True
    """
    return f"{RETURN_WORDS} {RETURN_WEEKS}" if weekly else RETURN_WORDS


FUNNEL_WORDS = (
    "Each point is one clinician's share of runners who improved beyond measurement error, by the "
    "number of runners. The limits are where 95 and 99.8 % of points would lie if nothing but "
    "chance set them apart, interpolated between counts; a point is marked where its own count is "
    "as rare as that. Points differ also by whom a clinician sees, and then far more lie beyond: "
    "of clinicians with 40 runners each whose true shares lay between 20 and 60 %, about 20 % did "
    "(simulated). This is no ranking and no measure of skill. A point beyond a limit is a reason "
    "to look at the cases."
)
