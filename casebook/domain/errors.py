"""Every refusal of the program, under one base class, with its facts as fields.

A message always says what was given, what is allowed and how to mend it; a face (app or
command line) prints it as it stands. Anything that is not a `CasebookError` is a bug.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing wrong with one place of some input.

    Parameters
    ----------
    code : str
        Stable reason code in snake case, for scripts ("unknown_metric").
    message : str
        What was given, what is allowed and what to do, for a person.
    file, column, value : str
        Where it stands and the text as it was given; empty where it does not apply.
    row : int or None
        Line of the file, the header being line 1; None where it concerns no single row.
    """

    code: str
    message: str
    file: str = ""
    row: int | None = None
    column: str = ""
    value: str = ""

    def __str__(self) -> str:
        place = [self.file] if self.file else []
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column:
            # Of a table it is a column; of an option or a form there is none.
            place.append(f"column {self.column}" if place else self.column)
        where = ", ".join(place)
        return f"{where}: {self.message}" if where else self.message


class CasebookError(Exception):
    """Base of every refusal; its text is fit to be shown to a user."""


@dataclass(eq=False)
class InputRefused(CasebookError):
    """Input that cannot be taken; holds every problem found, not only the first."""

    problems: tuple[Problem, ...] = field(default=())

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


class NotFound(CasebookError):
    """Something asked for by name is not in the store."""


class Conflict(CasebookError):
    """Somebody else stored something in between, or the fact already exists and differs."""


class StoreUnavailable(CasebookError):
    """The database cannot be opened, is locked for too long, full, or of another version."""


class FormulaRefused(CasebookError):
    """A formula was asked for where it has no meaning (a ratio of unlike signs, a zero mean)."""


def refuse(code: str, message: str, *, column: str = "", value: object = "") -> InputRefused:
    """One-problem refusal, to be raised by a rule of the domain."""
    return InputRefused((Problem(code=code, message=message, column=column, value=str(value)),))
