"""The 'why' behind each verdict, below the table of a review."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.console import Console

from casebook.cli.objects import plainly, verdict_object
from casebook.domain import wording
from casebook.domain.explaining import Why, why
from casebook.domain.verdicts import Verdict

if TYPE_CHECKING:
    from casebook.services.reviewing import Review


def why_of(review: Review, verdict: Verdict) -> Why:
    """One verdict of a review unfolded."""
    figure = review.figures.get((verdict.metric, verdict.what))
    return why(verdict, review.metrics[verdict.metric], figure)


def explained_object(review: Review, verdict: Verdict) -> dict[str, Any]:
    """A verdict as an object, with its why."""
    return verdict_object(verdict) | {"why": plainly(why_of(review, verdict))}


def show_why(console: Console, review: Review) -> None:
    """Every verdict unfolded, in the order of the table."""
    for verdict in review.verdicts:
        label = review.metrics[verdict.metric].label
        console.print(f"\n{label}, {wording.WHATS[verdict.what]}: {wording.CALLS[verdict.verdict]}")
        for line in why_of(review, verdict).lines():
            console.print(f"  {line}", soft_wrap=True)
