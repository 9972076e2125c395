"""A table of repeat measurements, its columns named by whoever gives it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.sides import Side
from casebook.intake.named_columns import numbers_of, place_of, refuse_blanks, texts_of
from casebook.intake.reading import Sheet, read_sheet

SIDE_WORDS = {"left": Side.LEFT, "l": Side.LEFT, "right": Side.RIGHT, "r": Side.RIGHT}
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?\Z", re.ASCII)
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}\Z", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatColumns:
    """Names of a file's columns; None where there is no such column.

    Parameters
    ----------
    subject : str or None
        May be None in a wide table: its first column.
    sessions : tuple of str
        In a long table one column; in a wide one the columns of values in their order, all
        but the subject's when none is named.
    """

    subject: str | None = None
    sessions: tuple[str, ...] = ()
    rater: str | None = None
    trial: str | None = None
    side: str | None = None
    value: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatTable:
    """A table of repeat measurements that was read.

    Parameters
    ----------
    frame : DataFrame
        `subject`, `session`, `value`, and `rater`, `trial`, `side` where the file has them.
    sessions : tuple of str
        In the order in which they were held.
    notes : tuple of str
        What was understood, in words.
    """

    frame: pd.DataFrame
    sessions: tuple[str, ...]
    notes: tuple[str, ...] = ()


def read_repeat_table(
    path: Path, columns: RepeatColumns, *, wide: bool, whole: bool = False
) -> RepeatTable:
    """Read a table of repeat measurements.

    Parameters
    ----------
    path : Path
    columns : RepeatColumns
    wide : bool
        A row a subject and a column a session, instead of a row a reading.
    whole : bool
        Take whole numbers only (grades).

    Raises
    ------
    InputRefused
        With every cell that cannot be taken, and where it stands.
    """
    named = [columns.subject, *columns.sessions, columns.rater, columns.trial, columns.side]
    try:
        sheet = read_sheet(path, [name for name in (*named, columns.value) if name])
        if sheet.problems:
            raise InputRefused(tuple(sheet.problems))
        table = _wide(sheet, columns, whole) if wide else _long(sheet, columns, whole)
    except InputRefused as refusal:
        raise InputRefused(
            tuple(replace(problem, file=path.name) for problem in refusal.problems)
        ) from None
    if table.frame.empty:
        raise InputRefused(
            (
                Problem(
                    code="no_values",
                    message="the table holds no value; expected a number in every row.",
                    file=path.name,
                ),
            )
        )
    return table


def _long(sheet: Sheet, columns: RepeatColumns, whole: bool) -> RepeatTable:
    if len(columns.sessions) > 1:
        raise InputRefused(
            (
                Problem(
                    code="several_session_columns",
                    message="several session columns are named; a table with a column for each "
                    "session needs --wide.",
                ),
            )
        )
    session = columns.sessions[0] if columns.sessions else None
    places = {
        "subject": place_of(sheet, columns.subject, "--subject"),
        "session": place_of(sheet, session, "--session"),
        "value": place_of(sheet, columns.value, "--value"),
    } | {
        part: place_of(sheet, name, f"--{part}")
        for part, name in (
            ("rater", columns.rater),
            ("trial", columns.trial),
            ("side", columns.side),
        )
        if name is not None
    }
    problems: list[Problem] = []
    frame = pd.DataFrame({part: texts_of(sheet, places[part]) for part in places}, dtype="object")
    frame["line"] = sheet.lines
    header = {part: sheet.header[place] for part, place in places.items()}
    refuse_blanks(frame, header, problems)
    frame["value"] = numbers_of(sheet, frame["value"], header["value"], whole, problems)
    if "side" in places:
        frame["side"] = _sides(frame, header["side"], problems)
    _refuse_twice(frame, header, problems)
    if problems:
        raise InputRefused(tuple(sorted(problems, key=lambda problem: problem.row or 0)))
    return _finished(frame.drop(columns="line"))


def _sides(frame: pd.DataFrame, name: str, problems: list[Problem]) -> list[str]:
    found = []
    for text, line in zip(frame["side"], frame["line"], strict=True):
        side = SIDE_WORDS.get(str(text).casefold())
        if side is None and text:
            problems.append(
                Problem(
                    code="side_unknown",
                    message=f"side is '{text}'; expected left or right.",
                    row=int(line),
                    column=name,
                    value=str(text),
                )
            )
        found.append("" if side is None else side.value)
    return found


def _refuse_twice(frame: pd.DataFrame, header: dict[str, str], problems: list[Problem]) -> None:
    keys = [part for part in ("subject", "session", "rater", "trial", "side") if part in frame]
    again = frame.duplicated(keys)
    if not again.any():
        return
    first = frame.drop_duplicates(keys).set_index(keys)["line"]
    mend = "" if "trial" in frame else " (several trials of a session need --trial)"
    for _, row in frame[again].iterrows():
        what = ", ".join(f"{header[key]} {row[key]}" for key in keys)
        before = int(first.loc[tuple(row[keys])])
        problems.append(
            Problem(
                code="reading_twice",
                message=f"{what} stands in row {before} already{mend}; keep one of the two.",
                row=int(row["line"]),
                column=header["session"],
                value=str(row["session"]),
            )
        )


def _wide(sheet: Sheet, columns: RepeatColumns, whole: bool) -> RepeatTable:
    for part, given in (("rater", columns.rater), ("trial", columns.trial), ("side", columns.side)):
        if given is not None:
            raise InputRefused(
                (
                    Problem(
                        code="not_in_a_wide_table",
                        message=f"a wide table has no {part} column; give a long table, a row a "
                        f"reading, for --{part}.",
                    ),
                )
            )
    subject = 0 if columns.subject is None else place_of(sheet, columns.subject, "--subject")
    positions = [place_of(sheet, name, "--session") for name in columns.sessions] or [
        position for position in range(len(sheet.header)) if position != subject
    ]
    if not positions:
        raise InputRefused(
            (
                Problem(
                    code="no_value_columns",
                    message="the table holds no column of values beside the subject's; expected "
                    "one for each session.",
                ),
            )
        )
    problems: list[Problem] = []
    names = texts_of(sheet, subject)
    counted = Counter(names)
    for name, line in zip(names, sheet.lines.tolist(), strict=True):
        if not name or counted[name] > 1:
            problems.append(
                Problem(
                    code="subject_blank" if not name else "subject_twice",
                    message="the subject is not given; every row needs one."
                    if not name
                    else f"'{name}' has {counted[name]} rows; a wide table has one a subject.",
                    row=line,
                    column=sheet.header[subject],
                    value=name,
                )
            )
    parts = []
    for position in positions:
        header = sheet.header[position]
        texts = pd.Series(texts_of(sheet, position), dtype="object")
        values = numbers_of(sheet, texts, header, whole, problems)
        parts.append(pd.DataFrame({"subject": names, "session": header, "value": values}))
    if problems:
        raise InputRefused(tuple(sorted(problems, key=lambda problem: problem.row or 0)))
    order = tuple(sheet.header[position] for position in positions)
    return _finished(pd.concat(parts, ignore_index=True), order)


def _finished(frame: pd.DataFrame, order: tuple[str, ...] | None = None) -> RepeatTable:
    notes = []
    given = np.isfinite(frame["value"].to_numpy(dtype=float))
    left_out = int((~given).sum())
    if left_out:
        cells = "cell is" if left_out == 1 else "cells are"
        notes.append(f"{left_out} {cells} blank and taken as missing.")
    frame = frame[given].reset_index(drop=True)
    if order is None and _dates_of_each(frame):
        frame["session"] = _numbered(frame)
        notes.append("The sessions are dates: they are numbered in order within each subject.")
    names = list(dict.fromkeys(frame["session"]))
    return RepeatTable(frame=frame, sessions=order or tuple(_in_order(names)), notes=tuple(notes))


def _dates_of_each(frame: pd.DataFrame) -> bool:
    """True where sessions are days that the subjects do not share."""
    if not len(frame) or not all(_ISO_DAY.match(name) for name in set(frame["session"])):
        return False
    most = int(frame.groupby("subject")["session"].nunique().max())
    return int(frame["session"].nunique()) > most


def _numbered(frame: pd.DataFrame) -> pd.Series:
    return frame.groupby("subject")["session"].rank(method="dense").astype(int).astype(str)


def _in_order(names: Sequence[str]) -> list[str]:
    """Numbers and days in their order, other names as they come."""
    if all(_NUMBER.match(name) for name in names):
        return sorted(names, key=float)
    if all(_ISO_DAY.match(name) for name in names):
        return sorted(names)
    return list(names)
