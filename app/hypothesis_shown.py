"""A working hypothesis as it was written, and what became of each of its predictions."""

from __future__ import annotations

import streamlit as st

from app.messages import day_words, plain
from app.programme_words import PLACES, direction_words, unit_on
from casebook.domain.hypotheses import KINDS, ROLES, Hypothesis, Link, LinkCall, Outcome, Role
from casebook.domain.hypothesis_words import call_words
from casebook.domain.metrics import Metric
from casebook.domain.programmes import TargetOn
from casebook.domain.wording import number_words
from casebook.services.hypothesising import ScoredHypothesis, StoredHypothesis, ToldLink

SIGNS = {
    LinkCall.AS_PREDICTED: ":material/check_circle:",
    LinkCall.STAYED_STILL: ":material/check_circle:",
    LinkCall.DID_NOT_MOVE: ":material/trending_flat:",
    LinkCall.OTHER_WAY: ":material/u_turn_left:",
    LinkCall.MOVED_THOUGH_STILL: ":material/error:",
    LinkCall.CANNOT_SAY: ":material/help:",
}
# No good news, whatever its size says.
HOLLOW = ":material/warning:"
OUTCOME_SIGNS = {
    Outcome.HELD: ":material/check_circle:",
    Outcome.HOLLOW: HOLLOW,
    Outcome.DID_NOT_HOLD: ":material/cancel:",
    Outcome.CANNOT_SAY: ":material/help:",
}


def show_hypothesis(scored: ScoredHypothesis, metrics: dict[str, Metric]) -> None:
    """One hypothesis: the version that counts, its score, and its other versions."""
    stored = scored.stored
    counted = stored.counts or stored.latest
    st.markdown(f"#### {plain(counted.driver)}")
    if counted.leads_to:
        st.markdown(f"Thought to lead to: {plain(counted.leads_to)}")
    st.caption(plain(_facts(stored, counted)))
    if scored.links:
        st.markdown(f"{OUTCOME_SIGNS[scored.outcome]} {plain(scored.words)}")
        for told in scored.links:
            _show_link(told)
        _show_course(scored)
    else:
        st.info(plain(scored.words), icon=":material/lock_clock:")
        st.markdown("\n".join(f"- {_link_words(link, metrics)}" for link in counted.links))
    if len(stored.versions) > 1:
        _show_versions(stored, metrics)


def _facts(stored: StoredHypothesis, counted: Hypothesis) -> str:
    version = f", version {counted.version}" if len(stored.versions) > 1 else ""
    frozen = (
        f"frozen since the programme started on {day_words(stored.programme_started_on)}"
        if stored.frozen
        else f"frozen when the programme starts on {day_words(stored.programme_started_on)}"
    )
    return (
        f"{KINDS[counted.kind].capitalize()} · {counted.sureness_pct} % sure · programme "
        f"'{stored.programme}' · written by {counted.written_by} on "
        f"{day_words(counted.written_on)}{version} · {frozen}"
    )


def _show_link(told: ToldLink) -> None:
    role = ROLES[told.score.link.role]
    sign = HOLLOW if told.score.hollow else SIGNS[told.score.call]
    words = f"{sign} **{role.capitalize()}** · {plain(told.words)}"
    if told.score.on_date is None and told.course:
        latest = told.course[-1]
        words += f"  \nSo far, at the review of {day_words(latest.on_date)}: {call_words(latest)}."
    if told.order_words:
        words += f"  \n:material/low_priority: In time: it {plain(told.order_words)}."
    if told.score.link.why:
        words += f"  \n:gray[Why: {plain(told.score.link.why)}]"
    st.markdown(words)


def _show_course(scored: ScoredHypothesis) -> None:
    if not any(told.course for told in scored.links):
        return
    with st.expander("After each review", icon=":material/event_repeat:"):
        for told in scored.links:
            link = told.score.link
            unit = unit_on(told.metric, link.on)
            lines = [
                f"- {day_words(score.on_date)}: {call_words(score)}"
                + (
                    f" ({number_words(score.moved, unit, signed=True)}; within error up to "
                    f"{number_words(score.error, unit)})"
                    if score.moved is not None and score.error is not None
                    else ""
                )
                + (" – **this one counts**" if score is told.score else "")
                for score in told.course
            ]
            st.markdown(
                f"**{plain(_place(told.metric, link))}**\n\n"
                + ("\n".join(lines) or "Not measured yet.")
            )
        st.caption(
            "Movement is counted in the predicted direction. The first visit on or after a "
            "prediction's date counts; no later one is picked."
        )


def _place(metric: Metric, link: Link) -> str:
    return metric.label if link.on is TargetOn.NONE else f"{metric.label}, {PLACES[link.on]}"


def _link_words(link: Link, metrics: dict[str, Metric]) -> str:
    metric = metrics.get(link.metric)
    name = _place(metric, link) if metric else link.metric
    unit = unit_on(metric, link.on) if metric else ""
    if link.role is Role.STILL:
        within = f" within {number_words(link.amount, unit)}" if link.amount else " within error"
        told = f"should stay still{within}"
    else:
        way = direction_words(link.on)[link.direction] if link.direction else ""
        told = f"{way} by {number_words(link.amount, unit)}"
    return (
        f"{ROLES[link.role].capitalize()}: {plain(f'{name}: {told}')}, by {day_words(link.due_on)}"
    )


def _show_versions(stored: StoredHypothesis, metrics: dict[str, Metric]) -> None:
    with st.expander(f"All versions ({len(stored.versions)})", icon=":material/history:"):
        for version in reversed(stored.versions):
            counts = " · **the one that is scored**" if version is stored.counts else ""
            lines = [
                f"**Version {version.version}** · {day_words(version.written_on)} · by "
                f"{plain(version.written_by)} · {version.sureness_pct} % sure{counts}",
                f"\n{plain(version.driver)}"
                + (f" → {plain(version.leads_to)}" if version.leads_to else ""),
            ]
            if version.reason:
                lines.append(f"\nWhy this version: {plain(version.reason)}")
            lines.append("")
            lines += [f"- {_link_words(link, metrics)}" for link in version.links]
            st.markdown("\n".join(lines))
