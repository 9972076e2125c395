"""An audit's tables in words, compact enough for a page and for paper; both show these."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from casebook.domain.audit import Amount, Completeness, Part
from casebook.domain.audit_outcomes import GroupOutcome, LostDifference, MetricOutcome, On, Split
from casebook.domain.audit_words import (
    LEVELS,
    ONS,
    WITHHELD,
    count_words,
    reason_words,
    withheld_words,
)
from casebook.domain.summaries import Grid
from casebook.domain.wording import SIDES_MOVED, number_words

NOTHING = "–"
# Numbers that belong together are never torn apart at the end of a line.
FAST = "\u00a0"
NUMBERS = (
    "Measured twice",
    "Improved",
    "No change seen",
    "Worsened",
    "Can't say",
    "Beyond what matters",
    "Mean change towards better",
    "Expected by itself",
)
INTERVALS = "In brackets: 95 % intervals."
# What the columns of the outcomes mean, for page and report alike.
OUTCOMES = (
    "Runners, of whom there are as many measured twice as improved, did not change, worsened and "
    "got no verdict taken together. Improved and worsened: beyond measurement error (MDC95; Weir "
    "2005), in % of those with a verdict. No change seen: the others of them, which does not show "
    "that nothing changed. Though nobody changes, up to 2.5 % improve and 2.5 % worsen by error "
    "alone; of sides picked for being the worse 3 to 18 % improve, the fewer the more the sides "
    "truly differ. Can't say: no verdict, as where the error is not known well enough, the visits "
    "were not alike or an asymmetry crossed over, which counts in no mean; in % of all measured "
    "twice. n: runners behind a mean. "
    f"{INTERVALS}"
)


def outcome_grid(outcomes: Sequence[MetricOutcome], split: Split = Split.NONE) -> Grid:
    """Outcomes as a table; divided, each metric's groups stand below one another.

    What is withheld as a whole is left out (see `left_out`), as is a column that says nothing of
    any metric. Of a divided table, the name of a metric stands in its first row only.

    Parameters
    ----------
    outcomes : sequence of MetricOutcome
        Where they are about different things (a side, an asymmetry), their names say which.
    split : Split

    Returns
    -------
    Grid
    """
    several = len({one.on for one in outcomes}) > 1
    rows: list[tuple[str, ...]] = []
    for one in outcomes:
        name = outcome_name(one) if several else one.label
        shown = shown_groups(one, split)
        for at, group in enumerate(shown):
            level = LEVELS[group.level].removesuffix(" of adherence").replace(" ", FAST)
            which = () if split is Split.NONE else (level,)
            rows.append((name if at == 0 else "", *which, *_cells(one, group)))
    first = ("Metric",) if split is Split.NONE else ("Metric", "Group")
    return _without_empty(first, (*first, *NUMBERS), rows)


def outcome_name(one: MetricOutcome) -> str:
    """A metric and what of it, where it has more than one."""
    return one.label if one.on is On.VALUE else f"{one.label}: {ONS[one.on]}"


def shown_groups(one: MetricOutcome, split: Split) -> tuple[GroupOutcome, ...]:
    """Groups of which anything is told; of a division at least two, since one compares nothing."""
    found = tuple(group for group in dict(one.splits).get(split, ()) if _told(group))
    return found if split is Split.NONE or len(found) > 1 else ()


def left_out(outcomes: Sequence[MetricOutcome], split: Split, least: int) -> str:
    """Which metrics the table leaves out because they are withheld; empty where none is.

    Examples
    --------
    >>> left_out((), Split.NONE, 5)
    ''
    """
    names = [one.label for one in outcomes if not shown_groups(one, split)]
    if not names:
        return ""
    why = withheld_words(least).removeprefix(f"{WITHHELD}: ")
    groups = "" if split is Split.NONE else ", or one group alone is left"
    return f"Withheld ({why}{groups}): {'; '.join(names)}."


def _told(group: GroupOutcome) -> bool:
    numbers = (group.improved.count, group.cannot_say.count, group.change.mean)
    return not group.withheld and any(one is not None for one in numbers)


def _cells(one: MetricOutcome, group: GroupOutcome) -> tuple[str, ...]:
    measured = group.cannot_say.total
    return (
        WITHHELD if measured is None else str(measured),
        share_cell(group.improved),
        share_cell(group.unchanged),
        share_cell(group.worsened),
        share_cell(group.cannot_say),
        NOTHING if group.important is None else share_cell(group.important),
        amount_cell(group.change, one.unit, signed=True),
        NOTHING
        if group.regression is None
        else number_words(group.regression, one.unit, signed=True).replace(" ", FAST),
    )


def _without_empty(
    names: tuple[str, ...], columns: tuple[str, ...], rows: Sequence[tuple[str, ...]]
) -> Grid:
    kept = [
        at
        for at in range(len(columns))
        if at < len(names) or any(row[at] != NOTHING for row in rows)
    ]
    return Grid(
        columns=tuple(columns[at] for at in kept),
        rows=tuple(tuple(row[at] for at in kept) for row in rows),
        numbers=frozenset(range(len(names), len(kept))),
    )


def share_cell(part: Part) -> str:
    """How many, and their share in percent with its interval; of nobody, how many alone.

    Examples
    --------
    >>> found = share_cell(Part(name="", count=3, total=26, share=0.115, low=0.04, high=0.29))
    >>> found.replace(FAST, " ")
    '3: 12 % (4 to 29)'
    >>> share_cell(Part(name="", count=None, total=None)), share_cell(
    ...     Part(name="", count=0, total=0)
    ... )
    ('withheld', '0')
    """
    if part.count is None:
        return WITHHELD
    if part.share is None or part.low is None or part.high is None:
        return str(part.count)
    low, high = f"{100 * part.low:.0f}", f"{100 * part.high:.0f}"
    return f"{part.count}:{FAST}{100 * part.share:.0f}{FAST}% ({low}{FAST}to{FAST}{high})"


def amount_cell(amount: Amount, unit: str, *, signed: bool = False) -> str:
    """A mean with its interval and number of runners, its unit said once.

    Examples
    --------
    >>> amount_cell(Amount(n=12, mean=2.04, low=-0.03, high=4.11), "cm").replace(FAST, " ")
    '2.0 (0.0 to 4.1) cm, n 12'
    >>> amount_cell(Amount(n=2, mean=-2.0), "°").replace(FAST, " ")
    '−2.0°, n 2'
    >>> amount_cell(Amount(n=None), "N"), amount_cell(Amount(n=7), "N")
    ('withheld', '–')
    """
    if amount.n is None:
        return WITHHELD
    if amount.mean is None:
        return NOTHING
    numbered = f" n{FAST}{amount.n}"
    if amount.low is None or amount.high is None:
        words = number_words(amount.mean, unit, signed=signed).replace(" ", FAST)
        return f"{words},{numbered}"
    middle, low, high = _rounded((amount.mean, amount.low, amount.high), signed=signed)
    of = unit if unit in {"", "°", "%"} else f"{FAST}{unit}"
    return f"{middle} ({low}{FAST}to{FAST}{high}){of},{numbered}"


def _rounded(numbers: tuple[float, float, float], *, signed: bool) -> list[str]:
    """Numbers with as many digits as the largest of them bears: what is uncertain by 50 N is not
    told to a hundredth, though one end of its interval may lie near 0.
    """
    largest = max(abs(number) for number in numbers)
    digits = 0 if largest >= 100 else 1 if largest >= 1 else 2
    told = []
    for number in numbers:
        body = f"{abs(number):.{digits}f}"
        nothing = float(body) == 0
        sign = "" if nothing else "−" if number < 0 else "+" if signed else ""
        told.append(f"{sign}{body}")
    return told


def completeness_grid(completeness: Sequence[Completeness]) -> Grid:
    """How complete each metric is, the least complete first."""
    ordered = sorted(
        completeness,
        key=lambda one: 2.0 if one.baseline.share is None else one.baseline.share,
    )
    return Grid(
        columns=("Metric", "At the baseline", "At the outcome", "Why missing (at either)"),
        rows=tuple(
            (one.label, _held(one.baseline), _held(one.outcome), missing_words(one))
            for one in ordered
        ),
    )


def _held(part: Part) -> str:
    if part.count is None or part.total is None:
        return WITHHELD
    if part.share is None:
        return NOTHING
    words = f"{part.count} of {part.total}, {100 * part.share:.0f} %"
    return words.replace(" ", FAST)


def missing_words(one: Completeness) -> str:
    """Why values of a metric are missing, each reason with its number."""
    told = [f"{reason_words(why)} {count_words(n)}" for why, n in one.reasons if not n.withheld]
    hidden = [reason_words(why) for why, n in one.reasons if n.withheld]
    if hidden:
        told.append(f"{', '.join(hidden)} (numbers {WITHHELD})")
    return "; ".join(told) or NOTHING


def moved_grid(outcomes: Sequence[MetricOutcome], split: Split = Split.NONE) -> Grid:
    """Of asymmetries that shrank beyond error, which side it came from; the told ones alone."""
    rows = [
        (
            one.label if split is Split.NONE else f"{one.label}, {LEVELS[group.level]}",
            *(_moved(dict(group.moved).get(side)) for side in SIDES_MOVED),
        )
        for one in outcomes
        for group in shown_groups(one, split)
        if any(part.count is not None for _, part in group.moved)
    ]
    return Grid(
        columns=("Metric", *(words.capitalize() for words in SIDES_MOVED.values())),
        rows=tuple(rows),
        numbers=frozenset(range(1, 1 + len(SIDES_MOVED))),
    )


def _moved(part: Part | None) -> str:
    if part is None:
        return NOTHING
    if part.count is None or part.total is None:
        return WITHHELD
    return f"{part.count}{FAST}of{FAST}{part.total}"


def lost_grid(lost: Sequence[LostDifference]) -> Grid:
    """How those who were lost differed at the baseline from those who were not.

    What is withheld is left out (see `lost_left_out`).
    """
    return Grid(
        columns=("Measure", "Lost", "Not lost", "Difference", "In SDs"),
        rows=tuple(_lost_row(one) for one in lost if one.difference.n is not None),
        numbers=frozenset({1, 2, 3, 4}),
    )


def lost_left_out(lost: Sequence[LostDifference], least: int) -> str:
    """In what those who were lost are not compared; empty where in nothing.

    Examples
    --------
    >>> lost_left_out((), 5)
    ''
    """
    names = [one.label for one in lost if one.difference.n is None]
    if not names:
        return ""
    why = withheld_words(least).removeprefix(f"{WITHHELD}: ")
    return f"Withheld ({why}): {'; '.join(names)}."


def _lost_row(one: LostDifference) -> tuple[str, ...]:
    share = one.what == "sex_female"
    unit = "%" if share else one.unit
    lost, followed, difference = (
        _percent(amount) if share else amount for amount in (one.lost, one.followed, one.difference)
    )
    return (
        one.label,
        amount_cell(lost, unit),
        amount_cell(followed, unit),
        amount_cell(difference, unit, signed=True),
        NOTHING if one.standardised is None else number_words(one.standardised, "", signed=True),
    )


def _percent(amount: Amount) -> Amount:
    mean, low, high = (
        None if one is None else 100.0 * one for one in (amount.mean, amount.low, amount.high)
    )
    return replace(amount, mean=mean, low=low, high=high)
