"""What the columns of an uploaded spreadsheet hold: proposed, asked about, shown, remembered."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, TypeVar

import pandas as pd
import streamlit as st

from app.mapping_form_columns import (
    HOLDS_WORDS,
    Box,
    ask_columns,
    ask_word,
    grouped,
    holds_words,
)
from app.messages import count_words, day_words, plain, show_refusal
from casebook.catalogue.units import unit_words
from casebook.domain.errors import CasebookError
from casebook.domain.metrics import Metric
from casebook.intake.cells import Cell
from casebook.intake.mapping import (
    UNDECIDED,
    ColumnUse,
    Dates,
    FileMapping,
    RowIs,
    SheetMapping,
    SummaryRows,
    check_mapping,
    fixable,
    undecided,
)
from casebook.intake.proposing import SheetProposal
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import Casebook
from casebook.services.mapping import (
    FileProposal,
    Preview,
    is_understood,
    preview_mapping,
    propose_mapping,
)

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

T = TypeVar("T")
KEPT = "import_proposals"
MOST_KEPT = 40
MOST_SHOWN = 8
ROWS = {
    RowIs.VISIT: "one visit",
    RowIs.SIDE: "one side of a visit",
    RowIs.VALUE: "one value",
    RowIs.WEEK: "one week of a programme",
    RowIs.RUN: "one run",
    RowIs.NOTHING: "nothing: leave it out",
}
FIXED_WORDS = {
    "runner": "Runner's code, for every row of this sheet",
    "visit_date": "Date of the visit, for every row (as 2025-12-31)",
    "programme": "Title of the programme, for every row",
    "sessions_planned": "Sessions planned a week, for every row",
}
BLANK_WORDS = {
    "runner": "runner",
    "visit_date": "date",
    "programme": "programme",
    "sessions_planned": "number of sessions planned",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was settled of one upload.

    Parameters
    ----------
    mapping : FileMapping or None
        None where the file's own headers say what it holds.
    is_open : bool
        True while something is still to be said.
    """

    mapping: FileMapping | None = None
    is_open: bool = False


@contextmanager
def on_disk(upload: UploadedFile) -> Iterator[Path]:
    """An upload as a file of its own name, for as long as the block lasts."""
    with TemporaryDirectory(prefix="casebook-import-") as place:
        path = Path(place) / Path(upload.name).name
        path.write_bytes(upload.getvalue())
        yield path


def ask_mapping(casebook: Casebook, upload: UploadedFile) -> Asked:
    """Ask what the columns of an upload hold, where its headers do not say it."""
    try:
        if _kept("understood", upload, "", lambda path: is_understood(casebook, path)):
            return Asked()
        return _ask(casebook, upload)
    except CasebookError as refusal:
        # The check of the files tells the same, with its place.
        with st.container(border=True):
            st.markdown(f"**{plain(upload.name)}**")
            show_refusal(refusal)
        return Asked(is_open=True)


def forget_proposals() -> None:
    """Propose anew: a mapping was remembered, or the catalogue changed."""
    st.session_state.pop(KEPT, None)


def _kept(what: str, upload: UploadedFile, more: str, make: Callable[[Path], T]) -> T:
    """What was made of an upload's content, made once."""
    kept = st.session_state.setdefault(KEPT, {})
    key = (what, hashlib.sha256(upload.getvalue()).hexdigest(), upload.name, more)
    if key not in kept:
        if len(kept) > MOST_KEPT:
            kept.clear()
        with on_disk(upload) as path, st.spinner("Looking at the columns …"):
            kept[key] = make(path)
    found: T = kept[key]
    return found


def _ask(casebook: Casebook, upload: UploadedFile) -> Asked:
    metrics = {metric.key: metric for metric in list_metrics(casebook)}
    proposal: FileProposal = _kept(
        "proposed", upload, "", lambda path: propose_mapping(casebook, path)
    )
    base = f"map_{upload.file_id}"
    with st.container(border=True):
        st.markdown(f"**{plain(upload.name)}**: say what its columns hold")
        sheets = []
        for number in range(len(proposal.mapping.sheets)):
            sheets.append(
                _ask_sheet(casebook, upload, (f"{base}_{number}", number), proposal, metrics)
            )
        mapping = FileMapping(sheets=tuple(sheets))
        is_open = _tell_open(mapping, metrics)
        if not is_open:
            _show_preview(casebook, upload, mapping)
    return Asked(mapping=mapping, is_open=is_open)


