"""What an import asks: side by side, with the choices below."""

from __future__ import annotations

import hashlib
from collections import Counter

import streamlit as st

from app.messages import count_words, plain
from casebook.domain.decisions import (
    ASKS_WORDS,
    FOR_ALL,
    Asks,
    Choice,
    Decision,
    Decisions,
    Question,
    choice_words,
)
from casebook.services.importing import ImportReport

# On one page; the answers to these bring the next ones, or one answer settles all of a kind.
MOST_SHOWN = 30
# From so many of a kind on, one answer for all of them is offered.
MANY = 4


def ask_decisions(report: ImportReport) -> Decisions | None:
    """Show the questions of a report; the decisions when they are sent, else None."""
    shown = report.questions[:MOST_SHOWN]
    whole = len(report.questions) + report.more_questions
    st.subheader("Only you can decide")
    st.markdown(
        f"{count_words(whole, 'question')} about what the files say twice, otherwise than what is "
        "stored, what was struck out by hand, or of a runner who may be one you have already. "
        "Nothing is settled in silence: what you leave open is asked again, and nothing is stored "
        "until all are answered."
    )
    with st.form("decisions", border=False):
        chosen = {question.key: _ask(question) for question in shown}
        if whole > len(shown):
            st.caption(f"The first {len(shown)} of {whole}.")
        for_all = _ask_for_all(report)
        takes = any(Choice.TAKE in question.choices for question in report.questions)
        reason = ""
        if takes:
            reason = st.text_input(
                "Why the file's takes the place of what is stored",
                key="decide_reason",
                help="Needed where you take the file's or put back what was struck out: it stands "
                "in the history, beside what was stored until now.",
            )
        sent = st.form_submit_button("Check again with these decisions", icon=":material/rule:")
    if not sent:
        return None
    return _decided(chosen, for_all, reason)


def _decided(
    chosen: dict[str, Choice | None], for_all: dict[Asks, Choice | None], reason: str
) -> Decisions | None:
    taken = [choice for choice in (*chosen.values(), *for_all.values()) if choice is not None]
    if not taken:
        st.warning("Nothing is decided yet: choose below at least one question.")
        return None
    if Choice.TAKE in taken and not reason.strip():
        st.error("Say why the file's takes the place of what is stored.")
        return None
    return Decisions(
        by_key={
            key: Decision(choice=choice, reason=reason.strip())
            for key, choice in chosen.items()
            if choice is not None
        },
        for_all={
            kind: Decision(choice=choice, reason=reason.strip())
            for kind, choice in for_all.items()
            if choice is not None
        },
    )


def joined(before: Decisions, more: Decisions) -> Decisions:
    """Decisions and those that came after them."""
    return Decisions(
        by_key={**before.by_key, **more.by_key}, for_all={**before.for_all, **more.for_all}
    )


def _ask(question: Question) -> Choice | None:
    with st.container(border=True):
        st.markdown(f"**{plain(question.title)}**")
        for column, one in zip(st.columns(len(question.shown)), question.shown, strict=True):
            column.caption(plain(one.where))
            column.markdown(plain(one.what))
        mark = hashlib.sha256(question.key.encode()).hexdigest()[:16]
        return st.radio(
            f"What is done about: {plain(question.title)}",
            question.choices,
            index=None,
            format_func=lambda choice: choice_words(question.kind, choice),
            key=f"decide_{mark}",
            label_visibility="collapsed",
        )


def _ask_for_all(report: ImportReport) -> dict[Asks, Choice | None]:
    kinds = Counter(question.kind for question in report.questions)
    many = [kind for kind, number in kinds.items() if number >= MANY and kind is not Asks.RUNNER]
    if not many:
        return {}
    with st.container(border=True):
        st.markdown("**One answer for all others of a kind**")
        return {kind: _ask_one_for_all(kind) for kind in many}


def _ask_one_for_all(kind: Asks) -> Choice | None:
    return st.selectbox(
        ASKS_WORDS[kind],
        FOR_ALL[kind],
        index=None,
        placeholder="each on its own",
        format_func=lambda choice: choice_words(kind, choice),
        key=f"decide_all_{kind}",
    )
