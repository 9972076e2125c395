"""A mapped sheet as the wide table: its columns parted by metric, side, trial and unit.

Where one of these stands in a column of its row, a column of numbers becomes one for each, blank
in the rows of the others, so that every number is still told by the cell in which it stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import Problem, refuse
from casebook.domain.metrics import Metric
from casebook.domain.visits import MOST_TRIALS
from casebook.intake.cells import is_given
from casebook.intake.columns import TABLES, TableKind
from casebook.intake.mapping import COUNT, READING, VISIT_NAMES, ColumnUse, RowIs, SheetMapping
from casebook.intake.mapping_rows import Body
from casebook.intake.mapping_words import Parts, metric_words
from casebook.intake.reading import CodedColumn, Sheet
from casebook.intake.recognising import Layout, MetricColumn

MOST_PARTED_CELLS = 20_000_000
_ROLES = {READING: "cell", COUNT: "n"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapped:
    """A sheet as the importer reads it.

    Parameters
    ----------
    sheet : Sheet
    layout : Layout
    names : dict of str to str
        For a column of the table the header under which it stands in the file.
    warnings : list of Problem
    """

    sheet: Sheet
    layout: Layout
    names: dict[str, str] = field(default_factory=dict)
    warnings: list[Problem] = field(default_factory=list)


def wide_table(
    body: Body, parts: list[Parts], mapping: SheetMapping, metrics: Mapping[str, Metric]
) -> Mapped:
    """The wide table that a sheet is; rows that are wrong are told in its sheet's problems."""
    keep = np.ones(len(body.lines), dtype=bool)
    if mapping.row_is is RowIs.VALUE:
        parts, keep = metric_words(body, parts, mapping, metrics)
    lines = body.lines[keep]
    parts = [part.only(keep) for part in parts]
    kept = replace(body, lines=lines)
    by = {part.use.holds: part for part in parts}
    visit = [part for part in parts if part.use.holds in VISIT_NAMES]
    columns = [part.column for part in visit]
    positions = {part.use.holds: position for position, part in enumerate(visit)}
    metric_columns: list[MetricColumn] = []
    cells = 0
    for part in parts:
        if not (part.use.is_of_metric or part.use.holds in {"value", "n_trials", "missing_reason"}):
            continue
        for metric_column, column in _parted(kept, part, by, metrics):
            cells += len(lines)
            if cells > MOST_PARTED_CELLS:
                raise refuse(
                    "too_many_cells",
                    "the sheet is too large for this layout; split it by runner.",
                )
            metric_columns.append(replace(metric_column, index=len(columns)))
            columns.append(column)
    _told_lone_sides(kept, by, parts, metrics)
    return Mapped(
        sheet=Sheet(
            file="",
            delimiter=",",
            header=(
                *(part.use.header for part in visit),
                *(one.name for one in metric_columns),
            ),
            header_line=body.line,
            lines=lines,
            columns=columns,
            problems=kept.problems,
        ),
        layout=Layout(
            table=TABLES[TableKind.VISITS_WIDE],
            positions=positions,
            metric_columns=tuple(metric_columns),
        ),
        names={part.use.holds: part.use.header for part in visit},
        warnings=body.warnings,
    )


_TIDY_ROLES = {"value": "cell", "n_trials": "n", "missing_reason": "missing"}


def _parted(
    body: Body, part: Parts, by: Mapping[str, Parts], metrics: Mapping[str, Metric]
) -> list[tuple[MetricColumn, CodedColumn]]:
    """A column of numbers as one for each metric, side and trial that its rows are about."""
    use = part.use
    role = _TIDY_ROLES.get(use.holds) or _ROLES.get(use.holds, "missing")
    found: list[tuple[MetricColumn, CodedColumn]] = []
    given = _given(part.column)
    whole = np.ones(len(body.lines), dtype=bool)
    of_metric = {use.metric: whole} if use.is_of_metric else _by_word(by["metric"].column)
    for metric_key, rows in of_metric.items():
        metric = metrics.get(metric_key)
        if metric is None:
            continue
        for side, on_side in _sides(body, part, metric, by).items():
            for trial, of_trial in _trials(body, use, by, role).items():
                here = rows & on_side & of_trial & given
                if not here.any() and not rows.all():
                    continue
                units = _by_word(by["unit"].column) if "unit" in by else {use.unit: whole}
                for unit, in_unit in units.items():
                    chosen = here & in_unit
                    if len(units) > 1 and not chosen.any():
                        continue
                    found.append(
                        (
                            MetricColumn(
                                index=0,
                                name=use.header,
                                metric=metric_key,
                                side=side,
                                role="trial" if trial and role == "cell" else role,
                                trial=trial if role == "cell" else 0,
                                unit=unit,
                            ),
                            _only(part.column, chosen),
                        )
                    )
    return found


