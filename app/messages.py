"""What the pages say in words: cautions, refusals, and text that is shown as it was typed."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date

import streamlit as st

from casebook.domain import date_words
from casebook.domain.errors import (
    CasebookError,
    InputRefused,
    NotFound,
    Problem,
    StoreUnavailable,
)
from casebook.domain.wording import CAUTION, upper_first

logger = logging.getLogger("casebook.app")

_MARKDOWN = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|~$:])")

UNEXPECTED = (
    "Something went wrong that casebook did not expect. Nothing more was stored by this step; "
    "what was stored before is safe. The details are in the log: pass them on to whoever looks "
    "after casebook, then load this page again."
)


def plain(text: str) -> str:
    """A text from outside as it stands, with nothing in it taken for formatting."""
    return _MARKDOWN.sub(r"\\\1", text.replace("\n", " "))


def day_words(day: date | None) -> str:
    """A date as a person writes it."""
    return date_words.day_words(day) if day else "–"


def count_words(n: int, one: str, many: str = "") -> str:
    """A number with its noun."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def show_caution() -> None:
    """The caution that stands wherever a verdict or a flag is shown."""
    with st.container(border=True, key="caution"):
        st.caption(f":material/info: {CAUTION}")


# What stands over the box on the page, for what a message calls by its column in files.
LABELS = {
    "runner": "code",
    "user": "code",
    "by": "user",
    "birth_year": "birth year",
    "key": "key in files",
    "sign_convention": "sign convention",
    "plausible_low": "plausible from",
    "plausible_high": "plausible to",
    "target_low": "better range, from",
    "target_high": "better range, to",
    "usual_trials": "usual trials a side",
    "important_change": "smallest change that matters",
    "asymmetry_form": "how the sides are compared",
    "onset_on": "began on",
    "visit_date": "date of the visit",
    "next_due_on": "next visit due",
    "speed_km_h": "speed",
    "incline_pct": "incline",
    "frames_per_s": "frames a second",
    "pain_today": "pain today",
    "sem_trials": "number of trials",
    "within_sd": "SD within a session",
    "between_sd": "SD from session to session",
    "grade_step": "step of repeat grading",
    "dose_source": "who says so",
    "hold_s": "hold",
    "sessions_per_week": "sessions a week",
}
_COLUMNS = re.compile(rf"(?<![\w'])({'|'.join(LABELS)})(?=\s+(?:is|needs|must)\b)")


def problem_words(problem: Problem) -> str:
    """A problem as it reads beside a form: by the labels of its boxes."""
    if problem.file:
        return str(problem)
    words = _COLUMNS.sub(lambda found: LABELS[found[0]], problem.message)
    return upper_first(words)


def show_refusal(refusal: CasebookError) -> None:
    """A refusal in its own words, every problem on a line of its own."""
    lines = (
        [problem_words(problem) for problem in refusal.problems]
        if isinstance(refusal, InputRefused)
        else str(refusal).splitlines()
    )
    words = "\n".join(f"- {plain(line)}" for line in lines) if len(lines) > 1 else plain(lines[0])
    if isinstance(refusal, StoreUnavailable):
        st.warning(
            f"**The casebook cannot be opened**\n\n{words}\n\nA new, empty one is made by the "
            "command `casebook init`; the invented demo data by `casebook demo`. "
            "Then load this page again.",
            icon=":material/inventory_2:",
        )
    elif isinstance(refusal, NotFound):
        st.info(words, icon=":material/search_off:")
    else:
        st.error(words, icon=":material/block:")


@contextmanager
def calmly() -> Iterator[None]:
    """Show a refusal in its own words; log anything else and say one calm sentence."""
    try:
        yield
    except CasebookError as refusal:
        show_refusal(refusal)
    except Exception:
        logger.exception("A page failed")
        st.error(UNEXPECTED, icon=":material/error:")
