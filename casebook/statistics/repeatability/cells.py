"""Readings as arrays, and the table of subjects by occasions that they make."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from casebook.statistics.codes import Flags, Floats, Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Readings of one quantity, one element a reading.

    Parameters
    ----------
    subject, session, rater : ndarray of int, shape (rows,)
        Positions in the names.
    trial : ndarray of int, shape (rows,)
        Number of the trial; what has the same number was read together.
    value : ndarray of float, shape (rows,)
    subjects, sessions, raters : tuple of str
        Names; sessions in the order in which they were held.
    trials_in_value : ndarray of int or None, shape (rows,)
        Trials of which a value is itself the mean; None where each is one trial.
    """

    subject: Whole
    session: Whole
    rater: Whole
    trial: Whole
    value: Floats
    subjects: tuple[str, ...]
    sessions: tuple[str, ...]
    raters: tuple[str, ...] = ("",)
    trials_in_value: Whole | None = None

    @property
    def size(self) -> int:
        """How many readings there are."""
        return int(self.value.size)


@dataclass(frozen=True, slots=True, kw_only=True)
class CellTable:
    """Subjects by occasions.

    Parameters
    ----------
    mean : ndarray of float, shape (subjects, occasions)
        Mean of a cell's trials; NaN where it is empty.
    trials : ndarray of int, shape (subjects, occasions)
    occasions : tuple of str
        Names of the columns.
    row, column : ndarray of int, shape (rows,)
        Cell of each reading.
    """

    mean: Floats
    trials: Whole
    occasions: tuple[str, ...]
    row: Whole
    column: Whole

    @property
    def held(self) -> Flags:
        """Which cells have a value."""
        return np.isfinite(self.mean)

    @property
    def complete(self) -> bool:
        """True where no cell is empty."""
        return bool(self.held.all())


def readings_of(frame: pd.DataFrame, *, sessions: tuple[str, ...] | None = None) -> Readings:
    """Readings from a tidy table.

    Parameters
    ----------
    frame : DataFrame
        Columns `subject`, `session` and `value`; `rater` and `trial` where there are such;
        `trials_in_value` where a value is itself a mean.
    sessions : tuple of str or None
        Sessions in the order in which they were held; None takes them as they come.

    Returns
    -------
    Readings
        Rows whose value is not finite are left out, and so are names that no row has left.

    Raises
    ------
    ValueError
        For two rows with the same subject, session, rater and trial.

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> table = pd.DataFrame({"subject": ["a", "b", "b"], "session": ["1", "1", "2"],
    ...     "value": [3.0, 4.0, np.nan]})
    >>> readings_of(table).sessions
    ('1',)
    """
    frame = frame[np.isfinite(frame["value"].to_numpy(dtype=float))]
    rows = len(frame)
    rater = frame["rater"].astype(str) if "rater" in frame else pd.Series([""] * rows)
    trial = frame["trial"] if "trial" in frame else pd.Series(np.zeros(rows, dtype=np.int64))
    key = pd.DataFrame(
        {
            "subject": frame["subject"].to_numpy(),
            "session": frame["session"].to_numpy(),
            "rater": rater.to_numpy(),
            "trial": trial.to_numpy(),
        }
    )
    if key.duplicated().any():
        raise ValueError("two readings have the same subject, session, rater and trial.")
    subject, subjects = pd.factorize(key["subject"].astype(str))
    session, held = _in_order(key["session"].astype(str), sessions)
    rated, raters = pd.factorize(key["rater"])
    number, _ = pd.factorize(key["trial"], sort=True)
    counted = frame["trials_in_value"].to_numpy(np.int64) if "trials_in_value" in frame else None
    return Readings(
        subject=np.asarray(subject, dtype=np.int64),
        session=session,
        rater=np.asarray(rated, dtype=np.int64),
        trial=np.asarray(number, dtype=np.int64),
        value=frame["value"].to_numpy(dtype=float),
        subjects=tuple(str(name) for name in subjects),
        sessions=held,
        raters=tuple(str(name) for name in raters) or ("",),
        trials_in_value=counted,
    )


