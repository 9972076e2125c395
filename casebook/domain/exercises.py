"""The list of exercises that a block of a programme can be taken from."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import METRIC_KEY
from casebook.domain.prescriptions import BlockDetail
from casebook.domain.programmes import Aim, Block
from casebook.domain.sides import InjurySide

NO_SOURCE = "common practice, no source"
LONGEST_EXERCISE_NAME = 200
LONGEST_EXERCISE_TEXT = 10_000
# The most of each number that an exercise is filled in with, as the tables have it.
MOST: dict[str, float] = {
    "sets": 100,
    "repetitions": 10_000,
    "hold_s": 36_000,
    "sessions_per_week": 70,
}
TEXTS = ("purpose", "how", "equipment", "dose", "dose_source", "progress", "ease")


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """One exercise of the list; a clinic adds and edits its own.

    Parameters
    ----------
    key : str
        Stable name; never renamed.
    name, purpose, how : str
        In plain words: what it is called, what it works on, how to do it.
    sided : bool
        True where left and right are done apart.
    dose : str
        The usual dose in words; '' where there is none that one can defend.
    dose_source : str
        Who says so, or `NO_SOURCE`; needed where there is a dose.
    sets, repetitions, hold_s, sessions_per_week
        What a new block is filled in with; None where that part is left to the clinician.
    progress, ease : str
        How it is usually made harder, and what usually calls for easing off.
    metrics : tuple of str
        Keys of metrics worth a look, as hints for a target.
    """

    key: str
    name: str
    aim: Aim
    purpose: str = ""
    how: str
    sided: bool = True
    equipment: str = ""
    dose: str = ""
    dose_source: str = ""
    sets: int | None = None
    repetitions: int | None = None
    hold_s: float | None = None
    sessions_per_week: float | None = None
    progress: str = ""
    ease: str = ""
    metrics: tuple[str, ...] = ()
    position: int = 0
    starter: bool = False
    active: bool = True

    def __post_init__(self) -> None:
        checks: tuple[tuple[bool, str, str], ...] = (
            (
                METRIC_KEY.match(self.key) is not None,
                "key",
                "a key of small letters, digits and underscores, starting with a letter",
            ),
            (
                bool(self.name.strip()) and len(self.name) <= LONGEST_EXERCISE_NAME,
                "name",
                f"a name in plain words, of at most {LONGEST_EXERCISE_NAME} characters",
            ),
            (bool(self.how.strip()), "how", "how to do it, in plain words"),
            (
                bool(self.dose_source.strip()) or not (self.dose or self._numbers),
                "dose_source",
                f"who says so, or '{NO_SOURCE}', since a dose is given",
            ),
            *(
                (
                    getattr(self, column) is None or 0 < getattr(self, column) <= most,
                    column,
                    f"a number above zero and at most {most:g}, or none",
                )
                for column, most in MOST.items()
            ),
            *(
                (
                    len(getattr(self, column)) <= LONGEST_EXERCISE_TEXT,
                    column,
                    f"at most {LONGEST_EXERCISE_TEXT} characters",
                )
                for column in TEXTS
            ),
        )
        problems = [
            Problem(
                code=f"exercise_{column}",
                column=column,
                message=f"exercise '{self.key}': {column} is "
                f"'{str(getattr(self, column))[:60]}'; "
                f"expected {expected}.",
            )
            for fine, column, expected in checks
            if not fine
        ]
        if problems:
            raise InputRefused(tuple(problems))

    @property
    def _numbers(self) -> tuple[float, ...]:
        given = (self.sets, self.repetitions, self.hold_s, self.sessions_per_week)
        return tuple(number for number in given if number is not None)


def key_of(name: str) -> str:
    """A key for an exercise made of its name; '' where the name has nothing to make it of.

    Examples
    --------
    >>> key_of("Heel raise, knee straight")
    'heel_raise_knee_straight'
    >>> key_of("Hüfte: 2 × heben")
    'hufte_2_heben'
    """
    bare = unicodedata.normalize("NFKD", name.casefold()).encode("ascii", "ignore").decode()
    words = re.sub(r"[^a-z0-9]+", "_", bare).strip("_0123456789")[:63].rstrip("_")
    return words if METRIC_KEY.match(words) else ""


def prescribed(
    exercise: Exercise, *, position: int, side: InjurySide = InjurySide.BOTH
) -> tuple[Block, BlockDetail]:
    """A block of a programme filled in from the list, to be changed by the clinician.

    Parameters
    ----------
    exercise : Exercise
    position : int
        In the programme, from 1.
    side : InjurySide
        Ignored for an exercise without sides.
    """
    block = Block(
        position=position,
        aim=exercise.aim,
        exercise=exercise.name,
        side=side if exercise.sided else InjurySide.NONE,
        sets=exercise.sets,
        repetitions=exercise.repetitions,
        hold_s=exercise.hold_s,
        sessions_per_week=exercise.sessions_per_week,
    )
    detail = BlockDetail(
        position=position,
        exercise_key=exercise.key,
        instructions=exercise.how,
        equipment=exercise.equipment,
        progress_how=exercise.progress,
        ease_when=exercise.ease,
    )
    return block, detail
