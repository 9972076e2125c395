"""Plan measurement: how many trials and visits it takes to see a change."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from app import routes, state
from app.grid import in_order
from app.messages import calmly, plain, show_caution
from app.typed_boxes import Boxes
from app.words import metric_words
from casebook.charts.detectable import detectable_curve, visits_words
from casebook.domain.errors import InputRefused
from casebook.domain.metrics import AsymmetryForm, Metric, Scale
from casebook.domain.wording import ORIGINS, asymmetry_unit, number_words, unit_words
from casebook.services.cataloguing import list_figures, list_metrics
from casebook.services.keeping import Casebook
from casebook.services.planning import ErrorGiven, MeasurementPlan, plan_measurement

A_SIDE, ASYMMETRY = "A value", "The asymmetry, right minus left"
BY_FIGURE, BY_OWN = "The figure in force", "Numbers of my own"
# Nothing was done wrong here: a plan needs something more.
STILL_ASKED = {"plan_typical", "plan_no_error_figure"}


def show() -> None:
    """The page."""
    st.title("Plan measurement")
    state.show_notice()
    casebook = state.opened_casebook()
    st.markdown(
        "How many trials and visits does it take to see a change? Choose what is measured and the "
        "change that you hope for."
    )
    metrics = {
        metric.key: metric
        for metric in in_order(list_metrics(casebook))
        if metric.scale is not Scale.GRADE
    }
    if "plan_metric" not in st.session_state:
        st.session_state["plan_metric"] = _first(casebook, metrics)
    left, right = st.columns(2)
    key = left.selectbox(
        "Metric",
        list(metrics),
        key="plan_metric",
        format_func=lambda one: metric_words(metrics[one]),
    )
    metric = metrics[key]
    what = A_SIDE
    if metric.asymmetry_form is not AsymmetryForm.NONE:
        what = str(
            right.segmented_control(
                "Change of", (A_SIDE, ASYMMETRY), default=A_SIDE, key="plan_what", required=True
            )
        )
    asymmetry = what == ASYMMETRY
    with calmly():
        found = _plan(casebook, metric, asymmetry=asymmetry)
        if found is not None:
            _show_plan(found)
    routes.link(
        "repeatability", "Measure your own error", icon=":material/repeat:", metric=metric.key
    )
    show_caution()


def _first(casebook: Casebook, metrics: dict[str, Metric]) -> str:
    asked = st.query_params.get("metric")
    if asked in metrics:
        return str(asked)
    with_figure = {
        figure.metric for figure in list_figures(casebook) if figure.sem or figure.between_sd
    }
    return next((key for key in metrics if key in with_figure), next(iter(metrics)))


def _plan(casebook: Casebook, metric: Metric, *, asymmetry: bool) -> MeasurementPlan | None:
    unit = (
        asymmetry_unit(metric.asymmetry_form, metric.unit) if asymmetry else unit_words(metric.unit)
    )
    name = f"{metric.key}_{asymmetry}"
    left, right = st.columns(2)
    boxes = Boxes()
    change = boxes.number(
        left,
        f"Change to be seen{f' ({unit})' if unit else ''}",
        start=None if asymmetry else metric.important_change,
        low=0.0,
        key=f"plan_change_{name}",
        placeholder="Leave blank to see what can be seen",
    )
    percent = right.slider(
        "Probability of seeing it (%)", 50, 95, 80, step=5, key="plan_probability"
    )
    left, right = st.columns(2)
    error = left.segmented_control(
        "Error", (BY_FIGURE, BY_OWN), default=BY_FIGURE, key="plan_error", required=True
    )
    typical = None
    if asymmetry and metric.asymmetry_form is not AsymmetryForm.DIFFERENCE:
        typical = boxes.number(
            right,
            f"Typical value of one side ({unit_words(metric.unit) or 'no unit'})",
            low=0.0,
            key=f"plan_typical_{name}",
            help="An asymmetry in percent depends on how large the sides are.",
        )
    given = _given(boxes, metric) if error == BY_OWN else None
    if boxes.problems:
        return None
    if given is not None and (given.between_sd is None or given.within_sd is None):
        st.caption("Give both standard deviations.")
        return None
    try:
        return plan_measurement(
            casebook,
            metric.key,
            change=change or None,
            probability=percent / 100,
            asymmetry=asymmetry,
            given=given,
            typical=typical or None,
        )
    except InputRefused as refusal:
        if any(problem.code not in STILL_ASKED for problem in refusal.problems):
            raise
        st.info(plain(str(refusal)), icon=":material/straighten:")
        return None


def _given(boxes: Boxes, metric: Metric) -> ErrorGiven:
    unit = unit_words(metric.unit) or "no unit"
    left, right = st.columns(2)
    return ErrorGiven(
        between_sd=boxes.number(
            left,
            f"SD from session to session, of one side ({unit})",
            low=0.0,
            key=f"plan_between_{metric.key}",
        ),
        within_sd=boxes.number(
            right,
            f"SD of single trials within a session ({unit})",
            low=0.0,
            key=f"plan_within_{metric.key}",
        ),
    )


def _show_plan(found: MeasurementPlan) -> None:
    with st.container(border=True, key="plan_answer"):
        st.markdown(f"**{plain(found.answer)}**")
        origin = "the numbers given here" if found.origin is None else ORIGINS[found.origin]
        source = f" ({found.source})" if found.origin is not None else ""
        st.caption(plain(f"Error: {origin}{source}"))
    st.vega_lite_chart(
        spec=detectable_curve(
            [(point.visits, point.trials, point.detectable) for point in found.plan.curve],
            change=found.change,
            unit=found.unit,
            palette=state.palette(),
        ),
        theme=None,
        key="chart_detectable",
    )
    st.caption(
        f"The smallest change that is seen with a probability of {100 * found.probability:.0f} %. "
        "Below a line a change of that size would be missed more often."
    )
    st.markdown("\n".join(f"- {plain(note)}" for note in found.notes))
    with st.expander("The curve in numbers", icon=":material/table:"):
        rows: dict[int, dict[str, str]] = {}
        for point in found.plan.curve:
            row = rows.setdefault(point.trials, {"Trials a visit": str(point.trials)})
            row[visits_words(point.visits)] = plain(number_words(point.detectable, found.unit))
        st.table(
            pd.DataFrame(list(rows.values())),
            border="horizontal",
            hide_index=True,
            alt="Detectable change by trials and visits",
        )


show()
