"""What somebody said a sheet's columns hold: the mapping, as values, and its own rules."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from casebook.domain.errors import Problem
from casebook.domain.metrics import Metric
from casebook.domain.visits import MOST_TRIALS
from casebook.intake.columns import TABLES, VISIT_COLUMNS, Table, TableKind
from casebook.intake.grids import cell_name

UNDECIDED = "?"
NOTHING = "nothing"
READING = "reading"
COUNT = "number of trials"
REASON = "reason missing"
VISIT_NAMES = tuple(column.name for column in VISIT_COLUMNS)
# Columns of a table with a row for each value, beside those of a visit.
TIDY_NAMES = tuple(
    column.name for column in TABLES[TableKind.VISITS].columns if column.name not in VISIT_NAMES
)


class RowIs(StrEnum):
    """What one row of a sheet stands for."""

    VISIT = "visit"
    SIDE = "side"
    VALUE = "value"
    WEEK = "week"
    RUN = "run"
    NOTHING = "nothing"


# Sheets of which each row is one record of a table that has no metrics.
TABLE_OF: Mapping[RowIs, Table] = {
    RowIs.WEEK: TABLES[TableKind.ADHERENCE],
    RowIs.RUN: TABLES[TableKind.RUNS],
}


def fixable(row_is: RowIs) -> tuple[str, ...]:
    """What may be said once for a whole sheet, when no column says it."""
    if row_is is RowIs.WEEK:
        return ("runner", "programme", "sessions_planned")
    return ("runner",) if row_is is RowIs.RUN else ("runner", "visit_date")


class Dates(StrEnum):
    """How a sheet writes dates such as 03/04/2025."""

    YEAR_FIRST = "year first"
    DAY_FIRST = "day first"
    MONTH_FIRST = "month first"
    UNDECIDED = "?"


class SummaryRows(StrEnum):
    """What is done with a row such as 'Mean' below the runners."""

    REFUSE = "refuse"
    LEAVE_OUT = "leave out"


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnUse:
    """What one column holds.

    Parameters
    ----------
    header : str
        Its name as `headers_of` gives it.
    holds : str
        `READING`, `COUNT` or `REASON` of a metric; the name of a column of the tidy visit
        table ('runner', 'visit_date', 'metric', 'value', ...); `NOTHING`; `UNDECIDED`.
    metric : str
        Key of the metric.
    side : str
        'left', 'right' or 'none'; '' where another column says it.
    trial : int
        Number of the trial; 0 for a mean, for all trials in one cell, or where another column
        says it.
    unit : str
        As a clinic writes it; '' for the metric's (or the column's) own.
    """

    header: str
    holds: str = UNDECIDED
    metric: str = ""
    side: str = ""
    trial: int = 0
    unit: str = ""

    @property
    def is_of_metric(self) -> bool:
        """True for a reading, a number of trials and a reason."""
        return self.holds in {READING, COUNT, REASON}


@dataclass(frozen=True, slots=True, kw_only=True)
class WordUse:
    """What a word in the metric column of a table with a row for each value means.

    Parameters
    ----------
    metric : str
        Key of the metric; `NOTHING` leaves its rows out; `UNDECIDED`.
    side : str
        When the word says it.
    unit : str
        When the word says it.
    """

    word: str
    metric: str = UNDECIDED
    side: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetMapping:
    """What a sheet holds.

    Parameters
    ----------
    sheet : str
        Name of the sheet; '' for a text file, and for any sheet with these headers.
    header_row : int
        Row of the (lower) header, as a spreadsheet counts.
    header_rows : int
        1, or 2 where the row above names what several columns share.
    fill_down : tuple of str
        Columns ('runner', 'visit_date', ...) whose blank cells mean the cell above.
    summary_rows : SummaryRows
    not_summaries : tuple of str
        Words that look like a summary's and are a runner's code.
    columns : tuple of ColumnUse
    words : tuple of WordUse
        For a row a value.
    fixed : tuple of (str, str)
        Column and the text that holds for every row.
    """

    sheet: str = ""
    header_row: int = 1
    header_rows: int = 1
    row_is: RowIs = RowIs.VISIT
    dates: Dates = Dates.UNDECIDED
    fill_down: tuple[str, ...] = ()
    summary_rows: SummaryRows = SummaryRows.REFUSE
    not_summaries: tuple[str, ...] = ()
    columns: tuple[ColumnUse, ...] = ()
    words: tuple[WordUse, ...] = ()
    fixed: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FileMapping:
    """The mappings of a file's sheets."""

    sheets: tuple[SheetMapping, ...] = ()


def folded_header(header: str) -> str:
    """A header without regard to case and blanks."""
    return " ".join(header.casefold().split())


