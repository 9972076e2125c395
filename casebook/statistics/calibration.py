"""How good stated sureness is: what was said to be 70 % sure should hold in 70 % of cases.

A forecast here is a clinician's stated sureness that a hypothesis would hold, and whether it
did. One that could not be told is no forecast and is left out before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from casebook.statistics.codes import Floats, Whole
from casebook.statistics.error import LEVEL
from casebook.statistics.proportions import Share, wilson

# Ends of the groups in which sureness is shown; people state it in steps of ten.
# Common practice, no source.
EDGES: tuple[float, ...] = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
# With fewer, groups of one or two forecasts would be read as a tendency. Common practice, no
# source.
FEWEST_FORECASTS = 10
# Of one group alone the resolution is nought but for rounding.
NO_RESOLUTION = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """A stated sureness and what came of it.

    Parameters
    ----------
    sureness : float, 0 to 1
        Stated before.
    held : bool
        Whether it held.
    kind : str
        What kind of hypothesis it was.
    """

    sureness: float
    held: bool
    kind: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BrierParts:
    """The Brier score and its parts, which add up exactly.

    score = reliability - resolution + uncertainty + within_variance - within_covariance

    Attributes
    ----------
    score : float, 0 to 1
        Mean squared difference between what was stated and what came; 0 is perfect.
    reliability : float, >= 0
        How far the groups' stated sureness lies from the share that held; 0 is perfect.
    resolution : float, >= 0
        How far the groups' shares lie apart from the overall share; the larger the better.
    uncertainty : float, 0 to 0.25
        Of the outcome itself: the score of stating the overall share each time.
    reliability_by_chance : float, >= 0
        What the reliability would be on average were each statement exactly right: few
        hypotheses in a group hold more or less often than stated by chance alone.
    within_variance, within_covariance : float
        What grouping hides of the sureness; both 0 where each group holds one value of it.
    skill : float or None
        1 - score / uncertainty: above 0 better than stating the overall share each time. None
        where all forecasts held, or none.
    forecasts : int
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    reliability_by_chance: float
    within_variance: float
    within_covariance: float
    skill: float | None
    forecasts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliabilityPoint:
    """One group of the reliability diagram.

    Attributes
    ----------
    low, high : float
        Ends of the group; the upper one belongs to the last group only.
    sureness : float
        Mean of what was stated in it.
    held : Share
        Share that held, with its 95 % interval.
    """

    low: float
    high: float
    sureness: float
    held: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """How often predictions held and how well their sureness was stated.

    Attributes
    ----------
    kind : str
        '' for all kinds together.
    held : Share
        With its 95 % Wilson interval.
    mean_sureness : float
    brier : BrierParts
        In the groups of `points`.
    points : tuple of ReliabilityPoint
        Groups with at least one forecast; empty with fewer than ten forecasts.
    too_few : bool
        True with fewer than ten forecasts: then the parts say little.
    surer_than_right : bool or None
        True where so few, False where so many held that it would happen in at most 2.5 % of
        cases were each statement exactly right (exact, for independent hypotheses); None where
        no difference can be told.
    """

    kind: str
    held: Share
    mean_sureness: float
    brier: BrierParts
    points: tuple[ReliabilityPoint, ...]
    too_few: bool
    surer_than_right: bool | None


def brier_score(sureness: Floats, held: Floats) -> float:
    """Mean squared difference between stated probabilities and what came (0 or 1).

    Parameters
    ----------
    sureness : ndarray of float, shape (forecasts,)
        0 to 1.
    held : ndarray of float, shape (forecasts,)
        1 where it held, 0 where not.

    Returns
    -------
    float, 0 to 1
        Half of what Brier's own formula gives, which sums over both outcomes.

    Raises
    ------
    ValueError
        For no forecasts, unlike lengths, or numbers out of range.

    References
    ----------
    [Brier1950]

    Examples
    --------
    >>> round(brier_score(np.array([0.1, 0.9, 0.8, 0.3]), np.array([0.0, 1.0, 1.0, 0.0])), 4)
    0.0375
    """
    _check(sureness, held)
    return float(np.square(sureness - held).mean())


