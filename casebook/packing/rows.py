"""A frame against the description of its table: what may not leave is refused by cell.

Whatever is checked here is checked for each distinct value once, so that millions of rows with
few distinct texts cost little.
"""

from __future__ import annotations

import re
from numbers import Real
from typing import Any, Final, NoReturn

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.packages import Field, FieldType, Table, unfit_text

# Whole numbers that a spreadsheet and JSON hold exactly.
LARGEST_WHOLE: Final = 2**53
TYPES: Final = {
    FieldType.STRING: pa.string(),
    FieldType.INTEGER: pa.int64(),
    FieldType.NUMBER: pa.float64(),
    FieldType.BOOLEAN: pa.bool_(),
}
GIVEN: Final = {
    FieldType.STRING: "text",
    FieldType.INTEGER: "whole numbers",
    FieldType.NUMBER: "numbers",
    FieldType.BOOLEAN: "true or false",
}
# The heading is row 1.
FIRST_ROW: Final = 2


def schema_of(table: Table) -> pa.Schema:
    """Names, types, words and units of a table's columns."""
    return pa.schema(
        [
            pa.field(
                field.name,
                TYPES[field.type],
                nullable=not table.is_required(field),
                metadata={"description": field.words}
                | ({"unit": field.unit} if field.unit else {}),
            )
            for field in table.fields
        ]
    )


def rows_of(table: Table, frame: pd.DataFrame, *, before: int = 0) -> pa.Table:
    """A frame as rows of its table.

    Parameters
    ----------
    table : Table
    frame : DataFrame
        The table's columns in any order; its index is not read.
    before : int
        Rows of the table that were given before, for the row that a refusal names.

    Raises
    ------
    InputRefused
        For columns, types or values that contradict the description; names one cell of each
        column that does.
    """
    _check_columns(table, frame)
    problems: list[Problem] = []
    columns = []
    for field in table.fields:
        try:
            columns.append(_Column(table, field, before).read(frame[field.name]))
        except InputRefused as refused:
            problems.extend(refused.problems)
    if problems:
        raise InputRefused(tuple(problems))
    return pa.Table.from_arrays(columns, schema=schema_of(table))


def _check_columns(table: Table, frame: pd.DataFrame) -> None:
    given, wanted = [str(name) for name in frame.columns], list(table.names)
    if sorted(given) == sorted(wanted):
        return
    strange = sorted(set(given) - set(wanted)) or sorted({n for n in given if given.count(n) > 1})
    missing = sorted(set(wanted) - set(given))
    raise InputRefused(
        (
            Problem(
                code="columns_contradict",
                message=f"The table has the columns {', '.join(wanted)}. "
                f"Missing: {', '.join(missing) or 'none'}; "
                f"strange or twice: {', '.join(strange) or 'none'}.",
                file=table.name,
                column=(strange or missing)[0],
            ),
        )
    )


