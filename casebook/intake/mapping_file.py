"""Mappings as small files (TOML) that a person can read, mend and keep beside the spreadsheet."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.intake.mapping import (
    NOTHING,
    READING,
    UNDECIDED,
    ColumnUse,
    Dates,
    FileMapping,
    RowIs,
    SheetMapping,
    SummaryRows,
    WordUse,
    fixable,
)
from casebook.intake.proposing import SheetProposal

VERSION = 1
LARGEST = 2 * 1024 * 1024
HEADING = (
    "What the columns of a spreadsheet hold, for: casebook import FILE --mapping THIS-FILE",
    "holds: runner, visit_date, another column of a visit, 'nothing' to leave the column out;",
    "or metric (its key in the catalogue) with side (left, right), trial and unit.",
    "Wherever a '?' stands, something has to be said before the file can be imported.",
)
_SHEET_KEYS = frozenset(
    ("name", "header_row", "header_rows", "row_is", "dates", "fill_down", "summary_rows",
     "not_summaries", "fixed", "column", "word")
)  # fmt: skip
_COLUMN_KEYS = frozenset(("header", "holds", "metric", "side", "trial", "unit"))
_WORD_KEYS = frozenset(("word", "metric", "side", "unit"))


def mapping_text(
    mapping: FileMapping, proposals: Iterable[SheetProposal] = (), *, title: str = ""
) -> str:
    """A mapping as the text of a file.

    Parameters
    ----------
    mapping : FileMapping
    proposals : iterable of SheetProposal
        What it was proposed from: their doubts and candidates become comments.
    title : str
        First comment, such as the name of the file.
    """
    document = tomlkit.document()
    for line in (*((title,) if title else ()), *HEADING):
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    document.add("version", VERSION)
    by_sheet = {proposal.mapping.sheet: proposal for proposal in proposals}
    sheets = tomlkit.aot()
    for one in mapping.sheets:
        sheets.append(_sheet_table(one, by_sheet.get(one.sheet)))
    document.add("sheet", sheets)
    return tomlkit.dumps(document)


def _sheet_table(one: SheetMapping, proposal: SheetProposal | None) -> Table:
    table = tomlkit.table()
    if one.sheet:
        table.add("name", one.sheet)
    table.add("row_is", one.row_is.value)
    table["row_is"].comment(
        "visit, side, value; week (of a programme) or run; or nothing: leave the sheet out"
    )
    if one.row_is is RowIs.NOTHING:
        return table
    table.add("header_row", one.header_row)
    if one.header_rows != 1:
        table.add("header_rows", one.header_rows)
    table.add("dates", one.dates.value)
    table["dates"].comment(
        f"{', '.join(each.value for each in Dates if each is not Dates.UNDECIDED)}"
        + (f"; {proposal.dates.why}" if proposal else "")
    )
    if one.fill_down or (proposal and proposal.blanks):
        table.add("fill_down", list(one.fill_down))
        table["fill_down"].comment("columns whose blank cells mean the cell above")
    table.add("summary_rows", one.summary_rows.value)
    table["summary_rows"].comment(_summary_words(proposal))
    if one.not_summaries:
        table.add("not_summaries", list(one.not_summaries))
    if one.fixed:
        fixed = tomlkit.inline_table()
        for name, text in one.fixed:
            fixed.append(name, text)
        table.add("fixed", fixed)
    columns = tomlkit.aot()
    proposed = {each.use.header: each for each in proposal.columns} if proposal else {}
    for use in one.columns:
        known = proposed.get(use.header)
        columns.append(_column_table(use, known.why if known else "", known.candidates
                                     if known and not known.sure else ()))  # fmt: skip
    table.add("column", columns)
    if one.words:
        table.add("word", _word_tables(one.words, proposal))
    return table


def _summary_words(proposal: SheetProposal | None) -> str:
    words = "refuse, leave out"
    if proposal and proposal.summaries:
        seen = ", ".join(
            f"row {row} '{word}'" for row, word in list(proposal.summaries.items())[:6]
        )
        words += f"; seen: {seen}"
    return words


def _column_table(use: ColumnUse, why: str, candidates: tuple[ColumnUse, ...]) -> Table:
    table = tomlkit.table()
    table.add("header", use.header)
    if use.holds == READING:
        table.add("metric", use.metric)
    else:
        table.add("holds", use.holds)
        if use.metric:
            table.add("metric", use.metric)
    if use.side:
        table.add("side", use.side)
    if use.trial:
        table.add("trial", use.trial)
    if use.unit:
        table.add("unit", use.unit)
    if use.holds == UNDECIDED:
        table.add(tomlkit.comment(f"not sure: {_one_line(why)}"))
        for candidate in candidates:
            table.add(tomlkit.comment(f"perhaps: {_candidate(candidate)}"))
    return table


def _candidate(use: ColumnUse) -> str:
    parts = [f'metric = "{use.metric}"'] if use.holds == READING else [f'holds = "{use.holds}"']
    if use.holds not in {READING} and use.metric:
        parts.append(f'metric = "{use.metric}"')
    parts += [f'side = "{use.side}"'] if use.side else []
    parts += [f"trial = {use.trial}"] if use.trial else []
    parts += [f'unit = "{use.unit}"'] if use.unit else []
    return "   ".join(parts)


def _one_line(text: str) -> str:
    # A control character may not stand in a comment; a header can bring any into the reasons.
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _word_tables(words: tuple[WordUse, ...], proposal: SheetProposal | None) -> AoT:
    tables = tomlkit.aot()
    proposed = {each.use.word: each for each in proposal.words} if proposal else {}
    for use in words:
        table = tomlkit.table()
        table.add("word", use.word)
        table.add("metric", use.metric)
        if use.side:
            table.add("side", use.side)
        if use.unit:
            table.add("unit", use.unit)
        known = proposed.get(use.word)
        if use.metric == UNDECIDED and known:
            table.add(tomlkit.comment(f"not sure: {_one_line(known.why)}"))
            for candidate in known.candidates:
                table.add(tomlkit.comment(f'perhaps: metric = "{candidate.metric}"'))
        tables.append(table)
    return tables


# -------------------------------------------------------------------- reading


def read_mapping_file(path: Path) -> FileMapping:
    """The mapping that a file holds.

    Raises
    ------
    InputRefused
        When it cannot be read, is no mapping, or has something unknown in it.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise refuse("file_too_large", f"{path.name} is too large for a mapping file.")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise refuse(
            "file_unreadable", f"the mapping file {path} cannot be read ({error.strerror})."
        ) from error
    except UnicodeDecodeError:
        raise refuse("not_utf8", f"the mapping file {path.name} is not in UTF-8.") from None
    return mapping_of_text(text, name=path.name)


