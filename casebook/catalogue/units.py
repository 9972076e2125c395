"""Units: UCUM codes, the spellings of a clinic, and conversion into a metric's own unit.

The unit registry takes a third of a second to build, so it is built once and only when two units
really differ; a table in the metrics' own units never waits for it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, overload

from casebook.domain.errors import InputRefused, refuse

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# UCUM code -> how clinics write it (compared without regard to case).
SPELLINGS: dict[str, tuple[str, ...]] = {
    "deg": ("deg", "°", "degs", "degree", "degrees"),
    "rad": ("rad", "radian", "radians"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("m", "metre", "metres", "meter", "meters"),
    "km": ("km", "kilometre", "kilometres", "kilometer", "kilometers"),
    "[in_i]": ("in", "inch", "inches", '"', "″"),
    "[ft_i]": ("ft", "foot", "feet", "'", "′"),
    "[mi_i]": ("mi", "mile", "miles"),
    "ms": ("ms", "msec", "msecs", "millisecond", "milliseconds"),
    "s": ("s", "sec", "secs", "second", "seconds"),
    "min": ("min", "mins", "minute", "minutes"),
    "h": ("h", "hr", "hrs", "hour", "hours"),
    "km/h": ("km/h", "kmh", "kph", "km/hr", "kmph"),
    "m/s": ("m/s", "m/sec", "mps"),
    "[mi_i]/h": ("mph", "mi/h", "miles/h", "miles/hour"),
    "N": ("N", "newton", "newtons"),
    "kgf": ("kgf", "kg force", "kilogram force", "kilogram-force", "kp"),
    "[lbf_av]": ("lbf", "lb force", "pound force", "pound-force"),
    "kg": ("kg", "kgs", "kilogram", "kilograms", "kilo", "kilos"),
    "[lb_av]": ("lb", "lbs", "pound", "pounds"),
    "N/kg": ("N/kg", "newton/kg"),
    "N.m": ("N.m", "Nm", "n·m", "n m", "n*m", "newton metre", "newton meter"),
    "%": ("%", "percent", "pct", "per cent"),
    "{steps}/min": ("steps/min", "steps per minute", "step/min", "steps a minute", "spm"),
    "{strides}/min": ("strides/min", "strides per minute", "stride/min"),
    "1": ("1", "count", "counts", "rep", "reps", "repetition", "repetitions"),
    "{score}": ("score", "scores", "point", "points", "pts"),
    "{grade}": ("grade", "grades"),
}


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


_UCUM_OF = {
    _plain(spelling): code for code, spellings in SPELLINGS.items() for spelling in spellings
}

# What can be written but never taken, and what to do about it.
_NEVER = {
    "bpm": "beats a minute are not steps; for a cadence write steps/min",
    "min/km": "a pace is no multiple of a speed; give km/h (60 divided by the minutes a km)",
    "min/mi": "a pace is no multiple of a speed; give mph (60 divided by the minutes a mile)",
    "pace": "a pace is no multiple of a speed; give km/h (60 divided by the minutes a km)",
}
_PACE = re.compile(r"\s*min(utes?)?\s*(/|per)\s*(km|mi|mile|kilomet(re|er))\s*", re.IGNORECASE)
# A mass given for a force is the commonest slip of a dynamometer that shows kilograms.
_MASS_FOR_FORCE = {"kg": "kgf", "[lb_av]": "lbf"}
_ANNOTATION = re.compile(r"\{([^{}]*)\}")
# Pint counts a plane angle as a bare number; a degree would turn into 0.017 of a count.
_ANGLES = frozenset({"degree", "radian", "arcminute", "arcsecond", "grade", "turn", "gon"})


def is_ucum(code: str) -> bool:
    """Whether a text is a unit code of UCUM.

    Parameters
    ----------
    code : str
        Case-sensitive code such as `deg`, `N/kg` or `{steps}/min`.

    References
    ----------
    The Unified Code for Units of Measure, as parsed by `ucumvert`.

    Examples
    --------
    >>> is_ucum("N/kg"), is_ucum("steps/min")
    (True, False)
    """
    # Those that clinics write are known, and reading the grammar takes a third of a second.
    return code in SPELLINGS or (code == code.strip() and code != "" and _parses(code))


@lru_cache(maxsize=1_000)
def _parses(code: str) -> bool:
    # Kept: a catalogue has few units for many metrics, and parsing one takes milliseconds.
    from lark.exceptions import LarkError  # noqa: PLC0415 - only when a unit is really asked about

    try:
        _parser().parse(code)
    except LarkError:
        return False
    return True


def check_ucum(code: str, *, metric: str = "") -> str:
    """A unit code of UCUM, or a refusal.

    Raises
    ------
    InputRefused
        For a text that is no UCUM code; the spelling meant is named where it is known.
    """
    if is_ucum(code):
        return code
    meant = _UCUM_OF.get(_plain(code))
    hint = f"; write '{meant}'" if meant else ""
    whose = f"metric '{metric}': " if metric else ""
    raise refuse(
        "unit_not_ucum",
        f"{whose}unit is '{code}'; expected a UCUM code such as deg, cm, mm, ms, km/h, N, N/kg, "
        f"%, 1 or {{steps}}/min{hint}.",
        column="unit",
        value=code,
    )


def ucum_of(text: str) -> str:
    """The UCUM code of a unit as a clinic writes it.

    Parameters
    ----------
    text : str
        A common spelling (`degrees`, `°`, `inch`, `lbs`, in any case) or a UCUM code.

    Raises
    ------
    InputRefused
        For a unit that is not known, and for one that can never be converted (a pace, bpm).

    Examples
    --------
    >>> ucum_of("Inches"), ucum_of("°"), ucum_of("N/kg")
    ('[in_i]', 'deg', 'N/kg')
    """
    plain = _plain(text)
    why = _NEVER.get(plain) or (_NEVER["pace"] if _PACE.fullmatch(text) else None)
    if why:
        raise refuse(
            "unit_refused", f"the unit '{text}' can't be taken: {why}.", column="unit", value=text
        )
    code = _UCUM_OF.get(plain)
    if code is not None:
        return code
    if is_ucum(text.strip()):
        return text.strip()
    raise refuse(
        "unit_unknown",
        f"the unit '{text}' is not known; expected a UCUM code or a common spelling such as "
        "deg, cm, mm, in, ms, s, km/h, m/s, N, kgf, lbf, %, steps/min.",
        column="unit",
        value=text,
    )


@overload
def convert(values: float, from_text: str, to_ucum: str, *, metric: str = ...) -> float: ...


@overload
def convert(
    values: NDArray[np.float64], from_text: str, to_ucum: str, *, metric: str = ...
) -> NDArray[np.float64]: ...


def convert(values: Any, from_text: str, to_ucum: str, *, metric: str = "") -> Any:
    """Values in a metric's own unit.

    Parameters
    ----------
    values : float or ndarray of float, any shape
        In the unit `from_text`.
    from_text : str
        Unit as it was given; blank means the metric's own.
    to_ucum : str
        UCUM code of the metric's own unit.
    metric : str
        Its key, for the refusal.

    Returns
    -------
    float or ndarray of the same shape
        In `to_ucum`.

    Raises
    ------
    InputRefused
        For a unit that is not known, measures something else (kg for N), counts something else
        (strides for steps) or is no multiple (a pace for a speed); the message says which was
        given, what the metric's unit is and what is allowed.

    References
    ----------
    Factors are those of UCUM, by way of `ucumvert` and `pint`.

    Examples
    --------
    >>> round(convert(10.0, "in", "cm"), 6)
    25.4
    >>> convert(4.1, "", "deg")
    4.1
    """
    if not from_text.strip() or from_text.strip() == to_ucum:
        return values
    try:
        given = ucum_of(from_text)
        return values if given == to_ucum else values * _factor(given, to_ucum)
    except InputRefused as refusal:
        raise _with_units(refusal, from_text, to_ucum, metric) from None


def allowed_units(to_ucum: str) -> tuple[str, ...]:
    """The units, as a clinic would write them, from which a unit can be converted.

    Examples
    --------
    >>> allowed_units("ms")
    ('ms', 's', 'min', 'h')
    """
    return tuple(
        spellings[0] for code, spellings in SPELLINGS.items() if _is_convertible(code, to_ucum)
    )


def unit_words(ucum: str) -> str:
    """A unit as it is shown beside a number; blank where the number needs none.

    Examples
    --------
    >>> unit_words("deg"), unit_words("{steps}/min"), unit_words("1"), unit_words("{score}")
    ('°', 'steps/min', '', 'points')
    """
    shown = {"deg": "°", "1": "", "{score}": "points", "[in_i]": "in", "[ft_i]": "ft"}
    return shown.get(ucum, _ANNOTATION.sub(r"\1", ucum).replace(".", "·"))


@cache
def _parser() -> Any:
    from ucumvert import get_ucum_parser  # noqa: PLC0415 - see the module's first lines

    return get_ucum_parser()


@cache
def _turn() -> Any:
    # Adds UCUM's units to pint's own registry. The library's `PintUcumRegistry` would build
    # a second one beside it, and a second parser: three times the time for the same quantities.
    from ucumvert import UcumToPintTransformer  # noqa: PLC0415 - see the module's first lines

    return UcumToPintTransformer().transform


@cache
def _quantity(code: str) -> Any:
    # Annotations have no meaning to UCUM; what is left of '{score}' is the number one.
    bare = _ANNOTATION.sub("", code) or "1"
    try:
        return _turn()(_parser().parse(bare))
    except Exception as error:
        # UCUM holds units (of arbitrary assays) that no library converts; the kinds of error
        # that come of it are pint's, lark's and ucumvert's own.
        raise refuse(
            "unit_not_convertible",
            f"the unit '{code}' can't be converted.",
            column="unit",
            value=code,
        ) from error


def _words_in(code: str) -> frozenset[str]:
    return frozenset(_ANNOTATION.findall(code))


def _angle_power(quantity: Any) -> float:
    return float(sum(power for unit, power in quantity.unit_items() if unit in _ANGLES))


def _is_bare_number(code: str) -> bool:
    return _ANNOTATION.sub("", code) in {"", "1"}


def _is_convertible(given: str, own: str) -> bool:
    if given == own:
        return True
    if _is_bare_number(own):
        # A grade or a count is no fraction: nothing but a bare number will do.
        return _is_bare_number(given) and _agree_in_words(given, own)
    start, goal = _quantity(given), _quantity(own)
    return (
        start.dimensionality == goal.dimensionality
        and _angle_power(start) == _angle_power(goal)
        and _agree_in_words(given, own)
    )


def _agree_in_words(given: str, own: str) -> bool:
    # To UCUM {strides}/min and {steps}/min are one; to a runner they differ by two.
    return not _words_in(given) or not _words_in(own) or _words_in(given) == _words_in(own)


@cache
def _factor(given: str, own: str) -> float:
    if _MASS_FOR_FORCE.get(given) and _quantity(own).dimensionality == {
        "[mass]": 1,
        "[length]": 1,
        "[time]": -2,
    }:
        force = _MASS_FOR_FORCE[given]
        raise refuse(
            "unit_mass_for_force",
            f"a mass is no force; where the dynamometer shows {force}, write '{force}'.",
            column="unit",
            value=given,
        )
    if given == "{strides}/min" and "steps" in _words_in(own):
        raise refuse(
            "unit_mismatch",
            "a stride is two steps; double the number and write steps/min.",
            column="unit",
            value=given,
        )
    if not _is_convertible(given, own):
        raise refuse("unit_mismatch", "it measures something else.", column="unit", value=given)
    if _is_bare_number(own):
        return 1.0
    goal = _quantity(own)
    factor = float((_quantity(given) / goal).to("").magnitude) if _multiplies(given) else math.nan
    if not math.isfinite(factor):
        raise refuse("unit_mismatch", "it is no multiple of it.", column="unit", value=given)
    return factor


def _multiplies(code: str) -> bool:
    return bool(_quantity(code)._is_multiplicative)


def _with_units(refusal: InputRefused, from_text: str, to_ucum: str, metric: str) -> InputRefused:
    problem = refusal.problems[0]
    whose = f"metric '{metric}': " if metric else ""
    return refuse(
        problem.code,
        f"{whose}unit '{from_text}' given, but the metric's unit is '{to_ucum}'; "
        f"{problem.message} Allowed: {_listed(allowed_units(to_ucum))}.",
        column="unit",
        value=from_text,
    )


def _listed(units: Iterable[str]) -> str:
    return ", ".join(units)