def headers_of(lower: tuple[str, ...], upper: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Names of all columns, each once.

    Parameters
    ----------
    lower : tuple of str
        The header row's cells.
    upper : tuple of str
        Cells of the row above, when it names what several columns share; a blank one means the
        cell to its left, which a merged cell looks like.

    Examples
    --------
    >>> headers_of(("L", "R", "L", "Note"), ("Knee", "", "Hip", ""))
    ('Knee L', 'Knee R', 'Hip L', 'Note')
    >>> headers_of(("Knee", "Knee", ""))
    ('Knee', 'Knee (2)', '(column C)')
    """
    names: list[str] = []
    seen: dict[str, int] = {}
    shared = ""
    for position, cell in enumerate(lower):
        above = upper[position] if position < len(upper) else ""
        # What stands below a blank cell and nowhere else ('Date', 'Cadence') shares nothing.
        alone = lower.count(cell) == 1 and len(cell) > 2
        shared = above or ("" if alone else shared)
        name = " ".join(f"{shared} {cell}".split())
        name = name or f"(column {cell_name(1, position)[:-1]})"
        folded = folded_header(name)
        seen[folded] = seen.get(folded, 0) + 1
        names.append(name if seen[folded] == 1 else f"{name} ({seen[folded]})")
    return tuple(names)


def shape_of(headers: Iterable[str]) -> str:
    """A mark that files with the same columns share, in whatever order these stand.

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256).
    """
    folded = sorted(folded_header(header) for header in headers)
    return hashlib.sha256("\n".join(folded).encode()).hexdigest()


def undecided(mapping: SheetMapping) -> tuple[str, ...]:
    """What somebody still has to say, in words; empty when the mapping is whole."""
    if mapping.row_is is RowIs.NOTHING:
        return ()
    open_questions = [
        f"what the column '{one.header}' holds" for one in mapping.columns if one.holds == UNDECIDED
    ]
    open_questions += [
        f"which metric '{one.word}' is" for one in mapping.words if one.metric == UNDECIDED
    ]
    if mapping.dates is Dates.UNDECIDED:
        open_questions.append("whether dates such as 03/04/2025 are day first or month first")
    return tuple(open_questions)


def check_mapping(mapping: SheetMapping, metrics: Mapping[str, Metric]) -> tuple[Problem, ...]:
    """What is wrong with a mapping in itself, whatever the file holds."""
    if mapping.row_is is RowIs.NOTHING:
        return ()
    return tuple(
        Problem(code=code, message=message, column=column)
        for code, message, column in (
            *(("mapping_undecided", f"say first {one}.", "") for one in undecided(mapping)),
            *_missing(mapping),
            *_twice(mapping),
            *(found for one in mapping.columns for found in _column(one, mapping, metrics)),
            *(found for word in mapping.words for found in _word(word, metrics)),
        )
    )


_Told = tuple[str, str, str]


def _missing(mapping: SheetMapping) -> Iterable[_Told]:
    held = {one.holds for one in mapping.columns} | {name for name, text in mapping.fixed if text}
    needed = ["runner", "visit_date"]
    table = TABLE_OF.get(mapping.row_is)
    if table is not None:
        needed = list(table.required)
    elif mapping.row_is is RowIs.SIDE:
        needed.append("side")
    if mapping.row_is is RowIs.VALUE:
        needed += ["metric", "value"]
    elif table is None and READING not in held and UNDECIDED not in held:
        yield ("mapping_without_metric", "no column holds numbers of a metric.", "")
    for name in needed:
        if name not in held:
            yield (
                "mapping_incomplete",
                f"no column holds {_WORDS[name]}; say which one does"
                + (", or give it for the whole sheet." if name in fixable(mapping.row_is) else "."),
                "",
            )


_WORDS = {
    "runner": "the runner's code",
    "visit_date": "the day of the visit",
    "side": "the side (left, right) of each row",
    "metric": "the name of the metric",
    "value": "the value",
    "programme": "the title of the programme",
    "week_start": "the first day of the week",
    "sessions_planned": "the sessions planned",
    "sessions_done": "the sessions done",
    "run_date": "the day of the run",
    "distance_km": "the distance",
}


def _twice(mapping: SheetMapping) -> Iterable[_Told]:
    seen: dict[tuple[str, ...], str] = {}
    for one in mapping.columns:
        if one.holds in {NOTHING, UNDECIDED}:
            continue
        key = (one.holds, one.metric, one.side, str(one.trial))
        if key in seen:
            yield (
                "mapping_twice",
                f"'{seen[key]}' and '{one.header}' are said to hold the same; give them "
                "different trial numbers, or leave one out.",
                one.header,
            )
        seen.setdefault(key, one.header)
    for name, text in mapping.fixed:
        if text and (name, "", "", "0") in seen:
            yield (
                "mapping_twice",
                f"{_WORDS[name]} is given for the whole sheet and also by a column; keep one.",
                seen[name, "", "", "0"],
            )


def _column(
    one: ColumnUse, mapping: SheetMapping, metrics: Mapping[str, Metric]
) -> Iterable[_Told]:
    if one.is_of_metric:
        yield from _metric_column(one, mapping, metrics)
        return
    allowed = {NOTHING, UNDECIDED, *VISIT_NAMES}
    table = TABLE_OF.get(mapping.row_is)
    if table is not None:
        allowed = {NOTHING, UNDECIDED, *table.names}
    elif mapping.row_is is RowIs.VALUE:
        allowed |= set(TIDY_NAMES)
    elif mapping.row_is is RowIs.SIDE:
        allowed |= {"side", "trial"}
    else:
        allowed |= {"trial"}
    if one.holds not in allowed:
        yield (
            "mapping_not_known",
            f"'{one.holds}' is nothing that a column of a sheet with a row for each "
            f"{mapping.row_is.value} can hold; expected one of {', '.join(sorted(allowed))}"
            f"{', or a metric' if table is None else ''}.",
            one.header,
        )
    if one.trial and one.holds != "value":
        yield ("mapping_not_known", "only a metric's column has a trial number.", one.header)


def _metric_column(
    one: ColumnUse, mapping: SheetMapping, metrics: Mapping[str, Metric]
) -> Iterable[_Told]:
    if mapping.row_is in TABLE_OF:
        yield (
            "mapping_not_known",
            f"a sheet with a row for each {mapping.row_is.value} holds no metric; expected one "
            f"of {', '.join(TABLE_OF[mapping.row_is].names)}, or '{NOTHING}'.",
            one.header,
        )
        return
    if mapping.row_is is RowIs.VALUE:
        yield (
            "mapping_not_known",
            "in a sheet with a row for each value, the metric stands in a column of its own.",
            one.header,
        )
        return
    metric = metrics.get(one.metric)
    if metric is None:
        yield ("unknown_metric", f"the catalogue has no metric '{one.metric}'.", one.header)
        return
    by_column = mapping.row_is is RowIs.SIDE
    fits = one.side in {"left", "right"} or (by_column and not one.side)
    if metric.sided and not fits:
        yield (
            "side_missing",
            f"{metric.label} is read on each side; say which side this is.",
            one.header,
        )
    if not metric.sided and one.side in {"left", "right"}:
        yield ("side_not_expected", f"{metric.label} has no sides.", one.header)
    if not 0 <= one.trial <= MOST_TRIALS:
        yield ("trial_count", f"a trial's number is 1 to {MOST_TRIALS}.", one.header)


def _word(word: WordUse, metrics: Mapping[str, Metric]) -> Iterable[_Told]:
    if word.metric not in {NOTHING, UNDECIDED} and word.metric not in metrics:
        yield ("unknown_metric", f"the catalogue has no metric '{word.metric}'.", word.word)


# A label of a row that sums up others. Whole words only: 'Meana' or 'Total-3' may be a code.
_SUMMARY = re.compile(
    r"(?:(?:group|grand|overall|team|club|cohort|all|runners?)[ _-]*)?"
    r"(?:means?|averages?|avg|ave|sd|s\.d\.|st\.? ?dev\.?|stdevp?|std\.?(?: ?dev\.?)?"
    r"|standard deviations?|sem|se|cv ?%?|variance|var|totals?|sub-?totals?|sums?|n|count"
    r"|medians?|min|max|minimum|maximum|range|iqr|percentiles?|norms?|normative|reference"
    r"|targets?|difference|diff|change|asymmetry|lsi"
    r"|mittelwert|mittel|durchschnitt|summe|gesamt|anzahl|moyenne|écart[ -]type|total général)"
    r"(?:[ _/&+±-]+(?:\(?(?:sd|se|n|left|right|l|r|mean|all|group|%)\)?)|\(sd\)|\(n\))*"
    r"(?:\s*\(?n?\s*[=:]\s*\d+\)?)?[ :=]*",
    re.IGNORECASE,
)


def is_summary_word(text: str) -> bool:
    """Whether a label is that of a row which sums up others.

    Examples
    --------
    >>> [is_summary_word(w) for w in ("Mean", "Mean ± SD", "SD:", "n = 12", "Group average")]
    [True, True, True, True, True]
    >>> [is_summary_word(w) for w in ("R-01", "Meanwood", "SD12", "N3", "Nina", "")]
    [False, False, False, False, False, False]
    """
    stripped = text.strip()
    return bool(stripped and len(stripped) <= 40 and _SUMMARY.fullmatch(stripped))
