"""The tables that a file holds: one, or one a sheet; by their own headers or by a mapping."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import Metric
from casebook.intake.columns import TABLES
from casebook.intake.grids import Grid, formulas_told, read_text_grid, sheet_of
from casebook.intake.mapping import FileMapping, RowIs, SheetMapping
from casebook.intake.mapping_apply import apply_mapping
from casebook.intake.mapping_rows import find_body
from casebook.intake.reading import Sheet, read_sheet
from casebook.intake.recognising import Layout, recognise
from casebook.intake.workbook import is_workbook, read_workbook

KNOWN_NAMES = frozenset(name for table in TABLES.values() for name in table.names)
BY_MAPPING = (
    " Where the columns have names of their own, say what they hold in a mapping: on the page "
    "Import, or by the command propose-mapping."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One table of a file.

    Parameters
    ----------
    name : str
        File, and sheet where the file has several, for messages.
    sheet : Sheet or None
        None where it could not be read; `problems` says why.
    layout : Layout or None
    names : dict of str to str
        For a known column the header under which it stands in the file.
    not_summaries : tuple of str
        Runner codes that look like the label of a summary row, and are none.
    problems, warnings : list of Problem
        Of the table as a whole, beside those of `sheet` and `layout`.
    """

    name: str
    sheet: Sheet | None = None
    layout: Layout | None = None
    names: dict[str, str] = field(default_factory=dict)
    not_summaries: tuple[str, ...] = ()
    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)


def read_grids(path: Path, last_row: int | None = None) -> tuple[Grid, ...]:
    """The sheets of a file as they stand, down to a row where one is given.

    Raises
    ------
    InputRefused
        When the file as a whole cannot be read.
    """
    if is_workbook(path):
        return read_workbook(path) if last_row is None else read_workbook(path, last_row)
    return (read_text_grid(path, last_row),)


def read_sources(
    path: Path,
    name: str,
    metrics: Iterable[Metric],
    mapping: FileMapping | None = None,
    *,
    last_row: int | None = None,
) -> list[Source]:
    """The tables of a file, each as the importer reads it, or with what is wrong.

    Parameters
    ----------
    path : Path
    name : str
        For messages.
    metrics : iterable of Metric
        The catalogue.
    mapping : FileMapping, optional
        What the columns hold; without it each table is told by its header.
    last_row : int, optional
        Row down to which the sheets of a workbook are read; all of it when left out.
    """
    by_key = {metric.key: metric for metric in metrics}
    try:
        if mapping is None and not is_workbook(path):
            return [_as_it_is(name, read_sheet(path, KNOWN_NAMES), by_key)]
        grids = read_grids(path, last_row)
    except InputRefused as refusal:
        return [Source(name=name, problems=list(refusal.problems))]
    sources = []
    left_out: list[str] = []
    for grid in grids:
        of_sheet = f"{name}, sheet {grid.sheet}" if len(grids) > 1 else name
        chosen = None if mapping is None else mapping_of(grid, mapping)
        if chosen is not None and chosen.row_is is RowIs.NOTHING:
            left_out.append(grid.sheet)
            continue
        if chosen is not None:
            sources.append(source_of_grid(of_sheet, grid, chosen, by_key.values()))
            continue
        try:
            sources.append(_grid_as_it_is(of_sheet, grid, by_key, mapping))
        except InputRefused as refusal:
            sources.append(Source(name=of_sheet, problems=list(refusal.problems)))
    if not sources:
        return [Source(name=name, problems=[_all_left_out()])]
    if left_out:
        sources[0] = replace(sources[0], warnings=[*sources[0].warnings, _left_out(left_out)])
    return sources


def mapping_of(grid: Grid, mapping: FileMapping) -> SheetMapping | None:
    """The mapping of a sheet: by the sheet's name, else the first whose columns are there."""
    for one in mapping.sheets:
        if one.sheet and one.sheet == grid.sheet:
            return one
    for one in mapping.sheets:
        if not one.sheet or not grid.sheet:
            try:
                find_body(grid, one)
            except InputRefused:
                continue
            return one
    alone = len(mapping.sheets) == 1 and not mapping.sheets[0].sheet
    return mapping.sheets[0] if alone else None


def _left_out(sheets: list[str]) -> Problem:
    named = ", ".join(f"'{sheet}'" for sheet in sheets)
    return Problem(
        code="sheet_left_out",
        message=f"{named} {'was' if len(sheets) == 1 else 'were'} left out, as the mapping says.",
        value=sheets[0],
    )


def _all_left_out() -> Problem:
    return Problem(code="no_sheet_left", message="the mapping leaves out every sheet of this file.")


def source_of_grid(
    name: str, grid: Grid, mapping: SheetMapping, metrics: Iterable[Metric]
) -> Source:
    """A sheet as the importer reads it by its mapping, or with what is wrong."""
    try:
        mapped = apply_mapping(grid, mapping, {metric.key: metric for metric in metrics})
    except InputRefused as refusal:
        return Source(name=name, problems=list(refusal.problems))
    return Source(
        name=name,
        sheet=replace(mapped.sheet, file=name),
        layout=mapped.layout,
        names=mapped.names,
        not_summaries=mapping.not_summaries,
        warnings=mapped.warnings,
    )


def _grid_as_it_is(
    name: str, grid: Grid, metrics: Mapping[str, Metric], mapping: FileMapping | None
) -> Source:
    sheet = sheet_of(grid)
    source = _as_it_is(name, sheet, metrics)
    told = formulas_told(grid, range(len(sheet.header)), below=sheet.header_line)
    if mapping is not None and source.layout is None:
        said = ", ".join(f"'{one.sheet}'" for one in mapping.sheets if one.sheet) or "none by name"
        problem = Problem(
            code="sheet_not_mapped",
            message=f"the mapping says nothing of this sheet (its sheets: {said}); add it, or "
            "leave it out with row_is = 'nothing'.",
            value=grid.sheet,
        )
        return replace(source, problems=[problem])
    return replace(source, warnings=[told] if told else [])


def _as_it_is(name: str, sheet: Sheet, metrics: Mapping[str, Metric]) -> Source:
    found = recognise(sheet.header, {key: metric.sided for key, metric in metrics.items()})
    if isinstance(found, Problem):
        return Source(
            name=name, sheet=sheet, problems=[replace(found, message=found.message + BY_MAPPING)]
        )
    return Source(name=name, sheet=sheet, layout=found)