class _Column:
    """One column on its way from a frame into a table."""

    def __init__(self, table: Table, field: Field, before: int) -> None:
        self.table, self.field, self.before = table, field, before

    def read(self, series: pd.Series[Any]) -> pa.Array:
        column = self._typed(series)
        if column.null_count and self.table.is_required(self.field):
            self._refuse("missing_value", "It is never missing, and is missing here.", column, None)
        match self.field.type:
            case FieldType.STRING:
                self._check_text(column)
            case FieldType.INTEGER | FieldType.NUMBER:
                self._check_number(column)
            case FieldType.BOOLEAN:
                pass
        return column

    def _typed(self, series: pd.Series[Any]) -> pa.Array:
        wanted = TYPES[self.field.type]
        # Arrow would take True for 1.
        if series.dtype == object and any(map(self._is_odd, series)):
            self._refuse_type(series)
        try:
            column = pa.array(series, from_pandas=True)
        except (pa.ArrowException, OverflowError):
            self._refuse_type(series)
        if isinstance(column, pa.ChunkedArray):
            column = column.combine_chunks()
        if pa.types.is_dictionary(column.type):
            column = column.dictionary_decode()
        if not _fits(column.type, self.field.type):
            self._refuse_type(series)
        if self.field.type is FieldType.INTEGER and pa.types.is_floating(column.type):
            broken = pc.not_equal(column, pc.round(column))
            broken = pc.or_(broken, pc.greater(pc.abs(column), float(LARGEST_WHOLE)))
            self._refuse_where(broken, "wrong_type", "It is a whole number.", column)
        try:
            column = column.cast(wanted)
        except pa.ArrowInvalid:
            self._refuse_type(series)
        # Minus zero is zero, and is written so.
        return pc.add(column, 0.0) if wanted == pa.float64() else column

    def _check_text(self, column: pa.Array) -> None:
        allowed = frozenset(self.field.allowed)
        for text in pc.unique(column).to_pylist():
            if text is None or text in allowed:
                continue
            why = unfit_text(text)
            if not why and not (
                self.field.pattern and re.fullmatch(self.field.pattern, text, re.ASCII)
            ):
                why = "it is neither in the list nor of the pattern that the field names"
            if why:
                where = pc.fill_null(pc.equal(column, text), False)
                self._refuse_where(where, "text_not_allowed", f"It may not leave: {why}.", column)

    def _check_number(self, column: pa.Array) -> None:
        endless = pc.invert(pc.is_finite(column))
        self._refuse_where(endless, "not_finite", "It is a finite number or missing.", column)
        whole = self.field.type is FieldType.INTEGER
        low = self.field.low if self.field.low is not None else (-LARGEST_WHOLE if whole else None)
        high = (
            self.field.high if self.field.high is not None else (LARGEST_WHOLE if whole else None)
        )
        if low is not None:
            self._refuse_where(pc.less(column, low), "below", f"It is at least {low}.", column)
        if high is not None:
            self._refuse_where(pc.greater(column, high), "above", f"It is at most {high}.", column)

    def _refuse_where(self, where: pa.Array, code: str, message: str, column: pa.Array) -> None:
        if pc.any(where).as_py():
            at = pc.index(where, True).as_py()
            self._refuse(code, message, column, at)

    def _refuse(self, code: str, message: str, column: pa.Array, at: int | None) -> NoReturn:
        at = pc.index(pc.is_null(column), True).as_py() if at is None else at
        self._raise(code, message, at, column[at].as_py())

    def _is_odd(self, value: object) -> bool:
        """Whether a value is of another type than the field's."""
        match self.field.type:
            case FieldType.STRING:
                fits = isinstance(value, str)
            case FieldType.BOOLEAN:
                fits = isinstance(value, bool | np.bool_)
            case FieldType.INTEGER | FieldType.NUMBER:
                fits = isinstance(value, Real) and not isinstance(value, bool | np.bool_)
                too_large = isinstance(value, int) and abs(value) > LARGEST_WHOLE
                fits = fits and not too_large
        return not fits and not _is_missing(value)

    def _refuse_type(self, series: pd.Series[Any]) -> NoReturn:
        values = series.tolist()
        at = next((at for at, value in enumerate(values) if self._is_odd(value)), 0)
        value = values[at]
        self._raise("wrong_type", f"The field holds {GIVEN[self.field.type]}.", at, value)

    def _raise(self, code: str, message: str, at: int, value: object) -> NoReturn:
        raise InputRefused(
            (
                Problem(
                    code=code,
                    message=f"{message} Given: {value!r}.",
                    file=self.table.name,
                    row=self.before + at + FIRST_ROW,
                    column=self.field.name,
                    value="" if value is None else str(value),
                ),
            )
        )


def _is_missing(value: object) -> bool:
    return value is None or value is pd.NA or value != value  # noqa: PLR0124 - no number is NaN


def _fits(given: pa.DataType, field: FieldType) -> bool:
    if pa.types.is_null(given):
        return True
    match field:
        case FieldType.STRING:
            return bool(pa.types.is_string(given) or pa.types.is_large_string(given))
        case FieldType.INTEGER | FieldType.NUMBER:
            return bool(pa.types.is_integer(given) or pa.types.is_floating(given))
        case FieldType.BOOLEAN:
            return bool(pa.types.is_boolean(given))