def _given(column: CodedColumn) -> NDArray[np.bool_]:
    by_text = np.array([is_given(text) for text in column.texts], dtype=bool)
    found: NDArray[np.bool_] = by_text[column.codes]
    return found


def _only(column: CodedColumn, rows: NDArray[np.bool_]) -> CodedColumn:
    if rows.all():
        return column
    texts = [*column.texts, ""]
    return CodedColumn(np.where(rows, column.codes, len(texts) - 1).astype(np.int32), texts)


def _by_word(column: CodedColumn) -> dict[str, NDArray[np.bool_]]:
    found: dict[str, NDArray[np.bool_]] = {}
    for code in np.unique(column.codes).tolist():
        word = column.texts[code].strip()
        rows = column.codes == code
        found[word] = found[word] | rows if word in found else rows
    return found


def _sides(
    body: Body, part: Parts, metric: Metric, by: Mapping[str, Parts]
) -> dict[str, NDArray[np.bool_]]:
    use = part.use
    whole = np.ones(len(body.lines), dtype=bool)
    if not metric.sided:
        once = part.use.is_of_metric and "side" in by
        return {"none": _once_a_visit(part, by) if once else whole}
    if use.side:
        return {use.side: whole}
    rows = _by_word(by["side"].column)
    return {side: rows[side] for side in ("left", "right") if side in rows}


def _once_a_visit(part: Parts, by: Mapping[str, Parts]) -> NDArray[np.bool_]:
    """Where rows stand for sides, a number without a side is written on both: taken once.

    Another number on the other row is kept, and is refused as a contradiction.
    """
    of_visit = ("runner", "visit_date", "session", *(() if part.use.trial else ("trial",)))
    names = [name for name in of_visit if name in by]
    keys = np.stack([*(by[name].column.codes for name in names), part.column.codes], axis=1)
    once = np.zeros(len(keys), dtype=bool)
    once[np.unique(keys, axis=0, return_index=True)[1]] = True
    return once


def _trials(
    body: Body, use: ColumnUse, by: Mapping[str, Parts], role: str
) -> dict[int, NDArray[np.bool_]]:
    whole = np.ones(len(body.lines), dtype=bool)
    if use.trial or "trial" not in by or role != "cell":
        return {use.trial: whole}
    found: dict[int, NDArray[np.bool_]] = {}
    for word, rows in _by_word(by["trial"].column).items():
        number = int(word) if word.isascii() and word.isdigit() else 0
        if word and not 1 <= number <= MOST_TRIALS:
            continue
        found[number] = found[number] | rows if number in found else rows
    return found


def _told_lone_sides(
    body: Body, by: Mapping[str, Parts], parts: list[Parts], metrics: Mapping[str, Metric]
) -> None:
    """Tell rows whose number has no side or no trial that can be read."""
    sided = [
        part
        for part in parts
        if part.use.is_of_metric and not part.use.side and metrics[part.use.metric].sided
    ]
    if "side" in by and sided:
        column = by["side"].column
        bad = [code for code, text in enumerate(column.texts) if text not in {"left", "right"}]
        used = np.zeros(len(body.lines), dtype=bool)
        for part in sided:
            used |= _given(part.column)
        _tell(body, by["side"], np.isin(column.codes, bad) & used, "side_unknown",
              "expected left or right.")  # fmt: skip
    if "trial" in by:
        column = by["trial"].column
        bad = [
            code
            for code, text in enumerate(column.texts)
            if text.strip()
            and not (text.isascii() and text.isdigit() and 1 <= int(text) <= MOST_TRIALS)
        ]
        _tell(body, by["trial"], np.isin(column.codes, bad), "trial_not_taken",
              f"expected a number from 1 to {MOST_TRIALS}.")  # fmt: skip


def _tell(body: Body, part: Parts, rows: NDArray[np.bool_], code: str, words: str) -> None:
    for row in np.flatnonzero(rows).tolist():
        text = part.column.text(row)
        body.problems.append(
            Problem(
                code=code,
                message=f"{part.use.holds} is '{text[:40]}'; {words}",
                row=int(body.lines[row]),
                column=part.use.header,
                value=text[:60],
            )
        )
