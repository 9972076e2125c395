"""What one column probably holds, from its name and from what stands in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from casebook.catalogue.units import convert, ucum_of
from casebook.domain.errors import InputRefused
from casebook.domain.metrics import Metric, Scale
from casebook.domain.visits import CONDITION_RANGES, MissingReason, VisitKind
from casebook.intake.cells import Mark, decimal_mark, is_given, read_number
from casebook.intake.header_parts import HeaderParts, canonical, take_apart
from casebook.intake.header_words import (
    BESIDE_STRENGTH,
    KEY_SAYS_LESS,
    NAMES,
    SIDE_UNCLEAR,
    TIDY_NAMES,
    VISIT_NAMES,
)
from casebook.intake.mapping import (
    COUNT,
    NOTHING,
    READING,
    ColumnUse,
    RowIs,
    folded_header,
    is_summary_word,
)
from casebook.intake.mapping_dates import looks_like_date
from casebook.intake.mapping_words import side_text
from casebook.intake.recognising import MetricColumn, read_metric_column

# Units in which clinics keep what the catalogue has in the first one.
USED_UNITS: dict[str, tuple[str, ...]] = {
    "cm": ("cm", "mm", "in", "m"),
    "mm": ("mm", "cm", "in"),
    "ms": ("ms", "s"),
    "N": ("N", "kgf", "lbf"),
    "km": ("km", "mi"),
    "km/h": ("km/h", "m/s", "mph"),
    "{steps}/min": ("{steps}/min",),
    "N/kg": ("N/kg",),
}
WITHIN = 0.9
NUMERIC = 0.8
MOST_CANDIDATES = 5
NEAR = 0.34
_CONDITIONS = {name: (low, high, unit) for name, low, high, unit in CONDITION_RANGES}
_PRIVATE = re.compile(
    r"\b(?:names?|surname|forename|e-?mail|phone|tel|mobile|address|birth|born|dob|ssn|nhs|mrn)\b",
    re.IGNORECASE,
)
_PERSON = re.compile(r"[^\W\d_]{2,}(?:[ ,.-]+[^\W\d_]{2,})+\Z|[A-ZÀ-Þ][a-zß-ÿ]{2,}\Z")
_CAREFUL_RUNNERS = frozenset({"code", "case", "id case", "person"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """A column as far as a proposal looks at it.

    Parameters
    ----------
    header : str
    texts : dict of str to int
        Distinct texts that are not blank, and in how many rows each stands.
    order : tuple of str
        The first ones, as samples.
    """

    header: str
    texts: dict[str, int]
    order: tuple[str, ...] = ()

    @property
    def given(self) -> list[str]:
        """Texts that say anything."""
        return [text for text in self.texts if is_given(text)]

    @property
    def numeric(self) -> float:
        """Share of the given texts that are numbers or why there is none."""
        given = self.given
        return sum(map(_is_reading, given)) / len(given) if given else 0.0

    @property
    def of_sides(self) -> float:
        """Share of the texts that are a left or a right."""
        given = self.given
        found = sum(side_text(text) in {"left", "right"} for text in given)
        return found / len(given) if given else 0.0

    def numbers(self) -> list[float]:
        """Its numbers, several in a cell too."""
        mark = decimal_mark(self.texts, ",")
        found = []
        for text in self.given:
            for part in text.split():
                number = _number(part, mark)
                if number is not None:
                    found.append(number)
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnProposal:
    """What a column probably holds.

    Parameters
    ----------
    use : ColumnUse
        `UNDECIDED` where it is not sure.
    sure : bool
    why : str
        What it rests on, or why it is not sure.
    candidates : tuple of ColumnUse
        Likeliest first.
    samples : tuple of str
        The first different texts below the name.
    """

    use: ColumnUse
    sure: bool = False
    why: str = ""
    candidates: tuple[ColumnUse, ...] = ()
    samples: tuple[str, ...] = ()


def _number(text: str, mark: Mark) -> float | None:
    try:
        return read_number(text.strip("°"), mark)
    except InputRefused:
        return None


_REASONS = frozenset(reason.value for reason in MissingReason)


def _is_reading(text: str) -> bool:
    if re.sub(r"[\s-]+", "_", text.casefold()) in _REASONS:
        return True
    parts = text.split()
    return all(_number(part, Mark.DOT) is not None or _number(part, Mark.COMMA) is not None
               for part in parts)  # fmt: skip


def _open(one: Evidence, why: str, candidates: Iterable[ColumnUse] = ()) -> ColumnProposal:
    return ColumnProposal(
        use=ColumnUse(header=one.header),
        why=why,
        candidates=tuple(candidates)[:MOST_CANDIDATES],
        samples=one.order,
    )


def _sure(one: Evidence, use: ColumnUse, why: str) -> ColumnProposal:
    return ColumnProposal(use=use, sure=True, why=why, samples=one.order)


# -------------------------------------------------------------------- metrics


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
        return _open(one, doubt, fits)
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
    return _sure(one, use, f"the name is one of '{metric.label}'{size}")


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
        return _sure(one, use, "its key in the catalogue")
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
    return _sure(one, use, "its key in the catalogue")


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


# -------------------------------------------------------- what is no metric


def _bare_words(text: str) -> frozenset[str]:
    """The words of a name as they stand; 'value' is passed over in a metric's name only."""
    words = re.split(r"[^\w%]+|_+", text.casefold())
    return frozenset(word for word in words if word) - {"of", "the", "at"}


@lru_cache(maxsize=1)
def _other_names() -> dict[str, dict[frozenset[str], str]]:
    return {
        group: {_bare_words(name): holds for holds, names in listed.items() for name in names}
        for group, listed in (("visit", VISIT_NAMES), ("tidy", TIDY_NAMES))
    }


