"""Problems of a whole run, collected rather than raised at the first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import Problem

MOST_KEPT = 10_000
Told = tuple[str, str, str]  # value as given, code, message


@dataclass(slots=True, kw_only=True)
class Collector:
    """Problems (or warnings) of the files of a run.

    `headers` holds, for a file whose columns go by other names, the name of each known column in
    it. `count_rows` says whether `rows_of` will be asked. At most `MOST_KEPT` problems are kept in
    words, the first in file order; the rest are counted.
    """

    files: list[str] = field(default_factory=list)
    headers: dict[int, dict[str, str]] = field(default_factory=dict)
    count: int = 0
    count_rows: bool = True
    _kept: list[tuple[tuple[int, int, int], Problem]] = field(default_factory=list)
    _places: dict[int, set[tuple[int, str]]] = field(default_factory=dict)

    def add(self, file: int, problem: Problem) -> None:
        """Add one; its file is named here."""
        self.count += 1
        placed = Problem(
            code=problem.code,
            message=problem.message,
            file=self.files[file],
            row=problem.row,
            column=self._header(file, problem.column),
            value=problem.value,
        )
        row = problem.row or 0
        self._kept.append(((file, row, len(self._kept)), placed))
        if self.count_rows:
            self._places.setdefault(file, set()).add((row, problem.column))
        self._trim()

    def add_rows(
        self,
        file: int,
        lines: NDArray[np.int64],
        columns: str | Sequence[str],
        tell: Callable[[int], Told],
    ) -> None:
        """Add one for each of many rows.

        Parameters
        ----------
        file : int
        lines : array of int, shape (n,)
            Line of each row.
        columns : str or sequence of str
            Column, or one for each row.
        tell : callable
            Given i in 0..n-1: value, code and message. Asked only for those that are kept.
        """
        total = len(lines)
        self.count += total
        names = [columns] * total if isinstance(columns, str) else columns
        listed = lines.tolist()
        if self.count_rows:
            self._places.setdefault(file, set()).update(zip(listed, names, strict=True))
        for i in range(min(total, MOST_KEPT)):
            value, code, message = tell(i)
            problem = Problem(
                code=code,
                message=message,
                file=self.files[file],
                row=listed[i],
                column=self._header(file, names[i]),
                value=value,
            )
            self._kept.append(((file, listed[i], len(self._kept)), problem))
        self._trim()

    def _header(self, file: int, column: str) -> str:
        return self.headers.get(file, {}).get(column, column)

    def _trim(self) -> None:
        if len(self._kept) > 4 * MOST_KEPT:
            self._kept = sorted(self._kept, key=_by_place)[:MOST_KEPT]

    @property
    def problems(self) -> tuple[Problem, ...]:
        """The kept ones, in file order."""
        return tuple(problem for _, problem in sorted(self._kept, key=_by_place)[:MOST_KEPT])

    def lines_of(self, file: int) -> frozenset[int]:
        """Lines of a file that have a problem."""
        return frozenset(row for row, _ in self._places.get(file, set()))

    def rows_of(self, file: int, *, by_cell: bool = False) -> int:
        """How many rows (or cells) of a file have a problem."""
        places = self._places.get(file, set())
        return len(places) if by_cell else len({row for row, _ in places})


def _by_place(entry: tuple[tuple[int, int, int], Problem]) -> tuple[int, int, int]:
    return entry[0]
