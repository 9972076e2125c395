"""Adopting what a study found as the clinic's own error figure, and taking it back."""

from __future__ import annotations

import streamlit as st

from app import routes, sidebar, state
from app.choices import choose
from app.messages import calmly, day_words, plain
from app.words import APPLIES_TO, figure_words
from casebook.domain.errors import InputRefused
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin, Metric
from casebook.domain.wording import NO_ERROR_FIGURE, ORIGINS
from casebook.services import clock
from casebook.services.cataloguing import list_figures, retire_figure
from casebook.services.keeping import Casebook
from casebook.services.repeating import Study, adopt_study, figure_from_study


def show_adoption(casebook: Casebook, study: Study) -> None:
    """What is in force, what this study would put in its place, and the step that does it."""
    metric = study.metric
    with st.container(border=True, key="adoption"):
        st.markdown("#### Use this as our error figure")
        if metric is None:
            st.caption("Say above which metric was measured; then its error can be adopted.")
            return
        applies_to = AppliesTo.SIDE_VALUE
        if study.sides is not None:
            applies_to = choose(
                st.container(),
                "The error of",
                AppliesTo,
                APPLIES_TO,
                key=f"adopt_applies_{metric.key}",
            )
        _in_force(casebook, metric, applies_to)
        try:
            offered = figure_from_study(study, applies_to, on=clock.today(), by=state.who())
        except InputRefused as refusal:
            st.info(plain(str(refusal)), icon=":material/block:")
            return
        st.markdown(
            f"This study gives: **{plain(figure_words(offered, metric))}** "
            f":gray[({plain(offered.published_as)})]"
        )
        _adopt(casebook, study, metric, applies_to)


def _in_force(casebook: Casebook, metric: Metric, applies_to: AppliesTo) -> None:
    figures = [
        figure for figure in list_figures(casebook, metric.key) if figure.applies_to is applies_to
    ]
    # Best first: the first of them is what verdicts use.
    figures.sort(key=lambda figure: list(ErrorOrigin).index(figure.origin))
    if not figures:
        st.markdown(f"In force: {NO_ERROR_FIGURE}.")
    for place, figure in enumerate(figures):
        used = "In force" if place == 0 else "Kept behind it"
        since = figure.adopted_at.date() if figure.adopted_at else None
        st.markdown(
            f"{used}: **{plain(figure_words(figure, metric))}**, {ORIGINS[figure.origin]}, since "
            f"{day_words(since)}.  \n:gray[{plain(figure.source)}]"
        )
        if figure.origin is ErrorOrigin.OWN:
            _offer_retirement(casebook, metric, figure)


def _offer_retirement(casebook: Casebook, metric: Metric, figure: ErrorFigure) -> None:
    if not st.button(
        "Retire it",
        key=f"study_retire_{metric.key}_{figure.applies_to}",
        icon=":material/undo:",
        disabled=not state.who(),
        help="It is kept on the catalogue page; verdicts use the next best figure again."
        + ("" if state.who() else " Say first who you are."),
    ):
        return
    with calmly():
        retire_figure(
            casebook,
            metric.key,
            applies_to=figure.applies_to,
            origin=figure.origin,
            by=state.who(),
        )
        state.leave_notice(
            "Your own figure is retired and kept. Verdicts use the next best one, if there is any."
        )
        st.rerun()


def _adopt(casebook: Casebook, study: Study, metric: Metric, applies_to: AppliesTo) -> None:
    key = f"adopt_{metric.key}_{applies_to}"
    if not state.who():
        sidebar.choose_user(casebook, place=key)
    by = state.who()
    sure = st.checkbox(
        "From now on every verdict on this metric is held against it. The figure that it "
        "replaces is kept, and this can be taken back.",
        key=f"{key}_sure",
    )
    if st.button(
        f"Adopt as {by}" if by else "Adopt",
        type="primary",
        disabled=not (sure and by),
        key=key,
        icon=":material/verified:",
    ):
        with calmly():
            adopt_study(casebook, study, applies_to=applies_to, by=by)
            st.session_state.pop(f"{key}_sure", None)
            state.leave_notice(
                f"The error of {plain(metric.label)} is now your own. Every verdict uses it."
            )
            st.rerun()
    if not by:
        st.caption("Say first who you are, so that the figure carries your name.")
    routes.link("catalogue", "All figures of this metric", metric=metric.key)
