"""What a proposal looks at in a column, and the proposal that comes of it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from casebook.domain.errors import InputRefused
from casebook.domain.visits import MissingReason
from casebook.intake.cells import Mark, decimal_mark, is_given, read_number
from casebook.intake.mapping import ColumnUse
from casebook.intake.mapping_words import side_text

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


def asked(one: Evidence, why: str, candidates: Iterable[ColumnUse] = ()) -> ColumnProposal:
    """A column that is asked about."""
    return ColumnProposal(
        use=ColumnUse(header=one.header),
        why=why,
        candidates=tuple(candidates)[:MOST_CANDIDATES],
        samples=one.order,
    )


def taken(one: Evidence, use: ColumnUse, why: str) -> ColumnProposal:
    """A column that is understood."""
    return ColumnProposal(use=use, sure=True, why=why, samples=one.order)
