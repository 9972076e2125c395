"""Error figures of a metric: what is used, what was before, and a new one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app import sidebar, state
from app.choices import choose
from app.messages import calmly, day_words, plain
from app.typed_boxes import Boxes
from app.words import APPLIES_TO, figure_words
from casebook.domain.metrics import (
    LARGEST_GRADE_STEP,
    AppliesTo,
    AsymmetryForm,
    ErrorFigure,
    ErrorOrigin,
    Metric,
    Scale,
    check_figure_fits,
)
from casebook.domain.wording import (
    NO_ERROR_FIGURE,
    ORIGINS,
    asymmetry_unit,
    number_words,
    unit_words,
)
from casebook.services.cataloguing import adopt_figure, list_figures, retire_figure
from casebook.services.detectable import BEST_FIRST, best_figure, figure_mdc
from casebook.services.keeping import Casebook

# Beyond these a figure is more likely mistyped than true. Common practice, no source.
DOUBTED_RATIO = 5.0
DOUBTED_SHARE = 0.5

AS_SEM, AS_PARTS, AS_WITHIN, AS_STEP = (
    "SEM of a mean of trials",
    "Between and within sessions, apart",
    "Within a session only (a lower bound)",
    "Step of repeat grading",
)


SEM_HELP = (
    "The standard error of measurement, in the unit that is named above: about how far a "
    "measurement lies from the true value. It is the MDC (95 %) divided by 2.77."
)


def show_figures(casebook: Casebook, metric: Metric) -> None:
    """The figures that are used, with their sources, and the earlier ones."""
    figures = list_figures(casebook, metric.key, include_retired=True)
    used = [figure for figure in figures if figure.retired_at is None]
    if not used:
        st.info(
            f"{NO_ERROR_FIGURE.capitalize()}. Until then no change is told to be beyond error; the "
            "numbers are shown.",
            icon=":material/straighten:",
        )
    _show_asked(casebook, metric)
    for figure in used:
        _one(casebook, metric, figure)
    earlier = _earlier(figures, used)
    if earlier:
        with st.expander(f"No longer used ({len(earlier)})", icon=":material/history:"):
            for number, figure in enumerate(earlier):
                _earlier_one(metric, figure, number)


def _earlier(figures: tuple[ErrorFigure, ...], used: list[ErrorFigure]) -> list[ErrorFigure]:
    """Every earlier figure once, the latest first, without those that are used again."""
    seen = [_facts(figure) for figure in used]
    listed = []
    for figure in reversed(figures):
        if figure.retired_at is not None and _facts(figure) not in seen:
            seen.append(_facts(figure))
            listed.append(figure)
    return listed


def _facts(figure: ErrorFigure) -> ErrorFigure:
    return replace(figure, adopted_at=None, retired_at=None)


def _words(metric: Metric, figure: ErrorFigure) -> str:
    parts = [
        f"**{plain(figure_words(figure, metric))}**, of {APPLIES_TO[figure.applies_to]}; "
        f"{ORIGINS[figure.origin]}.",
        f"Averaged: {plain(figure.averaged)}." if figure.averaged else "",
        f"Measured on: {plain(figure.population)}." if figure.population else "",
        f"Given as: {plain(figure.published_as)}." if figure.published_as else "",
        f"Source: {plain(figure.source)}",
    ]
    return "  \n".join(part for part in parts if part)


def _one(casebook: Casebook, metric: Metric, figure: ErrorFigure) -> None:
    with st.container(border=True):
        st.markdown(_words(metric, figure))
        key = f"retire_{metric.key}_{figure.applies_to}_{figure.origin}"
        with st.popover("Stop using it", icon=":material/block:"):
            st.markdown(
                "Verdicts then use the next best figure of this metric, or give no verdict where "
                "there is none. It is kept, and can be brought back."
            )
            by = _user(casebook, key)
            if st.button("Stop using it now", key=key, disabled=not by):
                with calmly():
                    retire_figure(
                        casebook,
                        metric.key,
                        applies_to=figure.applies_to,
                        origin=figure.origin,
                        by=state.who(),
                    )
                    state.leave_notice(
                        "The figure is no longer used. It is kept under 'No longer used', where "
                        "it can be brought back."
                    )
                    st.rerun()


def _earlier_one(metric: Metric, figure: ErrorFigure, number: int) -> None:
    until = figure.retired_at.date() if figure.retired_at else None
    st.markdown(f"{_words(metric, figure)} Used until {day_words(until)}.")
    if st.button("Bring it back …", key=f"back_{metric.key}_{number}", icon=":material/undo:"):
        st.session_state[_asked(metric)] = _facts(figure)
        st.rerun()


def _user(casebook: Casebook, place: str) -> str:
    """Who does it; asked where nobody has said so."""
    if not state.who():
        sidebar.choose_user(casebook, place=place)
    return state.who()


def _asked(metric: Metric) -> str:
    return f"figure_asked_{metric.key}"


def _show_asked(casebook: Casebook, metric: Metric) -> None:
    """The figure that is about to be used, what it would change, and the step that does it."""
    figure: ErrorFigure | None = st.session_state.get(_asked(metric))
    if figure is None:
        return
    with st.container(border=True, key="figure_asked"):
        st.markdown(f"#### Use this figure from now on?\n\n{_words(metric, figure)}")
        _show_consequence(casebook, metric, figure)
        by = _user(casebook, f"figure_{metric.key}")
        yes, no = st.columns([2, 1])
        if yes.button(
            f"Use this figure from now on, as {by}" if by else "Use this figure from now on",
            type="primary",
            key=f"use_{metric.key}",
            disabled=not by,
            icon=":material/check:",
        ):
            with calmly():
                adopt_figure(casebook, figure, by=state.who())
                del st.session_state[_asked(metric)]
                state.leave_notice(
                    "The figure is used from now on. The one that it replaces is kept."
                )
                st.rerun()
        if no.button("Leave it as it is", key=f"leave_{metric.key}"):
            del st.session_state[_asked(metric)]
            st.rerun()
        if not by:
            st.caption("Say first who you are: every verdict on this metric depends on it.")


def _show_consequence(casebook: Casebook, metric: Metric, figure: ErrorFigure) -> None:
    used = best_figure(list_figures(casebook, metric.key), figure.applies_to)
    unit = _unit_words(metric, figure.applies_to)
    new = figure_mdc(metric, figure)
    st.markdown(
        f"With it, a change between two visits counts beyond **{_limit(new, unit)}** "
        f"(MDC, 95 %). {_used_words(metric, used, unit)}"
    )
    if used is not None and BEST_FIRST.index(used.origin) < BEST_FIRST.index(figure.origin):
        st.info(
            f"Verdicts go on using the figure that is {ORIGINS[used.origin]}: it comes first.",
            icon=":material/info:",
        )
    for warning in _doubts(metric, figure, new, used):
        st.warning(warning, icon=":material/warning:")


def _used_words(metric: Metric, used: ErrorFigure | None, unit: str) -> str:
    if used is None:
        return "Up to now no figure is used, and no verdict is given."
    return (
        f"Up to now it counts beyond **{_limit(figure_mdc(metric, used), unit)}** "
        f"({ORIGINS[used.origin]})."
    )


def _limit(mdc: float, unit: str) -> str:
    if unit == "grades":
        return "1 grade" if mdc == 1 else f"{mdc:g} grades"
    return plain(number_words(mdc, unit))


def _doubts(metric: Metric, figure: ErrorFigure, new: float, used: ErrorFigure | None) -> list[str]:
    doubts = []
    old = figure_mdc(metric, used) if used is not None else 0.0
    if new > 0 and old > 0 and max(new, old) / min(new, old) > DOUBTED_RATIO:
        which = "larger" if new > old else "smaller"
        doubts.append(
            f"That is {max(new, old) / min(new, old):.0f} times {which} than the figure used up "
            "to now. Look again at the decimal sign, the unit, and whether it is an SEM, an SD or "
            "an MDC that was typed."
        )
    whole = metric.plausible_high - metric.plausible_low
    if figure.applies_to is AppliesTo.SIDE_VALUE and new > whole * DOUBTED_SHARE:
        doubts.append(
            f"That is more than half of the plausible range ({number_words(whole)} wide): hardly "
            "any change would count."
        )
    return doubts


def adopt_form(metric: Metric) -> None:
    """Ask for a figure; it is used only after a look at what it does."""
    name = f"figure_{metric.key}"
    form: str | None = AS_STEP
    if metric.scale is not Scale.GRADE:
        forms = (AS_SEM, AS_PARTS, AS_WITHIN)
        form = st.segmented_control(
            "Known as", forms, default=AS_SEM, key=f"{name}_as", required=True
        )
    boxes = Boxes(blanks_marked=False)
    with st.form(name, border=False):
        applies = list(AppliesTo)
        if metric.asymmetry_form is AsymmetryForm.NONE:
            applies.remove(AppliesTo.ASYMMETRY)
        left, right = st.columns(2)
        applies_to = choose(
            left,
            "It is the error of",
            applies,
            lambda code: f"{APPLIES_TO[code]} ({_unit(metric, code)})",
            key=f"{name}_applies",
        )
        origin = ErrorOrigin.WITHIN_SESSION
        if form != AS_WITHIN:
            origin = choose(
                right,
                "It comes from",
                (ErrorOrigin.OWN, ErrorOrigin.PUBLISHED),
                ORIGINS,
                key=f"{name}_origin",
            )
        numbers = _numbers(boxes, str(form), name)
        source = st.text_input(
            "Source (required)",
            key=f"{name}_source",
            placeholder="A citation, or: own repeat measurements, spring 2026, 12 runners",
        )
        averaged = st.text_input("What was averaged", key=f"{name}_averaged")
        population = st.text_input("Who was measured", key=f"{name}_population")
        sent = st.form_submit_button("Look at what it does", type="primary")
    if not sent or boxes.refuse():
        return
    with calmly():
        figure = ErrorFigure(
            metric=metric.key,
            applies_to=applies_to,
            origin=origin,
            source=source.strip(),
            averaged=averaged.strip(),
            population=population.strip(),
            **numbers,
        )
        check_figure_fits(figure, metric)
        st.session_state[_asked(metric)] = figure
        st.rerun()


def _unit_words(metric: Metric, applies_to: AppliesTo) -> str:
    if applies_to is AppliesTo.ASYMMETRY:
        return asymmetry_unit(metric.asymmetry_form, metric.unit)
    return "grades" if metric.scale is Scale.GRADE else unit_words(metric.unit)


def _unit(metric: Metric, applies_to: AppliesTo) -> str:
    if applies_to is AppliesTo.ASYMMETRY:
        return asymmetry_unit(metric.asymmetry_form, metric.unit) or "no unit"
    return unit_words(metric.unit) or "no unit"


def _numbers(boxes: Boxes, form: str, name: str) -> dict[str, Any]:
    if form == AS_STEP:
        step = boxes.whole(
            st.container(),
            "Grades that repeat grading stays within in 95 % of pairs",
            low=0,
            high=LARGEST_GRADE_STEP,
            required=True,
            key=f"{name}_step",
            help="A change of more grades than this counts.",
        )
        return {"grade_step": step}
    left, right = st.columns(2)

    def number(place: DeltaGenerator, label: str, key: str, **more: Any) -> float | None:
        return boxes.number(place, label, low=0.0, required=True, key=f"{name}_{key}", **more)

    if form == AS_SEM:
        trials = boxes.whole(
            right,
            "of a mean of how many trials",
            start=1,
            low=1,
            required=True,
            key=f"{name}_trials",
        )
        return {"sem": number(left, "SEM", "sem", help=SEM_HELP), "sem_trials": trials}
    within = number(left, "SD of single trials within a session", "within")
    if form == AS_WITHIN:
        return {"within_sd": within}
    return {
        "within_sd": within,
        "between_sd": number(right, "SD from session to session", "between"),
    }
