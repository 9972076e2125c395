"""A study of left and right: the error of a side, and of the asymmetry itself."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from casebook.domain.metrics import AsymmetryForm
from casebook.statistics.asymmetry import asymmetries
from casebook.statistics.codes import code_of
from casebook.statistics.error import z_two_sided
from casebook.statistics.repeatability.analysis import analyse
from casebook.statistics.repeatability.cells import Readings, cell_table, readings_of
from casebook.statistics.repeatability.nested import NestedSquares, nested_parts, nested_squares
from casebook.statistics.repeatability.notes import unique, warnings_about_parts
from casebook.statistics.repeatability.results import Repeatability, SidedRepeatability

LEFT, RIGHT = "left", "right"
CELL = ["subject", "session", "rater"]
NOTICEABLE = 0.3


def analyse_sides(
    frame: pd.DataFrame,
    *,
    sessions: tuple[str, ...] | None = None,
    form: AsymmetryForm = AsymmetryForm.DIFFERENCE,
    smallest_mean: float = 0.0,
    first_minus_second: bool = False,
    ratio_scale: bool = True,
    grades: tuple[float, ...] | None = None,
) -> SidedRepeatability:
    """Repeatability of each side, of both together, and of right minus left.

    Parameters
    ----------
    frame : DataFrame
        As for `readings_of`, with the column `side`: left or right, both of them there.
    sessions : tuple of str or None
        In the order in which they were held.
    form : AsymmetryForm
        How the sides are compared; the asymmetry's results are in its unit.
    smallest_mean : float, >= 0
        For the percent form: a mean not larger than this counts as near zero.
    first_minus_second, ratio_scale, grades
        As for `analyse`.

    Returns
    -------
    SidedRepeatability
        The asymmetry is of trials with the same number where every trial has its other side,
        else of the sides' means.

    Raises
    ------
    ValueError
        When no session of any subject has both sides.

    References
    ----------
    [Bland1995], [Robinson1987], [JCGM2008]

    Examples
    --------
    >>> table = pd.DataFrame({"subject": list("aabbcc") * 2, "session": ["1", "2"] * 6,
    ...     "side": ["left"] * 6 + ["right"] * 6,
    ...     "value": [4.0, 5.0, 7.0, 7.0, 9.0, 8.0, 5.0, 7.0, 6.0, 6.0, 9.0, 9.0]})
    >>> found = analyse_sides(table)
    >>> round(found.asymmetry.mean, 4), round(found.error_correlation, 4)
    (0.3333, 0.7071)
    """
    frame = frame[np.isfinite(frame["value"].to_numpy(dtype=float))].reset_index(drop=True)
    frame = frame if "rater" in frame else frame.assign(rater="")

    def read(part: pd.DataFrame) -> Readings:
        return readings_of(part, sessions=sessions)

    def analysed(part: Readings, *, counted: str = "subjects") -> Repeatability:
        return analyse(
            part,
            first_minus_second=first_minus_second,
            ratio_scale=ratio_scale,
            grades=grades,
            counted=counted,
        )

    left, right = (read(frame[frame["side"] == side]) for side in (LEFT, RIGHT))
    limbs = frame.assign(subject=frame["subject"].astype(str) + ", " + frame["side"])
    compared = _compared(frame, form, smallest_mean)
    if compared.frame.empty:
        raise ValueError("no session has both sides with an asymmetry that can be told.")
    covariance, correlation, freedom = _error_covariance(frame)
    of_pooled = analysed(read(limbs), counted="limbs")
    of_asymmetry = analyse(
        read(compared.frame),
        first_minus_second=first_minus_second,
        ratio_scale=False,
        grades=_differences(grades),
    )
    if compared.slopes is not None:
        of_asymmetry = _with_unpaired_parts(of_asymmetry, (left, right), compared.slopes)
    return SidedRepeatability(
        pooled=_pooled(of_pooled, (left, right), correlation, freedom),
        left=analysed(left),
        right=analysed(right),
        asymmetry=of_asymmetry,
        asymmetry_form=form.value,
        error_covariance=covariance,
        error_correlation=correlation,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Compared:
    """Right against left: readings of the asymmetry.

    `slopes` is None where trials were compared with trials; where means were, the mean squares
    of the asymmetry's slopes in left and right, which carry the trials' variances over.
    """

    frame: pd.DataFrame
    slopes: tuple[float, float] | None


def _differences(grades: tuple[float, ...] | None) -> tuple[float, ...] | None:
    """Every difference that two grades can have."""
    if grades is None:
        return None
    return tuple(sorted({one - other for one in grades for other in grades}))


def _compared(frame: pd.DataFrame, form: AsymmetryForm, smallest_mean: float) -> _Compared:
    """Right against left, trial by trial where all trials pair, else mean against mean."""
    if "trials_in_value" not in frame and _all_pair(frame):
        keys = [*CELL, "trial"] if "trial" in frame else CELL
        told, _ = _in_form(_side_by_side(frame, keys), keys, form, smallest_mean)
        if np.isfinite(told["value"]).all():
            return _Compared(frame=told, slopes=None)
    counted = frame.assign(counted=frame.get("trials_in_value", 1))
    summed = counted.groupby([*CELL, "side"], sort=False)
    means = summed.agg(value=("value", "mean"), counted=("counted", "sum")).reset_index()
    both = _side_by_side(means, CELL)
    told, slopes = _in_form(both, CELL, form, smallest_mean)
    fewer = both[["counted_left", "counted_right"]].to_numpy(dtype=np.int64).min(axis=1)
    fine = np.isfinite(told["value"])
    return _Compared(frame=told.assign(trials_in_value=fewer)[fine], slopes=slopes)


def _all_pair(frame: pd.DataFrame) -> bool:
    """True where, in every session with both sides, each trial of one has one of the other."""
    keys = [*CELL, "trial"] if "trial" in frame else CELL
    with_other_side = frame.groupby(CELL)["side"].transform("nunique")
    return bool((frame.groupby(keys)["side"].transform("nunique") == with_other_side).all())


def _side_by_side(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    left, right = (frame[frame["side"] == side].drop(columns="side") for side in (LEFT, RIGHT))
    return left.merge(right, on=keys, suffixes=("_left", "_right"))


def _in_form(
    both: pd.DataFrame, keys: list[str], form: AsymmetryForm, smallest_mean: float
) -> tuple[pd.DataFrame, tuple[float, float] | None]:
    """Asymmetries with their keys, and the mean squares of their slopes in left and right."""
    size = len(both)
    found = asymmetries(
        both["value_left"].to_numpy(dtype=float),
        both["value_right"].to_numpy(dtype=float),
        np.full(size, code_of(form), dtype=np.int8),
        np.full(size, smallest_mean),
    )
    told = both[keys].assign(value=found.value)
    fine = np.isfinite(found.value)
    if not fine.any():
        return told, None
    left, right = (
        float(np.square(slope[fine]).mean()) for slope in (found.left_slope, found.right_slope)
    )
    return told, (left, right)


def _error_covariance(frame: pd.DataFrame) -> tuple[float, float, int]:
    """Covariance, correlation and degrees of freedom of the sides' deviations within subjects."""
    means = frame.groupby([*CELL, "side"])["value"].mean().unstack()[[LEFT, RIGHT]].dropna()
    apart = means - means.groupby(level="subject").transform("mean")
    freedom = len(means) - means.index.get_level_values("subject").nunique()
    if freedom < 1:
        return math.nan, math.nan, 0
    products = apart.T.to_numpy() @ apart.to_numpy() / freedom
    covariance = float(products[0, 1])
    scale = math.sqrt(products[0, 0] * products[1, 1])
    return covariance, covariance / scale if scale > 0.0 else math.nan, freedom


