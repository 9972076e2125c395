"""Which metric a column probably holds, from its name and from the numbers in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache

from casebook.catalogue.units import convert
from casebook.domain.errors import InputRefused
from casebook.domain.metrics import Metric, Scale
from casebook.intake.header_parts import HeaderParts, canonical, take_apart
from casebook.intake.header_words import BESIDE_STRENGTH, KEY_SAYS_LESS, NAMES, SIDE_UNCLEAR
from casebook.intake.mapping import COUNT, READING, ColumnUse, folded_header
from casebook.intake.proposing_evidence import (
    NEAR,
    NUMERIC,
    USED_UNITS,
    WITHIN,
    ColumnProposal,
    Evidence,
    asked,
    taken,
)
from casebook.intake.recognising import MetricColumn, read_metric_column


@lru_cache(maxsize=512)
def _names_of(key: str, label: str, unit: str) -> frozenset[frozenset[str]]:
    """The names of a metric as sets of words."""
    plain = [re.sub(r"\(.*?\)", " ", label)]
    if key not in KEY_SAYS_LESS:
        plain.append(key.replace("_", " "))
    if key in SIDE_UNCLEAR:
        plain = []
    names = {
        frozenset(canonical(re.sub(r"[^\w%]+", " ", name.casefold())))
        for name in (*plain, *NAMES.get(key, ()))
    }
    if unit == "deg":
        names |= {name | {"angle"} for name in names}
    return frozenset(name for name in names if name)


def _names(metric: Metric) -> frozenset[frozenset[str]]:
    return _names_of(metric.key, metric.label, metric.unit)


def side_of_repeats(headers: Iterable[str]) -> dict[str, str]:
    """What the letter means in names such as 'Hip R1': 'side' where there is an L1 too.

    Examples
    --------
    >>> side_of_repeats(["Hip L1", "Hip R1"])["Hip R1"], side_of_repeats(["Hip R1", "Hip R2"])
    ('side', {})
    """
    parts = {header: take_apart(header) for header in headers}
    seen = {(one.words, one.unit, one.trial, one.repeat) for one in parts.values() if one.repeat}
    found = {}
    for header, one in parts.items():
        if not one.repeat:
            continue
        other = "l" if one.repeat == "r" else "r"
        if one.side:
            found[header] = "repeat"
        elif (one.words, one.unit, one.trial, other) in seen:
            found[header] = "side"
    return found


def propose_metric(
    one: Evidence,
    metrics: Mapping[str, Metric],
    *,
    by_column: bool,
    repeats: str = "",
    unit_elsewhere: bool = False,
) -> ColumnProposal:
    """Propose a metric for a column (or for a word in the metric column).

    Parameters
    ----------
    by_column : bool
        True where the side stands in a column of its own.
    repeats : str
        'side' or 'repeat' for a letter with a number; see `side_of_repeats`.
    unit_elsewhere : bool
        True where the unit stands in a column of its own.
    """
    own = _by_its_key(one, metrics, by_column=by_column)
    if own is not None:
        return own
    parts = take_apart(one.header)
    exact = [metric for metric in metrics.values() if _is_named(parts, metric)]
    exact = [metric for metric in exact if unit_fits(parts.unit, metric) != "no"]
    near = _near(parts, metrics, [metric.key for metric in exact])
    fits = [use for metric in (*exact, *near) for use in _uses(one, parts, metric, by_column)]
    doubt = _doubt(parts, exact, by_column=by_column, repeats=repeats)
    if not doubt:
        doubt = _number_doubt(one, parts, exact[0], unit_elsewhere=unit_elsewhere)
    if doubt:
        return asked(one, doubt, fits)
    metric = exact[0]
    side = _side(parts, metric, repeats)
    use = ColumnUse(
        header=one.header,
        holds=COUNT if parts.counts else READING,
        metric=metric.key,
        side=side,
        trial=parts.trial,
        unit=parts.unit,
    )
    numbers = one.numbers()
    size = (
        f" and its numbers lie in {metric.plausible_low:g} to {metric.plausible_high:g} "
        f"{metric.unit}"
        if numbers and not parts.counts
        else ""
    )
    return taken(one, use, f"the name is one of '{metric.label}'{size}")


def _by_its_key(
    one: Evidence, metrics: Mapping[str, Metric], *, by_column: bool
) -> ColumnProposal | None:
    """A name as the importer itself takes it, such as knee_flexion_midstance_left_2 [deg]."""
    # 'Step width' is folded to a key as well; only who writes the key itself means the metric.
    if one.header != folded_header(one.header) or "_" not in one.header:
        return None
    sided = {key: metric.sided for key, metric in metrics.items()}
    if by_column and one.header in metrics:
        use = ColumnUse(header=one.header, holds=READING, metric=one.header)
        if not metrics[one.header].sided:
            use = ColumnUse(header=one.header, holds=READING, metric=one.header, side="none")
        return taken(one, use, "its key in the catalogue")
    found = read_metric_column(one.header, 0, sided)
    if not isinstance(found, MetricColumn) or " " in one.header.partition(" [")[0]:
        return None
    if found.role in {"cell", "trial"} and not _lies_within(
        one, metrics[found.metric], found.unit or metrics[found.metric].unit
    ):
        return None
    holds = {"n": COUNT, "missing": "reason missing"}.get(found.role, READING)
    use = ColumnUse(
        header=one.header,
        holds=holds,
        metric=found.metric,
        side=found.side,
        trial=found.trial,
        unit=found.unit,
    )
    return taken(one, use, "its key in the catalogue")


def _is_named(parts: HeaderParts, metric: Metric) -> bool:
    names = _names(metric)
    if parts.words in names:
        return True
    return "strength" in parts.words and parts.words - BESIDE_STRENGTH in names


def unit_fits(unit: str, metric: Metric) -> str:
    """'yes', 'no', or 'mass' where kilograms stand for a force; 'yes' without a unit."""
    if not unit:
        return "yes"
    try:
        convert(1.0, unit, metric.unit)
    except InputRefused as refusal:
        return "mass" if refusal.problems[0].code == "unit_mass_for_force" else "no"
    return "yes"


def _near(parts: HeaderParts, metrics: Mapping[str, Metric], known: list[str]) -> list[Metric]:
    scored = []
    for metric in metrics.values():
        if metric.key in known or unit_fits(parts.unit, metric) == "no":
            continue
        shared = max(
            (len(parts.words & name) / len(parts.words | name) for name in _names(metric)),
            default=0.0,
        )
        if shared >= NEAR:
            scored.append((-shared, metric.position, metric))
    return [metric for _, _, metric in sorted(scored, key=lambda each: each[:2])]


def _side(parts: HeaderParts, metric: Metric, repeats: str) -> str:
    if not metric.sided:
        return "none"
    if repeats == "side":
        return "left" if parts.repeat == "l" else "right"
    return parts.side


def _uses(
    one: Evidence, parts: HeaderParts, metric: Metric, by_column: bool
) -> Iterable[ColumnUse]:
    """Answers that are likely, where it is not sure."""
    if not metric.sided:
        sides: tuple[str, ...] = ("none",)
    elif parts.side:
        sides = (parts.side,)
    else:
        sides = ("",) if by_column else ("left", "right")
    # Where its numbers are of no size that the metric has, it is no likely answer.
    units = [parts.unit] if parts.unit else _fitting_units(one, metric)
    if unit_fits(parts.unit, metric) == "mass":
        units = ["kgf" if "k" in parts.unit.casefold() else "lbf"]
    for side in sides:
        for unit in units:
            yield ColumnUse(
                header=one.header,
                holds=COUNT if parts.counts else READING,
                metric=metric.key,
                side=side,
                trial=parts.trial,
                unit=unit if parts.unit or metric.unit in USED_UNITS else "",
            )


def _doubt(parts: HeaderParts, exact: list[Metric], *, by_column: bool, repeats: str) -> str:
    """Why a name is not understood with certainty; '' when it is."""
    if parts.doubt:
        return parts.doubt
    if len(exact) != 1:
        return "the name fits several metrics" if exact else "the name is not that of a metric"
    (metric,) = exact
    if parts.repeat and not repeats:
        return f"'{parts.repeat.upper()}{parts.trial}' may be a side or a repeat"
    side = _side(parts, metric, repeats)
    if metric.sided and not side and not by_column:
        return "the name says no side"
    if not metric.sided and (parts.side or repeats == "side"):
        return f"{metric.label} has no sides, and the name says one"
    return _scale_doubt(parts, metric)


def _scale_doubt(parts: HeaderParts, metric: Metric) -> str:
    if metric.scale is Scale.GRADE:
        return "a grade means only what its own scale says"
    if parts.scale and parts.scale != (metric.plausible_low, metric.plausible_high):
        return "the scale in brackets is another one"
    return ""


def _number_doubt(
    one: Evidence, parts: HeaderParts, metric: Metric, *, unit_elsewhere: bool
) -> str:
    if parts.counts:
        return ""
    if one.given and one.numeric < NUMERIC:
        return "many of its cells are no numbers"
    if parts.unit and unit_fits(parts.unit, metric) != "yes":
        return f"the unit '{parts.unit}' is one of mass and not of force"
    units = [parts.unit] if parts.unit else _fitting_units(one, metric)
    if not units or not _lies_within(one, metric, units[0]):
        return "its numbers are not of the size that this metric has"
    if parts.unit or unit_elsewhere:
        return ""
    if len(units) > 1:
        return f"the unit is not said: its numbers could be in {' or '.join(units)}"
    if units != [metric.unit]:
        return f"the unit is not said: its numbers are of the size of {units[0]}"
    return ""


def _fitting_units(one: Evidence, metric: Metric) -> list[str]:
    units = USED_UNITS.get(metric.unit, (metric.unit,))
    return [unit for unit in units if _lies_within(one, metric, unit)]


def _lies_within(one: Evidence, metric: Metric, unit: str) -> bool:
    numbers = one.numbers()
    if not numbers:
        return True
    try:
        factor = convert(1.0, "" if unit == metric.unit else unit, metric.unit)
    except InputRefused:
        return False
    inside = sum(
        metric.plausible_low <= factor * number <= metric.plausible_high for number in numbers
    )
    return inside >= WITHIN * len(numbers)
