"""What a column says of a week of a programme or of a run, from its name and its cells."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from casebook.domain.running_load import LONGEST_KM, LONGEST_MIN
from casebook.intake.header_parts import HeaderParts, canonical, take_apart
from casebook.intake.header_words import RUN_NAMES, RUN_PERHAPS, WEEK_NAMES, WEEK_PERHAPS
from casebook.intake.mapping import NOTHING, TABLE_OF, ColumnUse, RowIs
from casebook.intake.mapping_dates import looks_like_date
from casebook.intake.proposing_evidence import WITHIN, ColumnProposal, Evidence, asked, taken
from casebook.intake.proposing_other import propose_other

_NAMES = {RowIs.WEEK: WEEK_NAMES, RowIs.RUN: RUN_NAMES}
_PERHAPS = {RowIs.WEEK: WEEK_PERHAPS, RowIs.RUN: RUN_PERHAPS}
# Where a unit is not said, the ones that clinics use, the likeliest first.
_UNITS = {"distance_km": ("km", "mi"), "minutes": ("min", "h")}
_SPELT = {
    "km": {"km", "kms", "kilometre", "kilometres", "kilometer", "kilometers"},
    "mi": {"mi", "mile", "miles"},
    "min": {"min", "mins", "minute", "minutes"},
    "h": {"h", "hr", "hrs", "hour", "hours"},
}
_OF_A_WEEK = frozenset({"sessions_done", "sessions_planned", "week_start"})
_COUNTS = frozenset({"sessions_planned", "sessions_done", "number"})
_DATES = frozenset({"week_start", "run_date", "programme_started_on"})
# A rating of 0 to 10 has values below this; one of 6 to 20 has none.
LEAST_OF_6_TO_20 = 6.0
PAIN = (0.0, 10.0)
MOST_SESSIONS = 70
MOST = {"distance_km": LONGEST_KM, "minutes": LONGEST_MIN}


def record_row(evidence: Sequence[Evidence]) -> RowIs | None:
    """Whether each row of a sheet seems to be a week of a programme or a run; None for neither."""
    known = {_names(RowIs.WEEK).get(_words(one)[1], "") for one in evidence}
    if {"sessions_done", "week_start"} <= _seen(evidence, RowIs.WEEK) and known & _OF_A_WEEK:
        return RowIs.WEEK
    run = _seen(evidence, RowIs.RUN)
    return RowIs.RUN if {"distance_km", "run_date"} <= run and run & {"minutes", "effort"} else None


def _seen(evidence: Sequence[Evidence], row_is: RowIs) -> set[str]:
    return {use.holds for one in evidence for use in _likely(propose_record(one, row_is))}


def propose_record(one: Evidence, row_is: RowIs) -> ColumnProposal:
    """Propose what a column of a sheet with a row for each week or run holds.

    Parameters
    ----------
    one : Evidence
    row_is : RowIs
        WEEK or RUN.
    """
    person = propose_other(one, RowIs.VISIT)
    of_person = {use.holds for use in _likely(person)} & {"runner", NOTHING}
    if of_person:
        return person
    if one.header in TABLE_OF[row_is].names:
        return _checked(one, one.header, take_apart(one.header), "")
    parts = take_apart(one.header)
    unit, words = _words(one)
    holds = _names(row_is).get(words, "")
    holds = holds or (_unit_alone(row_is, unit) if not words else "")
    if not holds:
        perhaps = _perhaps(row_is).get(words, ())
        if not perhaps:
            leave = ColumnUse(header=one.header, holds=NOTHING)
            return asked(one, "the name is not known", (leave,))
        uses = [ColumnUse(header=one.header, holds=name) for name in perhaps]
        return asked(one, "the name may mean this or something else", uses)
    return _checked(one, holds, parts, unit)


def _likely(one: ColumnProposal) -> tuple[ColumnUse, ...]:
    return (one.use,) if one.sure else one.candidates


@lru_cache(maxsize=2)
def _names(row_is: RowIs) -> dict[frozenset[str], str]:
    return {
        frozenset(canonical(name)): holds
        for holds, names in _NAMES[row_is].items()
        for name in names
    }


@lru_cache(maxsize=2)
def _perhaps(row_is: RowIs) -> dict[frozenset[str], tuple[str, ...]]:
    found: dict[frozenset[str], tuple[str, ...]] = {}
    for holds, names in _PERHAPS[row_is].items():
        for name in names:
            words = frozenset(canonical(name))
            found[words] = (*found.get(words, ()), holds)
    return found


def _words(one: Evidence) -> tuple[str, frozenset[str]]:
    """The unit of a name in the spelling of `_SPELT`, and its words without it."""
    parts = take_apart(one.header)
    said = {name for name, spelt in _SPELT.items() if parts.unit.casefold() in spelt}
    if said or parts.unit:
        return next(iter(said), parts.unit), parts.words
    for name, spelt in _SPELT.items():
        if parts.words & spelt and parts.words - spelt:
            return name, parts.words - spelt
    return "", parts.words


def _unit_alone(row_is: RowIs, unit: str) -> str:
    """A column that is called by its unit only, such as 'km'."""
    names = {"km": "distance_km", "min": "minutes"} if row_is is RowIs.RUN else {}
    return names.get(unit, "")


def _checked(one: Evidence, holds: str, parts: HeaderParts, unit: str) -> ColumnProposal:
    use = ColumnUse(header=one.header, holds=holds)
    if parts.doubt or parts.side or parts.trial:
        return asked(one, parts.doubt or "the name says a side or a number", (use,))
    if holds in {"programme", "comment"}:
        return taken(one, use, "the name is known")
    given = one.given
    if holds in _DATES:
        if given and sum(map(looks_like_date, given)) < WITHIN * len(given):
            return asked(one, "many of its cells are no dates", (use,))
        return taken(one, use, "the name is known and its cells are dates")
    if given and (one.numeric < 1.0 or any(re.search(r"\s", text) for text in given)):
        return asked(one, "some of its cells are no numbers", (use,))
    if holds in _UNITS:
        return _measured(one, use, unit)
    return _counted(one, use) if holds in _COUNTS else _rated(one, use, parts)


def _counted(one: Evidence, use: ColumnUse) -> ColumnProposal:
    if all(0 <= n <= MOST_SESSIONS and n.is_integer() for n in one.numbers()):
        return taken(one, use, "the name is known and its cells are whole numbers")
    return asked(one, "its numbers are no numbers of sessions", (use,))


def _measured(one: Evidence, use: ColumnUse, unit: str) -> ColumnProposal:
    own = _UNITS[use.holds]
    alone = frozenset(take_apart(one.header).words) & (_SPELT["km"] | _SPELT["min"])
    if use.holds == one.header or alone or unit == own[0]:
        if all(0 <= n <= MOST[use.holds] for n in one.numbers()):
            return taken(one, use, "the name is known and says its unit")
        return asked(one, "its numbers are not of the size that is expected", (use,))
    if unit:
        with_unit = ColumnUse(header=one.header, holds=use.holds, unit=unit)
        if unit in own:
            return taken(one, with_unit, "the name is known and says its unit")
        return asked(one, f"the unit '{unit}' is none of {' and '.join(own)}")
    return asked(
        one,
        "the unit is not said",
        [ColumnUse(header=one.header, holds=use.holds, unit=each) for each in own],
    )


def _rated(one: Evidence, use: ColumnUse, parts: HeaderParts) -> ColumnProposal:
    """Pain or effort, from 0 to 10."""
    numbers = one.numbers()
    if parts.scale not in {None, PAIN} or any(not 0 <= n <= PAIN[1] for n in numbers):
        return asked(one, "it is on another scale than 0 to 10", (use,))
    not_told = not numbers or min(numbers) >= LEAST_OF_6_TO_20
    if use.holds == "effort" and parts.scale is None and not_told:
        return asked(one, "it may be a rating of 6 to 20", (use,))
    return taken(one, use, "the name is known and its numbers lie in 0 to 10")
