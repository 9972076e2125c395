"""Flags of a runner with what they rest on, and the form that acknowledges one."""

from __future__ import annotations

import streamlit as st

from app import sidebar, state
from app.messages import calmly, count_words, day_words, plain
from app.verdicts_shown import error_words, mdc_words, unit_of
from casebook.domain.side_story import side_story_words
from casebook.domain.verdicts import Call, Flag, FlagKind, Verdict, What
from casebook.domain.wording import FLAG_KINDS, like_for_like_words, number_words
from casebook.services.flagging import acknowledge_flag
from casebook.services.keeping import Casebook
from casebook.services.reviewing import Review

SETTLED_SHOWN = 30
# A comparison is one-sided at this level, whatever the others do.
MOST_FALSE = 0.025
COMPARED = {
    FlagKind.ASYMMETRY_ABOVE_BEST: (
        "Compared with the smallest asymmetry of the earlier visits that were like for like; the "
        "chance allows for its being the luckiest of them."
    ),
    FlagKind.DRIFT: (
        "Judged by the straight line through the visits that were like for like, from its start "
        "to its end."
    ),
    FlagKind.TARGET_MISSED: "Compared with the target, counted from the baseline.",
}


def show_flags(casebook: Casebook, review: Review) -> None:
    """Open flags first, then what chance alone would raise, then the settled ones."""
    latest = max((line.visited_on for line in review.visits), default=None)
    if review.open_flags:
        st.subheader(count_words(len(review.open_flags), "open flag"), anchor=False)
    # What the runner feels comes before any number.
    ordered = sorted(review.open_flags, key=lambda flag: flag.kind is not FlagKind.SYMPTOM_UP)
    for number, flag in enumerate(ordered):
        _open_flag(casebook, review, flag, number)
    # A green tick beside a visit that could be held against nothing would reassure for nothing.
    if not review.open_flags and not review.tests:
        st.info(
            f"No flag could be raised at the latest visit ({day_words(latest)}).",
            icon=":material/help:",
        )
    elif not review.open_flags and any(v.verdict is Call.WORSENED for v in review.verdicts):
        st.info(
            f"No open flag at the latest visit ({day_words(latest)}): what worsened beyond error "
            "is acknowledged, or no flag is raised for it by itself. See Verdicts below.",
            icon=":material/flag:",
        )
    elif not review.open_flags:
        st.success(
            f"No open flag at the latest visit ({day_words(latest)}).",
            icon=":material/check_circle:",
        )
    st.caption(_by_chance(review))
    settled = [flag for flag in review.flags if flag not in review.open_flags]
    if settled:
        with st.expander(
            f"Earlier and acknowledged flags ({len(settled)})", icon=":material/history:"
        ):
            for flag in settled[:SETTLED_SHOWN]:
                st.markdown(_settled_words(flag))


def _by_chance(review: Review) -> str:
    now, ever = review.tests, review.tests_course
    if not ever:
        return "Nothing could be tested yet: there is no error figure for what was measured."
    if not now:
        return (
            "Nothing was compared at the latest visit: what was measured has no error figure, or "
            "no earlier visit like it. No flag there does not mean that nothing changed."
        )
    return (
        f"By chance alone, in a runner who has not changed at all: the "
        f"{count_words(now, 'comparison')} of the latest visit would raise "
        f"{review.expected_false:.2g} false flags on average, and those of the "
        f"{count_words(review.tested_visits, 'visit')} tested since the baseline "
        f"{review.expected_false_course:.2g}. This takes the error figures as right and the "
        f"comparisons as independent of one another; if they all went together it could be up to "
        f"{MOST_FALSE * now:.2g} at the latest visit and {MOST_FALSE * ever:.2g} in all. Symptoms "
        "without an error figure and missed targets are not counted."
    )


def _open_flag(casebook: Casebook, review: Review, flag: Flag, number: int) -> None:
    with st.container(border=True, key=f"flag_{number}"):
        st.markdown(
            f":red[:material/flag: **{FLAG_KINDS[flag.kind].capitalize()}**]  \n"
            f"{plain(flag.message)}"
        )
        st.caption(_rests_on(review, flag))
        # A key of its own flag: the form of the next one does not stand open in its place.
        with st.expander(
            "Acknowledge with a reason",
            icon=":material/check:",
            key=f"acknowledging_{flag.metric}_{flag.kind}_{flag.visit_date}",
        ):
            _acknowledge(casebook, flag)


