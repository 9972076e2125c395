"""The list of exercises that a block of a programme can be taken from."""

from __future__ import annotations

from dataclasses import dataclass

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import METRIC_KEY
from casebook.domain.prescriptions import BlockDetail
from casebook.domain.programmes import Aim, Block
from casebook.domain.sides import InjurySide

NO_SOURCE = "common practice, no source"


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
    purpose: str
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
        checks = (
            (
                METRIC_KEY.match(self.key) is not None,
                "key",
                "a key of small letters, digits and underscores, starting with a letter",
            ),
            (bool(self.name.strip()), "name", "a name in plain words"),
            (bool(self.how.strip()), "how", "how to do it, in plain words"),
            (
                bool(self.dose_source.strip()) or not (self.dose or self._numbers),
                "dose_source",
                f"who says so, or '{NO_SOURCE}', since a dose is given",
            ),
            (
                all(number > 0 for number in self._numbers),
                "dose",
                "numbers above zero, or none",
            ),
        )
        problems = [
            Problem(
                code=f"exercise_{column}",
                column=column,
                message=f"exercise '{self.key}': {column} is '{getattr(self, column)}'; "
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
