"""A sheet and its mapping turned into a table that the importer reads.

Three shapes leave here. A row for each week or run becomes the table of these; a row for each
value, with its number in one column, the tidy one; everything else the wide one (`mapping_wide`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import Metric
from casebook.intake.columns import TABLES, Table, TableKind
from casebook.intake.grids import Grid, formula_problems, formulas_told
from casebook.intake.mapping import (
    NOTHING,
    TABLE_OF,
    ColumnUse,
    RowIs,
    SheetMapping,
    check_mapping,
    folded_header,
)
from casebook.intake.mapping_cells import cleaned
from casebook.intake.mapping_rows import Body, fill_down, find_body, without_summaries
from casebook.intake.mapping_wide import Mapped, wide_table
from casebook.intake.mapping_words import Parts, metric_words
from casebook.intake.reading import CodedColumn, Sheet
from casebook.intake.recognising import Layout

__all__ = ["Mapped", "apply_mapping"]


def apply_mapping(grid: Grid, mapping: SheetMapping, metrics: Mapping[str, Metric]) -> Mapped:
    """Turn a sheet into a table that the importer reads.

    Parameters
    ----------
    grid : Grid
        The sheet as it stands.
    mapping : SheetMapping
    metrics : mapping of str to Metric
        The catalogue by key.

    Returns
    -------
    Mapped
        What is wrong with single rows stands in the sheet's problems.

    Raises
    ------
    InputRefused
        When the mapping leaves something open, contradicts itself, or does not fit the sheet.
    """
    wrong = check_mapping(mapping, metrics)
    if wrong:
        raise InputRefused(wrong)
    body = find_body(grid, mapping)
    body = replace(body, problems=[*body.problems, *grid.problems])
    uses = _uses(body, mapping)
    used = [position for position, use in enumerate(uses) if use.holds != NOTHING]
    body.problems.extend(formula_problems(grid, used, below=body.line))
    told = formulas_told(grid, used, below=body.line)
    if told is not None:
        body.warnings.append(told)
    body = without_summaries(body, uses, mapping)
    body = fill_down(body, uses, mapping.fill_down)
    parts = cleaned(body, uses, mapping)
    if body.told:
        # Rows whose date was refused have been told, and are not told again by the reader.
        keep = ~np.isin(np.arange(len(body.lines)), sorted(body.told))
        parts = [part.only(keep) for part in parts]
        body = replace(body, lines=body.lines[keep])
    if mapping.row_is in TABLE_OF:
        return _records(body, parts, TABLE_OF[mapping.row_is])
    values = [use for use in uses if use.holds == "value"]
    if mapping.row_is is RowIs.VALUE and len(values) == 1 and not values[0].trial:
        return _tidy(body, parts, mapping, metrics)
    return wide_table(body, parts, mapping, metrics)


def _uses(body: Body, mapping: SheetMapping) -> list[ColumnUse]:
    """What each column of the sheet holds; a column that nobody spoke of is refused."""
    said = {folded_header(one.header): one for one in mapping.columns}
    uses, unknown = [], []
    for header, column in zip(body.headers, body.columns, strict=True):
        use = said.get(folded_header(header))
        if use is None:
            there = np.unique(column.codes)
            if any(column.texts[code].strip() for code in there.tolist()):
                unknown.append(header)
            use = ColumnUse(header=header, holds=NOTHING)
        uses.append(use)
    if unknown:
        raise InputRefused(
            tuple(
                Problem(
                    code="column_not_mapped",
                    message=f"the mapping says nothing of the column '{header}'; say what it "
                    f"holds, or '{NOTHING}'.",
                    row=body.line,
                    column=header,
                )
                for header in unknown
            )
        )
    return uses


def _sheet(body: Body, parts: list[Parts]) -> Sheet:
    return Sheet(
        file="",
        delimiter=",",
        header=tuple(part.use.header for part in parts),
        header_line=body.line,
        lines=body.lines,
        columns=[part.column for part in parts],
        problems=body.problems,
    )


def _records(body: Body, parts: list[Parts], table: Table) -> Mapped:
    return Mapped(
        sheet=_sheet(body, parts),
        layout=Layout(
            table=table,
            positions={part.use.holds: position for position, part in enumerate(parts)},
        ),
        names={part.use.holds: part.use.header for part in parts},
        warnings=body.warnings,
    )


def _tidy(
    body: Body, parts: list[Parts], mapping: SheetMapping, metrics: Mapping[str, Metric]
) -> Mapped:
    parts, keep = metric_words(body, parts, mapping, metrics)
    lines = body.lines[keep]
    parts = [part.only(keep) for part in parts]
    held = {part.use.holds for part in parts}
    if "trial" not in held:
        blank = CodedColumn(np.zeros(len(lines), dtype=np.int32), [""])
        parts.append(Parts(use=ColumnUse(header="trial", holds="trial"), column=blank))
    positions = {part.use.holds: position for position, part in enumerate(parts)}
    return Mapped(
        sheet=replace(_sheet(body, parts), lines=lines),
        layout=Layout(table=TABLES[TableKind.VISITS], positions=positions),
        names={part.use.holds: part.use.header for part in parts},
        warnings=body.warnings,
    )
