"""Working hypotheses: reasoning written down before a programme, to be scored afterwards.

A hypothesis names a driver, what is expected to follow from it, what the programme should
change and what should stay still. It is a record of a clinician's reasoning and never a
diagnosis; that a prediction held does not show why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Any

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.programmes import TargetDirection, TargetOn
from casebook.domain.visits import LARGEST_READING

MOST_LINKS = 20
# Nobody is certain; a stated certainty could never be scored otherwise than as an error.
LEAST_SURE, MOST_SURE = 1, 99


class HypothesisKind(StrEnum):
    """What the driver is taken to be."""

    STRUCTURE = "structure"
    MOBILITY = "mobility"
    STRENGTH = "strength"
    CONTROL = "control"
    TECHNIQUE = "technique"
    LOAD = "load"
    OTHER = "other"


KINDS = {
    HypothesisKind.STRUCTURE: "shape and posture",
    HypothesisKind.MOBILITY: "mobility",
    HypothesisKind.STRENGTH: "strength",
    HypothesisKind.CONTROL: "motor control",
    HypothesisKind.TECHNIQUE: "way of running",
    HypothesisKind.LOAD: "training load",
    HypothesisKind.OTHER: "something else",
}


class Role(StrEnum):
    """What part a link plays in the reasoning."""

    DRIVER = "driver"
    CONSEQUENCE = "consequence"
    CHANGE = "change"
    STILL = "still"


ROLES = {
    Role.DRIVER: "driver",
    Role.CONSEQUENCE: "expected to follow",
    Role.CHANGE: "the programme should change it",
    Role.STILL: "should stay still",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One prediction: what a metric should do by when.

    Parameters
    ----------
    metric : str
        Key in the catalogue.
    on : TargetOn
        A side, the whole body, or the asymmetry (right minus left).
    direction : TargetDirection or None
        None for what should stay still.
    amount : float or None
        In the metric's unit or that of its asymmetry, above 0: the change that is predicted.
        For what should stay still the largest change that would still count as still; None
        there takes the measurement error for it.
    due_on : date
        By when.
    why : str
        In the clinician's words.
    """

    position: int
    role: Role
    metric: str
    on: TargetOn
    due_on: date
    direction: TargetDirection | None = None
    amount: float | None = None
    why: str = ""

    def __post_init__(self) -> None:
        problem = self._problem()
        if problem:
            column, value, expected = problem
            raise refuse(
                f"link_{column}",
                f"prediction {self.position} on {self.metric}: {column} is '{value}'; "
                f"expected {expected}.",
                column=column,
                value=value,
            )

    def _problem(self) -> tuple[str, object, str] | None:
        still = self.role is Role.STILL
        if self.position < 1:
            return "position", self.position, "1 or more"
        if still and self.direction is not None:
            return "direction", self.direction, "none, since it should stay still"
        if not still and self.direction is None:
            return "direction", "", "which way it should move"
        if self.direction is TargetDirection.TOWARDS_ZERO and self.on is not TargetOn.ASYMMETRY:
            return "direction", self.direction, "up or down; only an asymmetry goes towards zero"
        if self.amount is None:
            return None if still else ("amount", "", "by how much it should move")
        if not 0 < self.amount <= LARGEST_READING:
            return "amount", self.amount, "more than zero (the direction says which way)"
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """One version of a working hypothesis; a version never changes once it is stored.

    Parameters
    ----------
    driver, leads_to : str
        In the clinician's words: what is proposed, and what it is thought to lead to.
    sureness_pct : int, 1 to 99
        How sure the clinician is that the whole of it will be seen: every driver, consequence
        and change moves as predicted beyond error, and all that should stay still does.
    version : int
        1, 2, ...
    reason : str
        Why this version replaced the one before; '' for the first.
    """

    runner: str
    programme: str
    kind: HypothesisKind
    driver: str
    leads_to: str = ""
    links: tuple[Link, ...]
    sureness_pct: int
    written_on: date
    written_by: str
    version: int = 1
    reason: str = ""

    def __post_init__(self) -> None:
        problems = [
            Problem(code=f"hypothesis_{column}", column=column, value=str(value), message=message)
            for fine, column, value, message in self._checks()
            if not fine
        ]
        if problems:
            raise InputRefused(tuple(problems))

    def _checks(self) -> Sequence[tuple[bool, str, object, str]]:
        places = [(link.metric, link.on) for link in self.links]
        twice = sorted({metric for metric, on in places if places.count((metric, on)) > 1})
        positions = [link.position for link in self.links]
        early = [link.metric for link in self.links if link.due_on <= self.written_on]
        return (
            (bool(self.driver.strip()), "driver", self.driver, "the driver is blank; name it."),
            (
                1 <= len(self.links) <= MOST_LINKS,
                "links",
                len(self.links),
                f"it has {len(self.links)} predictions; expected 1 to {MOST_LINKS}.",
            ),
            (
                any(link.role is Role.DRIVER for link in self.links),
                "role",
                "",
                "none of its predictions is on the driver; say how the driver should move.",
            ),
            (
                not twice,
                "metric",
                ", ".join(twice),
                f"two predictions on the same thing: {', '.join(twice)}; keep one of each.",
            ),
            (
                len(set(positions)) == len(positions),
                "position",
                positions,
                "two predictions have the same position; number them 1, 2, ...",
            ),
            (
                not early,
                "due_on",
                ", ".join(early),
                f"the date of {', '.join(early)} does not lie after the day it was written on.",
            ),
            (
                LEAST_SURE <= self.sureness_pct <= MOST_SURE,
                "sureness_pct",
                self.sureness_pct,
                f"the sureness is {self.sureness_pct} %; expected {LEAST_SURE} to {MOST_SURE} "
                "(nobody is certain).",
            ),
            (
                (self.version == 1) == (not self.reason.strip()) and self.version >= 1,
                "reason",
                self.reason,
                f"version {self.version} with the reason '{self.reason}'; expected no reason for "
                "the first version and one for each later version.",
            ),
        )


