"""Returns, clinicians side by side, and the model of one metric at a terminal."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from casebook.cli.objects import plainly
from casebook.cli.showing import plain_table, terminal
from casebook.domain.audit_growth import (
    FUNNEL_WORDS,
    CohortGrades,
    CohortGrowth,
    NoModel,
    return_words,
)
from casebook.domain.audit_outcomes import Audit
from casebook.domain.audit_words import LEVELS, ONS, WITHHELD, count_words
from casebook.domain.number_words import rounded_alike

Model = CohortGrowth | CohortGrades | NoModel


def model_object(model: Model) -> dict[str, Any]:
    """A model as a part of the audit's object; `kind` says which, or that there is none."""
    found: dict[str, Any] = plainly(model)
    if isinstance(model, NoModel):
        return {"kind": "none"} | found
    if isinstance(model, CohortGrowth):
        return {"kind": "growth"} | found
    return {"kind": "grades"} | found | {"groups": _groups(model)}


def _groups(model: CohortGrades) -> list[dict[str, Any]]:
    return [
        {
            "group": group,
            "grades": [
                {"grade": one.grade, "n": one.count.n, "predicted": one.predicted} for one in shares
            ],
        }
        for group, shares in model.groups
    ]


def show_model(model: Model) -> None:
    """Show a model in words and tables, or why there is none."""
    console = terminal()
    console.print(Text(f"\n{model.label}, {ONS[model.on]}: model"))
    if isinstance(model, NoModel):
        console.print(Text(model.words))
        return
    if isinstance(model, CohortGrowth):
        _show_growth(console, model)
    else:
        _show_grades(console, model)
    for words in model.words:
        console.print(Text(f"- {words}"))


def _show_growth(console: Console, model: CohortGrowth) -> None:
    table = plain_table(
        "part of the model", "estimate", "95 % interval", "unit", right=("estimate",)
    )
    for term in model.terms:
        estimate, low, high = rounded_alike((term.estimate, term.low, term.high), "", signed=True)
        table.add_row(Text(term.words), estimate, f"{low} to {high}", Text(term.unit))
    console.print(table)
    random = model.random
    for name, size, unit in (
        ("between runners, level", random.sd_level, model.unit),
        ("between runners, slope", random.sd_slope, f"{model.unit} a week".strip()),
        ("residual", random.sd_residual, model.unit),
        ("known measurement error", random.sd_error, model.unit),
    ):
        if size is not None:
            console.print(Text(f"SD {name}: {size:.3g} {unit}".rstrip()))
    console.print(f"{model.n_rows} values of {model.n_runners} runners\n")


def _show_grades(console: Console, model: CohortGrades) -> None:
    table = plain_table("part of the model", "odds ratio", "95 % interval", right=("odds ratio",))
    for term in model.terms:
        table.add_row(Text(term.words), f"{term.ratio:.2f}", f"{term.low:.2f} to {term.high:.2f}")
    console.print(table)
    shares = plain_table("grade", "runners", "predicted", right=("runners", "predicted"))
    for group, grades in model.groups:
        for one in grades:
            level = LEVELS[group]
            name = f"{one.grade:.0f}, {level}" if level else f"{one.grade:.0f}"
            shares.add_row(name, count_words(one.count), f"{100 * one.predicted:.0f} %")
    console.print(shares)
    console.print(f"{model.n_runners} runners\n")


def show_returns(audit: Audit) -> None:
    """Show how long runners took to run again, and how many were still watched."""
    if not audit.returns:
        return
    console = terminal()
    table = plain_table("running again", "runners", "ran", "day by which half ran", "95 % interval")
    for one in audit.returns:
        middle, low, high = one.median or (None, None, None)
        begins = f", not running by day {one.begins:.0f}" if one.begins and one.steps else ""
        table.add_row(
            (LEVELS[one.group] or "all") + begins,
            WITHHELD if one.n is None else str(one.n),
            WITHHELD if one.returned is None else str(one.returned),
            _day(middle),
            f"{_day(low)} to {_day(high)}",
        )
    console.print()
    console.print(table)
    for one in audit.returns:
        left = ", ".join(
            f"day {day:.0f} {'few' if number is None else number}" for day, number in one.at_risk
        )
        if left:
            console.print(f"At risk, {LEVELS[one.group] or 'all'}: {left}.")
    console.print(Text(return_words(weekly=audit.choice.purpose is not None)))


def _day(day: float | None) -> str:
    return "not reached" if day is None else f"{day:.0f}"


def show_funnels(audit: Audit) -> None:
    """Show clinicians side by side, in the order of their runners' number."""
    if not audit.funnels:
        return
    console = terminal()
    labels = {(one.metric, one.on): one.label for one in audit.outcomes}
    table = plain_table(
        "improved beyond error in", "clinician", "runners", "of all shown", "chance"
    )
    for funnel in audit.funnels:
        for point in funnel.points:
            seldom = "beyond 95 %" if point.beyond_95 else "within"
            table.add_row(
                Text(f"{labels[funnel.metric, funnel.on]}, {ONS[funnel.on]}"),
                Text(point.name),
                f"{point.count} of {point.total}, {100 * point.share:.0f} %",
                f"{100 * funnel.overall:.0f} %",
                "beyond 99.8 %" if point.beyond_998 else seldom,
            )
    console.print()
    console.print(table)
    console.print(Text(FUNNEL_WORDS))
