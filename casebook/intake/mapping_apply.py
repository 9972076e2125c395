"""A sheet and its mapping turned into a table that the importer reads.

Two shapes leave here. A row for each value, with its number in one column, becomes the tidy
table. Everything else becomes the wide one: where the side, the trial or the metric of a number
stands in a column of its row, its column is parted into one for each of them, blank in the rows
of the others, so that every number is still told by the cell in which it stands.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from casebook.catalogue.units import convert, ucum_of
from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.metrics import Metric
from casebook.domain.visits import CONDITION_RANGES, MOST_TRIALS
from casebook.intake.cells import Mark, decimal_mark, is_given, read_number
from casebook.intake.columns import TABLES, TableKind, Type
from casebook.intake.grids import Grid, formula_problems, formulas_told
from casebook.intake.mapping import (
    COUNT,
    NOTHING,
    READING,
    VISIT_NAMES,
    ColumnUse,
    RowIs,
    SheetMapping,
    check_mapping,
    folded_header,
)
from casebook.intake.mapping_dates import has_short_year, iso_text
from casebook.intake.mapping_rows import (
    Body,
    fill_down,
    find_body,
    rows_words,
    trial_text,
    without_summaries,
)
from casebook.intake.mapping_words import Parts, metric_words, side_text
from casebook.intake.reading import CodedColumn, Sheet
from casebook.intake.recognising import Layout, MetricColumn

MOST_PARTED_CELLS = 20_000_000
_ROLES = {READING: "cell", COUNT: "n"}
_CONDITION_UNITS = {name: unit for name, _, _, unit in CONDITION_RANGES}
_DATE_NAMES = frozenset(
    column.name for column in TABLES[TableKind.VISITS].columns if column.type is Type.DATE
)
_WITH_UNIT = re.compile(r"([+\-−]?\d+(?:[.,]\d+)?)\s*([^\d\s.,+\-−][^\d]*)\Z")


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
    parts = _cleaned(body, uses, mapping)
    if body.told:
        # Rows whose date was refused have been told, and are not told again by the reader.
        keep = ~np.isin(np.arange(len(body.lines)), sorted(body.told))
        parts = [part.only(keep) for part in parts]
        body = replace(body, lines=body.lines[keep])
    values = [use for use in uses if use.holds == "value"]
    if mapping.row_is is RowIs.VALUE and len(values) == 1 and not values[0].trial:
        return _tidy(body, parts, mapping, metrics)
    return _wide(body, parts, mapping, metrics)


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


# --------------------------------------------------------------------- cells


def _cleaned(body: Body, uses: list[ColumnUse], mapping: SheetMapping) -> list[Parts]:
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
        if use.is_of_metric or use.holds == "value"
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
    if use.unit and use.holds in _CONDITION_UNITS:
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
                f"{convert(number, use.unit, _CONDITION_UNITS[use.holds]):.10g}"
                if given and number is not None
                else text
            )
        except InputRefused as refusal:
            texts.append("")
            wrong[code] = replace(refusal.problems[0], value=text[:60])
    _told_rows(body, use, column, wrong)
    return CodedColumn(column.codes, texts)


# ---------------------------------------------------------------------- tidy


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


# ---------------------------------------------------------------------- wide


def _wide(
    body: Body, parts: list[Parts], mapping: SheetMapping, metrics: Mapping[str, Metric]
) -> Mapped:
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
