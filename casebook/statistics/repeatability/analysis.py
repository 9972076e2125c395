"""The whole analysis of one quantity that was measured repeatedly."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from casebook.statistics.codes import Floats
from casebook.statistics.repeatability.agreement import (
    FEWEST_PAIRS,
    bland_altman,
    concordance,
    single_reading_sd,
)
from casebook.statistics.repeatability.cells import CellTable, Readings, cell_table
from casebook.statistics.repeatability.growing import growing_error, log_scale
from casebook.statistics.repeatability.icc import NOT_TOLD, icc_forms
from casebook.statistics.repeatability.kappa import grading
from casebook.statistics.repeatability.mean_squares import analysed, error_freedom
from casebook.statistics.repeatability.nested import nested_parts, nested_squares
from casebook.statistics.repeatability.notes import (
    notes_about_method,
    unique,
    warning_of_width,
    warnings_about_agreement,
    warnings_about_design,
    warnings_about_grading,
    warnings_about_numbers,
    warnings_about_parts,
)
from casebook.statistics.repeatability.raters import rater_parts
from casebook.statistics.repeatability.results import (
    BlandAltman,
    Components,
    Concordance,
    Interval,
    LogScale,
    MeanSquares,
    Method,
    Nested,
    Repeatability,
)
from casebook.statistics.repeatability.standard_error import (
    detectable,
    sem_for_agreement,
    sem_interval,
)

FORMS = ("ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)")


@dataclass(frozen=True, slots=True, kw_only=True)
class _TwoWay:
    """What the table of subjects by occasions says; parts it cannot tell are None or NaN."""

    method: Method | None
    squares: MeanSquares | None
    components: Components | None
    agreement: Interval
    consistency: Interval
    one_way: Interval


def analyse(
    readings: Readings,
    *,
    first_minus_second: bool = False,
    ratio_scale: bool = True,
    grades: tuple[float, ...] | None = None,
    counted: str = "subjects",
) -> Repeatability:
    """Variance components, ICC, SEM, MDC, limits of agreement and what else the study tells.

    Parameters
    ----------
    readings : Readings
        One reading or more.
    first_minus_second : bool
        Turn the differences of two occasions round.
    ratio_scale : bool
        Whether the quantity has a true zero, so that a coefficient of variation has a meaning;
        it is given only where all readings are above zero.
    grades : tuple of float or None
        Every grade that can be given, in order, where the readings are grades.
    counted : str
        What is counted as a subject, for the words.

    Returns
    -------
    Repeatability

    Raises
    ------
    ValueError
        Without any reading.

    References
    ----------
    [Shrout1979], [McGraw1996], [Weir2005], [Bland1999]

    Examples
    --------
    >>> import pandas as pd
    >>> from casebook.statistics.repeatability.cells import readings_of
    >>> found = analyse(readings_of(pd.DataFrame({"subject": list("abcd") * 2,
    ...     "session": ["1"] * 4 + ["2"] * 4,
    ...     "value": [5.0, 7.0, 9.0, 12.0, 6.0, 7.0, 11.0, 12.0]})))
    >>> round(found.sem_consistency.estimate, 4), round(found.bland_altman.bias, 4)
    (0.677, 0.75)
    """
    if not readings.size:
        raise ValueError("there is no reading to analyse.")
    table = cell_table(readings)
    two_way = _two_way(table)
    limits = _limits(readings, table, first_minus_second=first_minus_second)
    nested = _nested(readings, table)
    growing = growing_error(table.mean) if two_way.squares is not None else None
    single = bool(table.trials.max() == 1)
    graded = grading(table.mean, grades) if grades is not None and single else None
    subjects, occasions = table.mean.shape
    held_trials = table.trials[table.held]
    trials = int(held_trials.min()), int(held_trials.max())
    warnings = warnings_about_design(
        table,
        sessions=len(readings.sessions),
        raters=len(readings.raters),
        trials_known=nested is not None,
    )
    if two_way.squares is not None and two_way.method and two_way.components:
        alike = bool(np.ptp(table.mean[table.held]) == 0.0)
        warnings += warning_of_width(
            two_way.consistency, two_way.squares.df_error, subjects, counted=counted
        )
        warnings += warnings_about_numbers(
            two_way.components, method=two_way.method, occasions=occasions, alike=alike
        )
    warnings += warnings_about_agreement(limits, growing) + warnings_about_parts(nested)
    if graded is not None:
        warnings += warnings_about_grading(graded.pairs, graded.step95)
    elif grades is not None and not single:
        warnings.append(
            "Kappa is left out: it needs one grade a session, and not a mean of trials."
        )
    return Repeatability(
        n_subjects=subjects,
        n_sessions=len(readings.sessions),
        n_raters=len(readings.raters),
        n_values=readings.size,
        occasions=table.occasions,
        trials_least=trials[0],
        trials_most=trials[1],
        mean=float(table.mean[table.held].mean()),
        method=two_way.method,
        mean_squares=two_way.squares,
        components=two_way.components,
        icc=(
            dict.fromkeys(FORMS, NOT_TOLD)
            if two_way.squares is None
            else icc_forms(two_way.squares, occasions)
        ),
        sem_agreement=two_way.agreement,
        sem_consistency=two_way.consistency,
        sem_one_way=two_way.one_way,
        mdc90=detectable(two_way.agreement, two_way.consistency, level=0.90),
        mdc95=detectable(two_way.agreement, two_way.consistency, level=0.95),
        bland_altman=limits,
        concordance=_concordance(table),
        growing_error=growing,
        log_scale=_log_scale(table) if ratio_scale and grades is None else None,
        nested=nested,
        raters=rater_parts(readings, table) if len(readings.raters) > 1 else None,
        grading=graded,
        warnings=unique(warnings),
        notes=unique(
            notes_about_method(
                method=two_way.method,
                trials=trials,
                averaged=readings.trials_in_value is not None and trials[1] > 1,
                occasions=occasions,
            )
        ),
    )


def _two_way(table: CellTable) -> _TwoWay:
    within, freedom = _within(table.mean)
    subjects, occasions = table.mean.shape
    if subjects < 2 or occasions < 2 or error_freedom(table.held) < 1:
        return _TwoWay(
            method=None,
            squares=None,
            components=None,
            agreement=NOT_TOLD,
            consistency=NOT_TOLD,
            one_way=sem_interval(within, freedom),
        )
    method, squares, components = analysed(table.mean)
    return _TwoWay(
        method=method,
        squares=squares,
        components=components,
        agreement=sem_for_agreement(squares),
        consistency=sem_interval(squares.error, squares.df_error),
        one_way=sem_interval(squares.within, squares.df_within),
    )


def _within(table: Floats) -> tuple[float, int]:
    """Variance within subjects, pooled, and its degrees of freedom."""
    several = table[np.isfinite(table).sum(axis=1) > 1]
    freedom = int(np.isfinite(several).sum() - len(several))
    if freedom < 1:
        return math.nan, 0
    apart = several - np.nanmean(several, axis=1, keepdims=True)
    return float(np.nansum(np.square(apart))) / freedom, freedom


def _pairs(table: CellTable) -> tuple[Floats, Floats] | None:
    """First and second of all subjects who have both, where there are two occasions."""
    if table.mean.shape[1] != 2:
        return None
    both = table.mean[table.held.all(axis=1)]
    return (both[:, 0], both[:, 1]) if len(both) >= FEWEST_PAIRS else None


def _limits(
    readings: Readings, table: CellTable, *, first_minus_second: bool
) -> BlandAltman | None:
    pairs = _pairs(table)
    if pairs is None:
        return None
    first, second = pairs[::-1] if first_minus_second else pairs
    one, other = table.occasions[::-1] if first_minus_second else table.occasions
    limits = bland_altman(first, second, difference=f"{other} minus {one}")
    within = [_trial_variance(readings, table, column) for column in (0, 1)]
    if not all(math.isfinite(variance) for variance in within):
        return limits
    trials = [_harmonic_trials(table, column) for column in (0, 1)]
    sd = single_reading_sd(limits.sd**2, (within[0], within[1]), (trials[0], trials[1]))
    reach = (limits.upper - limits.bias) / limits.sd * sd if limits.sd else math.nan
    return replace(
        limits,
        single_trial_sd=sd,
        single_trial_lower=limits.bias - reach,
        single_trial_upper=limits.bias + reach,
    )


def _trial_variance(readings: Readings, table: CellTable, column: int) -> float:
    """Variance of single trials within the cells of one occasion; NaN where unknown."""
    if readings.trials_in_value is not None:
        return math.nan
    rows = table.column == column
    cell = table.mean[table.row[rows], column]
    freedom = int(rows.sum()) - int(table.held[:, column].sum())
    if freedom < 1:
        return math.nan
    return float(np.square(readings.value[rows] - cell).sum()) / freedom


def _harmonic_trials(table: CellTable, column: int) -> float:
    trials = table.trials[table.held[:, column], column]
    return float(trials.size / np.sum(1.0 / trials))


def _concordance(table: CellTable) -> Concordance | None:
    pairs = _pairs(table)
    if pairs is None or min(float(np.ptp(one)) for one in pairs) == 0.0:
        return None
    return concordance(*pairs)


def _nested(readings: Readings, table: CellTable) -> Nested | None:
    if readings.trials_in_value is not None:
        return None
    squares = nested_squares(readings.value, table)
    return None if squares is None else nested_parts(squares)


def _log_scale(table: CellTable) -> LogScale | None:
    """The same analysis of the logarithms of the cells' means."""
    if not (table.mean[table.held] > 0.0).all():
        return None
    logs = replace(table, mean=np.log(table.mean))
    two_way = _two_way(logs)
    if two_way.squares is None:
        return None
    pairs = _pairs(logs)
    limits = None if pairs is None else bland_altman(*pairs, difference="")
    return log_scale(two_way.one_way, limits)
