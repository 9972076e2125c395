"""Verdicts of a runner: at a glance, and as a table."""

from __future__ import annotations

from collections import Counter
from datetime import date

import pandas as pd
import streamlit as st

from app.messages import day_words, plain
from app.tables import show_stacked
from casebook.domain.metrics import AppliesTo, ErrorOrigin, Metric, MetricGroup
from casebook.domain.sides import Side
from casebook.domain.verdicts import Call, Reason, SideMoved, Verdict, What
from casebook.domain.wording import (
    CALLS,
    MISSING_REASONS,
    NO_ERROR_FIGURE,
    ORIGINS,
    REASONS,
    SIDES_MOVED,
    asymmetry_unit,
    like_for_like_words,
    number_words,
    unit_words,
)
from casebook.services.reviewing import Review

SIGNS = {
    # No arrow up or down: a symptom worsens by rising.
    Call.WORSENED: ":material/report:",
    Call.IMPROVED: ":material/check_circle:",
    Call.UNCHANGED: ":material/trending_flat:",
    Call.CANNOT_SAY: ":material/help:",
}
WHATS = {
    What.LEFT: "◀ left",
    What.RIGHT: "▶ right",
    What.NONE: "whole body",
    What.ASYMMETRY: "right − left",
}
NO_SOURCE = "none"
SHORT_ORIGINS = {
    ErrorOrigin.OWN: "own",
    ErrorOrigin.PUBLISHED: "published",
    ErrorOrigin.WITHIN_SESSION: "within session",
}
MOVED_SIDE = "Which side moved"
MOVED, ALL, UNSURE = "Changed beyond error", "All", "Can't say"


def place_words(what: What, metric: Metric) -> str:
    """Where a value was read; what a runner answers is read nowhere on the body."""
    if what is What.NONE and metric.group is MetricGroup.REPORTED:
        return "answer"
    return WHATS[what]


def only_because_the_better_side_fell(verdict: Verdict) -> bool:
    """An asymmetry that shrank the wrong way round: no good news, whatever its size says."""
    return verdict.verdict is Call.IMPROVED and verdict.fell_together


def call_line(verdict: Verdict) -> str:
    """The verdict with its sign and, where there is none, the reason."""
    if only_because_the_better_side_fell(verdict):
        return ":material/warning: **smaller, but only because the better side fell**"
    words = CALLS[verdict.verdict]
    bold = verdict.verdict in {Call.WORSENED, Call.IMPROVED}
    told = f"{SIGNS[verdict.verdict]} {f'**{words}**' if bold else words}"
    if verdict.reason is None:
        return told
    why = REASONS[verdict.reason]
    if verdict.reason is Reason.NOT_LIKE_FOR_LIKE:
        why += f" ({like_for_like_words(verdict)})"
    return f"{told}: {plain(why)}"


def unit_of(verdict: Verdict, metric: Metric) -> str:
    """The unit in words in which a verdict's numbers stand."""
    if verdict.what is What.ASYMMETRY:
        return asymmetry_unit(verdict.asymmetry_form, metric.unit)
    return unit_words(metric.unit)


def show_summary(review: Review) -> None:
    """How many verdicts of each kind, in one line."""
    hollow = [v for v in review.verdicts if only_because_the_better_side_fell(v)]
    counted = Counter(v.verdict for v in review.verdicts if v not in hollow)
    parts = [
        f"{SIGNS[call]} **{counted[call]}** {CALLS[call]}"
        for call in (Call.WORSENED, Call.IMPROVED, Call.UNCHANGED, Call.CANNOT_SAY)
    ]
    if hollow:
        parts.insert(
            1,
            f":material/warning: **{len(hollow)}** asymmetry smaller only because the better "
            "side fell",
        )
    with st.container(horizontal=True, key="summary"):
        for part in parts:
            st.markdown(part, width="content")


