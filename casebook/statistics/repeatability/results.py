"""What a repeatability study found, frozen. Numbers are in the unit of the readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Method(StrEnum):
    """How the variance components were got: ANOVA when balanced, REML when not."""

    ANOVA = "anova"
    REML = "reml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """An estimate with its 95 % interval; NaN where it cannot be told."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanSquares:
    """Two-way table of mean squares (subjects by occasions).

    Parameters
    ----------
    subjects, occasions : float
        How many of each; for a table with gaps the harmonic mean of the cells that each
        occasion, and each subject, has.
    between_subjects, between_occasions, error, within : float
        Mean squares: of subjects, of occasions, of the residual, and within subjects
        (occasions and residual together).
    df_subjects, df_occasions, df_error, df_within : int
        Degrees of freedom.
    """

    subjects: float
    occasions: float
    between_subjects: float
    between_occasions: float
    error: float
    within: float
    df_subjects: int
    df_occasions: int
    df_error: int
    df_within: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Components:
    """Variances between subjects, between occasions and of the error; none is below zero.

    Parameters
    ----------
    negative : tuple of str
        Which of them came out below zero and were set to zero.
    """

    subject: float
    occasion: float
    error: float
    negative: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Detectable:
    """Minimal detectable change between two measurements, with the interval its SEM gives."""

    agreement: float
    agreement_low: float
    agreement_high: float
    consistency: float
    consistency_low: float
    consistency_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BlandAltman:
    """Differences of two occasions.

    Parameters
    ----------
    n : int
        Subjects who have both.
    difference : str
        Which was taken from which.
    bias, sd, se : float
        Mean, standard deviation (n - 1) and standard error of the differences.
    t, p : float
        Student's test of a bias of zero, two-sided.
    lower, upper : float
        Limits of agreement, bias -/+ z(.975) sd.
    lower_low, lower_high, upper_low, upper_high : float
        95 % intervals of each limit on its own, by the usual approximation.
    exact : mapping of str to float
        The same by noncentral t (each limit on its own, `lower_low` ...) and by tolerance
        factors for both limits at once (`pair_lower_low` ...).
    single_trial_sd, single_trial_lower, single_trial_upper : float or None
        Limits for single trials, where means of several were compared.
    """

    n: int
    difference: str
    bias: float
    bias_low: float
    bias_high: float
    sd: float
    se: float
    t: float
    p: float
    lower: float
    upper: float
    lower_low: float
    lower_high: float
    upper_low: float
    upper_high: float
    exact: Mapping[str, float]
    points: tuple[tuple[float, float], ...]
    single_trial_sd: float | None = None
    single_trial_lower: float | None = None
    single_trial_upper: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Concordance:
    """Lin's concordance correlation of two occasions, with its z-transform interval."""

    estimate: float
    low: float
    high: float
    location_shift: float
    scale_shift: float
    accuracy: float
    pearson: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowingError:
    """Whether a subject's own spread grows with the subject's mean.

    Parameters
    ----------
    tau, p : float
        Kendall's tau between the two, and its two-sided p.
    grows : bool
        True where tau is above zero and p below 0.05.
    """

    tau: float
    p: float
    n: int
    grows: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LogScale:
    """Error in proportion to the mean, from the natural logarithms of the readings.

    Parameters
    ----------
    sem : float
        Standard deviation within subjects of the logarithms.
    cv_percent : Interval
        Coefficient of variation, 100 * sqrt(exp(sem2) - 1).
    mdc95_up_percent, mdc95_down_percent : float
        A rise, and a fall, in percent of the first value that stands out of the error.
    ratio_bias, ratio_lower, ratio_upper : float or None
        Bland-Altman bias and limits as ratios, where there are two occasions.
    """

    sem: float
    cv_percent: Interval
    mdc95_up_percent: float
    mdc95_down_percent: float
    ratio_bias: float | None = None
    ratio_lower: float | None = None
    ratio_upper: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Nested:
    """Error apart in its two parts: from session to session, and from trial to trial.

    Parameters
    ----------
    trials : float
        Trials in a session (harmonic mean where they differ).
    between_sd, within_sd : Interval
        sb and sw, standard deviations.
    subject_sd : float
        Standard deviation of true values between subjects.
    sem_single : Interval
        SEM of one trial, sqrt(sb2 + sw2).
    sem_of_mean : Interval
        SEM of a mean of `trials` trials, sqrt(sb2 + sw2 / trials).
    df_sessions, df_trials : int
        Degrees of freedom.
    """

    trials: float
    between_sd: Interval
    within_sd: Interval
    subject_sd: float
    sem_single: Interval
    sem_of_mean: Interval
    df_sessions: int
    df_trials: int
    method: Method
    negative: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Raters:
    """Several raters in several sessions: what another day and what another rater adds.

    Parameters
    ----------
    components : mapping of str to float
        Variances by REML: subject, rater, session, subject_rater, subject_session, error.
    sem_same_rater : float
        SEM between sessions that one rater reads.
    sem_same_session : float
        SEM between raters of one session.
    sem_other_rater_and_session : float
    """

    components: Mapping[str, float]
    sem_same_rater: float
    sem_same_session: float
    sem_other_rater_and_session: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa:
    """Agreement of grades beyond chance."""

    estimate: float
    se: float
    low: float
    high: float
    observed: float
    expected: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Grading:
    """Repeat grading of the same subjects.

    Parameters
    ----------
    quadratic, linear, unweighted : Kappa
    pairs : int
        Pairs of gradings of one subject.
    step_shares : tuple of float
        Share of pairs that lie 0, 1, 2, ... grades apart.
    step95 : int
        Smallest step that at least 95 % of pairs do not exceed: a larger change counts.
    table : tuple of tuple of int
        Pairs by first and second grade; for more than two occasions each pair both ways.
    grades : tuple of float
        The grades, in order.
    """

    quadratic: Kappa
    linear: Kappa
    unweighted: Kappa
    pairs: int
    step_shares: tuple[float, ...]
    step95: int
    table: tuple[tuple[int, ...], ...]
    grades: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """Everything that a study of one quantity says.

    Parameters
    ----------
    n_subjects, n_sessions, n_raters : int
    occasions : tuple of str
        The columns of the table in order: sessions, raters, or both together.
    trials_least, trials_most : int
        Trials averaged in a cell.
    mean : float
        Mean of all cells.
    method : Method or None
        None where there is no second occasion.
    icc : mapping of str to Interval
        ICC(1,1), ICC(2,1), ICC(3,1), ICC(1,k), ICC(2,k), ICC(3,k).
    sem_agreement, sem_consistency, sem_one_way : Interval
        SEM of a cell: with the shift of occasions, without it, and from the spread within
        subjects as it stands.
    warnings : tuple of str
        What the reader must know before using a number.
    notes : tuple of str
        How numbers were got.
    """

    n_subjects: int
    n_sessions: int
    n_raters: int
    n_values: int
    occasions: tuple[str, ...]
    trials_least: int
    trials_most: int
    mean: float
    method: Method | None
    mean_squares: MeanSquares | None
    components: Components | None
    icc: Mapping[str, Interval]
    sem_agreement: Interval
    sem_consistency: Interval
    sem_one_way: Interval
    mdc90: Detectable
    mdc95: Detectable
    bland_altman: BlandAltman | None = None
    concordance: Concordance | None = None
    growing_error: GrowingError | None = None
    log_scale: LogScale | None = None
    nested: Nested | None = None
    raters: Raters | None = None
    grading: Grading | None = None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SidedRepeatability:
    """A study of left and right, and of the asymmetry, right minus left.

    Parameters
    ----------
    pooled : Repeatability
        Each limb counted as a subject: the error of a side's value. Its nested parts allow for
        errors of left and right that go together.
    left, right, asymmetry : Repeatability
    asymmetry_form : str
        How right is compared with left.
    error_covariance, error_correlation : float
        Of the errors of left and right in one session; NaN where they cannot be told.
    """

    pooled: Repeatability
    left: Repeatability
    right: Repeatability
    asymmetry: Repeatability
    asymmetry_form: str
    error_covariance: float
    error_correlation: float
