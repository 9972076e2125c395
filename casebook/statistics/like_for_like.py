"""Were two visits taken under like conditions? Differences are told as bits of a mask."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from casebook.domain.metrics import Condition
from casebook.statistics.codes import Floats, Masks, Whole, code_of

# How far two visits may differ and still count as alike. Common practice, no source.
SPEED_TOLERANCE = 0.05  # share of the faster speed
FRAME_RATE_TOLERANCE = 0.01  # share of the higher rate: 59.94 and 60 are one camera setting
INCLINE_TOLERANCE_PCT = 0.05  # what a treadmill that shows one decimal would round away
PAIN_TOLERANCE = 2.0  # points on the 0-10 scale
# Keeps decimal fractions such as 10 and 9.5 km/h, that is exactly 5 %, on the near side.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionColumns:
    """Conditions of visits as arrays of one length; NaN or -1 where not recorded.

    Parameters
    ----------
    speed, incline, frame_rate, pain : ndarray of float, shape (visits,)
        km/h, percent, frames per second, points 0 to 10.
    surface, footwear, view, assessor : ndarray of int, shape (visits,)
        A number for each distinct text.
    """

    speed: Floats
    incline: Floats
    frame_rate: Floats
    pain: Floats
    surface: Whole
    footwear: Whole
    view: Whole
    assessor: Whole


def condition_columns(visits: pd.DataFrame) -> ConditionColumns:
    """Conditions of a visits frame as arrays, texts as numbers.

    Parameters
    ----------
    visits : DataFrame, shape (visits, ...)
        With columns speed_km_h, incline_pct, frames_per_s, pain_today (float, NaN where not
        recorded) and surface, footwear, view, assessor (str, '' where not recorded).

    Returns
    -------
    ConditionColumns
        Texts that differ only in capitals or outer blanks get the same number.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> frame = pd.DataFrame({"speed_km_h": [10.0], "incline_pct": [0.0], "frames_per_s": [60.0],
    ...     "pain_today": [0.0], "surface": ["Track "], "footwear": [""], "view": ["side"],
    ...     "assessor": ["AB"]})
    >>> condition_columns(frame).footwear
    array([-1])
    """
    return ConditionColumns(
        speed=visits["speed_km_h"].to_numpy(dtype=float),
        incline=visits["incline_pct"].to_numpy(dtype=float),
        frame_rate=visits["frames_per_s"].to_numpy(dtype=float),
        pain=visits["pain_today"].to_numpy(dtype=float),
        surface=_text_codes(visits["surface"]),
        footwear=_text_codes(visits["footwear"]),
        view=_text_codes(visits["view"]),
        assessor=_text_codes(visits["assessor"]),
    )


def conditions_that_differ(
    columns: ConditionColumns, reference: Whole, latest: Whole
) -> tuple[Masks, Masks]:
    """What differs between pairs of visits, and what was not recorded at one of them.

    Parameters
    ----------
    columns : ConditionColumns
    reference, latest : ndarray of int, shape (pairs,)
        Positions of the two visits of each pair.

    Returns
    -------
    differs, not_recorded : ndarray of uint8, shape (pairs,)
        Masks over `Condition`. What was not recorded at either visit never counts as
        differing.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> from casebook.statistics.codes import conditions_of
    >>> frame = pd.DataFrame({"speed_km_h": [10.0, 10.6], "incline_pct": [0.0, 0.0],
    ...     "frames_per_s": [60.0, 60.0], "pain_today": [0.0, 2.0], "surface": ["track"] * 2,
    ...     "footwear": ["", "racing"], "view": ["side"] * 2, "assessor": ["AB"] * 2})
    >>> differs, unknown = conditions_that_differ(
    ...     condition_columns(frame), np.array([0]), np.array([1]))
    >>> [str(c) for c in conditions_of(int(differs[0]))]
    ['speed']
    >>> [str(c) for c in conditions_of(int(unknown[0]))]
    ['footwear']
    """
    differs = np.zeros(reference.shape, dtype=np.uint8)
    not_recorded = np.zeros(reference.shape, dtype=np.uint8)
    for condition, values, relative, tolerance in (
        (Condition.SPEED, columns.speed, True, SPEED_TOLERANCE),
        (Condition.INCLINE, columns.incline, False, INCLINE_TOLERANCE_PCT),
        (Condition.FRAME_RATE, columns.frame_rate, True, FRAME_RATE_TOLERANCE),
        (Condition.PAIN, columns.pain, False, PAIN_TOLERANCE),
    ):
        first, second = values[reference], values[latest]
        scale = np.maximum(np.abs(first), np.abs(second)) if relative else 1.0
        apart = np.abs(first - second) > tolerance * scale + ROUNDING
        unknown = np.isnan(first) | np.isnan(second)
        _set_bit(differs, condition, apart)
        _set_bit(not_recorded, condition, unknown)
    for condition, codes in (
        (Condition.SURFACE, columns.surface),
        (Condition.FOOTWEAR, columns.footwear),
        (Condition.VIEW, columns.view),
        (Condition.ASSESSOR, columns.assessor),
    ):
        one, other = codes[reference], codes[latest]
        unknown = (one < 0) | (other < 0)
        _set_bit(differs, condition, ~unknown & (one != other))
        _set_bit(not_recorded, condition, unknown)
    return differs, not_recorded


def _set_bit(mask: Masks, condition: Condition, where: np.ndarray) -> None:
    mask |= where.astype(np.uint8) << np.uint8(code_of(condition))


def _text_codes(texts: pd.Series) -> Whole:
    codes, distinct = pd.factorize(texts.to_numpy(dtype=object))
    plain = [str(text).strip().casefold() for text in distinct]
    numbers = {text: number for number, text in enumerate(dict.fromkeys(filter(None, plain)))}
    translated = np.array([numbers.get(text, -1) for text in plain] + [-1], dtype=np.int64)
    return translated[codes]
