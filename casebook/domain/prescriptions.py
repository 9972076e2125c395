"""What a programme prescribes beyond its blocks: tempo, rest, rules, and how it is delivered.

`Block` and `Programme` hold the plain dose; what stands here is kept beside them, so that a
programme stored before has simply nothing filled in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.programmes import Block, Programme

# Physical limits with room, no norms.
LONGEST_PHASE_S = 60.0
LONGEST_REST_S = 3600.0
MOST_WEEKS = 260
LONGEST_TITLE = 200


class Supervision(StrEnum):
    """Whether somebody watches the exercise while it is done."""

    SUPERVISED = "supervised"
    PARTLY = "partly"
    UNSUPERVISED = "unsupervised"


class Mode(StrEnum):
    """Whether the runner exercises alone with the clinician or in a group."""

    INDIVIDUAL = "individual"
    GROUP = "group"


class Delivery(StrEnum):
    """How the programme reaches the runner."""

    IN_PERSON = "in_person"
    REMOTE = "remote"
    BOTH = "both"


class Tailoring(StrEnum):
    """Whether the exercises are the same for everybody or fitted to the runner."""

    GENERIC = "generic"
    TAILORED = "tailored"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tempo:
    """Seconds of one repetition's parts, in the order in which they are done.

    Parameters
    ----------
    lower_s, hold_s, lift_s, rest_s : float, 0 to 60
        Going down (lengthening), still at the bottom, going up (shortening), still at the top.
    """

    lower_s: float
    hold_s: float
    lift_s: float
    rest_s: float = 0.0

    def __post_init__(self) -> None:
        for name in ("lower_s", "hold_s", "lift_s", "rest_s"):
            _check_range(name, getattr(self, name), 0.0, LONGEST_PHASE_S, "seconds")
        if self.repetition_s == 0:
            raise refuse(
                "tempo_empty",
                "the tempo takes no time at all; expected seconds such as 3-0-1, or a blank.",
                column="tempo",
            )

    def __str__(self) -> str:
        return "-".join(f"{part:g}" for part in self.parts)

    @property
    def parts(self) -> tuple[float, float, float, float]:
        """The four parts in seconds."""
        return self.lower_s, self.hold_s, self.lift_s, self.rest_s

    @property
    def repetition_s(self) -> float:
        """Seconds that one repetition takes."""
        return sum(self.parts)

    @property
    def words(self) -> str:
        """The tempo spelled out: '3 s down, 1 s up'."""
        names = ("down", "held low", "up", "held high")
        told = zip(self.parts, names, strict=True)
        return ", ".join(f"{part:g} s {name}" for part, name in told if part)


def tempo_of(text: str) -> Tempo | None:
    """The tempo that was typed: three or four numbers of seconds, parted by hyphens or spaces.

    Returns
    -------
    Tempo or None
        None for a blank.

    Raises
    ------
    InputRefused
        For anything else.

    Examples
    --------
    >>> str(tempo_of("3-0-1")), tempo_of(" "), tempo_of("2 1 2 0.5").repetition_s
    ('3-0-1-0', None, 5.5)
    """
    if not text.strip():
        return None
    parts = [part for part in re.split(r"[\s/–-]+", text.strip()) if part]
    if len(parts) not in {3, 4} or not all(re.fullmatch(r"\d+([.,]\d+)?", part) for part in parts):
        raise refuse(
            "tempo_unreadable",
            f"the tempo is '{text}'; expected three or four numbers of seconds such as 3-0-1 "
            "(down, held, up) or 3-0-1-0.",
            column="tempo",
            value=text,
        )
    lower, hold, lift, *rest = (float(part.replace(",", ".")) for part in parts)
    return Tempo(lower_s=lower, hold_s=hold, lift_s=lift, rest_s=rest[0] if rest else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockDetail:
    """What belongs to one block beyond its plain dose; '' or None where nothing was filled in.

    Parameters
    ----------
    position : int
        Of the block it belongs to.
    exercise_key : str
        Key in the list of exercises; '' where the exercise is in the clinician's own words.
    instructions : str
        How to do it, in words that somebody else could follow.
    rest_s : float or None
        Between sets.
    progress_when, progress_how : str
        What must be reached before it is made harder, and how it is made harder.
    ease_when : str
        What calls for easing off, and how.
    equipment : str
        'none' is an answer, too.
    """

    position: int
    exercise_key: str = ""
    instructions: str = ""
    tempo: Tempo | None = None
    rest_s: float | None = None
    progress_when: str = ""
    progress_how: str = ""
    ease_when: str = ""
    equipment: str = ""
    supervision: Supervision | None = None

    def __post_init__(self) -> None:
        if self.position < 1:
            raise refuse(
                "position_out_of_range",
                f"the block's position is {self.position}; expected 1 or more.",
                column="position",
                value=self.position,
            )
        if self.rest_s is not None:
            _check_range("rest_s", self.rest_s, 0.0, LONGEST_REST_S, "seconds")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeDetail:
    """How a programme is delivered; '' or None where nothing was filled in.

    Parameters
    ----------
    provider : str
        Who teaches it and with what training; a role, no name.
    setting : str
        Where it is done.
    materials : str
        What the runner is given (a sheet, a video).
    planned_weeks : int or None
    home_part : str
        What is done at home.
    other_parts : str
        What belongs to it and is no exercise (advice, taping, insoles).
    starting_level : str
        How the first level was chosen.
    tailoring : str
        What was fitted to the runner, and why.
    modifications : str
        What was changed while it ran; the versions tell it, too.
    motivation : str
        How keeping to it is encouraged.
    adverse_events : str
        What went wrong, or 'none'.
    fidelity_plan, fidelity_actual : str
        How it is checked that it is done as meant, and how well it was.
    """

    provider: str = ""
    setting: str = ""
    mode: Mode | None = None
    delivery: Delivery | None = None
    materials: str = ""
    planned_weeks: int | None = None
    home_part: str = ""
    other_parts: str = ""
    starting_level: str = ""
    tailored: Tailoring | None = None
    tailoring: str = ""
    modifications: str = ""
    motivation: str = ""
    adverse_events: str = ""
    fidelity_plan: str = ""
    fidelity_actual: str = ""

    def __post_init__(self) -> None:
        if self.planned_weeks is not None:
            _check_range("planned_weeks", self.planned_weeks, 1, MOST_WEEKS, "weeks")


@dataclass(frozen=True, slots=True, kw_only=True)
class Prescription:
    """A programme with all that was filled in about it: what one version of it says.

    Parameters
    ----------
    programme : Programme
    detail : ProgrammeDetail
    block_details : tuple of BlockDetail
        At most one for each block, matched by position.
    version : int, >= 1
    changes : tuple of str
        What this and earlier versions changed, in words, oldest first.
    """

    programme: Programme
    detail: ProgrammeDetail = field(default_factory=ProgrammeDetail)
    block_details: tuple[BlockDetail, ...] = ()
    version: int = 1
    changes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        blocks = {block.position for block in self.programme.blocks}
        positions = [detail.position for detail in self.block_details]
        problems = [
            Problem(
                code="block_detail_astray",
                column="position",
                value=str(position),
                message=f"details are given for block {position} of '{self.programme.title}', "
                + ("which has details already." if position in blocks else "which does not exist."),
            )
            for at, position in enumerate(positions)
            if position not in blocks or position in positions[:at]
        ]
        if problems:
            raise InputRefused(tuple(problems))

    def detail_of(self, block: Block) -> BlockDetail:
        """What was filled in about a block; an empty detail where nothing was."""
        found = {detail.position: detail for detail in self.block_details}
        return found.get(block.position, BlockDetail(position=block.position))


def numbered_title(title: str, taken: Collection[str]) -> str:
    """A title that is not among those taken: with the next number behind it.

    Examples
    --------
    >>> numbered_title("Hip (2)", {"Hip", "Hip (2)"})
    'Hip (3)'
    """
    name = re.sub(r" \(\d+\)$", "", title)
    number = 2
    while (numbered := f"{name[: LONGEST_TITLE - len(f' ({number})')]} ({number})") in taken:
        number += 1
    return numbered


def copied(prescription: Prescription, *, started_on: date) -> Prescription:
    """A new programme like an old one, to be changed; the old one stays as it is.

    Parameters
    ----------
    prescription : Prescription
    started_on : date
        Of the new one; its end and its targets' dates lie as many days later as they did.

    Returns
    -------
    Prescription
        Version 1, without the old one's weeks, changes and events.
    """
    old = prescription.programme
    later = started_on - old.started_on
    programme = replace(
        old,
        started_on=started_on,
        ended_on=None if old.ended_on is None else old.ended_on + later,
        targets=tuple(replace(target, due_on=target.due_on + later) for target in old.targets),
        adherence=(),
    )
    detail = replace(prescription.detail, modifications="", adverse_events="", fidelity_actual="")
    return Prescription(
        programme=programme, detail=detail, block_details=prescription.block_details
    )


SUPERVISIONS: Mapping[Supervision, str] = {
    Supervision.SUPERVISED: "supervised",
    Supervision.PARTLY: "partly supervised",
    Supervision.UNSUPERVISED: "unsupervised",
}


def _check_range(name: str, number: float, low: float, high: float, unit: str) -> None:
    if not (math.isfinite(number) and low <= number <= high):
        raise refuse(
            f"{name}_out_of_range",
            f"{name} is {number:g}; expected {low:g} to {high:g} {unit}.",
            column=name,
            value=number,
        )