def propose_other(one: Evidence, row_is: RowIs) -> ColumnProposal:
    """Propose what a column says of a visit, or of the row itself."""
    folded = folded_header(one.header).replace(" ", "_")
    if _PRIVATE.search(one.header.replace("_", " ")):
        leave = ColumnUse(header=one.header, holds=NOTHING)
        runner = ColumnUse(header=one.header, holds="runner")
        return _open(
            one,
            "it seems to hold what identifies a person; runners are known by code here",
            (leave, runner) if "name" in folded else (leave,),
        )
    parts = take_apart(one.header)
    words = _bare_words(one.header)
    tidy = _other_names()["tidy"]
    if row_is is RowIs.VALUE or tidy.get(words) in {"side", "trial"}:
        holds = folded if folded in TIDY_NAMES else tidy.get(words, "")
        if not holds and row_is is RowIs.VALUE:
            numbered = _numbered_value(one, parts)
            if numbered is not None:
                return numbered
        if holds:
            return _tidy(one, holds)
    known = _other_names()["visit"]
    bare = _bare_words(re.sub(r"[(\[].*?[)\]]", " ", one.header))
    unit = {word for word in _bare_words(parts.unit) if parts.unit}
    holds = folded if folded in VISIT_NAMES else known.get(words, "")
    holds = holds or known.get(bare, "") or known.get(bare - unit, "")
    return _visit(one, holds, parts) if holds else _open(one, "the name is not known")


def _numbered_value(one: Evidence, parts: HeaderParts) -> ColumnProposal | None:
    if parts.words <= {"value", "result"} and parts.trial and not parts.doubt and not parts.side:
        use = ColumnUse(header=one.header, holds="value", trial=parts.trial, unit=parts.unit)
        return _sure(one, use, "a numbered value")
    return None


def _tidy(one: Evidence, holds: str) -> ColumnProposal:
    use = ColumnUse(header=one.header, holds=holds)
    given = one.given
    if holds == "side" and given and one.of_sides < 0.5:
        return _open(one, "its cells are no sides", (use,))
    if holds in {"value", "n_trials"} and given and one.numeric < NUMERIC:
        return _open(one, "many of its cells are no numbers", (use,))
    if holds == "metric" and one.numeric > 0.5:
        return _open(one, "its cells are numbers", (use,))
    return _sure(one, use, "the name is known")


def _visit(one: Evidence, holds: str, parts: HeaderParts) -> ColumnProposal:
    use = ColumnUse(header=one.header, holds=holds)
    given = one.given
    if parts.doubt or parts.side:
        return _open(one, parts.doubt or "the name says a side", (use,))
    if holds in {"visit_date", "next_due"}:
        dated = [looks_like_date(text) for text in given]
        if given and sum(dated) < WITHIN * len(given):
            return _open(one, "many of its cells are no dates", (use,))
        return _sure(one, use, "the name is known and its cells are dates")
    if holds == "runner":
        return _runner(one, use)
    if holds == "session":
        return _open(one, "it may count visits, and not those of one day", (use,))
    if holds == "kind" and any(text.casefold() not in set(VisitKind) for text in given):
        return _open(one, "its words are not those of a visit's kind", (use,))
    if holds in _CONDITIONS:
        return _condition(one, use, parts.unit)
    return _sure(one, use, "the name is known")


def _runner(one: Evidence, use: ColumnUse) -> ColumnProposal:
    given = [text for text in one.given if not is_summary_word(text)]
    if given and sum(bool(_PERSON.match(text)) for text in given) > 0.3 * len(given):
        leave = ColumnUse(header=one.header, holds=NOTHING)
        return _open(one, "its cells look like names of people and not like codes", (use, leave))
    words = " ".join(sorted(_bare_words(one.header)))
    running = all(count == 1 for count in one.texts.values()) and sorted(
        text for text in given
    ) == sorted(str(n + 1) for n in range(len(given)))
    if given and running and len(given) > 2:
        return _open(one, "its cells only number the rows", (use,))
    if words in _CAREFUL_RUNNERS:
        return _open(one, "the name may be that of something else", (use,))
    return _sure(one, use, "the name is known")


def _condition(one: Evidence, use: ColumnUse, unit: str) -> ColumnProposal:
    low, high, own = _CONDITIONS[use.holds]
    given = one.given
    if given and one.numeric < NUMERIC:
        return _open(one, "many of its cells are no numbers", (use,))

    def fits(candidate: str) -> bool:
        try:
            factor = convert(1.0, candidate, own)
        except InputRefused:
            return False
        numbers = one.numbers()
        return sum(low <= factor * n <= high for n in numbers) >= WITHIN * len(numbers)

    if use.holds == "incline_pct" and not unit:
        return _open(one, "the unit is not said: % or degrees", (use,))
    if own not in USED_UNITS:
        inside = sum(low <= n <= high for n in one.numbers()) >= WITHIN * len(one.numbers())
        if not inside or (unit and not _same_unit(unit, own)):
            return _open(one, "its numbers are not of the size that is expected", (use,))
        return _sure(one, use, "the name is known")
    if unit:
        with_unit = ColumnUse(header=one.header, holds=use.holds, unit=unit)
        if not fits(unit):
            return _open(one, f"its numbers do not fit '{unit}'", (with_unit,))
        return _sure(one, with_unit, "the name is known and says its unit")
    units = [candidate for candidate in USED_UNITS[own] if fits(candidate)]
    return _open(
        one,
        "the unit is not said",
        [ColumnUse(header=one.header, holds=use.holds, unit=each) for each in units],
    )


def _same_unit(unit: str, own: str) -> bool:
    try:
        return ucum_of(unit) == own or not own or ucum_of(unit) in {own, "%"}
    except InputRefused:
        return False
