"""Which table a file holds, told by its header; and what is wrong with the header."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from casebook.domain.errors import Problem
from casebook.intake.columns import TABLES, Table, TableKind
from casebook.intake.nearest import hint, nearest

WORDS_FOR_NOTES = frozenset({"note", "notes"})
_SIDE_WORDS = {"left": "left", "right": "right", "none": "none", "l": "left", "r": "right"}
_MISSPELT_SIDES = {
    "links": "left",
    "lft": "left",
    "lt": "left",
    "gauche": "left",
    "rechts": "right",
    "rght": "right",
    "rgt": "right",
    "rt": "right",
    "droite": "right",
}
_UNIT = re.compile(r"(?P<name>.*?)\s*\[(?P<unit>[^\[\]]*)\]\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class MetricColumn:
    """A column of a wide table that holds something of one metric on one side.

    Parameters
    ----------
    index : int
        Position in the header.
    name : str
        As in the header.
    role : str
        'cell' (one number or several trials), 'trial', 'n' or 'missing'.
    trial : int
        Trial number; 0 unless the role is 'trial'.
    unit : str
        From the brackets; '' for the metric's own.
    """

    index: int
    name: str
    metric: str
    side: str
    role: str
    trial: int = 0
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where the columns of a table stand in a file.

    Parameters
    ----------
    positions : dict of str to int
        Known column and its position in the header.
    metric_columns : tuple of MetricColumn
        Of a wide table.
    problems : tuple of Problem
        What is wrong with the header.
    """

    table: Table
    positions: dict[str, int]
    metric_columns: tuple[MetricColumn, ...] = ()
    problems: tuple[Problem, ...] = ()


def folded(name: str) -> str:
    """A column name without regard to case, blanks and hyphens."""
    return re.sub(r"[\s-]+", "_", name.strip().casefold())


def recognise(header: tuple[str, ...], sided: dict[str, bool]) -> Layout | Problem:
    """Find which table a header belongs to.

    Parameters
    ----------
    header : tuple of str
        Column names as given.
    sided : dict of str to bool
        Metric keys of the catalogue, and whether each has sides.

    Returns
    -------
    Layout or Problem
        A problem when the header fits no table at all.
    """
    names = [folded(name) for name in header]
    kind = _kind(set(names))
    if kind is None:
        tables = "; ".join(
            f"{table.kind.value} ({', '.join(table.required)})" for table in TABLES.values()
        )
        return Problem(
            code="unknown_table",
            message=f"the header fits no table. The tables and the columns each needs: {tables}.",
            row=1,
            value=", ".join(header)[:80],
        )
    return _lay_out(TABLES[kind], header, names, sided)


def _kind(names: set[str]) -> TableKind | None:
    if {"metric", "value"} <= names:
        return TableKind.VISITS

    def fit(table: Table) -> tuple[bool, int, int]:
        required = set(table.required)
        return (
            required <= names,
            len(required & names) - len(required - names),
            len(set(table.names) & names),
        )

    best = max(TABLES.values(), key=fit)
    complete, _, matched = fit(best)
    if complete and matched == 1 and len(names) > 2 and best.kind is TableKind.RUNNERS:
        # Only 'runner' is known: more likely a table of visits without its date.
        return TableKind.VISITS_WIDE
    if complete or matched >= 2:
        return best.kind
    return None


def _lay_out(
    table: Table, header: tuple[str, ...], names: list[str], sided: dict[str, bool]
) -> Layout:
    positions: dict[str, int] = {}
    metric_columns: list[MetricColumn] = []
    problems: list[Problem] = []
    for index, (given, name) in enumerate(zip(header, names, strict=True)):
        if table.column(name) is not None:
            positions[name] = index
        elif not name or name.startswith("_") or name in WORDS_FOR_NOTES:
            continue
        elif table.kind is TableKind.VISITS_WIDE:
            found = read_metric_column(given, index, sided, table.names)
            if isinstance(found, Problem):
                problems.append(found)
            else:
                metric_columns.append(found)
        else:
            problems.append(_unknown(given, table))
    problems.extend(_missing(table, positions, header))
    problems.extend(_repeated(metric_columns))
    return Layout(
        table=table,
        positions=positions,
        metric_columns=tuple(metric_columns),
        problems=tuple(problems),
    )


def _unknown(given: str, table: Table) -> Problem:
    return Problem(
        code="unknown_column",
        message=f"the table '{table.kind.value}' has no column '{given}'."
        f"{hint(folded(given), table.names)} Known: {', '.join(table.names)}. "
        "A column that is yours alone is passed over when its name starts with '_'.",
        row=1,
        column=given,
        value=given,
    )


