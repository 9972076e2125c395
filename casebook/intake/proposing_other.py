"""What a column says of a visit or of its row, from its name and from what stands in it."""

from __future__ import annotations

import re
from functools import lru_cache

from casebook.catalogue.units import convert, ucum_of
from casebook.domain.errors import InputRefused
from casebook.domain.visits import CONDITION_RANGES, VisitKind
from casebook.intake.header_parts import HeaderParts, take_apart
from casebook.intake.header_words import TIDY_NAMES, VISIT_NAMES
from casebook.intake.mapping import NOTHING, ColumnUse, RowIs, folded_header, is_summary_word
from casebook.intake.mapping_dates import looks_like_date
from casebook.intake.proposing_evidence import (
    NUMERIC,
    USED_UNITS,
    WITHIN,
    ColumnProposal,
    Evidence,
    asked,
    taken,
)

_CONDITIONS = {name: (low, high, unit) for name, low, high, unit in CONDITION_RANGES}
_PRIVATE = re.compile(
    r"\b(?:names?|surname|forename|e-?mail|phone|tel|mobile|address|birth|born|dob|ssn|nhs|mrn)\b",
    re.IGNORECASE,
)
_PERSON = re.compile(r"[^\W\d_]{2,}(?:[ ,.-]+[^\W\d_]{2,})+\Z|[A-ZÀ-Þ][a-zß-ÿ]{2,}\Z")
_CAREFUL_RUNNERS = frozenset({"code", "case", "id case", "person"})


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
        return asked(
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
    return _visit(one, holds, parts) if holds else asked(one, "the name is not known")


def _numbered_value(one: Evidence, parts: HeaderParts) -> ColumnProposal | None:
    if parts.words <= {"value", "result"} and parts.trial and not parts.doubt and not parts.side:
        use = ColumnUse(header=one.header, holds="value", trial=parts.trial, unit=parts.unit)
        return taken(one, use, "a numbered value")
    return None


def _tidy(one: Evidence, holds: str) -> ColumnProposal:
    use = ColumnUse(header=one.header, holds=holds)
    given = one.given
    if holds == "side" and given and one.of_sides < 0.5:
        return asked(one, "its cells are no sides", (use,))
    if holds in {"value", "n_trials"} and given and one.numeric < NUMERIC:
        return asked(one, "many of its cells are no numbers", (use,))
    if holds == "metric" and one.numeric > 0.5:
        return asked(one, "its cells are numbers", (use,))
    return taken(one, use, "the name is known")


def _visit(one: Evidence, holds: str, parts: HeaderParts) -> ColumnProposal:
    use = ColumnUse(header=one.header, holds=holds)
    given = one.given
    if parts.doubt or parts.side:
        return asked(one, parts.doubt or "the name says a side", (use,))
    if holds in {"visit_date", "next_due"}:
        dated = [looks_like_date(text) for text in given]
        if given and sum(dated) < WITHIN * len(given):
            return asked(one, "many of its cells are no dates", (use,))
        return taken(one, use, "the name is known and its cells are dates")
    if holds == "runner":
        return _runner(one, use)
    if holds == "session":
        return asked(one, "it may count visits, and not those of one day", (use,))
    if holds == "kind" and any(text.casefold() not in set(VisitKind) for text in given):
        return asked(one, "its words are not those of a visit's kind", (use,))
    if holds in _CONDITIONS:
        return _condition(one, use, parts.unit)
    return taken(one, use, "the name is known")


def _runner(one: Evidence, use: ColumnUse) -> ColumnProposal:
    given = [text for text in one.given if not is_summary_word(text)]
    if given and sum(bool(_PERSON.match(text)) for text in given) > 0.3 * len(given):
        leave = ColumnUse(header=one.header, holds=NOTHING)
        return asked(one, "its cells look like names of people and not like codes", (use, leave))
    words = " ".join(sorted(_bare_words(one.header)))
    running = all(count == 1 for count in one.texts.values()) and sorted(
        text for text in given
    ) == sorted(str(n + 1) for n in range(len(given)))
    if given and running and len(given) > 2:
        return asked(one, "its cells only number the rows", (use,))
    if words in _CAREFUL_RUNNERS:
        return asked(one, "the name may be that of something else", (use,))
    return taken(one, use, "the name is known")


def _condition(one: Evidence, use: ColumnUse, unit: str) -> ColumnProposal:
    low, high, own = _CONDITIONS[use.holds]
    given = one.given
    if given and one.numeric < NUMERIC:
        return asked(one, "many of its cells are no numbers", (use,))

    def fits(candidate: str) -> bool:
        try:
            factor = convert(1.0, candidate, own)
        except InputRefused:
            return False
        numbers = one.numbers()
        return sum(low <= factor * n <= high for n in numbers) >= WITHIN * len(numbers)

    if use.holds == "incline_pct" and not unit:
        return asked(one, "the unit is not said: % or degrees", (use,))
    if own not in USED_UNITS:
        inside = sum(low <= n <= high for n in one.numbers()) >= WITHIN * len(one.numbers())
        if not inside or (unit and not _same_unit(unit, own)):
            return asked(one, "its numbers are not of the size that is expected", (use,))
        return taken(one, use, "the name is known")
    if unit:
        with_unit = ColumnUse(header=one.header, holds=use.holds, unit=unit)
        if not fits(unit):
            return asked(one, f"its numbers do not fit '{unit}'", (with_unit,))
        return taken(one, with_unit, "the name is known and says its unit")
    units = [candidate for candidate in USED_UNITS[own] if fits(candidate)]
    return asked(
        one,
        "the unit is not said",
        [ColumnUse(header=one.header, holds=use.holds, unit=each) for each in units],
    )


def _same_unit(unit: str, own: str) -> bool:
    try:
        return ucum_of(unit) == own or not own or ucum_of(unit) in {own, "%"}
    except InputRefused:
        return False
