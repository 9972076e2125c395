"""Import: look at what files would bring before anything is stored."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from app import sidebar, state
from app.decisions_form import ask_decisions, joined
from app.imports_shown import show_imports
from app.mapping_form import Asked, ask_mapping, forget_proposals
from app.messages import count_words, plain
from casebook.domain.decisions import ASKED_CODES, Decisions
from casebook.domain.errors import Problem
from casebook.intake.columns import describe_tables
from casebook.intake.mapping import FileMapping
from casebook.services.importing import FileReport, ImportReport, import_files
from casebook.services.mapping import remember_mapping

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

MOST_PROBLEMS_SHOWN = 200
CHECKED = "import_checked"
DECIDED = "import_decided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """How the files are to be imported; `mappings` has one entry for each upload."""

    mappings: tuple[FileMapping | None, ...] = ()
    day_first: bool = False
    known_only: bool = False
    remember: bool = False
    decisions: Decisions = field(default_factory=Decisions)


def show() -> None:
    """The page."""
    st.title("Import")
    state.show_notice()
    st.markdown(
        "Bring in visits, runners, complaints, programmes and more, from CSV files and from "
        "workbooks (.xlsx). Where columns have names of their own, you say once what they hold. "
        "All files of one import are stored together, or none of them."
    )
    with st.expander("Tables and columns that are known by name", icon=":material/table:"):
        _show_tables()
    uploads = st.file_uploader(
        "CSV files and workbooks",
        type=["csv", "txt", "xlsx", "xlsm"],
        accept_multiple_files=True,
        key="import_uploads",
    )
    first, second = st.columns(2)
    day_first = first.checkbox(
        "Dates are written day first (31/12/2025)",
        key="import_day_first",
        help="Dates as 2025-12-31 are read in any case.",
    )
    known_only = second.checkbox(
        "Refuse runners who are not registered yet",
        key="import_known_only",
        help="Otherwise a new runner code in a visit table registers that runner, and the "
        "report names them.",
    )
    if uploads:
        _show_files(uploads, day_first=day_first, known_only=known_only)
    show_imports()


def _show_tables() -> None:
    """Every table and column, as the help of the command tells them."""
    first, *tables = describe_tables().split("\n\n")
    st.markdown(plain(first))
    for table in tables:
        name, *columns = table.splitlines()
        listed = "\n".join(f"- {plain(column.strip())}" for column in columns)
        st.markdown(f"**{plain(name)}**\n\n{listed}")


def _show_files(uploads: list[UploadedFile], *, day_first: bool, known_only: bool) -> None:
    asked = [ask_mapping(state.opened_casebook(), upload) for upload in uploads]
    remember = _ask_to_remember(asked)
    choices = Choices(
        mappings=tuple(one.mapping for one in asked),
        day_first=day_first,
        known_only=known_only,
        remember=remember,
    )
    mark = _mark(uploads, choices)
    choices = replace(choices, decisions=_decided(mark))
    if st.button(
        "Check the files",
        key="import_check",
        icon=":material/fact_check:",
        disabled=any(one.is_open for one in asked),
    ):
        report = _run(uploads, choices, dry_run=True)
        st.session_state[CHECKED] = (mark, report)
    checked = st.session_state.get(CHECKED)
    if checked is None or checked[0] != mark:
        st.caption("Checking stores nothing. After it, the files can be imported.")
        return
    _show_report(checked[1], dry_run=True)
    if checked[1].ok:
        _offer_import(uploads, choices)
    elif checked[1].questions:
        _offer_to_decide(uploads, choices, checked)


def _decided(mark: str) -> Decisions:
    kept = st.session_state.get(DECIDED)
    return kept[1] if kept is not None and kept[0] == mark else Decisions()


def _offer_to_decide(
    uploads: list[UploadedFile], choices: Choices, checked: tuple[str, ImportReport]
) -> None:
    mark, report = checked
    more = ask_decisions(report)
    if more is None:
        return
    choices = replace(choices, decisions=joined(choices.decisions, more))
    st.session_state[DECIDED] = (mark, choices.decisions)
    st.session_state[CHECKED] = (mark, _run(uploads, choices, dry_run=True))
    st.rerun()


def _ask_to_remember(asked: list[Asked]) -> bool:
    return any(one.mapping for one in asked) and st.checkbox(
        "Remember this for files with the same columns", value=True, key="import_remember"
    )


def _offer_import(uploads: list[UploadedFile], choices: Choices) -> None:
    if not state.who():
        sidebar.choose_user(state.opened_casebook(), place="import")
        if not state.who():
            st.caption("Say first who you are, so that the import carries your name.")
    if not st.button(
        "Import",
        type="primary",
        key="import_run",
        icon=":material/upload_file:",
        disabled=not state.who(),
    ):
        return
    report = _run(uploads, choices, dry_run=False)
    st.session_state.pop(CHECKED, None)
    if report.ok and choices.remember:
        _remember(uploads, choices)
    _show_report(report, dry_run=False)


def _remember(uploads: list[UploadedFile], choices: Choices) -> None:
    for upload, mapping in zip(uploads, choices.mappings, strict=True):
        if mapping is not None:
            remember_mapping(
                state.opened_casebook(), mapping, name=Path(upload.name).name, by=state.who()
            )
    forget_proposals()


def _mark(uploads: list[UploadedFile], choices: Choices) -> str:
    sums = [(one.name, hashlib.sha256(one.getvalue()).hexdigest()) for one in uploads]
    return repr((sums, replace(choices, remember=False)))


def _run(uploads: list[UploadedFile], choices: Choices, *, dry_run: bool) -> ImportReport:
    bar = st.progress(0.0, text="Reading …")

    def told(done: int, whole: int, words: str) -> None:
        bar.progress(min(1.0, done / whole) if whole else 0.0, text=words)

    try:
        with _on_disk(uploads) as paths:
            return import_files(
                state.opened_casebook(),
                paths,
                mappings={
                    path: mapping
                    for path, mapping in zip(paths, choices.mappings, strict=True)
                    if mapping is not None
                },
                decisions=choices.decisions,
                dry_run=dry_run,
                day_first=choices.day_first,
                known_runners_only=choices.known_only,
                by=state.who(),
                progress=told,
            )
    finally:
        bar.empty()


@contextmanager
def _on_disk(uploads: list[UploadedFile]) -> Iterator[list[Path]]:
    with TemporaryDirectory(prefix="casebook-import-") as place:
        paths = []
        for number, upload in enumerate(uploads):
            # A folder each: two files of one name stay apart, and keep the name for the report.
            folder = Path(place) / str(number)
            folder.mkdir()
            path = folder / Path(upload.name).name
            path.write_bytes(upload.getvalue())
            paths.append(path)
        yield paths


def _show_report(report: ImportReport, *, dry_run: bool) -> None:
    if not report.ok:
        _show_refused(report)
        return
    if report.warnings:
        asked = len(report.warnings) + report.more_warnings
        with st.container(border=True):
            st.warning(
                f"**To look at again: {count_words(asked, 'entry', 'entries')}**, taken as given "
                "by the import. A slipped decimal sign or another unit would be stored like this.",
                icon=":material/visibility:",
            )
            _show_problems(report.warnings, asked, "What to look at")
    would = "would be " if dry_run else ""
    words = (
        f"{count_words(report.read, 'entry', 'entries')} read: {report.added} {would}added, "
        f"{report.unchanged} stored already and unchanged"
        + (f", {report.left_out} left out as you decided." if report.left_out else ".")
    )
    (st.info if dry_run else st.success)(
        f"{'Checked, nothing stored yet. ' if dry_run else 'Imported. '}{words}",
        icon=":material/fact_check:" if dry_run else ":material/check_circle:",
    )
    if report.run_id is not None and not report.added and not report.new_runners:
        st.markdown("What stored visits had left open was filled in.")
    if report.new_runners:
        named = ", ".join(plain(code) for code in report.new_runners)
        st.markdown(f"New runners that {'would be' if dry_run else 'were'} registered: {named}")
    st.table(
        pd.DataFrame([_file_line(one) for one in report.files]),
        border="horizontal",
        hide_index=True,
        alt="What each file brought",
    )


def _show_refused(report: ImportReport) -> None:
    asked = len(report.questions) + report.more_questions
    wrong = tuple(one for one in report.problems if one.code not in ASKED_CODES)
    found = len(wrong) + (report.more_problems if not report.questions else 0)
    if not asked:
        wrong, found = report.problems, len(report.problems) + report.more_problems
    if found:
        st.error(
            f"{count_words(found, 'problem')} found; nothing was stored. Mend the files and "
            "check them again.",
            icon=":material/block:",
        )
        _show_problems(wrong, found, "What is wrong")
    if asked:
        st.warning(
            f"{count_words(asked, 'question')} to be decided; nothing is stored yet.",
            icon=":material/help:",
        )


def _file_line(file: FileReport) -> dict[str, str | int]:
    return {
        "File": plain(Path(file.file).name),
        "Table": file.table,
        "Read": file.read,
        "Added": file.added,
        "Unchanged": file.unchanged,
        "Left out": file.left_out,
        "Blank": file.blank,
    }


def _show_problems(problems: tuple[Problem, ...], found: int, what: str) -> None:
    """A table that breaks its sentences over lines, so that none is cut off."""
    shown = problems[:MOST_PROBLEMS_SHOWN]
    st.table(
        pd.DataFrame(
            {
                "Where": [plain(_where(problem)) for problem in shown],
                "Value": [plain(problem.value) for problem in shown],
                what: [plain(problem.message) for problem in shown],
            }
        ),
        border="horizontal",
        hide_index=True,
        alt=what,
    )
    if found > len(shown):
        st.caption(f"The first {len(shown)} of {found}.")


def _where(problem: Problem) -> str:
    parts = [Path(problem.file).name if problem.file else ""]
    parts.append(f"row {problem.row}" if problem.row is not None else "")
    parts.append(problem.column)
    return ", ".join(part for part in parts if part)


show()
