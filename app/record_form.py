"""The form that amends or strikes out what is known of a runner beside visits."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from enum import StrEnum

import streamlit as st

from app import state
from app.messages import calmly, day_words, plain
from app.typed_boxes import Boxes
from app.words import code_words
from casebook.domain.cautions import FINDINGS, Finding
from casebook.domain.history import Subject
from casebook.domain.history_words import SUBJECTS, column_label
from casebook.services.amending_records import (
    STRUCK_OUT,
    StoredRecord,
    amend_record,
    column_type,
    list_records,
    may_be_empty,
    strike_out_record,
)
from casebook.services.keeping import Casebook

LONGEST_REASON = 2000


def show_record_form(casebook: Casebook, runner: str) -> None:
    """Amend the runner's data, a complaint, consent, finding, programme or a part of one."""
    with st.expander("Amend what is known of the runner", icon=":material/edit:"):
        stored = {(one.subject, one.record_id): one for one in list_records(casebook, runner)}
        chosen = st.selectbox(
            "What",
            list(stored),
            key=f"amend_what_{runner}",
            format_func=lambda key: _named(stored[key]),
        )
        if chosen is not None:
            _form(casebook, runner, stored[chosen])


def _named(record: StoredRecord) -> str:
    columns = record.columns
    told = [
        columns.get(name)
        for name in ("title", "region", "pathology", "purpose", "exercise", "what", "week_start")
    ]
    days = [columns.get(name) for name in ("onset_on", "given_on", "started_on")]
    told += [FINDINGS[one] if isinstance(one, Finding) else one for one in record.about.values()]
    parts = [_text(one) for one in (*told, *days) if one not in (None, "")]
    words = SUBJECTS[record.subject]
    return f"{words}: {', '.join(parts)}" if parts else words


def _text(content: object) -> str:
    if isinstance(content, StrEnum):
        return code_words(content)
    return day_words(content) if isinstance(content, date) else str(content)


def _form(casebook: Casebook, runner: str, record: StoredRecord) -> None:
    key = f"record_{runner}_{record.subject.value}_{record.record_id}"
    # What the boxes start from is what was shown, whatever somebody else saves meanwhile.
    shown: Mapping[str, object] = st.session_state.setdefault(f"{key}_shown", record.columns)
    boxes = Boxes()
    with st.form(key, border=False):
        given = {
            name: _box(boxes, record.subject, name, content, f"{key}_{name}")
            for name, content in shown.items()
        }
        reason = st.text_area("Reason", key=f"{key}_reason", height=80, max_chars=LONGEST_REASON)
        with st.container(horizontal=True):
            amended = st.form_submit_button("Save the amendment", type="primary")
            struck = record.subject in STRUCK_OUT and st.form_submit_button("Strike it out")
    if not (amended or struck):
        return
    for wrong in _wrong(boxes if amended else Boxes(), reason):
        st.error(plain(wrong))
        return
    with calmly():
        place = (record.subject, record.record_id)
        if amended:
            changed = {name: new for name, new in given.items() if new != shown[name]}
            was = {name: shown[name] for name in changed}
            amend_record(casebook, runner, place, changed, shown=was, reason=reason, by=state.who())
        else:
            strike_out_record(casebook, runner, place, reason=reason, by=state.who())
        for name in [name for name in st.session_state if str(name).startswith(key)]:
            del st.session_state[name]
        state.leave_notice("Amended." if amended else "Struck out; the history keeps it.")
        _follow(runner, record, given if amended else {})
        st.rerun()


def _follow(runner: str, record: StoredRecord, given: Mapping[str, object]) -> None:
    """A runner whose code was amended is shown under the new one."""
    code = given.get("code") if record.subject is Subject.RUNNER else None
    if code and code != runner:
        state.remember_runner(str(code))
        st.query_params["runner"] = str(code)


def _wrong(boxes: Boxes, reason: str) -> list[str]:
    if boxes.problems:
        return ["; ".join(boxes.problems)]
    if not state.who():
        return ["Say first who you are, so that the history can tell who did it."]
    if not reason.strip():
        return ["Give a reason: it stands in the history for whoever reads it later."]
    return []


def _box(boxes: Boxes, subject: Subject, name: str, start: object, key: str) -> object:
    label = column_label(name)
    kind, needed = column_type(subject, name), not may_be_empty(subject, name)
    if issubclass(kind, StrEnum):
        codes = list(kind)
        at = codes.index(start) if isinstance(start, kind) else None
        return st.selectbox(label, codes, index=at, format_func=code_words, key=key)
    if kind is bool:
        return st.selectbox(
            label,
            [True, False],
            index=None if start is None else [True, False].index(bool(start)),
            format_func={True: "yes", False: "no"}.__getitem__,
            key=key,
        )
    if kind is date:
        day = start if isinstance(start, date) else None
        typed = boxes.day(st.container(), label, key=key, start=day)
        if needed and typed.value is None and not typed.problem:
            boxes.problems.append(f"{label}: it is blank; type a day.")
        return typed.value
    if kind in (int, float):
        number = start if isinstance(start, int | float) else None
        read = boxes.number(
            st.container(), label, key=key, start=number, required=needed, whole=kind is int
        )
        return read if read is None else kind(read)
    st.session_state.setdefault(key, str(start or ""))
    return st.text_input(label, key=key).strip()