def show_table(review: Review) -> list[Verdict]:
    """The verdict table, by default with what moved beyond error; gives what it shows."""
    st.subheader("Verdicts", anchor=False)
    moved = [v for v in review.verdicts if v.verdict in {Call.WORSENED, Call.IMPROVED}]
    shown = st.segmented_control(
        "Show",
        (MOVED, UNSURE, ALL),
        default=MOVED if moved else ALL,
        key=f"verdicts_{review.runner.code}",
        required=True,
        label_visibility="collapsed",
    )
    chosen = {
        MOVED: moved,
        UNSURE: [v for v in review.verdicts if v.verdict is Call.CANNOT_SAY],
        ALL: list(review.verdicts),
    }[str(shown)]
    st.caption(_by_error_alone(review))
    if not chosen:
        st.caption("None of the verdicts is of this kind.")
        return []
    last = max(line.visited_on for line in review.visits)
    # Told once below, by number: a source in each row made the rows too tall to be compared.
    every = dict.fromkeys(error_words(v, review) for v in chosen)
    sources = [words for words in every if words != NO_SOURCE]
    rows = pd.DataFrame([_line(v, review, last, sources) for v in chosen])
    if not rows[MOVED_SIDE].any():
        rows = rows.drop(columns=MOVED_SIDE)
    show_stacked(rows, key="verdict_table", alt="Verdict for each metric and side")
    st.caption(
        "MDC: the smallest change that measurement error alone would rarely reach (95 %). "
        f"{_at_least_words(chosen)}"
        "Asymmetries are signed right minus left: above zero the right is the larger."
    )
    if sources:
        told = "; ".join(f"[{at}] {words.rstrip('.')}" for at, words in enumerate(sources, 1))
        st.caption(plain(f"Error figures: {told}."))
    return chosen


def _by_error_alone(review: Review) -> str:
    """How many changes to expect where there are none, since so many are looked at at once."""
    judged = sum(
        v.error_origin in {ErrorOrigin.OWN, ErrorOrigin.PUBLISHED}
        and v.mdc95 is not None
        and v.reason is not Reason.NOT_LIKE_FOR_LIKE
        for v in review.verdicts
    )
    return (
        f"Of {judged} verdicts with a known error about 5 %, that is {0.05 * judged:.1f}, would be "
        "called changed by error alone in a runner who did not change."
    )


def _at_least_words(chosen: list[Verdict]) -> str:
    if not any(v.error_origin is ErrorOrigin.WITHIN_SESSION for v in chosen):
        return ""
    return (
        '"At least" stands where only the error within a session is known: the true MDC is '
        "larger, and by how much is not known. "
    )


def mdc_words(verdict: Verdict, unit: str) -> str:
    """The MDC with its unit; a lower bound says so."""
    if verdict.mdc95 is None:
        return number_words(None)
    bound = "at least " if verdict.error_origin is ErrorOrigin.WITHIN_SESSION else ""
    return f"{bound}{number_words(verdict.mdc95, unit)}"


def _line(verdict: Verdict, review: Review, last: date, sources: list[str]) -> dict[str, str]:
    metric = review.metrics[verdict.metric]
    unit = unit_of(verdict, metric)
    signed = verdict.what is What.ASYMMETRY
    now = plain(number_words(verdict.latest, unit, signed=signed))
    if verdict.latest_date and verdict.latest_date != last:
        now += f" ({day_words(verdict.latest_date)})"
    missing = missing_words(review, verdict)
    return {
        "Metric": plain(metric.label),
        "What": place_words(verdict.what, metric),
        "Verdict": f"{missing}  \nbefore: {call_line(verdict)}" if missing else call_line(verdict),
        "Change": plain(number_words(verdict.change, unit, signed=True)),
        "MDC": plain(mdc_words(verdict, unit)),
        "Baseline": plain(number_words(verdict.baseline, unit, signed=signed)),
        "Now": f"{missing}; last {now}" if missing else now,
        MOVED_SIDE: _moved_side(verdict),
        "Like for like": _alike(verdict),
        "Error figure": plain(_numbered(verdict, error_words(verdict, review), sources)),
    }


