"""How often predictions held over a year, and how well their sureness was stated."""

from __future__ import annotations

from datetime import timedelta

import pandas as pd
import streamlit as st

from app import state
from app.messages import count_words, day_words, plain
from app.typed_boxes import Boxes
from casebook.charts.calibration import reliability_diagram
from casebook.domain.hypotheses import KINDS, HypothesisKind
from casebook.domain.hypothesis_words import tally_words
from casebook.services import clock
from casebook.services.calibrating import CalibrationReport, calibrate
from casebook.services.keeping import Casebook
from casebook.statistics.calibration import Calibration

EVERYBODY = ""
HOW_TO_READ = (
    "Each dot: hypotheses whose stated sureness lay in one fifth of the scale; how many of them "
    "held, with its 95 % interval (upright line). On the broken line what was stated is what "
    "held; a dot below it was stated too sure, one above it not sure enough, where the line is "
    "not within its interval."
)


def show_calibration(casebook: Casebook) -> None:
    """The report of a time, of everybody or of one clinician."""
    boxes = Boxes()
    today = clock.today()
    row = st.columns(3)
    since = boxes.day(
        row[0], "Fell due from", key="calibration_since", start=today - timedelta(days=365),
        latest=today,
    ).value  # fmt: skip
    until = boxes.day(row[1], "to", key="calibration_until", start=today, latest=today).value
    by = row[2].selectbox(
        "Written by",
        [EVERYBODY, *(user.code for user in state.users(casebook))],
        format_func=lambda code: code or "everybody",
        key="calibration_by",
    )
    if boxes.problems:
        return
    report = calibrate(casebook, since=since, until=until, by=by or EVERYBODY)
    _show(report)


def _show(report: CalibrationReport) -> None:
    tally = report.tally
    told = tally_words(
        held=tally.held,
        did_not_hold=tally.did_not_hold,
        hollow=tally.hollow,
        not_told=tally.not_told,
    )
    st.markdown(
        f"**{count_words(report.hypotheses, 'hypothesis', 'hypotheses')}** fell due from "
        f"{day_words(report.since)} to {day_words(report.until)}: {told}."
    )
    if tally.not_told and tally.lowest is not None and tally.highest is not None:
        st.caption(
            f"Whatever became of those that can't be told, between {100 * tally.lowest:.0f} % and "
            f"{100 * tally.highest:.0f} % held."
        )
    if not report.calibrations:
        for words in report.words:
            st.info(plain(words), icon=":material/hourglass_empty:")
        return
    overall = report.calibrations[0]
    if overall.held.total + tally.hollow < report.hypotheses:
        st.caption(
            f"Sureness is held only against the {overall.held.total} of which every prediction "
            "could be told: one failure is enough not to hold, while holding needs them all, so "
            "that counting the half-known would count failures alone."
        )
    st.markdown(plain(report.words[0]))
    if overall.points:
        st.vega_lite_chart(
            spec=reliability_diagram(overall.points, palette=state.palette()),
            theme=None,
            key="reliability",
        )
        st.caption(HOW_TO_READ)
    _show_parts(report)


def _show_parts(report: CalibrationReport) -> None:
    st.markdown("**By kind of hypothesis**")
    with st.container(key="calibration_table"):
        st.table(
            pd.DataFrame([_row(one) for one in report.calibrations]),
            border="horizontal",
            hide_index=True,
        )
    with st.expander("The Brier score and its parts", icon=":material/functions:"):
        parts = report.calibrations[0].brier
        st.markdown(
            f"- Score **{parts.score:.3f}**: mean squared difference between what was stated and "
            "what came; 0 is perfect.\n"
            f"- Reliability {parts.reliability:.3f}: how far what was stated lies from what held, "
            f"group by group; 0 is perfect, and chance alone makes about "
            f"{parts.reliability_by_chance:.3f} of so many statements that are exactly right.\n"
            f"- Resolution {parts.resolution:.3f}: how far the groups lie apart; the larger the "
            "better.\n"
            f"- Uncertainty {parts.uncertainty:.3f}: what stating the overall share each time "
            "would have scored.\n"
            f"- Within the groups: variance {parts.within_variance:.3f}, covariance "
            f"{parts.within_covariance:.3f}. Score = reliability − resolution + uncertainty + "
            "variance − covariance.\n"
            + (
                f"- Skill {parts.skill:.2f}: above 0 better than stating the overall share.\n"
                if parts.skill is not None
                else ""
            )
        )
        st.caption(
            "Brier 1950, Murphy 1973, Stephenson et al. 2008; intervals: Wilson 1927. "
            "All take the hypotheses as independent of one another, which several of one runner "
            "are not: then the intervals are too narrow."
        )


def _row(found: Calibration) -> dict[str, str]:
    held = found.held
    return {
        "Kind": KINDS[HypothesisKind(found.kind)] if found.kind else "all together",
        "Held": f"{held.count} of {held.total} ({100 * held.share:.0f} %)",
        "95 % interval": f"{100 * held.low:.0f} to {100 * held.high:.0f} %",
        "Stated on average": f"{100 * found.mean_sureness:.0f} %",
        "Brier score": f"{found.brier.score:.2f}" + (" (few)" if found.too_few else ""),
    }
