"""What became of a run of files, as it is shown or handed to a script."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from casebook.domain.decisions import Question
from casebook.domain.errors import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class FileReport:
    """What became of one file.

    Parameters
    ----------
    table : str
        Kind of table; empty where it was not recognised.
    read : int
        Values (a trial, a mean, or a reason why it is missing) or records in it.
    added, unchanged : int
        Of these, stored by this run, and stored already.
    left_out : int
        Of these, left out as the user decided.
    refused : int
        Rows (cells of a wide table) with something wrong.
    blank : int
        Places for a value that were left blank; nothing is stored for them.
    """

    file: str
    table: str = ""
    read: int = 0
    added: int = 0
    unchanged: int = 0
    left_out: int = 0
    refused: int = 0
    blank: int = 0

    def to_json(self) -> dict[str, Any]:
        """As an object for a script."""
        return {
            "file": self.file,
            "table": self.table,
            "read": self.read,
            "added": self.added,
            "unchanged": self.unchanged,
            "left_out": self.left_out,
            "refused": self.refused,
            "blank": self.blank,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What became of a run of files.

    Parameters
    ----------
    read, added, unchanged, left_out, refused : int
        Sums over the files: what was read is added, unchanged or left out. With anything
        refused nothing is stored: all but `read` and `refused` are then 0.
    questions : tuple of Question
        What only the user can decide, and has not yet; each stands among the problems, too.
    more_questions : int
        How many there are beyond these.
    problems : tuple of Problem
        Everything that was refused, in file order; at most 10,000.
    more_problems : int
        How many there are beyond these.
    warnings : tuple of Problem
        What was taken and should be looked at.
    new_runners : tuple of str
        Runners registered because a visit table named them.
    dry_run : bool
        True when nothing was to be stored in any case; `added` says what would have been.
    run_id : int or None
        Number of the import, by which it can be undone; None when nothing was stored.
    """

    read: int = 0
    added: int = 0
    unchanged: int = 0
    left_out: int = 0
    refused: int = 0
    problems: tuple[Problem, ...] = ()
    questions: tuple[Question, ...] = ()
    more_questions: int = 0
    more_problems: int = 0
    warnings: tuple[Problem, ...] = ()
    more_warnings: int = 0
    new_runners: tuple[str, ...] = ()
    dry_run: bool = False
    run_id: int | None = None
    files: tuple[FileReport, ...] = ()

    @property
    def ok(self) -> bool:
        """True when nothing was refused."""
        return not self.problems

    def to_json(self) -> dict[str, Any]:
        """As one object for a script."""
        return {
            "read": self.read,
            "added": self.added,
            "unchanged": self.unchanged,
            "left_out": self.left_out,
            "refused": self.refused,
            "questions": [
                {"key": one.key, "about": one.title, "choices": list(one.choices)}
                for one in self.questions
            ],
            "more_questions": self.more_questions,
            "problems": [_problem_object(problem) for problem in self.problems],
            "more_problems": self.more_problems,
            "warnings": [_problem_object(problem) for problem in self.warnings],
            "more_warnings": self.more_warnings,
            "new_runners": list(self.new_runners),
            "dry_run": self.dry_run,
            "import": self.run_id,
            "files": [file.to_json() for file in self.files],
        }


def _problem_object(problem: Problem) -> dict[str, Any]:
    return {
        "file": problem.file,
        "row": problem.row,
        "column": problem.column,
        "value": problem.value,
        "code": problem.code,
        "message": problem.message,
    }