def brier_parts(sureness: Floats, held: Floats, edges: Sequence[float] | None = None) -> BrierParts:
    """The Brier score taken apart into reliability, resolution and uncertainty.

    Parameters
    ----------
    sureness, held : ndarray of float, shape (forecasts,)
        As in `brier_score`.
    edges : sequence of float or None
        Ends of the groups, rising from 0 to 1. None makes a group of every value that was
        stated, for which Murphy's three parts are exact; with wider groups the two parts
        within them make up the rest.

    Returns
    -------
    BrierParts

    Raises
    ------
    ValueError
        As `brier_score`, and for edges that do not rise from 0 to 1.

    References
    ----------
    [Murphy1973], [Stephenson2008]

    Examples
    --------
    >>> found = brier_parts(np.array([0.6, 0.6, 0.6, 0.9]), np.array([1.0, 1.0, 0.0, 1.0]))
    >>> round(found.reliability, 6), round(found.resolution, 6), found.uncertainty
    (0.005833, 0.020833, 0.1875)
    >>> round(found.score, 4)
    0.1725
    """
    _check(sureness, held)
    group = _groups(sureness, edges)
    count = np.bincount(group)
    full = count > 0
    stated = np.bincount(group, weights=sureness)[full] / count[full]
    came = np.bincount(group, weights=held)[full] / count[full]
    place = (np.cumsum(full) - 1)[group]
    weight = count[full] / sureness.size
    overall = float(held.mean())
    off = sureness - stated[place]
    score = float(np.square(sureness - held).mean())
    uncertainty = overall * (1.0 - overall)
    return BrierParts(
        score=score,
        reliability=float(weight @ np.square(stated - came)),
        resolution=float(weight @ np.square(came - overall)),
        uncertainty=uncertainty,
        reliability_by_chance=float(
            (np.bincount(group, weights=sureness * (1.0 - sureness))[full] / count[full]).sum()
            / sureness.size
        ),
        within_variance=float(np.square(off).mean()),
        within_covariance=float(2.0 * (off * (held - came[place])).mean()),
        skill=1.0 - score / uncertainty if 0.0 < overall < 1.0 else None,
        forecasts=sureness.size,
    )


def reliability_points(
    sureness: Floats, held: Floats, edges: Sequence[float] = EDGES, *, level: float = LEVEL
) -> tuple[ReliabilityPoint, ...]:
    """The points of a reliability diagram: what was stated against what held, group by group.

    Parameters
    ----------
    sureness, held : ndarray of float, shape (forecasts,)
        As in `brier_score`.
    edges : sequence of float
        Ends of the groups, rising from 0 to 1; the lower end belongs to its group.
    level : float, between 0 and 1
        Of the intervals.

    Returns
    -------
    tuple of ReliabilityPoint
        Groups without a forecast are left out.

    Raises
    ------
    ValueError
        As `brier_parts`.

    References
    ----------
    [Murphy1973], [Wilson1927]

    Examples
    --------
    >>> points = reliability_points(np.array([0.7, 0.7, 0.9]), np.array([1.0, 0.0, 1.0]))
    >>> [(point.sureness, point.held.share) for point in points]
    [(0.7, 0.5), (0.9, 1.0)]
    """
    _check(sureness, held)
    group = _groups(sureness, edges)
    return tuple(
        ReliabilityPoint(
            low=edges[number],
            high=edges[number + 1],
            sureness=float(sureness[group == number].mean()),
            held=wilson(
                int(held[group == number].sum()), int(np.sum(group == number)), level=level
            ),
        )
        for number in np.unique(group).tolist()
    )


def calibration_of(
    forecasts: Sequence[Forecast], edges: Sequence[float] = EDGES
) -> tuple[Calibration, ...]:
    """How often predictions held and how well their sureness was stated, in all and by kind.

    Parameters
    ----------
    forecasts : sequence of Forecast
        Only those whose outcome could be told.
    edges : sequence of float
        Ends of the groups, rising from 0 to 1.

    Returns
    -------
    tuple of Calibration
        First all kinds together, then each kind in the order of its name where there are two
        or more; empty without forecasts.

    References
    ----------
    [Brier1950], [Murphy1973], [Stephenson2008], [Wilson1927]

    Examples
    --------
    >>> found = calibration_of([Forecast(sureness=0.9, held=False, kind="mobility")] * 4)[0]
    >>> found.held.share, found.surer_than_right, found.too_few
    (0.0, True, True)
    """
    if not forecasts:
        return ()
    kinds = sorted({forecast.kind for forecast in forecasts})
    asked = ["", *kinds] if len(kinds) > 1 else [""]
    return tuple(
        _calibration(kind, [one for one in forecasts if kind in {"", one.kind}], edges)
        for kind in asked
    )


