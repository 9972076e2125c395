"""The ladders of a runner's quasi-identifiers, from what is recorded to nothing at all.

Which words are put together is common practice of this program, open to the clinic's judgement;
that 90 and over stand together is the rule of the United States' Safe Harbor.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from casebook.domain.injuries import Region
from casebook.domain.people import Sex
from casebook.domain.sides import InjurySide
from casebook.statistics.codes import Whole
from casebook.statistics.disclosure.hierarchies import NOT_RECORDED, WITHHELD, Hierarchy, ladder

NO_INJURY: Final = "no_injury"
OTHER: Final = "other"
ADULT: Final = 18
OLDEST: Final = 90

# First years of the bands at each level; the last band has no end.
_AGE_STARTS: Final = (
    (0, ADULT, *range(25, OLDEST, 5), OLDEST),
    (0, ADULT, *range(30, OLDEST, 10), OLDEST),
    (0, ADULT, 40, 60, 80),
    (0, 40),
)

_UP_TO_3000: Final = "up_to_3000_m"
_TO_HALF: Final = "5_km_to_half_marathon"
_LONG: Final = "marathon_and_longer"
_OFF_ROAD: Final = "off_road"

# The first pattern that is found in the text wins, so narrower names stand before wider ones.
_DISCIPLINES: Final = (
    ("cross_country", _OFF_ROAD, r"cross[- ]?country|\bxc\b"),
    ("ultra", _LONG, r"ultra|\b(50|100) ?(km|k|mi|miles)\b|\b24 ?h"),
    ("trail_or_mountain", _OFF_ROAD, r"trail|mountain|fell|sky ?run|orienteer"),
    ("multisport", OTHER, r"triathlon|duathlon|multisport"),
    ("half_marathon", _TO_HALF, r"half[- ]?marathon|\bhalf\b|\b21([.,]1)? ?km?\b"),
    ("marathon", _LONG, r"marathon|\b42([.,]2)? ?km?\b"),
    ("10_km", _TO_HALF, r"\b10 ?km?\b|\b10[ .,]?000 ?m?\b"),
    ("5_km", _TO_HALF, r"\b5 ?km?\b|\b5[ .,]?000 ?m?\b|parkrun"),
    ("3000_m_or_steeplechase", _UP_TO_3000, r"\b3[ .,]?000 ?m?\b|steeple"),
    ("1500_m_or_mile", _UP_TO_3000, r"\b1[ .,]?500 ?m?\b|\bmile\b"),
    ("800_m", _UP_TO_3000, r"\b800 ?m?\b|middle distance"),
    ("sprint", _UP_TO_3000, r"\b(60|100|110|200|400) ?m?\b|sprint|hurdle"),
    ("recreational", OTHER, r"recreation|fitness|leisure|jog"),
)

_REGIONS: Final = {
    Region.FOOT: "foot_and_lower_leg",
    Region.ANKLE: "foot_and_lower_leg",
    Region.LOWER_LEG: "foot_and_lower_leg",
    Region.KNEE: "knee_and_thigh",
    Region.THIGH: "knee_and_thigh",
    Region.HIP_GROIN: "hip_and_back",
    Region.LUMBOSACRAL: "hip_and_back",
    Region.OTHER: "other",
}


def age_ladder() -> Hierarchy:
    """Age at the first visit: bands of 5, 10 and 20 years, under and over 40, withheld.

    Parameters
    ----------
    None

    Returns
    -------
    Hierarchy
        Under 18 together up to the third level, 90 and over together from the first.

    References
    ----------
    [HIPAA], [Practice]

    Examples
    --------
    >>> age_ladder().words[2]
    ('under_18', '18_to_39', '40_to_59', '60_to_79', '80_and_over', 'not_recorded')
    """
    starts = _AGE_STARTS[0]
    levels = [
        [*(_age_word(start, level) for start in starts), NOT_RECORDED] for level in _AGE_STARTS
    ]
    return ladder("age", [*levels, [WITHHELD] * (len(starts) + 1)])


def age_words(ages: ArrayLike) -> list[str]:
    """Word of each age on the first rung of its ladder.

    Parameters
    ----------
    ages : array_like of float, shape (records,)
        In years, whole or not; NaN where unknown.

    Returns
    -------
    list of str

    Raises
    ------
    ValueError
        For an age below 0.

    References
    ----------
    [HIPAA], [Practice]

    Examples
    --------
    >>> age_words([17.9, 24, 89, 90, 101, float("nan")])
    ['under_18', '18_to_24', '85_to_89', '90_and_over', '90_and_over', 'not_recorded']
    """
    years = np.asarray(ages, dtype=np.float64)
    if (years < 0).any():
        raise ValueError(f"Age {years[years < 0][0]:g}; expected 0 or more years.")
    return [
        NOT_RECORDED if np.isnan(age) else _age_word(float(age), _AGE_STARTS[0]) for age in years
    ]


def sex_ladder() -> Hierarchy:
    """Sex as recorded, or withheld.

    Parameters
    ----------
    None

    Returns
    -------
    Hierarchy

    References
    ----------
    [Practice]

    Examples
    --------
    >>> sex_ladder().words
    (('female', 'male', 'other', 'not_recorded'), ('withheld',))
    """
    words = [sex.value for sex in Sex]
    return ladder("sex", [words, [WITHHELD] * len(words)])


def discipline_ladder() -> Hierarchy:
    """Discipline from a closed list, its group, or withheld.

    Parameters
    ----------
    None

    Returns
    -------
    Hierarchy

    References
    ----------
    [Practice]

    Examples
    --------
    >>> discipline_ladder().words[1]
    ('off_road', 'marathon_and_longer', 'other', '5_km_to_half_marathon', 'up_to_3000_m',
     'not_recorded')
    """
    words = [*(word for word, _, _ in _DISCIPLINES), OTHER, NOT_RECORDED]
    groups = [*(group for _, group, _ in _DISCIPLINES), OTHER, NOT_RECORDED]
    return ladder("discipline", [words, groups, [WITHHELD] * len(words)])


def discipline_word(text: str) -> str:
    """Word of the closed list for a discipline that was written freely.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        "other" for a text that is not understood: what somebody wrote never leaves as it stands.

    References
    ----------
    [Practice]

    Examples
    --------
    >>> [discipline_word(text) for text in ("Half-Marathon", "10k", "stair race", " ")]
    ['half_marathon', '10_km', 'other', 'not_recorded']
    """
    plain = " ".join(unicodedata.normalize("NFKC", text).casefold().split())
    if not plain:
        return NOT_RECORDED
    found = (word for word, _, pattern in _DISCIPLINES if re.search(pattern, plain))
    return next(found, OTHER)


def region_ladder() -> Hierarchy:
    """Region of the injury, the part of the leg or trunk it belongs to, or withheld.

    Parameters
    ----------
    None

    Returns
    -------
    Hierarchy

    References
    ----------
    [Practice]

    Examples
    --------
    >>> region_ladder().words[1]
    ('foot_and_lower_leg', 'knee_and_thigh', 'hip_and_back', 'other', 'no_injury', 'not_recorded')
    """
    words = [*(region.value for region in Region), NO_INJURY, NOT_RECORDED]
    parts = [*(_REGIONS[region] for region in Region), NO_INJURY, NOT_RECORDED]
    return ladder("injury_region", [words, parts, [WITHHELD] * len(words)])


def side_ladder() -> Hierarchy:
    """Side of the injury, whether there is one at all, or withheld.

    Parameters
    ----------
    None

    Returns
    -------
    Hierarchy

    References
    ----------
    [Practice]

    Examples
    --------
    >>> side_ladder().words[1]
    ('any_side', 'no_injury', 'not_recorded')
    """
    words = [*(side.value for side in InjurySide), NO_INJURY, NOT_RECORDED]
    injured = [*("any_side" for _ in InjurySide), NO_INJURY, NOT_RECORDED]
    return ladder("injury_side", [words, injured, [WITHHELD] * len(words)])


def measured_ladder(
    name: str, values: ArrayLike, *, step: float, k: int, unit: str
) -> tuple[Hierarchy, Whole]:
    """Bands of a body measure whose ends are merged until each holds k, and the values' codes.

    Parameters
    ----------
    name : str
    values : array_like of float, shape (records,)
        In `unit`; NaN where unknown.
    step : float, > 0
        Width of a band at the first level, in `unit`; the second level's are twice as wide.
    k : int, >= 1
        Smallest number of records in the lowest and in the highest band.
    unit : str
        As it stands in the words ("cm").

    Returns
    -------
    Hierarchy
        Bands, bands twice as wide, withheld.
    codes : ndarray of int, shape (records,)

    Raises
    ------
    ValueError
        For an infinite value, or a step or k that is not positive.

    References
    ----------
    [Hundepool2012]

    Examples
    --------
    >>> ladder_, codes = measured_ladder("height", [151, 158, 163, 171, 176, 188], step=5, k=2,
    ...                                  unit="cm")
    >>> ladder_.words[0]
    ('under_160_cm', '160_to_under_165_cm', '165_to_under_170_cm', '170_to_under_175_cm',
     '175_cm_and_over', 'not_recorded')
    >>> codes.tolist()
    [0, 0, 1, 3, 4, 4]
    """
    numbers = np.asarray(values, dtype=np.float64)
    if np.isinf(numbers).any() or not step > 0 or k < 1:
        raise ValueError(f"Ladder {name!r}: expected finite values, a step above 0 and k above 0.")
    known = ~np.isnan(numbers)
    bands = np.floor(numbers[known] / step).astype(np.int64)
    low, high = _merged_ends(bands, k)
    fine = np.arange(low, high + 1)
    levels = [
        [_band_word(int(band), low, high, step, unit) for band in fine],
        [_band_word(int(band) // 2, low // 2, high // 2, 2 * step, unit) for band in fine],
        [WITHHELD] * len(fine),
    ]
    codes = np.full(len(numbers), len(fine), dtype=np.int64)
    codes[known] = np.clip(bands, low, high) - low
    ends = [NOT_RECORDED, NOT_RECORDED, WITHHELD]
    return ladder(name, [[*row, end] for row, end in zip(levels, ends, strict=True)]), codes


def _merged_ends(bands: Whole, k: int) -> tuple[int, int]:
    """Lowest and highest band once the ends hold k each; the same band twice where all merge."""
    ordered = np.sort(bands)
    if len(ordered) < k:
        return 0, 0
    low, high = int(ordered[k - 1]), int(ordered[-k])
    return (low, high) if low < high else (low, low)


def _band_word(band: int, low: int, high: int, step: float, unit: str) -> str:
    if low == high:
        return f"any_{unit}"
    if band == low:
        return f"under_{(band + 1) * step:g}_{unit}"
    if band == high:
        return f"{band * step:g}_{unit}_and_over"
    return f"{band * step:g}_to_under_{(band + 1) * step:g}_{unit}"


def _age_word(age: float, starts: tuple[int, ...]) -> str:
    place = int(np.searchsorted(starts, age, side="right")) - 1
    if place == len(starts) - 1:
        return f"{starts[place]}_and_over"
    if place == 0:
        return f"under_{starts[1]}"
    return f"{starts[place]}_to_{starts[place + 1] - 1}"