def mapping_of_text(text: str, *, name: str = "the mapping") -> FileMapping:
    """The mapping that a text holds; see `read_mapping_file`."""
    try:
        document = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise _wrong(name, "", f"it is no TOML file: {str(error)[:200]}.") from None
    if document.get("version") != VERSION:
        raise _wrong(name, "version", f"expected version = {VERSION}.")
    sheets = document.get("sheet")
    if not isinstance(sheets, list) or not sheets or set(document) - {"version", "sheet"}:
        raise _wrong(name, "", "expected version and one or more [[sheet]].")
    return FileMapping(sheets=tuple(_sheet(name, each) for each in sheets))


def _wrong(name: str, key: str, message: str) -> InputRefused:
    return InputRefused(
        (
            Problem(
                code="mapping_file",
                message=f"{f'{key}: ' if key else ''}{message} A right one is written by "
                "`casebook propose-mapping`.",
                file=name,
                column="",
            ),
        )
    )


def _checked(name: str, table: Any, allowed: frozenset[str], what: str) -> Mapping[str, Any]:
    if not isinstance(table, dict):
        raise _wrong(name, what, "expected a table.")
    unknown = sorted(set(table) - allowed)
    if unknown:
        raise _wrong(
            name, f"{what}.{unknown[0]}", f"not known; expected {', '.join(sorted(allowed))}."
        )
    return table


def _text(name: str, table: Mapping[str, Any], key: str, default: str = "") -> str:
    value = table.get(key, default)
    if not isinstance(value, str):
        raise _wrong(name, key, f"is {value!r}; expected a text in quotation marks.")
    return value


def _whole(name: str, table: Mapping[str, Any], key: str, default: int) -> int:
    value = table.get(key, default)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 1_048_576:
        raise _wrong(name, key, f"is {value!r}; expected a whole number.")
    return value


def _texts(name: str, table: Mapping[str, Any], key: str) -> tuple[str, ...]:
    value = table.get(key, [])
    if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
        raise _wrong(name, key, "expected a list of texts.")
    return tuple(value)


def _one_of(name: str, table: Mapping[str, Any], key: str, kind: Any, default: str) -> Any:
    text = _text(name, table, key, default)
    try:
        return kind(text)
    except ValueError:
        allowed = ", ".join(each.value for each in kind)
        raise _wrong(name, key, f"is '{text}'; expected {allowed}.") from None


def _sheet(name: str, given: Any) -> SheetMapping:
    table = _checked(name, given, _SHEET_KEYS, "sheet")
    row_is = _one_of(name, table, "row_is", RowIs, RowIs.VISIT)
    fixed = _checked(name, table.get("fixed", {}), frozenset(fixable(row_is)), "fixed")
    columns = table.get("column", [])
    words = table.get("word", [])
    if not isinstance(columns, list) or not isinstance(words, list):
        raise _wrong(name, "column", "expected [[sheet.column]] and [[sheet.word]].")
    return SheetMapping(
        sheet=_text(name, table, "name"),
        header_row=_whole(name, table, "header_row", 1),
        header_rows=_whole(name, table, "header_rows", 1),
        row_is=row_is,
        dates=_one_of(name, table, "dates", Dates, Dates.UNDECIDED),
        fill_down=_texts(name, table, "fill_down"),
        summary_rows=_one_of(name, table, "summary_rows", SummaryRows, SummaryRows.REFUSE),
        not_summaries=_texts(name, table, "not_summaries"),
        fixed=tuple((key, _text(name, fixed, key)) for key in fixed),
        columns=tuple(_column(name, each) for each in columns),
        words=tuple(_word(name, each) for each in words),
    )


def _column(name: str, given: Any) -> ColumnUse:
    table = _checked(name, given, _COLUMN_KEYS, "column")
    header = _text(name, table, "header")
    if not header:
        raise _wrong(name, "column", "has no header; expected the name of the column.")
    metric = _text(name, table, "metric")
    return ColumnUse(
        header=header,
        holds=_text(name, table, "holds", READING if metric else NOTHING),
        metric=metric,
        side=_text(name, table, "side"),
        trial=_whole(name, table, "trial", 0),
        unit=_text(name, table, "unit"),
    )


def _word(name: str, given: Any) -> WordUse:
    table = _checked(name, given, _WORD_KEYS, "word")
    return WordUse(
        word=_text(name, table, "word"),
        metric=_text(name, table, "metric", UNDECIDED),
        side=_text(name, table, "side"),
        unit=_text(name, table, "unit"),
    )
