"""An audit at a terminal, and as one object."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from rich.console import Console
from rich.text import Text

from casebook.cli.objects import plainly
from casebook.cli.showing import plain_table, terminal
from casebook.domain.audit import Amount, Completeness, Count, Part
from casebook.domain.audit_outcomes import Audit, GroupOutcome, MetricOutcome, On, Split
from casebook.domain.audit_words import (
    EXCLUDED,
    LEVELS,
    SPLITS,
    STEPS,
    WITHHELD,
    arguments_against,
    audience_words,
    count_words,
    part_words,
    past_words,
    range_words,
    reason_words,
    review_words,
    withheld_words,
)
from casebook.domain.wording import SIDES_MOVED, number_words

SHORT_ON = {
    On.ASYMMETRY: "asymmetry",
    On.WORSE_SIDE: "worse side",
    On.OTHER_SIDE: "other side",
    On.VALUE: "value",
}


def audit_object(audit: Audit) -> dict[str, Any]:
    """An audit as one object; what is withheld is null."""
    return {
        "ok": True,
        "choice": plainly(audit.choice),
        "audience": audience_words(audit.choice),
        "flow": {
            "steps": _counts(audit.flow.steps, "step"),
            "excluded": _counts(audit.flow.excluded, "reason"),
        },
        "completeness": [_completeness(one) for one in audit.completeness],
        "timeliness": plainly(audit.timeliness) | {"reviewed": audit.timeliness.reviewed.n},
        "outcomes": [_outcome(one) for one in audit.outcomes],
        "lost": plainly(audit.lost),
        "returns": plainly(audit.returns),
        "funnels": plainly(audit.funnels),
        "against": list(arguments_against(audit)),
    }


def _counts(pairs: Sequence[tuple[str, Count]], name: str) -> list[dict[str, Any]]:
    return [{name: str(key), "n": count.n} for key, count in pairs]


def _completeness(one: Completeness) -> dict[str, Any]:
    found: dict[str, Any] = plainly(one)
    return found | {"reasons": _counts(one.reasons, "reason")}


def _outcome(one: MetricOutcome) -> dict[str, Any]:
    found: dict[str, Any] = plainly(one)
    return found | {
        "splits": [
            {"split": split.value, "groups": [_group(group) for group in groups]}
            for split, groups in one.splits
        ]
    }


def _group(group: GroupOutcome) -> dict[str, Any]:
    found: dict[str, Any] = plainly(group)
    moved = {one.value: plainly(part) for one, part in group.moved}
    return found | {"measured": group.cannot_say.total, "moved": moved}


def show_audit(audit: Audit, split: Split, *, today: date) -> None:
    """Show an audit: its flow, completeness, outcomes divided as asked, and who was lost."""
    console = terminal()
    console.print(f"Audit as of {audit.choice.as_of}\n")
    for words in (past_words(audit.choice, today), audience_words(audit.choice)):
        if words:
            console.print(Text(f"{words}\n"))
    _show_flow(console, audit)
    _show_completeness(console, audit)
    _show_outcomes(console, audit, split)
    _show_moved(console, audit, split)
    _show_lost(console, audit)
    console.print(f"\n{withheld_words(audit.choice.least_group).capitalize()}.")
    for line in arguments_against(audit):
        console.print(Text(f"\n{line}"))


def _show_flow(console: Console, audit: Audit) -> None:
    table = plain_table("runners", "number", right=("number",))
    for step, count in audit.flow.steps:
        table.add_row(STEPS[step], count_words(count))
    for why, count in audit.flow.excluded:
        table.add_row(f"left out: {EXCLUDED[why]}", count_words(count))
    console.print(table)
    first = review_words(audit.timeliness, audit.choice)
    console.print(f"\nFrom the programme's start to the first review: {first}.")
    console.print(
        f"Planned visits kept at most {audit.choice.grace_days} days late: "
        f"{part_words(audit.timeliness.in_time)}."
    )


def _show_completeness(console: Console, audit: Audit) -> None:
    if not audit.completeness:
        console.print("\nNobody of this cohort was measured.")
        return
    table = plain_table("measured in", "at the baseline", "at the outcome", "why missing")
    for one in audit.completeness:
        why = "; ".join(f"{reason_words(why)} {count_words(n)}" for why, n in one.reasons)
        table.add_row(Text(one.label), part_words(one.baseline), part_words(one.outcome), Text(why))
    console.print()
    console.print(table)


def _show_outcomes(console: Console, audit: Audit, split: Split) -> None:
    if not audit.outcomes:
        console.print("\nNo outcome can be told.")
        return
    shares = ("improved", "no change", "worsened", "can't say", "important")
    numbers = ("change to the better", "by itself")
    table = plain_table("metric", "of", "n", *shares, *numbers, right=("n", *shares, *numbers))
    withheld = 0
    for one in audit.outcomes:
        for group in dict(one.splits)[split]:
            withheld += group.withheld
            if not group.withheld:
                level = LEVELS[group.level]
                of = f"{SHORT_ON[one.on]}, {level}" if level else SHORT_ON[one.on]
                table.add_row(Text(one.label), of, *_cells(one, group))
    console.print(
        f"\nOutcomes, {SPLITS[split]}: of n measured twice, how many improved beyond error, were "
        "not seen to change, worsened beyond it (in % of these three, 95 % interval), and of how "
        "many that can't be said (in % of n)"
    )
    console.print(table)
    if withheld:
        console.print(f"{withheld} further groups are too small to be shown.")


def _cells(one: MetricOutcome, group: GroupOutcome) -> list[str]:
    shares = (group.improved, group.unchanged, group.worsened, group.cannot_say)
    measured = group.cannot_say.total
    return [
        WITHHELD if measured is None else str(measured),
        *(_share(part) for part in shares),
        "–" if group.important is None else _share(group.important),
        _amount(group.change, one.unit),
        number_words(group.regression, one.unit, signed=True),
    ]


def _share(part: Part) -> str:
    """How many, and their share in percent with its interval, short enough for a column."""
    if part.count is None:
        return WITHHELD
    if part.share is None or part.low is None or part.high is None:
        return str(part.count)
    return f"{part.count}: {100 * part.share:.0f} ({100 * part.low:.0f}–{100 * part.high:.0f})"


def _name(one: MetricOutcome, group: GroupOutcome) -> str:
    return f"{one.label}, {LEVELS[group.level]}" if group.level else one.label


def _show_moved(console: Console, audit: Audit, split: Split) -> None:
    """Of the asymmetries that shrank beyond error: that the better side fell is no gain."""
    shrank = [
        (one, group)
        for one in audit.outcomes
        for group in dict(one.splits)[split]
        if one.on is On.ASYMMETRY and any(part.count is not None for _, part in group.moved)
    ]
    if not shrank:
        return
    table = plain_table("asymmetries that shrank", *SIDES_MOVED.values())
    for one, group in shrank:
        parts = dict(group.moved)
        cells = [part_words(parts[moved]) if moved in parts else "–" for moved in SIDES_MOVED]
        table.add_row(Text(_name(one, group)), *cells)
    console.print()
    console.print(table)


def _show_lost(console: Console, audit: Audit) -> None:
    told = [one for one in audit.lost if one.difference.n is not None]
    if not told:
        return
    columns = ("lost", "not lost", "difference", "in SDs")
    table = plain_table("at the baseline", *columns)
    for one in told:
        share = one.what == "sex_female"
        unit = "%" if share else one.unit
        scale = 100.0 if share else 1.0
        table.add_row(
            Text(one.label),
            *(
                _amount(_scaled(part, scale), unit, signed=False)
                for part in (one.lost, one.followed)
            ),
            _amount(_scaled(one.difference, scale), unit),
            number_words(one.standardised, signed=True),
        )
    console.print()
    console.print(table)


def _scaled(amount: Amount, by: float) -> Amount:
    mean, low, high = (
        None if one is None else by * one for one in (amount.mean, amount.low, amount.high)
    )
    return Amount(n=amount.n, mean=mean, low=low, high=high)


def _amount(amount: Amount, unit: str, *, signed: bool = True) -> str:
    words = range_words(amount, unit, signed=signed)
    return words if amount.n is None or amount.mean is None else f"{words} n={amount.n}"
