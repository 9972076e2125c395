"""Why a verdict is what it is: its calculation with this runner's numbers, unfolded on wish."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from app.messages import plain
from app.verdicts_shown import call_line, place_words
from casebook.domain.explaining import why
from casebook.domain.metrics import Metric
from casebook.domain.verdicts import Verdict
from casebook.services.reviewing import Review

KEY = "why_"


def any_unfolded() -> bool:
    """True where some why stands open, so that what only it shows is worth fetching."""
    return any(
        str(name).startswith(KEY) and bool(value) for name, value in st.session_state.items()
    )


def why_expander(review: Review, metric: Metric, *, courses: Mapping[str, str]) -> None:
    """The verdicts of one metric unfolded, and the course of what is not told beside the chart."""
    verdicts = [v for v in review.verdicts if v.metric == metric.key]
    if not verdicts and not courses:
        return
    unfold = st.expander(
        "Why: the calculation, its source, and what would change the verdict",
        icon=":material/calculate:",
        key=f"{KEY}{metric.key}",
        on_change="rerun",
    )
    if not unfold.open:
        return
    with unfold:
        for verdict in verdicts:
            _why(review, metric, verdict)
        for name, sentence in courses.items():
            st.markdown(f"**{name}:** {plain(sentence)}")


def why_of_a_row(review: Review, chosen: list[Verdict]) -> None:
    """Ask for one of the verdicts of the table and unfold it below."""
    names = {
        (v.metric, v.what): (
            f"{review.metrics[v.metric].label}, {place_words(v.what, review.metrics[v.metric])}"
        )
        for v in chosen
    }
    asked = st.selectbox(
        "Why this verdict?",
        list(names),
        index=None,
        format_func=names.__getitem__,
        key=f"{KEY}row",
        placeholder="Choose a line of the table",
    )
    for verdict in chosen:
        if (verdict.metric, verdict.what) == asked:
            with st.container(border=True):
                _why(review, review.metrics[verdict.metric], verdict)


def _why(review: Review, metric: Metric, verdict: Verdict) -> None:
    told = why(verdict, metric, review.figures.get((verdict.metric, verdict.what)))
    lines = (
        told.verdict,
        f"**Calculation.** {plain(told.formula)}",
        plain(told.source),
        plain(told.conditions),
        *(plain(line) for line in told.beside),
        f"**What would change it.** {plain(' '.join(told.changes))}",
    )
    listed = "\n".join(f"- {line}" for line in (plain(lines[0]), *lines[1:]))
    st.markdown(f"**{place_words(verdict.what, metric)}** {call_line(verdict)}\n\n{listed}")