def amended(
    hypothesis: Hypothesis, *, written_on: date, written_by: str, reason: str, **changes: Any
) -> Hypothesis:
    """The next version of a hypothesis; the one before stays as it is.

    Parameters
    ----------
    hypothesis : Hypothesis
        The latest version.
    written_on, written_by, reason
        Of the new version.
    **changes
        Fields that differ: kind, driver, leads_to, links, sureness_pct.

    Raises
    ------
    InputRefused
        Without a reason, when nothing differs, when it is dated before the version that it
        replaces, and for what no version may hold.
    """
    if written_on < hypothesis.written_on:
        raise refuse(
            "hypothesis_dated_back",
            f"the new version is dated {written_on}, before the {hypothesis.written_on} of the "
            "version that it replaces.",
            column="written_on",
            value=written_on,
        )
    if all(getattr(hypothesis, name) == value for name, value in changes.items()):
        raise refuse(
            "hypothesis_unchanged",
            f"version {hypothesis.version} says the same already; change something or leave it.",
        )
    return replace(
        hypothesis,
        version=hypothesis.version + 1,
        written_on=written_on,
        written_by=written_by,
        reason=reason,
        **changes,
    )


def is_frozen(*, programme_started_on: date, today: date) -> bool:
    """True once the programme has started: then a change makes a new version."""
    return today >= programme_started_on


def version_to_score(
    versions: Sequence[Hypothesis], *, programme_started_on: date
) -> Hypothesis | None:
    """The version that counts as a prediction: the last one written before the start.

    Parameters
    ----------
    versions : sequence of Hypothesis
        Of one hypothesis, in any order.
    programme_started_on : date
        What was written on that day still counts as before.

    Returns
    -------
    Hypothesis or None
        None where all were written after the start: those are shown, and never scored as
        predictions.
    """
    before = [one for one in versions if one.written_on <= programme_started_on]
    return max(before, key=lambda one: one.version, default=None)


class LinkCall(StrEnum):
    """What a link did by a review."""

    AS_PREDICTED = "as_predicted"
    DID_NOT_MOVE = "did_not_move"
    OTHER_WAY = "other_way"
    STAYED_STILL = "stayed_still"
    MOVED_THOUGH_STILL = "moved_though_still"
    CANNOT_SAY = "cannot_say"


class LinkReason(StrEnum):
    """Why it cannot be said what a link did."""

    NO_VERDICT = "no_verdict"
    TOO_SMALL_TO_SEE = "too_small_to_see"
    NOT_RULED_OUT = "not_ruled_out"
    CROSSED_OVER = "crossed_over"
    NOT_TOLD_APART = "not_told_apart"


class Extent(StrEnum):
    """How far a link that moved as predicted went, against the amount predicted."""

    AT_LEAST = "at_least"
    LESS = "less"
    NOT_TOLD_APART = "not_told_apart"


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkScore:
    """What one link did by one review.

    Parameters
    ----------
    on_date : date or None
        Visit that it is judged by; None where it was not measured.
    moved : float or None
        Change in the predicted direction (for what should stay still: the change itself), in
        the metric's unit or that of its asymmetry.
    error : float or None
        Changes up to this are within error (MDC at 95 %).
    asked : float or None
        The amount that it is held against: what was predicted, but no more than the whole of
        an asymmetry that should go towards zero.
    extent : Extent or None
        Only where it moved as predicted.
    detail : str
        Why no verdict could be given, in the words of the verdict; '' elsewhere.
    hollow : bool
        An asymmetry moved as predicted by the better side falling alone, which is no gain.
    """

    link: Link
    call: LinkCall
    on_date: date | None
    moved: float | None
    error: float | None
    asked: float | None = None
    reason: LinkReason | None = None
    extent: Extent | None = None
    detail: str = ""
    hollow: bool = False


class Order(StrEnum):
    """When a consequence was first seen to move, against its driver."""

    AFTER = "after"
    SAME_VISIT = "same_visit"
    BEFORE = "before"
    WITHOUT_DRIVER = "without_driver"
    NOT_YET = "not_yet"
    CANNOT_SAY = "cannot_say"


class Outcome(StrEnum):
    """What became of a hypothesis as a whole.

    Hollow: all of it was seen as predicted, but an asymmetry closed only because the better side
    fell. It is counted apart: neither as held, which would call a loss a success, nor as failed.
    """

    HELD = "held"
    HOLLOW = "hollow"
    DID_NOT_HOLD = "did_not_hold"
    CANNOT_SAY = "cannot_say"