def _missing(table: Table, positions: dict[str, int], header: tuple[str, ...]) -> list[Problem]:
    return [
        Problem(
            code="missing_column",
            message=f"the table '{table.kind.value}' needs the column '{name}'; the header has "
            f"{', '.join(header)[:200]}.",
            row=1,
            column=name,
        )
        for name in table.required
        if name not in positions
    ]


def _repeated(columns: list[MetricColumn]) -> list[Problem]:
    seen: dict[tuple[str, str, str, int], MetricColumn] = {}
    problems = []
    for column in columns:
        key = (column.metric, column.side, column.role, column.trial)
        if key in seen:
            problems.append(
                Problem(
                    code="column_twice",
                    message=f"'{column.name}' and '{seen[key].name}' hold the same thing; keep "
                    "one of them.",
                    row=1,
                    column=column.name,
                    value=column.name,
                )
            )
        seen.setdefault(key, column)
    return problems


def read_metric_column(
    given: str, index: int, sided: dict[str, bool], others: Collection[str] = ()
) -> MetricColumn | Problem:
    """Read a wide table's column name such as `lunge_distance_left_2 [in]`.

    Examples
    --------
    >>> column = read_metric_column("lunge_distance_left [in]", 3, {"lunge_distance": True})
    >>> column.metric, column.side, column.role, column.unit
    ('lunge_distance', 'left', 'cell', 'in')
    >>> read_metric_column("left_lunge_distance", 3, {"lunge_distance": True}).code
    'unknown_column'
    """
    bracketed = _UNIT.match(given.strip())
    unit = bracketed["unit"].strip() if bracketed else ""
    name = folded(bracketed["name"] if bracketed else given)
    stem, role, trial = _role(name, sided)
    metric, side = _metric_and_side(stem, sided)
    if metric and side != "?":
        return MetricColumn(
            index=index, name=given, metric=metric, side=side, role=role, trial=trial, unit=unit
        )
    if metric:
        return Problem(
            code="side_missing" if sided[metric] else "side_not_expected",
            message=f"'{given}': {metric} is read on each side; name the column "
            f"{metric}_left or {metric}_right."
            if sided[metric]
            else f"'{given}': {metric} has no sides; name the column {metric}.",
            row=1,
            column=given,
            value=given,
        )
    right = _right_name(name, sided)
    advice = f" Name it {right}." if right else hint(name, [*_all_names(sided), *others])
    return Problem(
        code="unknown_column",
        message=f"'{given}' is neither a column of a visit nor a metric of the catalogue with "
        f"its side (left, right).{advice} A column that is yours alone is passed over when its "
        "name starts with '_'.",
        row=1,
        column=given,
        value=given,
    )


def _role(name: str, sided: dict[str, bool]) -> tuple[str, str, int]:
    if name in sided:
        return name, "cell", 0
    stem, _, last = name.rpartition("_")
    if last == "reason" and stem.endswith("_missing"):
        stem, last = stem.removesuffix("_missing"), "missing"
    if last in {"n", "missing"}:
        return stem, last, 0
    if last.isascii() and last.isdigit() and len(last) <= 3:
        return stem, "trial", int(last)
    return name, "cell", 0


def _metric_and_side(stem: str, sided: dict[str, bool]) -> tuple[str, str]:
    """Metric ('' when unknown) and side ('?' when it does not fit the metric)."""
    if stem in sided:
        return stem, "?" if sided[stem] else "none"
    front, _, last = stem.rpartition("_")
    side = _SIDE_WORDS.get(last)
    if front in sided and side:
        return front, side if sided[front] == (side != "none") else "?"
    return "", "?"


def _right_name(name: str, sided: dict[str, bool]) -> str:
    words = name.split("_")
    for position in (0, -1):
        side = {**_SIDE_WORDS, **_MISSPELT_SIDES}.get(words[position])
        rest = "_".join(words[1:] if position == 0 else words[:-1])
        if side and rest:
            metric = rest if rest in sided else next(iter(nearest(rest, sided, most=1)), "")
            if metric:
                return f"{metric}_{side}" if sided[metric] else metric
    return ""


def _all_names(sided: dict[str, bool]) -> list[str]:
    return [
        name
        for metric, has_sides in sided.items()
        for name in ([f"{metric}_left", f"{metric}_right"] if has_sides else [metric])
    ]
