"""A mapping proposed for a sheet: from the names of its columns and from what stands in them.

A proposal is sure only when the name is, word for word, one that is known for one thing alone,
and the numbers below it are of the size that thing has in the one unit it can be in. Everything
else is asked about, with the likeliest answers first: a question costs a moment, a wrong column
a case.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from casebook.domain.metrics import Metric
from casebook.intake.grids import Grid
from casebook.intake.mapping import (
    NOTHING,
    READING,
    TABLE_OF,
    UNDECIDED,
    ColumnUse,
    Dates,
    RowIs,
    SheetMapping,
    WordUse,
    fixable,
    is_summary_word,
)
from casebook.intake.mapping_dates import DatesSeen, looks_like_date, order_of
from casebook.intake.mapping_rows import ROWS_SEARCHED, Body, below, headers_at, summary_rows
from casebook.intake.proposing_columns import propose_metric, side_of_repeats
from casebook.intake.proposing_evidence import ColumnProposal, Evidence
from casebook.intake.proposing_other import propose_other
from casebook.intake.proposing_records import propose_record, record_row
from casebook.intake.reading import CodedColumn

SAMPLES = 3
TEXTS_LOOKED_AT = 2_000
DATE_HOLDS = frozenset({"visit_date", "next_due", "week_start", "run_date", "programme_started_on"})


@dataclass(frozen=True, slots=True, kw_only=True)
class WordProposal:
    """What a word in the metric column probably means.

    Parameters
    ----------
    use : WordUse
        Its metric is `UNDECIDED` where it is not sure.
    candidates : tuple of WordUse
        Likeliest first.
    """

    use: WordUse
    sure: bool
    why: str = ""
    candidates: tuple[WordUse, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetProposal:
    """A mapping proposed for a sheet, and what it rests on.

    Parameters
    ----------
    mapping : SheetMapping
        With `UNDECIDED` wherever the proposal is not sure.
    columns : tuple of ColumnProposal
    words : tuple of WordProposal
    dates : DatesSeen
    n_rows : int
        Rows below the header.
    summaries : dict of int to str
        Row number of each row that seems to sum up others, and its label.
    blanks : dict of str to int
        For what may be the same in all rows, such as 'runner' and 'visit_date', how many rows
        leave it blank.
    """

    mapping: SheetMapping
    columns: tuple[ColumnProposal, ...]
    words: tuple[WordProposal, ...] = ()
    dates: DatesSeen
    n_rows: int = 0
    summaries: dict[int, str] = field(default_factory=dict)
    blanks: dict[str, int] = field(default_factory=dict)

    @property
    def headers(self) -> tuple[str, ...]:
        """Names of the columns."""
        return tuple(column.use.header for column in self.columns)


def propose(grid: Grid, metrics: Iterable[Metric], row_is: RowIs | None = None) -> SheetProposal:
    """Propose what a sheet's columns hold.

    Parameters
    ----------
    grid : Grid
    metrics : iterable of Metric
        The catalogue.
    row_is : RowIs, optional
        What a row stands for, where somebody has said it.
    """
    known = {metric.key: metric for metric in metrics}
    row, header_rows = _header(grid, known)
    body = below(grid, row, headers_at(grid, row, header_rows))
    rows = _rows_of_their_own(body)
    evidence = [
        _evidence(header, CodedColumn(column.codes[rows], column.texts))
        for header, column in zip(body.headers, body.columns, strict=True)
    ]
    evidence = [one for one in evidence if one.texts or not one.header.startswith("(column ")]
    said = row_is is not None
    row_is = row_is or _row_is(evidence, known)
    columns = _columns(evidence, row_is, known)
    uses = {one.use.header: one for one in columns}
    words = _words(body, columns, known) if row_is is RowIs.VALUE else ()
    dates = order_of(
        text
        for one, seen in zip(columns, evidence, strict=True)
        if one.use.holds in DATE_HOLDS
        or (one.use.holds == UNDECIDED and any(map(looks_like_date, seen.order)))
        for text in seen.texts
    )
    likely = [
        _likely(uses[header]) if header in uses else ColumnUse(header=header, holds=NOTHING)
        for header in body.headers
    ]
    summaries = summary_rows(body, likely, ())
    if row_is is RowIs.VISIT and not said and not any(_says(one) for one in columns):
        # A legend, say: nothing in it has a name that a table of visits has.
        row_is = RowIs.NOTHING
    mapping = SheetMapping(
        sheet=grid.sheet,
        header_row=body.line,
        header_rows=header_rows,
        row_is=row_is,
        dates=dates.dates if dates.sure else Dates.UNDECIDED,
        columns=tuple(one.use for one in columns),
        words=tuple(word.use for word in words),
    )
    return SheetProposal(
        mapping=mapping,
        columns=columns,
        words=words,
        dates=dates,
        n_rows=len(body.lines),
        summaries={int(body.lines[position]): word for position, word in summaries.items()},
        blanks=_blanks(body, likely, set(summaries), fixable(row_is)),
    )


def _says(one: ColumnProposal) -> bool:
    held = {one.use.holds, *(use.holds for use in one.candidates)}
    return bool(held & {"runner", "visit_date", READING})


def _likely(one: ColumnProposal) -> ColumnUse:
    if one.use.holds != UNDECIDED or not one.candidates:
        return one.use
    return replace(one.candidates[0], header=one.use.header)


def _evidence(header: str, column: CodedColumn) -> Evidence:
    codes, counts = np.unique(column.codes, return_counts=True)
    texts = {
        column.texts[code].strip(): int(count)
        for code, count in zip(codes.tolist()[:TEXTS_LOOKED_AT], counts.tolist(), strict=False)
        if column.texts[code].strip()
    }
    return Evidence(header=header, texts=texts, order=_first_texts(column))


def _rows_of_their_own(body: Body) -> NDArray[np.bool_]:
    """Rows without a label of a summary: an SD is no reading, and would spoil the numbers."""
    own = np.ones(len(body.lines), dtype=bool)
    for column in body.columns:
        labels = [code for code, text in enumerate(column.texts) if is_summary_word(text)]
        labelled = np.isin(column.codes, labels)
        if labelled.sum() < len(labelled):
            own &= ~labelled
    return own


def _first_texts(column: CodedColumn) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for code in column.codes[:200].tolist():
        text = column.texts[code].strip()
        if text:
            found[text] = None
        if len(found) == SAMPLES:
            break
    return tuple(found)


# --------------------------------------------------------------------- header


def _header(grid: Grid, metrics: Mapping[str, Metric]) -> tuple[int, int]:
    """Position of the header among the rows, and whether the row above belongs to it."""
    best, at, rows = -1.0, 0, 1
    for row in range(min(grid.n_rows, ROWS_SEARCHED)):
        for header_rows in (1, 2):
            if header_rows == 2 and (row == 0 or not _shares(grid, row)):
                continue
            score = _score(grid, row, header_rows, metrics)
            if score > best + 1e-9:
                best, at, rows = score, row, header_rows
    return at, rows


def _shares(grid: Grid, row: int) -> bool:
    """Whether the row above names what several columns below it share."""
    lower, upper = grid.cells(row), grid.cells(row - 1)
    repeated = [cell for cell in lower if cell]
    return len(set(map(str.casefold, repeated))) < len(repeated) and 0 < sum(
        map(bool, upper)
    ) < sum(map(bool, lower))


def _score(grid: Grid, row: int, header_rows: int, metrics: Mapping[str, Metric]) -> float:
    cells = [cell for cell in grid.cells(row) if cell]
    if not cells or any(len(cell) > 300 for cell in cells):
        return 0.0
    words = sum(not _is_number(cell) for cell in cells)
    if words * 2 <= len(cells) and header_rows == 1:
        return 0.0
    headers = [name for name in headers_at(grid, row, header_rows) if not name.startswith("(")]
    named = sum(_is_known(header, metrics) for header in headers)
    # Rows further down are data more likely than a header that stands lower.
    return 3.0 * named + 0.1 * len(set(headers)) - 0.01 * row


def _is_known(header: str, metrics: Mapping[str, Metric]) -> bool:
    evidence = Evidence(header=header, texts={}, order=())
    other = propose_other(evidence, RowIs.VALUE)
    metric = propose_metric(evidence, metrics, by_column=False)
    return bool(
        other.sure
        or metric.sure
        or metric.candidates
        or any(propose_record(evidence, row_is).sure for row_is in TABLE_OF)
    )


def _is_number(text: str) -> bool:
    return text.replace(",", ".").lstrip("+-").replace(".", "", 1).isdigit()


# --------------------------------------------------------------------- layout


def _row_is(evidence: Sequence[Evidence], metrics: Mapping[str, Metric]) -> RowIs:
    held = {
        propose_other(one, RowIs.VALUE).use.holds: one
        for one in evidence
        if propose_other(one, RowIs.VALUE).use.holds != UNDECIDED
    }
    words = held.get("metric")
    if words is not None and words.numeric < 0.5 and _name_metrics(words, metrics):
        return RowIs.VALUE
    side = held.get("side")
    if side is not None and side.of_sides > 0.9:
        return RowIs.SIDE
    return record_row(evidence) or RowIs.VISIT


def _name_metrics(words: Evidence, metrics: Mapping[str, Metric]) -> bool:
    found = [
        propose_metric(Evidence(header=text, texts={}, order=()), metrics, by_column=True)
        for text in list(words.texts)[:60]
    ]
    named = sum(bool(one.candidates) or one.use.holds != UNDECIDED for one in found)
    return bool(found) and named * 2 >= len(found)


def _columns(
    evidence: Sequence[Evidence], row_is: RowIs, metrics: Mapping[str, Metric]
) -> tuple[ColumnProposal, ...]:
    repeats = side_of_repeats([one.header for one in evidence])
    found = []
    for one in evidence:
        if row_is in TABLE_OF:
            found.append(propose_record(one, row_is))
            continue
        other = propose_other(one, row_is)
        if row_is is RowIs.VALUE:
            found.append(other)
            continue
        metric = propose_metric(
            one, metrics, by_column=row_is is RowIs.SIDE, repeats=repeats.get(one.header, "")
        )
        found.append(_better(other, metric))
    return tuple(_once(found))


def _better(other: ColumnProposal, metric: ColumnProposal) -> ColumnProposal:
    if other.sure:
        return other
    if metric.sure:
        # Something of a visit goes by this name as well: then it is asked about.
        return metric if not other.candidates else _asked(metric, other.candidates)
    candidates = (*other.candidates, *metric.candidates)
    chosen = other if other.candidates else metric
    return replace(chosen, candidates=candidates)


def _asked(one: ColumnProposal, more: tuple[ColumnUse, ...]) -> ColumnProposal:
    return replace(
        one,
        use=ColumnUse(header=one.use.header),
        sure=False,
        why="the name fits more than one thing",
        candidates=(one.use, *more),
    )


def _once(found: list[ColumnProposal]) -> Iterable[ColumnProposal]:
    """Two columns that seem to hold the same are both asked about."""

    def key(one: ColumnProposal) -> tuple[str, ...]:
        use = one.use
        return (use.holds, use.metric, use.side, str(use.trial))

    counted = Counter(key(one) for one in found if one.use.holds not in {UNDECIDED, NOTHING})
    for one in found:
        if counted[key(one)] > 1:
            yield replace(
                one,
                use=ColumnUse(header=one.use.header),
                sure=False,
                why="another column seems to hold the same",
                candidates=(one.use, ColumnUse(header=one.use.header, holds=NOTHING)),
            )
        else:
            yield one


# ---------------------------------------------------------------------- words


def _words(
    body: Body, columns: Sequence[ColumnProposal], metrics: Mapping[str, Metric]
) -> tuple[WordProposal, ...]:
    by_holds = {one.use.holds: one.use for one in columns}
    if "metric" not in by_holds:
        return ()
    at = {header: position for position, header in enumerate(body.headers)}
    names = body.columns[at[by_holds["metric"].header]]
    values = [body.columns[at[one.use.header]] for one in columns if one.use.holds == "value"]
    has_units = "unit" in by_holds
    found = []
    for code in np.unique(names.codes).tolist():
        word = names.texts[code].strip()
        if not word:
            continue
        rows = names.codes == code
        texts: Counter[str] = Counter()
        for column in values:
            texts.update(column.text(row).strip() for row in np.flatnonzero(rows)[:500].tolist())
        texts.pop("", None)
        evidence = Evidence(header=word, texts=dict(texts), order=())
        found.append(_word(word, evidence, metrics, has_units=has_units))
    return tuple(found)


def _word(
    word: str, evidence: Evidence, metrics: Mapping[str, Metric], *, has_units: bool
) -> WordProposal:
    if word in metrics:
        return WordProposal(use=WordUse(word=word, metric=word), sure=True, why="its key")
    one = propose_metric(evidence, metrics, by_column=True, unit_elsewhere=has_units)
    candidates = tuple(_as_word(word, use) for use in one.candidates if use.holds == READING)
    if one.sure and not one.use.trial:
        return WordProposal(use=_as_word(word, one.use), sure=True, why=one.why)
    if one.sure:
        candidates = (_as_word(word, one.use), *candidates)
    return WordProposal(use=WordUse(word=word), sure=False, why=one.why, candidates=candidates)


def _as_word(word: str, use: ColumnUse) -> WordUse:
    side = use.side if use.side != "none" else ""
    return WordUse(word=word, metric=use.metric, side=side, unit=use.unit)


def _blanks(
    body: Body, uses: Sequence[ColumnUse], summaries: set[int], names: Sequence[str]
) -> dict[str, int]:
    found = {}
    rows = ~np.isin(np.arange(len(body.lines)), sorted(summaries))
    for use, column in zip(uses, body.columns, strict=True):
        if use.holds in names:
            blank = np.array([not text.strip() for text in column.texts], dtype=bool)
            n = int(np.count_nonzero(blank[column.codes] & rows))
            if n:
                found[use.holds] = n
    return found