def _in_order(names: pd.Series, order: tuple[str, ...] | None) -> tuple[Whole, tuple[str, ...]]:
    codes, found = pd.factorize(names)
    held = [str(name) for name in found]
    if order is not None:
        place = {name: number for number, name in enumerate(order)}
        held.sort(key=lambda name: place[name])
    position = {name: number for number, name in enumerate(held)}
    moved = np.array([position[str(name)] for name in found], dtype=np.int64)
    return (moved[codes] if held else np.zeros(0, dtype=np.int64)), tuple(held)


def cell_table(readings: Readings) -> CellTable:
    """Mean of the trials of each subject on each occasion.

    An occasion is a session, a rater where several read one session, or both together.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    CellTable

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> table = pd.DataFrame({"subject": ["a", "a", "b"], "session": ["1", "2", "1"],
    ...     "value": [3.0, 5.0, 4.0]})
    >>> cell_table(readings_of(table)).mean
    array([[ 3.,  5.],
           [ 4., nan]])
    """
    pair = readings.session * len(readings.raters) + readings.rater
    used, column = np.unique(pair, return_inverse=True)
    column = column.astype(np.int64)
    names = tuple(_occasion_name(readings, int(one)) for one in used)
    shape = (len(readings.subjects), len(names))
    cell = readings.subject * shape[1] + column
    size = shape[0] * shape[1]
    rows = np.bincount(cell, minlength=size)
    # Around the grand mean, so that large readings with small differences keep their digits.
    centre = float(readings.value.mean()) if readings.size else 0.0
    total = np.bincount(cell, weights=readings.value - centre, minlength=size)
    mean = np.full(size, np.nan)
    np.divide(total, rows, out=mean, where=rows > 0)
    counted = readings.trials_in_value
    trials = rows if counted is None else np.bincount(cell, weights=counted, minlength=size)
    return CellTable(
        mean=mean.reshape(shape) + centre,
        trials=trials.astype(np.int64).reshape(shape),
        occasions=names,
        row=readings.subject,
        column=column,
    )


def _occasion_name(readings: Readings, pair: int) -> str:
    session, rater = divmod(pair, len(readings.raters))
    if len(readings.raters) == 1:
        return readings.sessions[session]
    if len(readings.sessions) == 1:
        return readings.raters[rater]
    return f"{readings.sessions[session]}, {readings.raters[rater]}"


def names_of_cells(readings: Readings, table: CellTable) -> tuple[Whole, Whole, Whole]:
    """Subject, session and rater of each cell that holds a value, row by row.

    Parameters
    ----------
    readings : Readings
    table : CellTable
        Made of the same readings.

    Returns
    -------
    subject, session, rater : ndarray of int, shape (cells,)
        Positions in the names, in the order of `table.mean[table.held]`.

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> table = pd.DataFrame({"subject": ["a", "a", "b"], "session": ["1", "2", "1"],
    ...     "value": [3.0, 5.0, 4.0]})
    >>> readings = readings_of(table)
    >>> names_of_cells(readings, cell_table(readings))[1]
    array([0, 1, 0])
    """
    subject, column = np.nonzero(table.held)
    session, rater = np.zeros((2, len(table.occasions)), dtype=np.int64)
    session[table.column], rater[table.column] = readings.session, readings.rater
    return subject.astype(np.int64), session[column], rater[column]


def groups_connected(held: Flags) -> int:
    """Groups of subjects that share no occasion with one another.

    Parameters
    ----------
    held : ndarray of bool, shape (subjects, occasions)
        Which cells have a value.

    Returns
    -------
    int
        1 where every subject can be compared with every other through the occasions.

    References
    ----------
    None: connected parts of a graph.

    Examples
    --------
    >>> groups_connected(np.array([[True, True, False], [False, True, True]]))
    1
    >>> groups_connected(np.eye(2, dtype=bool))
    2
    """
    left = set(range(held.shape[0]))
    groups = 0
    while left:
        groups += 1
        reached = {left.pop()}
        while reached:
            columns = held[sorted(reached)].any(axis=0)
            reached = {row for row in left if held[row, columns].any()}
            left -= reached
    return groups