def _rests_on(review: Review, flag: Flag) -> str:
    verdict = verdict_behind(review, flag)
    told = [_chance_words(flag)]
    if verdict is not None:
        if flag.kind is FlagKind.BETTER_SIDE_FELL:
            told.append(_fallen_words(review, verdict))
        elif verdict.what is What.ASYMMETRY:
            told.append(side_story_words(verdict, review.metrics[verdict.metric]))
        told.append(f"Error figure: {error_words(verdict, review).rstrip('.')}.")
        told.append(COMPARED.get(flag.kind) or _baseline_words(verdict))
    return plain(" ".join(words for words in told if words))


def verdict_behind(review: Review, flag: Flag) -> Verdict | None:
    """The verdict that holds the error which a flag rests on.

    For a better side that fell it is that of the fallen side: the flag was tested on it, and
    not on the asymmetry.
    """
    verdicts = {v.what: v for v in review.verdicts if v.metric == flag.metric}
    asymmetry = verdicts.get(What.ASYMMETRY)
    if flag.kind is FlagKind.BETTER_SIDE_FELL and asymmetry is not None:
        fallen = What.LEFT if asymmetry.worse_side is What.RIGHT else What.RIGHT
        return verdicts.get(fallen)
    if flag.kind is FlagKind.TARGET_MISSED:
        return next((verdicts[what] for what in _due(review, flag) if what in verdicts), None)
    return asymmetry or verdicts.get(What.NONE) or next(iter(verdicts.values()), None)


def _due(review: Review, flag: Flag) -> list[What]:
    """What the targets on a metric were set on that were due by the flag's visit."""
    return [
        What(target.what)
        for programme in review.programmes
        for target in programme.targets
        if target.metric == flag.metric and target.due_on <= flag.visit_date
    ]


def _fallen_words(review: Review, verdict: Verdict) -> str:
    unit = unit_of(verdict, review.metrics[verdict.metric])
    return (
        f"The {verdict.what} side went from {number_words(verdict.baseline, unit)} to "
        f"{number_words(verdict.latest, unit)}, more than its MDC of {mdc_words(verdict, unit)}."
    )


def _chance_words(flag: Flag) -> str:
    if flag.p is None:
        return (
            "How often measurement error alone would show as much is not known: there is no "
            "error figure, or the visits were not like for like."
        )
    # No finer: the error figure itself is an estimate.
    share = "fewer than 1 %" if flag.p < 0.01 else f"about {100 * flag.p:.0f} %"
    if flag.kind is FlagKind.TARGET_MISSED:
        return (
            "Had the target truly been reached, measurement error alone would miss it by as much "
            f"in {share} of such comparisons, if the error figure is right."
        )
    return (
        f"Measurement error alone would show as much in {share} of comparisons, if the error "
        "figure is right."
    )


def _baseline_words(verdict: Verdict) -> str:
    alike = like_for_like_words(verdict)
    return (
        f"Compared with the mean of {count_words(verdict.baseline_visits, 'baseline visit')}; "
        f"conditions: {alike}."
    )


def _acknowledge(casebook: Casebook, flag: Flag) -> None:
    key = f"acknowledge_{flag.metric}_{flag.kind}"
    if not state.who():
        sidebar.choose_user(casebook, place=key)
    with st.form(key, border=False):
        reason = st.text_area(
            "Reason: what you make of it, or what you changed",
            key=f"{key}_reason",
            height=80,
            max_chars=2000,
        )
        by = state.who()
        sent = st.form_submit_button(f"Acknowledge as {by}" if by else "Acknowledge")
    if not sent:
        return
    if not by:
        st.error("Say first who you are, so that the acknowledgement is yours.")
        return
    with calmly():
        acknowledge_flag(
            casebook,
            flag.runner,
            flag.visit_date,
            flag.session,
            flag.metric,
            flag.kind,
            reason=reason,
            by=by,
        )
        state.leave_notice("The flag is acknowledged. It is kept below with your reason.")
        st.rerun()


def _settled_words(flag: Flag) -> str:
    words = f"**{day_words(flag.visit_date)}** · {FLAG_KINDS[flag.kind]} · {plain(flag.message)}"
    if not flag.acknowledged:
        return f"{words}  \n:gray[not acknowledged; a later visit has taken its place]"
    at = day_words(flag.acknowledged_at.date() if flag.acknowledged_at else None)
    since = (
        f"; carried on from the visit of {day_words(flag.acknowledged_visit)}, not worse beyond "
        "error since"
        if flag.carried
        else ""
    )
    return (
        f"{words}  \n:gray[acknowledged by {plain(flag.acknowledged_by)} on {at}: "
        f"{plain(flag.acknowledged_reason)}{since}]"
    )
