"""The pages by name, so that one page can lead to another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import streamlit as st
from streamlit.navigation.page import StreamlitPage

PageName = Literal[
    "caseload",
    "runner",
    "programme",
    "hypotheses",
    "injuries",
    "history",
    "summary",
    "log_visit",
    "marks",
    "measurement_sets",
    "exercises",
    "catalogue",
    "repeatability",
    "plan",
    "import_files",
    "audit",
    "audit_report",
    "export",
]


@dataclass(frozen=True, slots=True)
class _Place:
    title: str
    icon: str
    url: str


PAGES: dict[PageName, _Place] = {
    "caseload": _Place("Caseload", ":material/groups:", "caseload"),
    "runner": _Place("Runner", ":material/directions_run:", "runner"),
    "programme": _Place("Programmes", ":material/assignment:", "programme"),
    "hypotheses": _Place("Hypotheses", ":material/psychology:", "hypotheses"),
    "injuries": _Place("Complaints", ":material/healing:", "complaints"),
    "history": _Place("History", ":material/history:", "history"),
    "summary": _Place("Summary", ":material/summarize:", "summary"),
    "log_visit": _Place("Log a visit", ":material/edit_note:", "log"),
    "marks": _Place("Marked points", ":material/frame_person:", "marks"),
    "measurement_sets": _Place("Measurement sets", ":material/checklist:", "sets"),
    "exercises": _Place("Exercises", ":material/fitness_center:", "exercises"),
    "catalogue": _Place("Catalogue", ":material/straighten:", "catalogue"),
    "repeatability": _Place("Repeatability", ":material/repeat:", "repeatability"),
    "plan": _Place("Plan measurement", ":material/event_repeat:", "plan"),
    "import_files": _Place("Import", ":material/upload_file:", "import"),
    "audit": _Place("Audit", ":material/bar_chart:", "audit"),
    "audit_report": _Place("Audit report", ":material/article:", "audit-report"),
    "export": _Place("Export", ":material/ios_share:", "export"),
}


# As the sidebar groups them, in the order in which a day needs them.
GROUPS: dict[str, tuple[PageName, ...]] = {
    "The day": ("caseload", "log_visit"),
    "One runner": ("runner", "injuries", "programme", "hypotheses", "summary", "history"),
    "Measuring": ("marks", "measurement_sets", "catalogue", "repeatability", "plan"),
    "The clinic": ("exercises", "import_files", "audit", "audit_report", "export"),
}


def page(name: PageName) -> StreamlitPage:
    """The page of a name."""
    place = PAGES[name]
    return st.Page(
        f"screens/{name}.py",
        title=place.title,
        icon=place.icon,
        url_path=place.url,
        default=name == "caseload",
    )


def go(name: PageName, **query: str) -> None:
    """Go to a page at once; `query` stands in its address, so that it can be linked to."""
    st.switch_page(page(name), query_params=query)


def link(name: PageName, words: str, *, icon: str | None = None, **query: str) -> None:
    """A link to a page."""
    st.page_link(page(name), label=words, icon=icon, query_params=query)
