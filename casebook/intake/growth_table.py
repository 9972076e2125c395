"""A long table for a growth model, its columns named by whoever gives it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from casebook.domain.errors import InputRefused, Problem
from casebook.intake.named_columns import numbers_of, place_of, refuse_blanks, texts_of
from casebook.intake.reading import read_sheet
from casebook.statistics.growth.table import GrowthTable


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthColumns:
    """Names of a file's columns; None where they were not given."""

    subject: str | None
    time: str | None
    value: str | None
    by: str | None = None


def read_growth_table(
    path: Path, columns: GrowthColumns
) -> tuple[GrowthTable, tuple[str, ...], tuple[str, ...]]:
    """Read a long table, a row a measurement.

    Returns
    -------
    table : GrowthTable
        Without the rows whose value is blank.
    subjects : tuple of str
        Names of the subjects, by their numbers.
    notes : tuple of str
        What was understood, in words.

    Raises
    ------
    InputRefused
        With every cell that cannot be taken, and where it stands.
    """
    try:
        return _read(path, columns)
    except InputRefused as refusal:
        raise InputRefused(
            tuple(replace(problem, file=path.name) for problem in refusal.problems)
        ) from None


def _read(
    path: Path, columns: GrowthColumns
) -> tuple[GrowthTable, tuple[str, ...], tuple[str, ...]]:
    given = {"subject": columns.subject, "time": columns.time, "value": columns.value}
    if columns.by is not None:
        given["by"] = columns.by
    sheet = read_sheet(path, [name for name in given.values() if name])
    if sheet.problems:
        raise InputRefused(tuple(sheet.problems))
    places = {part: place_of(sheet, name, f"--{part}") for part, name in given.items()}
    header = {part: sheet.header[place] for part, place in places.items()}
    frame = pd.DataFrame({part: texts_of(sheet, places[part]) for part in places}, dtype="object")
    frame["line"] = sheet.lines
    problems: list[Problem] = []
    refuse_blanks(frame, header, problems)
    for part in ("time", "value"):
        frame[part] = numbers_of(sheet, frame[part], header[part], False, problems)
    if problems:
        raise InputRefused(tuple(sorted(problems, key=lambda problem: problem.row or 0)))
    given_value = np.isfinite(frame["value"].to_numpy(dtype=float))
    notes = []
    if not given_value.all():
        left = int((~given_value).sum())
        rows = (
            "1 row has a blank value and is" if left == 1 else f"{left} rows have no value and are"
        )
        notes.append(f"{rows} left out.")
    frame = frame[given_value]
    if frame.empty:
        raise InputRefused(
            (Problem(code="no_values", message="the table holds no value in any row."),)
        )
    subject, subjects = pd.factorize(frame["subject"])
    group, groups = pd.factorize(frame["by"], sort=True) if "by" in frame else (None, ())
    table = GrowthTable(
        subject=subject.astype(np.int64),
        time=frame["time"].to_numpy(dtype=float),
        value=frame["value"].to_numpy(dtype=float),
        group=None if group is None else group.astype(np.int64),
        groups=tuple(str(name) for name in groups),
        time_name=header["time"],
        group_name=header.get("by", "group"),
    )
    return table, tuple(str(name) for name in subjects), tuple(notes)