def _tell_open(mapping: FileMapping, metrics: dict[str, Metric]) -> bool:
    """Say what is still to be said, or wrong; True when there is anything."""
    questions = [question for one in mapping.sheets for question in undecided(one)]
    wrong = [
        problem
        for one in mapping.sheets
        for problem in check_mapping(one, metrics)
        if problem.code != "mapping_undecided"
    ]
    if questions:
        st.caption(f"Still open: {count_words(len(questions), 'question')}.")
    for problem in wrong:
        where = f"{plain(problem.column)}: " if problem.column else ""
        st.caption(f":material/error: {where}{plain(problem.message)}")
    if all(one.row_is is RowIs.NOTHING for one in mapping.sheets):
        st.caption(
            "Nothing of this file is imported: no table was recognised in it, or it was left out. "
            "If it holds one, say above what each row is; else take the file away."
        )
        return True
    return bool(questions or wrong)


def _ask_sheet(
    casebook: Casebook,
    upload: UploadedFile,
    place: tuple[str, int],
    proposal: FileProposal,
    metrics: dict[str, Metric],
) -> SheetMapping:
    key, number = place
    proposed = proposal.mapping.sheets[number]
    several = len(proposal.mapping.sheets) > 1
    row_is = st.selectbox(
        f"Sheet {plain(proposed.sheet)}: each row is" if several else "Each row is",
        list(ROWS),
        index=list(ROWS).index(proposed.row_is),
        format_func=ROWS.__getitem__,
        key=f"{key}_rows",
        help="One visit: a column for each metric and side. One side: the side stands in a "
        "column. One value: the metric stands in a column, too. One week, one run: no metrics.",
    )
    if row_is is RowIs.NOTHING:
        return replace(proposed, row_is=RowIs.NOTHING)
    if row_is is not proposed.row_is:
        said = {proposed.sheet: row_is}
        proposal = _kept(
            "proposed", upload, repr(said), lambda path: propose_mapping(casebook, path, said)
        )
        proposed = proposal.mapping.sheets[number]
    seen = proposal.sheets[number]
    if proposal.remembered[number]:
        st.caption(":material/history: Taken as it was settled for a file with the same columns.")
    box = Box(key=f"{key}_{row_is.value}", metrics=metrics, row_is=row_is)
    columns = _ask_columns(box, proposed, seen)
    words = tuple(
        word
        if word.metric != UNDECIDED
        else ask_word(
            replace(box, key=f"{box.key}_w{position}"),
            word,
            next((one.candidates for one in seen.words if one.use.word == word.word), ()),
            next((one.why for one in seen.words if one.use.word == word.word), ""),
        )
        for position, word in enumerate(proposed.words)
    )
    return replace(
        proposed,
        columns=columns,
        words=words,
        dates=_ask_dates(key, proposed, seen),
        summary_rows=_ask_summaries(key, proposed, seen),
        fill_down=_ask_fill(key, seen),
        fixed=_ask_fixed(key, columns, row_is),
    )


def _ask_columns(box: Box, proposed: SheetMapping, seen: SheetProposal) -> tuple[ColumnUse, ...]:
    """The open columns a box each, left and right in one; the others in one table."""
    settled = [one for one in proposed.columns if one.holds != UNDECIDED]
    reopened = _ask_to_change(box, settled) if settled else []
    by_header = {one.use.header.casefold(): one for one in seen.columns}
    asked = [
        by_header[use.header.casefold()]
        for use in proposed.columns
        if (use.holds == UNDECIDED or use.header in reopened) and use.header.casefold() in by_header
    ]
    answers: dict[str, ColumnUse] = {}
    for position, group in enumerate(grouped(asked, apart=reopened)):
        for use in ask_columns(replace(box, key=f"{box.key}_c{position}_{len(group)}"), group):
            answers[use.header] = use
    return tuple(answers.get(use.header, use) for use in proposed.columns)


def _ask_to_change(box: Box, settled: list[ColumnUse]) -> list[str]:
    with st.expander(f"{count_words(len(settled), 'column')} understood: look, or change one"):
        st.table(
            pd.DataFrame(
                {
                    "Column": [plain(one.header) for one in settled],
                    "Holds": [plain(holds_words(one, box.metrics)) for one in settled],
                }
            ),
            border="horizontal",
            hide_index=True,
        )
        return st.multiselect(
            "Change what these hold",
            [one.header for one in settled],
            key=f"{box.key}_change",
            placeholder="Choose columns",
        )