def calibration_words(found: Calibration, *, left_out: int = 0, hollow: int = 0) -> str:
    """How often predictions held and how well their sureness was stated, in plain words.

    Parameters
    ----------
    found : Calibration
    left_out : int
        Hypotheses with a prediction that can't be told, which are not among those counted.
    hollow : int
        Those whose asymmetry closed only because the better side fell, which are neither.

    Returns
    -------
    str
        Two or three sentences; no cause is named.

    References
    ----------
    None: words for the numbers.

    Examples
    --------
    >>> calibration_words(calibration_of([Forecast(sureness=0.9, held=False)] * 4)[0])
    'Of 4 hypotheses of which every prediction could be told, 0 held (0 %, 95 % interval 0 % to \
49 %); the sureness stated before was 90 % on average, more than held. Brier score 0.81 (0 is \
perfect; 0.00 is what stating the overall share each time would have scored). With fewer than \
10, this says little yet.'
    """
    held, parts = found.held, found.brier
    sureness = {
        True: "more than held",
        False: "less than held",
        None: "which fits what held, as far as so many can tell",
    }[found.surer_than_right]
    told = (
        f"Of {held.total} hypothes{'is' if held.total == 1 else 'es'} of which every prediction "
        f"could be told, {held.count} held ({_percent(held.share)}, 95 % interval "
        f"{_percent(held.low)} to {_percent(held.high)}); the sureness stated before was "
        f"{_percent(found.mean_sureness)} on average, {sureness}. Brier score "
        f"{parts.score:.2f} (0 is perfect; "
        f"{parts.uncertainty:.2f} is what stating the overall share each time would have scored)."
    )
    if found.too_few:
        told += f" With fewer than {FEWEST_FORECASTS}, this says little yet."
    elif parts.skill is not None and parts.resolution < NO_RESOLUTION:
        told += " All lay in one part of the scale, which tells those that held from no others."
    if left_out:
        told += f" {left_out} more, with a prediction that can't be told, are not counted here."
    if hollow:
        told += (
            f" Neither held nor failed, and not counted here: {hollow} in which an asymmetry "
            "closed only because the better side fell."
        )
    return told


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _calibration(kind: str, forecasts: Sequence[Forecast], edges: Sequence[float]) -> Calibration:
    sureness = np.array([forecast.sureness for forecast in forecasts], dtype=float)
    held = np.array([forecast.held for forecast in forecasts], dtype=float)
    share = wilson(int(held.sum()), held.size)
    mean = float(sureness.mean())
    too_few = held.size < FEWEST_FORECASTS
    return Calibration(
        kind=kind,
        held=share,
        mean_sureness=mean,
        brier=brier_parts(sureness, held, edges),
        points=() if too_few else reliability_points(sureness, held, edges),
        too_few=too_few,
        surer_than_right=_surer(sureness, share.count),
    )


def _surer(sureness: Floats, held: int) -> bool | None:
    """Whether fewer (True) or more (False) held than chance makes of statements that are right."""
    chances = np.ones(1)
    for one in sureness.tolist():
        chances = np.convolve(chances, [1.0 - one, one])
    end = (1.0 - LEVEL) / 2.0
    if chances[: held + 1].sum() <= end:
        return True
    return False if chances[held:].sum() <= end else None


def _groups(sureness: Floats, edges: Sequence[float] | None) -> Whole:
    if edges is None:
        return np.unique(sureness, return_inverse=True)[1].astype(np.int64)
    ends = np.asarray(edges, dtype=float)
    if ends.size < 2 or ends[0] != 0.0 or ends[-1] != 1.0 or np.any(np.diff(ends) <= 0):
        raise ValueError(f"edges are {list(edges)}; expected numbers that rise from 0 to 1.")
    return np.minimum(np.searchsorted(ends, sureness, side="right") - 1, ends.size - 2).astype(
        np.int64
    )


def _check(sureness: Floats, held: Floats) -> None:
    if sureness.size == 0 or sureness.shape != held.shape:
        raise ValueError(
            f"{sureness.size} forecasts and {held.size} outcomes; expected one outcome for each "
            "of at least one forecast."
        )
    if not np.all((sureness >= 0.0) & (sureness <= 1.0)) or not np.all(np.isin(held, (0.0, 1.0))):
        raise ValueError("expected probabilities from 0 to 1, and outcomes of 0 or 1.")
