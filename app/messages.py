"""What the pages say in words: cautions, refusals, and text that is shown as it was typed."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date

import streamlit as st

from casebook.domain.errors import CasebookError, InputRefused, NotFound, StoreUnavailable
from casebook.domain.wording import CAUTION

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
    return f"{day.day} {day:%b %Y}" if day else "–"


def count_words(n: int, one: str, many: str = "") -> str:
    """A number with its noun."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def show_caution() -> None:
    """The caution that stands wherever a verdict or a flag is shown."""
    with st.container(border=True, key="caution"):
        st.caption(f":material/info: {CAUTION}")


def show_refusal(refusal: CasebookError) -> None:
    """A refusal in its own words, every problem on a line of its own."""
    lines = (
        [str(problem) for problem in refusal.problems]
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