def _ask_dates(key: str, proposed: SheetMapping, seen: SheetProposal) -> Dates:
    if seen.dates.sure and seen.dates.dates is Dates.YEAR_FIRST:
        return Dates.YEAR_FIRST
    options = [Dates.DAY_FIRST, Dates.MONTH_FIRST]
    chosen: Dates | None = st.selectbox(
        "Dates are written",
        options,
        index=options.index(proposed.dates) if proposed.dates in options else None,
        format_func=lambda each: {
            Dates.DAY_FIRST: "day first (31/12/2025)",
            Dates.MONTH_FIRST: "month first (12/31/2025)",
        }[each],
        key=f"{key}_dates",
        placeholder="Please choose",
        help=plain(seen.dates.why),
    )
    return chosen or Dates.UNDECIDED


def _ask_summaries(key: str, proposed: SheetMapping, seen: SheetProposal) -> SummaryRows:
    if not seen.summaries:
        return proposed.summary_rows
    named = ", ".join(f"row {row} '{word}'" for row, word in list(seen.summaries.items())[:4])
    more = f" and {len(seen.summaries) - 4} more" if len(seen.summaries) > 4 else ""
    leave = st.checkbox(
        f"Leave out what sums up other rows: {plain(named)}{more}",
        key=f"{key}_summaries",
        value=proposed.summary_rows is SummaryRows.LEAVE_OUT,
        help="Without it such rows are refused; none is ever taken as a runner.",
    )
    return SummaryRows.LEAVE_OUT if leave else SummaryRows.REFUSE


def _ask_fill(key: str, seen: SheetProposal) -> tuple[str, ...]:
    return tuple(
        name
        for name, number in seen.blanks.items()
        if st.checkbox(
            f"A blank {BLANK_WORDS[name]} means the one above ({count_words(number, 'row')})",
            key=f"{key}_fill_{name}",
        )
    )


def _ask_fixed(
    key: str, columns: tuple[ColumnUse, ...], row_is: RowIs
) -> tuple[tuple[str, str], ...]:
    """A runner or a day for the whole sheet, where no column holds it and none is open."""
    held = {one.holds for one in columns}
    return tuple(
        (name, st.text_input(FIXED_WORDS[name], key=f"{key}_fixed_{name}"))
        for name in fixable(row_is)
        if name not in held and UNDECIDED not in held
    )


def _show_preview(casebook: Casebook, upload: UploadedFile, mapping: FileMapping) -> None:
    found: tuple[Preview, ...] = _kept(
        "preview", upload, repr(mapping), lambda path: preview_mapping(casebook, path, mapping)
    )
    for one in found:
        name = f" of sheet {plain(one.sheet)}" if len(found) > 1 else ""
        st.markdown(f"The first rows{name} as they would be stored:")
        if one.stored:
            st.table(
                pd.DataFrame(
                    {
                        "Row": [each.row for each in one.stored],
                        "Runner": [plain(each.runner) for each in one.stored],
                        "Date": [day_words(each.visited_on) for each in one.stored],
                        "Metric": [
                            plain(each.metric) + (f", {each.side}" if each.side != "none" else "")
                            for each in one.stored
                        ],
                        "Value": [
                            plain(f"{each.value} {unit_words(each.unit)}") for each in one.stored
                        ],
                    }
                ).head(MOST_SHOWN),
                border="horizontal",
                hide_index=True,
            )
        if one.records:
            held = [
                name
                for name in one.records[0][1]
                if any(cells[name] is not None for _, cells in one.records)
            ]
            rows = [
                {"Row": line} | {HOLDS_WORDS[name]: _cell_words(cells[name]) for name in held}
                for line, cells in one.records[:MOST_SHOWN]
            ]
            with st.container(key=f"weeks_table_preview_{one.sheet}"):
                st.table(pd.DataFrame(rows), border="horizontal", hide_index=True)
        for problem in one.problems[:3]:
            st.caption(f":material/error: {plain(str(problem))}")
        if not one.stored and not one.records and not one.problems:
            st.caption("No values in these rows.")


def _cell_words(cell: Cell) -> str:
    if isinstance(cell, date):
        return day_words(cell)
    return plain(f"{cell:g}" if isinstance(cell, float) else "" if cell is None else str(cell))