def _with_unpaired_parts(
    asymmetry: Repeatability, sides: tuple[Readings, Readings], slopes: tuple[float, float]
) -> Repeatability:
    """Parts of an asymmetry whose trials do not pair: both sides' trials are independent."""
    one, other = (_squares(side) for side in sides)
    squares = asymmetry.mean_squares
    if one is None or other is None or squares is None:
        return asymmetry
    of_left, of_right = slopes[0] * one.trials, slopes[1] * other.trials
    trials = of_left + of_right
    if trials == 0.0:
        return asymmetry
    per_session = 2.0 / (1.0 / one.per_session + 1.0 / other.per_session)
    df_trials = trials**2 / (of_left**2 / one.df_trials + of_right**2 / other.df_trials)
    nested = nested_parts(
        NestedSquares(
            sessions=per_session * squares.within,
            trials=trials,
            per_session=per_session,
            df_sessions=squares.df_within,
            df_trials=df_trials,
            subject_variance=asymmetry.components.subject if asymmetry.components else math.nan,
            method=one.method,
        )
    )
    return replace(
        asymmetry,
        nested=nested,
        warnings=unique([*asymmetry.warnings, *warnings_about_parts(nested)]),
        notes=(
            *(note for note in asymmetry.notes if "means already" not in note),
            "The trials of left and right do not pair: the part within sessions is the sum of "
            "both sides' variances.",
        ),
    )


def _squares(readings: Readings) -> NestedSquares | None:
    if readings.trials_in_value is not None:
        return None
    return nested_squares(readings.value, cell_table(readings))


def _pooled(
    found: Repeatability, sides: tuple[Readings, Readings], correlation: float, freedom: int
) -> Repeatability:
    """Both sides pooled; errors that go together are worth fewer degrees of freedom."""
    note = (
        "Left and right of a runner are counted as two subjects, which the number of subjects "
        "and the ICC show."
    )
    notes = (*found.notes, note)
    warnings = found.warnings
    # Noticeable, and more than chance would often show.
    if abs(correlation) > max(NOTICEABLE, z_two_sided() / math.sqrt(max(freedom, 1))):
        warnings = (
            *warnings,
            f"The errors of left and right go together (correlation {correlation:.2f}), so both "
            "sides say less than two subjects would; the intervals of ICC and SEM are a little "
            "too narrow, those of the parts allow for it.",
        )
    one, other = (_squares(side) for side in sides)
    if one is None or other is None or found.nested is None:
        return replace(found, notes=notes, warnings=warnings)
    together = 1.0 + (correlation**2 if math.isfinite(correlation) else 0.0)
    nested = nested_parts(
        replace(
            one,
            sessions=_pool(one.sessions, one.df_sessions, other.sessions, other.df_sessions),
            trials=_pool(one.trials, one.df_trials, other.trials, other.df_trials),
            per_session=2.0 / (1.0 / one.per_session + 1.0 / other.per_session),
            df_sessions=(one.df_sessions + other.df_sessions) / together,
            df_trials=one.df_trials + other.df_trials,
            subject_variance=found.nested.subject_sd**2,
        )
    )
    return replace(found, nested=nested, notes=notes, warnings=warnings)


def _pool(one: float, df_one: float, other: float, df_other: float) -> float:
    """Mean weighted by degrees of freedom."""
    total = df_one + df_other
    return (one * df_one + other * df_other) / total if total > 0 else math.nan
