"""Dates of visits held against each other and against births."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np

from casebook.intake.assembling import Assembled
from casebook.intake.context import Context


def check_births(context: Context, assembled: Assembled, born: Mapping[str, date]) -> None:
    """Refuse visits before the runner's birth.

    Parameters
    ----------
    born : mapping of str to date
        Earliest day on which a runner can have been born, where it is known. The day itself
        is an identifier and is not told.
    """
    rows = assembled.rows
    codes = list(context.runners)
    births = np.array(
        [born[code].toordinal() if code in born else 0 for code in codes], dtype=np.int64
    )
    if not len(births):
        return
    early = rows.day < births[rows.runner]
    for file in np.unique(rows.file[early]).tolist():
        which = np.flatnonzero(early & (rows.file == file))

        def tell(i: int, which: np.ndarray = which) -> tuple[str, str, str]:
            row = which[i]
            day = date.fromordinal(int(rows.day[row]))
            return (
                str(day),
                "date_before_birth",
                f"the visit is dated {day}, before runner '{codes[rows.runner[row]]}' was born. "
                "Check the date of the visit and the birth date.",
            )

        context.problems.add_rows(file, rows.line[which], "visit_date", tell)


def check_due(context: Context, assembled: Assembled) -> None:
    """Refuse a next visit that is due before the visit itself."""
    visits, rows = assembled.visits, assembled.rows
    for index, due in enumerate(visits.conditions["next_due"]):
        day = int(visits.day[index])
        if not isinstance(due, date) or due.toordinal() >= day:
            continue
        row = int(visits.condition_rows["next_due"][index])
        message = (
            f"the next visit is due on {due}, before this one on {date.fromordinal(day)}; check "
            "both dates."
        )
        context.problems.add_rows(
            int(rows.file[row]),
            rows.line[row : row + 1],
            "next_due",
            lambda _, due=due, message=message: (str(due), "due_before_visit", message),  # type: ignore[misc]
        )
