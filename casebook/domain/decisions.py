"""What an import asks of the user, and what they decided.

A question is known by a key that holds what it is about and a mark of what was shown, so that
an answer given to one question never counts for another: where the stored or the given has
changed since, it is asked anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from urllib.parse import quote, unquote

from casebook.domain.errors import InputRefused, Problem

# More are counted, and answered by one decision for all of their kind.
MOST_ASKED = 2_000


# Codes of the problems that are questions without an answer; the others are to be mended.
ASKED_CODES = frozenset(
    {
        "conflict",
        "duplicate_row",
        "given_in_two_ways",
        "conditions_differ",
        "similar_runner",
        "struck_out",
    }
)


class Asks(StrEnum):
    """Kinds of question."""

    # A value or a condition of a visit, or a cell of another record, that is stored as another.
    VALUE = "value"
    CONDITION = "condition"
    RECORD = "record"
    # A visit, a value or a trial that was struck out by hand and stands in the files again.
    STRUCK_OUT = "struck_out"
    # The same thing given twice or in two ways in the files themselves.
    TWICE = "twice"
    TWO_WAYS = "two_ways"
    CONDITION_TWICE = "condition_twice"
    RECORD_TWICE = "record_twice"
    # A runner who might be another.
    RUNNER = "runner"


class Choice(StrEnum):
    """What can be decided."""

    KEEP = "keep"
    TAKE = "take"
    FIRST = "first"
    LAST = "last"
    SAME = "same"
    ANOTHER = "another"
    LEAVE_OUT = "leave_out"


ASKS_WORDS = {
    Asks.VALUE: "A value that is stored as another",
    Asks.CONDITION: "A condition of a visit that is stored as another",
    Asks.RECORD: "A detail that is stored as another",
    Asks.STRUCK_OUT: "What was struck out by hand and stands in the files again",
    Asks.TWICE: "A reading that stands twice in the files",
    Asks.TWO_WAYS: "A value that is given both as trials and as a whole",
    Asks.CONDITION_TWICE: "A condition of one visit that is given in two ways",
    Asks.RECORD_TWICE: "A record that stands twice in the files",
    Asks.RUNNER: "A runner who might be one you have already",
}
CHOICE_WORDS = {
    Choice.KEEP: "keep what is stored",
    Choice.TAKE: "take the file's (what was stored stays in the history)",
    Choice.FIRST: "take the first",
    Choice.LAST: "take the last",
    Choice.SAME: "the same runner",
    Choice.ANOTHER: "another runner",
    Choice.LEAVE_OUT: "leave it out",
}
# Where nothing is stored any more that could be kept.
STRUCK_OUT_WORDS = {
    Choice.KEEP: "keep it out",
    Choice.TAKE: "put it back, as the file has it",
}
# What leaving out leaves out, where that is more than what is shown.
LEFT_OUT_WORDS = {
    Asks.VALUE: "leave the file's whole visit out",
    Asks.CONDITION: "leave the file's whole visit out",
    Asks.RECORD: "leave the file's record out",
    Asks.RUNNER: "leave all of this runner's rows out",
    Asks.TWICE: "take none of them",
    Asks.TWO_WAYS: "take neither",
    Asks.RECORD_TWICE: "take none of them",
}
# What one decision may settle for all questions of a kind.
FOR_ALL = {
    Asks.VALUE: (Choice.KEEP, Choice.TAKE),
    Asks.CONDITION: (Choice.KEEP, Choice.TAKE),
    Asks.RECORD: (Choice.KEEP, Choice.TAKE, Choice.LEAVE_OUT),
    Asks.STRUCK_OUT: (Choice.KEEP, Choice.TAKE),
    Asks.TWICE: (Choice.FIRST, Choice.LAST, Choice.LEAVE_OUT),
    Asks.TWO_WAYS: (Choice.FIRST, Choice.LAST, Choice.LEAVE_OUT),
    Asks.CONDITION_TWICE: (Choice.FIRST, Choice.LAST),
    Asks.RECORD_TWICE: (Choice.FIRST, Choice.LAST, Choice.LEAVE_OUT),
    Asks.RUNNER: (Choice.ANOTHER,),
}


def choice_words(kind: Asks, choice: Choice) -> str:
    """A choice in words, as it stands below a question."""
    if choice is Choice.LEAVE_OUT:
        return LEFT_OUT_WORDS.get(kind, CHOICE_WORDS[choice])
    if kind is Asks.STRUCK_OUT:
        return STRUCK_OUT_WORDS.get(choice, CHOICE_WORDS[choice])
    return CHOICE_WORDS[choice]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One of the things that stand side by side: where it is from, and what it is."""

    where: str
    what: str = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something that only the user can decide.

    Parameters
    ----------
    about : tuple of str
        What it is about, in codes; with `kind` and a mark of what is shown it is the key.
    title : str
        The same in words.
    shown : tuple of Shown
        Side by side; of a runner they hold names and birth dates.
    choices : tuple of Choice
    """

    kind: Asks
    about: tuple[str, ...]
    title: str
    shown: tuple[Shown, ...]
    choices: tuple[Choice, ...]

    @property
    def key(self) -> str:
        """By which a decision names it."""
        said = "\n".join(one.what for one in self.shown)
        mark = hashlib.sha256(said.encode()).hexdigest()[:8]
        parts = (self.kind.value, *(quote(part, safe=" ") for part in self.about))
        return f"{'/'.join(parts)}~{mark}"


def about_of(key: str) -> tuple[str, tuple[str, ...]]:
    """Kind and codes of a question's key."""
    kind, *parts = key.rpartition("~")[0].split("/")
    return kind, tuple(unquote(part) for part in parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What was decided, and why: a reason is asked for where something stored gives way."""

    choice: Choice
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decisions:
    """What the user decided.

    Parameters
    ----------
    by_key : mapping of str to Decision
    for_all : mapping of Asks to Decision
        For every question of a kind that has no decision of its own.
    """

    by_key: Mapping[str, Decision] = field(default_factory=dict)
    for_all: Mapping[Asks, Decision] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for place, decision in (*self.by_key.items(), *self.for_all.items()):
            if decision.choice is Choice.TAKE and not decision.reason.strip():
                raise _refused(
                    "reason_missing",
                    f"'{place}' takes the file's over what is stored or was struck out; say why "
                    "(reason).",
                    str(place),
                )
        for kind, decision in self.for_all.items():
            if decision.choice not in FOR_ALL[kind]:
                raise _refused(
                    "choice_not_taken",
                    f"'{decision.choice}' cannot be decided for all questions '{kind}' at once; "
                    f"expected {' or '.join(FOR_ALL[kind])}.",
                    decision.choice,
                )

    def __bool__(self) -> bool:
        return bool(self.by_key or self.for_all)

    def of(self, question: Question) -> Decision | None:
        """The decision on a question.

        Raises
        ------
        InputRefused
            When it is none of the question's choices.
        """
        decision = self.by_key.get(question.key) or self.for_all.get(question.kind)
        if decision is not None and decision.choice not in question.choices:
            raise _refused(
                "choice_not_taken",
                f"'{decision.choice}' is no answer to '{question.title}'; expected "
                f"{' or '.join(question.choices)}.",
                decision.choice,
            )
        return decision

    def left_out_visits(self) -> frozenset[tuple[str, str, str]]:
        """Runner, day and session of every visit of the files that is to be left out."""
        return frozenset(
            (about[0], about[1], about[2])
            for key, decision in self.by_key.items()
            if decision.choice is Choice.LEAVE_OUT
            for kind, about in [about_of(key)]
            if kind in {Asks.VALUE, Asks.CONDITION} and len(about) > 2
        )

    def left_out_runners(self) -> frozenset[str]:
        """Codes whose rows are to be left out."""
        return frozenset(about[0] for about, choice in self._runners() if choice == "leave_out")

    def same_runners(self) -> dict[str, str]:
        """For each code of the files that stands for another runner, that runner's code."""
        same = {about[0]: about[1] for about, choice in self._runners() if choice == "same"}
        resolved = {}
        for code, other in same.items():
            seen, goal = {code}, other
            while goal in same and goal not in seen:
                seen.add(goal)
                goal = same[goal]
            resolved[code] = goal
        return resolved

    def _runners(self) -> list[tuple[tuple[str, ...], str]]:
        return [
            (about, decision.choice.value)
            for key, decision in self.by_key.items()
            for kind, about in [about_of(key)]
            if kind == Asks.RUNNER and len(about) > 1
        ]


def _refused(code: str, message: str, value: str) -> InputRefused:
    problem = Problem(code=code, message=f"{message} Nothing was stored.", value=value)
    return InputRefused((problem,))


@dataclass(slots=True, kw_only=True)
class Asked:
    """The questions of a run, and the decisions on them.

    Parameters
    ----------
    open : list of Question
        Those without a decision, at most 2,000; `count` says how many there are.
    """

    decisions: Decisions = field(default_factory=Decisions)
    open: list[Question] = field(default_factory=list)
    count: int = 0

    @property
    def idle(self) -> bool:
        """True when a further question need not be put in words: it is only counted."""
        return not self.decisions and len(self.open) >= MOST_ASKED

    def ask(self, question: Question) -> Decision | None:
        """The decision on a question; without one it stands open."""
        decision = self.decisions.of(question)
        if decision is None:
            self.count += 1
            if len(self.open) < MOST_ASKED:
                self.open.append(question)
        return decision
