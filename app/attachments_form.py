"""What is attached to a visit: shown small, opened, saved, captioned, struck out, added to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

import streamlit as st

from app import sidebar, state
from app.messages import count_words, day_words, plain, problem_words
from casebook.domain.errors import CasebookError, InputRefused, StoreUnavailable
from casebook.services.attaching import (
    Attachment,
    AttachReport,
    GivenFile,
    amend_caption,
    attach_files,
    list_attachments,
    read_attachment,
    strike_out_attachment,
    thumbnail,
)
from casebook.services.keeping import Casebook

CARD_PIXELS = 288
MEGABYTES = 20
TAKEN = ["png", "jpg", "jpeg", "pdf"]
KINDS = {"png": "PNG picture", "jpeg": "JPEG picture", "pdf": "PDF document"}


def show_attachments_of_runner(
    casebook: Casebook, code: str, visits: Sequence[tuple[date, int]]
) -> None:
    """The attachments of a runner, visit by visit, folded away until they are wanted.

    Parameters
    ----------
    visits : sequence of (date, int)
        Day and session of each stored visit, oldest first; at least one.
    """
    found = list_attachments(casebook, code)
    held = {(one.visited_on, one.session) for one in found}
    newest_first = list(reversed(visits))
    first = next((place for place, visit in enumerate(newest_first) if visit in held), 0)
    label = f"Pictures and documents ({len(found)})" if found else "Pictures and documents"
    with st.expander(label, icon=":material/photo_library:", key=f"attachments_{code}"):
        chosen = st.selectbox(
            "Of the visit",
            newest_first,
            index=first,
            key=f"attachments_visit_{code}",
            format_func=lambda visit: _visit_words(visit, found),
        )
        if chosen is not None:
            show_attachments(casebook, code, *chosen)


def _visit_words(visit: tuple[date, int], found: Sequence[Attachment]) -> str:
    day, session = visit
    number = sum((one.visited_on, one.session) == visit for one in found)
    later = f", session {session}" if session > 1 else ""
    return f"{day_words(day)}{later}: {count_words(number, 'file') if number else 'none'}"


def show_attachments(casebook: Casebook, runner_code: str, visited_on: date, session: int) -> None:
    """What is attached to one stored visit, and the form that attaches more."""
    place = f"{runner_code}_{visited_on}_{session}"
    _show_report(place)
    found = list_attachments(casebook, runner_code, visited_on, session=session)
    if found:
        with st.container(horizontal=True, key=f"cards_{place}"):
            for one in found:
                _card(casebook, one)
    else:
        st.caption("Nothing is attached to this visit.")
    _form(casebook, runner_code, visited_on, session, place)


def _card(casebook: Casebook, one: Attachment) -> None:
    key = f"{one.attachment_id}_{one.sha256[:12]}"
    with st.container(border=True, width=CARD_PIXELS, key=f"card_{key}"):
        _picture(casebook, one)
        st.markdown(f"**{plain(one.caption)}**" if one.caption else ":gray[No caption]")
        by = f" by {plain(one.added_by)}" if one.added_by else ""
        st.caption(f"{plain(one.name)}  \n{KINDS[one.kind]}, {_size_words(one.n_bytes)}, added{by}")
        with st.container(horizontal=True, gap="xsmall"):
            if one.is_picture and st.button("View", key=f"view_{key}", help="Show it large."):
                _show_large(casebook, one)
            st.download_button(
                "Save",
                data=lambda: read_attachment(casebook, one.attachment_id)[1],
                file_name=one.file_name,
                mime=one.media_type,
                key=f"save_{key}",
                on_click="ignore",
                help="Save a copy of it on this computer.",
            )
            with st.popover("Change", key=f"change_{key}"):
                _change(casebook, one, key)


def _size_words(n_bytes: int) -> str:
    return f"{n_bytes / 1024**2:.1f} MB" if n_bytes >= 1024**2 else f"{max(1, n_bytes // 1024)} kB"


def _picture(casebook: Casebook, one: Attachment) -> None:
    if not one.is_picture:
        st.markdown(":material/description: **PDF**")
        return
    try:
        st.image(
            _thumbnail(casebook, one, one.sha256), width="stretch", alt=one.caption or one.name
        )
    except StoreUnavailable as why:
        st.warning(plain(str(why)), icon=":material/broken_image:")
    except InputRefused:
        st.warning("This picture cannot be drawn small.", icon=":material/broken_image:")


@st.cache_data(show_spinner=False, max_entries=500)
def _thumbnail(_casebook: Casebook, _one: Attachment, sha256: str) -> bytes:  # noqa: ARG001
    """Made once: a hash stands for one content for ever."""
    return thumbnail(_casebook, _one) or b""


@st.dialog("Picture", width="large")
def _show_large(casebook: Casebook, one: Attachment) -> None:
    try:
        _, content = read_attachment(casebook, one.attachment_id)
    except CasebookError as why:
        st.warning(plain(str(why)))
        return
    st.image(content, width="stretch", alt=one.caption or one.name)
    st.markdown(plain(one.caption or one.name))


def _change(casebook: Casebook, one: Attachment, key: str) -> None:
    if not state.who():
        st.caption("Say first who you are, at the side or below.")
        return
    caption = st.text_input("Caption", value=one.caption, key=f"caption_{key}")
    reason = st.text_input(
        "Why is it changed or struck out?",
        key=f"reason_{key}",
        help="Asked for whenever something stored is changed. The history keeps it.",
    )
    first, second = st.columns(2)
    if first.button("Save caption", key=f"amend_{key}"):
        _try(lambda: amend_caption(casebook, one, caption, reason=reason, by=state.who()))
    if second.button("Strike out", key=f"strike_{key}", icon=":material/delete:"):
        _try(lambda: strike_out_attachment(casebook, one, reason=reason, by=state.who()))
    st.caption("What is struck out leaves the visit. The history and the file are kept.")


def _try(act: Callable[[], None]) -> None:
    try:
        act()
    except CasebookError as why:
        st.error(_refusal_words(why), icon=":material/block:")
        return
    st.rerun()


def _refusal_words(why: CasebookError) -> str:
    if isinstance(why, InputRefused):
        return "  \n".join(plain(problem_words(problem)) for problem in why.problems)
    return plain(str(why))


def _form(casebook: Casebook, runner_code: str, visited_on: date, session: int, place: str) -> None:
    if not state.who():
        sidebar.choose_user(casebook, place="attachments")
        if not state.who():
            st.caption("Say first who you are, so that what is attached carries your name.")
            return
    with st.form(f"attach_{place}", clear_on_submit=True):
        uploads = st.file_uploader(
            "Attach still frames and documents",
            type=TAKEN,
            accept_multiple_files=True,
            max_upload_size=MEGABYTES,
            key=f"uploads_{place}",
            help="PNG, JPEG or PDF, each up to 20 MB. Place, time, device and author that a "
            "camera or program wrote into the file are removed and not kept.",
        )
        caption = st.text_input(
            "What do they show? (optional)",
            key=f"attach_caption_{place}",
            placeholder="for example: midstance, left, from behind",
        )
        sent = st.form_submit_button("Attach", icon=":material/attach_file:")
    if not sent:
        return
    if not uploads:
        st.info("Choose one or more files first.", icon=":material/attach_file:")
        return
    given = [GivenFile(name=one.name, content=one.getvalue(), caption=caption) for one in uploads]
    try:
        report = attach_files(
            casebook, runner_code, visited_on, given, session=session, by=state.who()
        )
    except CasebookError as why:
        st.error(_refusal_words(why), icon=":material/block:")
        return
    st.session_state[_report_key(place)] = report
    st.rerun()


def _report_key(place: str) -> str:
    return f"attach_report_{place}"


def _show_report(place: str) -> None:
    """What became of the files that were given last, once."""
    report: AttachReport | None = st.session_state.pop(_report_key(place), None)
    if report is None:
        return
    if report.attached:
        st.success(
            f"{count_words(len(report.attached), 'file')} attached.", icon=":material/check_circle:"
        )
    if report.unchanged:
        names = ", ".join(plain(name) for name in report.unchanged)
        st.info(f"Attached already: {names}", icon=":material/info:")
    for problem in report.problems:
        st.error(plain(str(problem)), icon=":material/block:")
    for words in report.told:
        st.caption(f":material/info: {plain(words)}")
