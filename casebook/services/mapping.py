"""Mappings of spreadsheets: proposed, shown as they would be stored, remembered, taken up again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import Metric
from casebook.domain.people import clean_by
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason
from casebook.intake.assembling import Assembled, assemble
from casebook.intake.cells import Cell
from casebook.intake.columns import TableKind
from casebook.intake.context import Context, Given, given_style
from casebook.intake.grids import Grid
from casebook.intake.mapping import (
    TABLE_OF,
    Dates,
    FileMapping,
    RowIs,
    SheetMapping,
    folded_header,
    shape_of,
    undecided,
)
from casebook.intake.mapping_file import mapping_of_text, mapping_text, read_mapping_file
from casebook.intake.proposing import SheetProposal, propose
from casebook.intake.reading import CodedColumn
from casebook.intake.recognising import Layout
from casebook.intake.records import read_records
from casebook.intake.sources import Source, mapping_of, read_grids, read_sources, source_of_grid
from casebook.intake.tidy import read_tidy
from casebook.intake.visit_rows import Gathered
from casebook.intake.wide import read_wide
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.opened import Casebook
from casebook.storage import import_mappings
from casebook.storage.session import reading, writing

__all__ = [
    "FileProposal", "Preview", "Stored", "is_understood", "mapping_text", "preview_mapping",
    "propose_mapping", "read_mapping_file", "remember_mapping",
]  # fmt: skip

ROWS_PREVIEWED = 12
SIDES = tuple(Side)
REASONS = tuple(MissingReason)
MOST_LINES = 60
# Rows of a sheet that are looked at where its first ones are enough.
MOST_ABOVE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class FileProposal:
    """What is proposed for the sheets of a file.

    Parameters
    ----------
    mapping : FileMapping
        As it stands: proposed, or remembered.
    sheets : tuple of SheetProposal
        What each sheet's mapping rests on, in the same order.
    remembered : tuple of bool
        For each sheet, whether its mapping is one that was settled before.
    """

    mapping: FileMapping
    sheets: tuple[SheetProposal, ...]
    remembered: tuple[bool, ...]

    @property
    def open_questions(self) -> tuple[str, ...]:
        """What has to be said before the file can be imported."""
        return tuple(question for one in self.mapping.sheets for question in undecided(one))


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """A value as it would be stored.

    Parameters
    ----------
    row : int
        Row of the file on which it rests.
    value : str
        Trials, a mean with its number, or why it is missing, in words.
    unit : str
        UCUM code of the metric's own unit.
    """

    row: int
    runner: str
    visited_on: date
    metric: str
    side: str
    value: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """The first rows of a sheet as they would be stored, and what is wrong with these.

    Parameters
    ----------
    stored : tuple of Stored
        Values of visits.
    records : tuple of (int, dict of str to Cell)
        Of a sheet with a row for each week or run: the row of the file, and what it holds by the
        names of the table's columns.
    """

    sheet: str
    stored: tuple[Stored, ...] = ()
    records: tuple[tuple[int, dict[str, Cell]], ...] = ()
    problems: tuple[Problem, ...] = ()


def is_understood(casebook: Casebook, path: Path) -> bool:
    """Whether every table of a file is told by its own header, so that no mapping is needed.

    A file that cannot be read at all counts as understood: the import tells what is wrong.
    """
    metrics = list_metrics(casebook, include_inactive=True)
    sources = read_sources(path, path.name, metrics, last_row=MOST_ABOVE)
    return all(
        (source.layout is not None and _is_told(source.layout))
        or (source.layout is None and source.sheet is None and not _is_named(source))
        for source in sources
    )


def _is_told(layout: Layout) -> bool:
    # Only visits can be mapped: what is wrong with another table's header is told by the check.
    of_visits = layout.table.kind in {TableKind.VISITS, TableKind.VISITS_WIDE}
    return not (of_visits and layout.problems)


def _is_named(source: Source) -> bool:
    # A header with a name twice or a blank one is no known table's; a mapping takes it.
    return any(problem.code == "column_twice" for problem in source.problems)


def propose_mapping(
    casebook: Casebook, path: Path, rows: Mapping[str, RowIs] | None = None
) -> FileProposal:
    """Propose what the columns of a file hold, or take up what was settled for its shape.

    Parameters
    ----------
    path : Path
    rows : mapping of str to RowIs, optional
        For some of the sheets what a row of theirs stands for.

    Raises
    ------
    InputRefused
        When the file as a whole cannot be read.
    """
    metrics = list_metrics(casebook)
    said = rows or {}
    proposals = tuple(propose(grid, metrics, said.get(grid.sheet)) for grid in read_grids(path))
    shapes = [shape_of(one.headers) for one in proposals]
    with reading(casebook.engine) as unit:
        kept = import_mappings.contents_by_shape(unit, casebook.clinic_id, set(shapes))
    sheets = []
    remembered = []
    for one, shape in zip(proposals, shapes, strict=True):
        known = _remembered(kept.get(shape), one, metrics)
        if known is not None and said.get(one.mapping.sheet, known.row_is) is not known.row_is:
            known = None
        sheets.append(known or one.mapping)
        remembered.append(known is not None)
    return FileProposal(
        mapping=FileMapping(sheets=tuple(sheets)),
        sheets=proposals,
        remembered=tuple(remembered),
    )


def _remembered(
    content: str | None, proposal: SheetProposal, metrics: Iterable[Metric]
) -> SheetMapping | None:
    """A settled mapping, put to this sheet; None where there is none that still holds."""
    if content is None:
        return None
    try:
        (known,) = mapping_of_text(content).sheets
    except (InputRefused, ValueError):
        return None
    keys = {metric.key for metric in metrics}
    if any(one.is_of_metric and one.metric not in keys for one in known.columns):
        return None
    fresh = proposal.mapping
    words = {folded_header(word.word): word for word in known.words}
    dates = fresh.dates if fresh.dates is not Dates.UNDECIDED else known.dates
    return replace(
        known,
        sheet=fresh.sheet,
        header_row=fresh.header_row,
        header_rows=fresh.header_rows,
        dates=dates,
        # A word that was not there before is asked about, as at first.
        words=tuple(words.get(folded_header(word.word), word) for word in fresh.words),
    )


def remember_mapping(casebook: Casebook, mapping: FileMapping, *, name: str, by: str = "") -> int:
    """Keep the mappings of a file's sheets for files of the same shape.

    What was given for one file alone (a runner or a day for a whole sheet) is not kept.

    Parameters
    ----------
    name : str
        What to call them, such as the name of the file.
    by : str
        Code of whoever settled them.

    Returns
    -------
    int
        How many were kept; one with an open question is not.
    """
    by = clean_by(by)
    kept = [
        (shape_of(column.header for column in one.columns), replace(one, sheet="", fixed=()))
        for one in mapping.sheets
        if one.columns and not undecided(one)
    ]
    if not kept:
        return 0
    with writing(casebook.engine) as unit:
        for shape, one in dict(kept).items():
            import_mappings.keep_mapping(
                unit,
                casebook.clinic_id,
                shape=shape,
                name=name[:200],
                content=mapping_text(FileMapping(sheets=(one,))),
                at=clock.now(),
                by=by,
            )
            unit.flush()
        unit.commit()
    return len(dict(kept))


# -------------------------------------------------------------------- preview


def preview_mapping(casebook: Casebook, path: Path, mapping: FileMapping) -> tuple[Preview, ...]:
    """The first rows of each sheet as they would be stored.

    Nothing is stored, and nothing of what is stored is looked at.

    Raises
    ------
    InputRefused
        When the file as a whole cannot be read.
    """
    metrics = list_metrics(casebook, include_inactive=True)
    found = []
    last_row = max(one.header_row for one in mapping.sheets) + MOST_ABOVE
    for grid in read_grids(path, last_row):
        chosen = mapping_of(grid, mapping)
        if chosen is not None and chosen.row_is is not RowIs.NOTHING:
            found.append(_preview(_head(grid, chosen), chosen, metrics))
    return tuple(found)


def _head(grid: Grid, mapping: SheetMapping) -> Grid:
    last = int(np.searchsorted(grid.lines, mapping.header_row)) + 1 + ROWS_PREVIEWED
    return replace(
        grid,
        lines=grid.lines[:last],
        columns=[CodedColumn(column.codes[:last], column.texts) for column in grid.columns],
    )


def _preview(grid: Grid, mapping: SheetMapping, metrics: tuple[Metric, ...]) -> Preview:
    source = source_of_grid(grid.file, grid, mapping, metrics)
    context = Context(metrics=metrics, today=clock.today())
    for collector in (context.problems, context.warnings):
        collector.files = [source.name]
        collector.headers[0] = source.names
    for problem in [*source.problems, *(source.sheet.problems if source.sheet else [])]:
        context.problems.add(0, problem)
    stored: tuple[Stored, ...] = ()
    records: tuple[tuple[int, dict[str, Cell]], ...] = ()
    if source.sheet is not None and source.layout is not None:
        given = Given(
            file=0,
            sheet=source.sheet,
            layout=source.layout,
            style=given_style(source.sheet, source.layout, day_first=False),
        )
        if mapping.row_is in TABLE_OF:
            found = read_records(context, given)
            records = tuple((one.line, dict(one.cells)) for one in found)
        else:
            gathered = Gathered()
            read = read_tidy if source.layout.table.kind is TableKind.VISITS else read_wide
            read(context, given, gathered)
            stored = _stored(context, assemble(context, gathered))
    return Preview(
        sheet=grid.sheet, stored=stored, records=records, problems=context.problems.problems
    )


def _stored(context: Context, assembled: Assembled) -> tuple[Stored, ...]:
    values, visits = assembled.values, assembled.visits
    runners = list(context.runners)
    by_value: dict[int, list[str]] = {}
    for value, reading_number in zip(
        values.trial_value.tolist(), values.trial_reading.tolist(), strict=True
    ):
        trial = f"{assembled.readings.value[reading_number]:.6g}"
        by_value.setdefault(value, []).append(trial)
    found = []
    for number in range(min(len(values.visit), MOST_LINES)):
        visit = int(values.visit[number])
        metric = context.metrics[int(values.metric[number])]
        if values.n[number]:
            words = f"{values.mean[number]:.6g} (mean of {values.n[number]})"
        elif values.reason[number] >= 0:
            words = f"missing: {REASONS[int(values.reason[number])].value.replace('_', ' ')}"
        else:
            words = "  ".join(by_value.get(number, []))
        row = assembled.readings.row[values.reading[number]]
        found.append(
            Stored(
                row=int(assembled.rows.line[row]),
                runner=runners[int(visits.runner[visit])],
                visited_on=date.fromordinal(int(visits.day[visit])),
                metric=metric.label,
                side=SIDES[int(values.side[number])].value,
                value=words,
                unit=metric.unit,
            )
        )
    return tuple(sorted(found, key=lambda one: one.row))
