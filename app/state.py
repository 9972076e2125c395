"""What a session remembers, and the one place where the casebook is opened for the pages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import streamlit as st

from casebook.charts.palette import Palette, palette_for
from casebook.domain.metrics import Metric
from casebook.domain.people import User
from casebook.services.cohort import LoadedCohort, cohort_stamp, load_cohort
from casebook.services.keeping import Casebook, open_casebook, resolve_url
from casebook.services.norming import Norms, clinic_norms, norms_stamp
from casebook.services.registering import list_users
from casebook.services.repeating import Study, study_from_casebook
from casebook.services.standings import StandingMemo


class Key(StrEnum):
    """Keys of the session's memory; nothing else is kept under a bare text."""

    USER = "casebook_user"
    NOTICE = "casebook_notice"
    RUNNER = "casebook_runner"
    DRAFTS = "casebook_drafts"
    AT = "casebook_at"
    AUDIT = "casebook_audit"
    EXPORT = "casebook_export"
    EXPORT_MADE = "casebook_export_made"


@dataclass(frozen=True, slots=True)
class _Opened:
    casebook: Casebook
    file: tuple[int, int] | None


def opened_casebook() -> Casebook:
    """The casebook that this app was started for.

    One engine serves all sessions. It is opened again when its file was replaced, since an
    open file that was moved away would go on taking visits that nobody finds again.
    """
    return _open(resolve_url(None)).casebook


def _file_behind(casebook: Casebook) -> tuple[int, int] | None:
    try:
        facts = Path(casebook.place).stat()
    except OSError:
        return None
    return facts.st_dev, facts.st_ino


def _same_file(opened: _Opened) -> bool:
    return _file_behind(opened.casebook) == opened.file


@st.cache_resource(
    show_spinner=False, validate=_same_file, on_release=lambda opened: opened.casebook.close()
)
def _open(url: str) -> _Opened:
    casebook = open_casebook(url)
    return _Opened(casebook=casebook, file=_file_behind(casebook))


@st.cache_resource(show_spinner=False, max_entries=4)
def standing_memo(url: str) -> StandingMemo:  # noqa: ARG001
    """What was judged of a casebook's runners, each with the revision that it was judged at.

    It can't go stale: a runner whose revision moved, or whose error figures changed, is
    judged again.
    """
    return StandingMemo()


def clinic_baselines(casebook: Casebook) -> Norms:
    """Where the clinic's runners started from, as the store stands now."""
    return _clinic_baselines(casebook, casebook.url, norms_stamp(casebook))


@st.cache_resource(show_spinner="Gathering where the clinic's runners started …", max_entries=4)
def _clinic_baselines(_casebook: Casebook, url: str, stamp: tuple[int, ...]) -> Norms:  # noqa: ARG001
    return clinic_norms(_casebook)


def cohort(casebook: Casebook) -> LoadedCohort:
    """The whole clinic as audits ask of it, as the store stands now."""
    return _cohort(casebook, casebook.url, cohort_stamp(casebook))


@st.cache_resource(
    show_spinner="Judging every visit of the clinic. With thousands of runners that takes some "
    "seconds; it is done again only when something was stored …",
    max_entries=2,
)
def _cohort(_casebook: Casebook, url: str, stamp: tuple[int | str, ...]) -> LoadedCohort:  # noqa: ARG001
    return load_cohort(_casebook)


@st.cache_resource(show_spinner="Analysing the repeat visits …", max_entries=64)
def study_of(url: str, metric: Metric, stamp: tuple[int, ...]) -> Study:  # noqa: ARG001
    """The study of a metric's repeat visits; `stamp` moves whenever they hold more."""
    return study_from_casebook(_open(url).casebook, metric.key)


def palette() -> Palette:
    """The colours of the appearance that this browser shows."""
    return palette_for(st.context.theme.type)


def who() -> str:
    """Code of the user who works at this screen; empty until somebody says so."""
    return str(st.session_state.get(Key.USER) or "")


def remember_user(code: str | None) -> None:
    """Take it that this user works at this screen from now on."""
    st.session_state[Key.USER] = code or ""


def remember_runner(code: str) -> None:
    """The runner that was opened last; the page Runner shows this one unless told another."""
    st.session_state[Key.RUNNER] = code


def last_runner() -> str:
    """Code of the runner that was opened last in this session, or empty."""
    return str(st.session_state.get(Key.RUNNER) or "")


def users(casebook: Casebook) -> tuple[User, ...]:
    """Active users."""
    return tuple(user for user in list_users(casebook) if user.active)


def bring_back(place: Key, *, page: str) -> None:
    """Fill boxes as they were when their page was left, or as they are on the page before.

    A page's boxes are dropped with it. Those of another page under the same key are still there
    for one run: without being said again they would be blank. To be called before the boxes are
    drawn.
    """
    arrived = st.session_state.get(Key.AT) != page
    st.session_state[Key.AT] = page
    for name, value in st.session_state.get(place, {}).items():
        if name not in st.session_state:
            st.session_state[name] = value
        elif arrived:
            st.session_state[name] = st.session_state[name]


def keep(place: Key, names: Iterable[str]) -> None:
    """Remember what stands in boxes, by their keys, for `bring_back`."""
    held = {name: st.session_state[name] for name in names if name in st.session_state}
    st.session_state[place] = st.session_state.get(place, {}) | held


def choose_first(key: str, offered: Sequence[object]) -> None:
    """Let a box stand at the first that it offers, unless it stands at another of these."""
    if st.session_state.get(key) not in offered:
        st.session_state[key] = offered[0]


def leave_notice(words: str) -> None:
    """A sentence to be shown once on the next page."""
    st.session_state[Key.NOTICE] = words


def show_notice() -> None:
    """The sentence that the page before left, once."""
    words = st.session_state.pop(Key.NOTICE, "")
    if words:
        st.success(words, icon=":material/check_circle:")
        # The page may stand scrolled to where its button was: the notice is told there too.
        st.toast(words, icon=":material/check_circle:")
