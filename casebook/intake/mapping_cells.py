"""Cells of a mapped sheet, as the importer's readers take them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from casebook.catalogue.units import convert, ucum_of
from casebook.domain.errors import InputRefused, Problem
from casebook.domain.visits import CONDITION_RANGES
from casebook.intake.cells import Mark, decimal_mark, read_number
from casebook.intake.columns import TABLES, TableKind, Type
from casebook.intake.mapping import NOTHING, TABLE_OF, VISIT_NAMES, ColumnUse, SheetMapping
from casebook.intake.mapping_dates import has_short_year, iso_text
from casebook.intake.mapping_rows import Body, rows_words, trial_text
from casebook.intake.mapping_words import Parts, side_text
from casebook.intake.reading import CodedColumn

_OWN_UNITS = {name: unit for name, _, _, unit in CONDITION_RANGES} | {
    "distance_km": "km",
    "minutes": "min",
}
_DATE_NAMES = frozenset(
    column.name
    for table in (TABLES[TableKind.VISITS], *TABLE_OF.values())
    for column in table.columns
    if column.type is Type.DATE
)
_WITH_UNIT = re.compile(r"([+\-−]?\d+(?:[.,]\d+)?)\s*([^\d\s.,+\-−][^\d]*)\Z")


def cleaned(body: Body, uses: list[ColumnUse], mapping: SheetMapping) -> list[Parts]:
    """Every column that is used, its texts as the importer's readers take them."""
    marks = _mark(body, uses)
    parts = []
    for use, column in zip(uses, body.columns, strict=True):
        if use.holds == NOTHING:
            continue
        parts.append(Parts(use=use, column=_clean(body, use, column, mapping, marks)))
    for name, text in mapping.fixed:
        if text.strip():
            use = ColumnUse(header=name, holds=name)
            codes = np.zeros(len(body.lines), dtype=np.int32)
            column = CodedColumn(codes, [text.strip()])
            parts.append(Parts(use=use, column=_clean(body, use, column, mapping, marks)))
    return parts


def _mark(body: Body, uses: list[ColumnUse]) -> Mark:
    texts = (
        text
        for use, column in zip(uses, body.columns, strict=True)
        if use.is_of_metric or use.holds == "value" or use.unit
        for text in column.texts
    )
    return decimal_mark(texts, ",")


def _clean(
    body: Body, use: ColumnUse, column: CodedColumn, mapping: SheetMapping, mark: Mark
) -> CodedColumn:
    if use.holds in _DATE_NAMES:
        return _dates(body, use, column, mapping)
    if use.holds == "side":
        return _mapped(column, side_text)
    if use.holds == "trial":
        return _mapped(column, trial_text)
    if use.is_of_metric or use.holds == "value":
        return _mapped(column, lambda text: _bare(text, use.unit))
    if use.unit and use.holds in _OWN_UNITS:
        return _converted(body, use, column, mark)
    if use.holds in VISIT_NAMES:
        return _mapped(column, str.strip)
    return column


def _mapped(column: CodedColumn, change: Callable[[str], str]) -> CodedColumn:
    return CodedColumn(column.codes, [change(text) for text in column.texts])


def _told_rows(
    body: Body, use: ColumnUse, column: CodedColumn, wrong: Mapping[int, Problem]
) -> None:
    if not wrong:
        return
    for row in np.flatnonzero(np.isin(column.codes, list(wrong))).tolist():
        problem = wrong[int(column.codes[row])]
        body.problems.append(replace(problem, row=int(body.lines[row]), column=use.header))


def _dates(body: Body, use: ColumnUse, column: CodedColumn, mapping: SheetMapping) -> CodedColumn:
    texts: list[str] = []
    wrong: dict[int, Problem] = {}
    short = []
    for code, text in enumerate(column.texts):
        try:
            texts.append(iso_text(text, mapping.dates))
        except InputRefused as refusal:
            texts.append(text)
            wrong[code] = replace(refusal.problems[0], value=text[:60])
        else:
            short += [code] if has_short_year(text) else []
    _told_rows(body, use, column, wrong)
    body.told.update(np.flatnonzero(np.isin(column.codes, list(wrong))).tolist())
    rows = np.isin(column.codes, short)
    if rows.any():
        first = int(np.flatnonzero(rows)[0])
        body.warnings.append(
            Problem(
                code="short_year",
                message=f"{rows_words(body.lines[rows])}: a year of two digits, taken as 20..; "
                f"'{column.text(first).strip()}' is {texts[int(column.codes[first])]}.",
                row=int(body.lines[first]),
                column=use.header,
            )
        )
    return CodedColumn(column.codes, texts)


def _bare(text: str, unit: str) -> str:
    """A number without the unit written behind it, where that is the column's own."""
    found = _WITH_UNIT.match(text.strip())
    if not found:
        return text
    try:
        behind = ucum_of(found[2])
        own = ucum_of(unit) if unit else behind
    except InputRefused:
        return text
    # Without a unit of the column only a degree sign says nothing that could be wrong.
    same = behind == own if unit else behind == "deg"
    return found[1] if same else text


def _converted(body: Body, use: ColumnUse, column: CodedColumn, mark: Mark) -> CodedColumn:
    texts: list[str] = []
    wrong: dict[int, Problem] = {}
    for code, text in enumerate(column.texts):
        try:
            number = read_number(text, mark)
            given = number is not None
            texts.append(
                f"{convert(number, use.unit, _OWN_UNITS[use.holds]):.10g}"
                if given and number is not None
                else text
            )
        except InputRefused as refusal:
            texts.append("")
            wrong[code] = replace(refusal.problems[0], value=text[:60])
    _told_rows(body, use, column, wrong)
    return CodedColumn(column.codes, texts)