def _moved_side(verdict: Verdict) -> str:
    """Which side moved behind an asymmetry that changed; '' where that can't be told."""
    if verdict.which_side_moved:
        return SIDES_MOVED[verdict.which_side_moved]
    sides = (
        ("left", verdict.left_change, verdict.left_mdc95),
        ("right", verdict.right_change, verdict.right_mdc95),
    )
    known = [
        (side, abs(change) > limit)
        for side, change, limit in sides
        if change is not None and limit is not None
    ]
    if verdict.verdict is not Call.WORSENED or len(known) < len(sides):
        return ""
    beyond = [side for side, moved in known if moved]
    return " and ".join(beyond) or SIDES_MOVED[SideMoved.NEITHER]


def missing_words(review: Review, verdict: Verdict) -> str:
    """Why there is no value of the latest visit, where that was said; '' otherwise."""
    sides = {
        What.LEFT: (Side.LEFT,),
        What.RIGHT: (Side.RIGHT,),
        What.NONE: (Side.NONE,),
        What.ASYMMETRY: (Side.LEFT, Side.RIGHT),
    }[verdict.what]
    reasons = {
        side: MISSING_REASONS[review.missing_latest[verdict.metric, side]]
        for side in sides
        if (verdict.metric, side) in review.missing_latest
    }
    if not reasons:
        return ""
    if verdict.what is What.ASYMMETRY:
        told = ", ".join(f"{side.value} {words}" for side, words in reasons.items())
    else:
        told = next(iter(reasons.values()))
    return f"**at the latest visit: {told}**"


def error_words(verdict: Verdict, review: Review) -> str:
    """Where the error behind a verdict comes from, in one line."""
    words = ORIGINS[verdict.error_origin]
    if words == NO_ERROR_FIGURE:
        return NO_SOURCE
    told = f"{words}: {verdict.error_source}" if verdict.error_source else words
    figure = review.figures.get((verdict.metric, verdict.what))
    from_sides = figure is None or figure.applies_to is AppliesTo.SIDE_VALUE
    if verdict.what is What.ASYMMETRY and from_sides:
        return f"{told.rstrip('.')} (from the sides, taken as independent)"
    return told


def _numbered(verdict: Verdict, words: str, sources: list[str]) -> str:
    if words == NO_SOURCE:
        return words
    return f"{SHORT_ORIGINS[verdict.error_origin]} [{sources.index(words) + 1}]"


def _alike(verdict: Verdict) -> str:
    if not verdict.like_for_like and not verdict.not_recorded:
        return "yes"
    return plain(like_for_like_words(verdict))


def show_lines(review: Review, metric: Metric) -> None:
    """The verdicts of one metric in sentences, for beside its chart."""
    told = [_sentence(v, metric, review) for v in review.verdicts if v.metric == metric.key]
    st.markdown("  \n".join(told))


def _sentence(verdict: Verdict, metric: Metric, review: Review) -> str:
    unit = unit_of(verdict, metric)
    signed = verdict.what is What.ASYMMETRY
    sizes = (
        f"{number_words(verdict.baseline, unit, signed=signed)} → "
        f"{number_words(verdict.latest, unit, signed=signed)}"
    )
    last = review.visits[-1].visited_on
    if verdict.latest_date and verdict.latest_date != last:
        sizes += f" ({day_words(verdict.latest_date)})"
    missing = missing_words(review, verdict)
    error = f" (MDC {mdc_words(verdict, unit)})" if verdict.mdc95 else ""
    moved = verdict.which_side_moved
    told = moved and moved not in {SideMoved.NEITHER, SideMoved.CROSSED_OVER}
    told = told and not only_because_the_better_side_fell(verdict)
    side = f"; {SIDES_MOVED[moved]}" if moved and told else ""
    now = f"{missing}; before: " if missing else ""
    head = f"**{place_words(verdict.what, metric)}** {now}{plain(sizes)}{plain(error)}"
    return f"{head}: {call_line(verdict)}{side}"
