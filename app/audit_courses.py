"""What an audit says of time: return to running, courses of a metric, clinicians side by side."""

from __future__ import annotations

import streamlit as st

from app import state
from app.audit_shown import ON_BUTTONS, table
from app.messages import plain
from casebook.charts.audit_courses import growth_courses
from casebook.charts.audit_funnel import funnel_plot
from casebook.charts.audit_grades import grade_shares
from casebook.charts.audit_residuals import residual_quantiles, residuals_by_fitted
from casebook.charts.audit_returns import return_curve
from casebook.domain.audit import AuditChoice
from casebook.domain.audit_course_words import course_words
from casebook.domain.audit_growth import (
    FUNNEL_WORDS,
    CohortGrades,
    CohortGrowth,
    NoModel,
    return_words,
)
from casebook.domain.audit_outcomes import Audit, On, ReturnToRunning, Split
from casebook.domain.audit_words import LEVELS, ONS, WITHHELD, count_words
from casebook.domain.metrics import Metric
from casebook.domain.number_words import rounded_alike
from casebook.domain.wording import upper_first
from casebook.services.audit_refusals import ons_of
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_models import cohort_model

Model = CohortGrowth | CohortGrades | NoModel
# Boxes of the course over time: which metric, and what of it.
COURSE = ("audit_growth_metric", "audit_growth_on")


def show_returns(audit: Audit) -> None:
    """Time from the onset of the complaint to the first run."""
    st.subheader("Running again after the complaint began", anchor=False)
    shown = [one for one in audit.returns if one.steps]
    if not shown:
        st.caption("Too few runners with a complaint to show when they ran again.")
        return
    st.vega_lite_chart(
        spec=return_curve(shown, palette=state.palette()), theme=None, key="chart_returns"
    )
    table([_return_row(one) for one in audit.returns], "Return to running")
    st.caption(return_words(weekly=audit.choice.purpose is not None))


def _return_row(one: ReturnToRunning) -> dict[str, str]:
    half = WITHHELD
    if one.median is not None:
        middle, low, high = ("not reached" if end is None else f"{end:.0f}" for end in one.median)
        half = f"{middle} (95 % interval {low} to {high})"
    begins = f", not running by day {one.begins:.0f}" if one.begins and one.steps else ""
    return {
        "Runners": (LEVELS[one.group] or "all") + begins,
        "How many": WITHHELD if one.n is None else str(one.n),
        "Ran again": WITHHELD if one.returned is None else str(one.returned),
        "Day by which half ran again": half,
    }


def show_clinicians(audit: Audit) -> None:
    """Clinicians side by side within the limits of chance, one metric at a time."""
    st.subheader("Between clinicians", anchor=False)
    if not audit.funnels:
        st.caption(
            "It takes at least two clinicians with enough runners each to set them side by side."
        )
        return
    labels = {(one.metric, one.on): one.label for one in audit.outcomes}
    places = list(range(len(audit.funnels)))
    state.choose_first("audit_funnel", places)
    at = st.selectbox(
        "Improved beyond error in",
        places,
        format_func=lambda place: _funnel_name(audit, place, labels),
        key="audit_funnel",
    )
    funnel = audit.funnels[at or 0]
    name = _funnel_name(audit, at or 0, labels)
    st.vega_lite_chart(
        spec=funnel_plot(funnel, label=name, palette=state.palette()),
        theme=None,
        key="chart_funnel",
    )
    st.caption(FUNNEL_WORDS)
    if funnel.left_out:
        st.caption(f"Left out, because too few of their runners have a verdict: {funnel.left_out}.")


def _funnel_name(audit: Audit, place: int, labels: dict[tuple[str, On], str]) -> str:
    funnel = audit.funnels[place]
    label = labels.get((funnel.metric, funnel.on), funnel.metric)
    return label if funnel.on is On.VALUE else f"{label}: {ONS[funnel.on]}"


@st.cache_resource(show_spinner="Fitting the model …", max_entries=32)
def _model(
    _loaded: LoadedCohort,
    stamp: tuple[int | str, ...],  # noqa: ARG001
    choice: AuditChoice,
    metric: str,
    on: On,
) -> Model:
    return cohort_model(_loaded, choice, metric, on)


def show_growth(loaded: LoadedCohort, audit: Audit, metrics: dict[str, Metric]) -> None:
    """How one metric ran with time in the cohort."""
    st.subheader("Course over time", anchor=False)
    choice = audit.choice
    asked = {key: metrics[key] for key in _most_told_first(audit) if key in metrics}
    if not asked:
        st.caption("No metric was measured in this cohort.")
        return
    state.choose_first(COURSE[0], list(asked))
    key = st.selectbox(
        "Metric", list(asked), format_func=lambda one: asked[one].label, key=COURSE[0]
    )
    offered = ons_of(asked[key])
    state.choose_first(COURSE[1], offered)
    on = st.segmented_control(
        "Of", offered, format_func=ON_BUTTONS.__getitem__, key=COURSE[1], required=True
    )
    found = _model(loaded, loaded.stamp, choice, key, On(on or offered[0]))
    if isinstance(found, NoModel):
        st.info(
            f"The course of this metric can't be told. {plain(found.words)}",
            icon=":material/visibility_off:",
        )
    elif isinstance(found, CohortGrades):
        _show_grades(found)
    else:
        _show_course(found)


def _most_told_first(audit: Audit) -> list[str]:
    """Metrics by how many runners have a verdict, so that the first has something to say."""
    told: dict[str, int] = {one.metric: 0 for one in audit.completeness}
    for one in audit.outcomes:
        (whole,) = dict(one.splits)[Split.NONE]
        told[one.metric] = max(told.get(one.metric, 0), whole.improved.total or 0)
    return sorted(told, key=lambda key: -told[key])


def _show_course(found: CohortGrowth) -> None:
    st.markdown(plain(course_words(found)))
    st.vega_lite_chart(
        spec=growth_courses(found, palette=state.palette()), theme=None, key="chart_growth"
    )
    single = " Thin: what was measured of single runners." if found.raw else ""
    st.caption(
        f"Thick: the predicted mean course with its 95 % band.{single} {found.n_runners} runners, "
        f"{found.n_rows} visits."
    )
    table(
        [
            {
                "Part of the model": plain(upper_first(one.words)),
                "Estimate (95 % interval)": plain(_interval(one.estimate, one.low, one.high)),
                "Unit": plain(one.unit),
            }
            for one in found.terms
        ],
        "Parts of the model",
    )
    _show_random(found)
    _show_fitting(found.words)
    if found.residuals:
        with st.expander("Does the model fit? The residuals", icon=":material/troubleshoot:"):
            st.caption(
                "To the left: what is left of each visit, over what was fitted. A bend or a fan "
                "says that the model does not fit. To the right: against a normal distribution, "
                "points near the line."
            )
            left, right = st.columns(2)
            left.vega_lite_chart(
                spec=residuals_by_fitted(found, palette=state.palette()),
                theme=None,
                key="chart_residuals",
            )
            right.vega_lite_chart(
                spec=residual_quantiles(found, palette=state.palette()),
                theme=None,
                key="chart_quantiles",
            )


def _show_fitting(words: tuple[str, ...]) -> None:
    with st.expander("How it was fitted, and what it can't say", icon=":material/notes:"):
        st.markdown("\n".join(f"- {plain(one)}" for one in words))


def _interval(estimate: float, low: float, high: float) -> str:
    told = rounded_alike((estimate, low, high), "", signed=True)
    return f"{told[0]} ({told[1]} to {told[2]})"


def _show_random(found: CohortGrowth) -> None:
    random = found.random
    rows = [
        ("Runners' own levels differ by (SD)", random.sd_level, found.unit),
        ("Runners' own slopes differ by (SD)", random.sd_slope, f"{found.unit} a week"),
        ("A visit strays from its runner's line by (SD)", random.sd_residual, found.unit),
        ("Beside it: the known measurement error (SEM)", random.sd_error, found.unit),
    ]
    table(
        [
            {"Spread": what, "Size": plain(f"{rounded_alike((size,), '')[0]} {unit}")}
            for what, size, unit in rows
            if size is not None
        ],
        "Spread between and within runners",
    )


def _show_grades(found: CohortGrades) -> None:
    st.vega_lite_chart(
        spec=grade_shares(found, palette=state.palette()), theme=None, key="chart_grades"
    )
    table(
        [
            {
                "Part of the model": plain(upper_first(one.words)),
                "Odds ratio of a higher grade (95 % interval)": (
                    f"{one.ratio:.2f} ({one.low:.2f} to {one.high:.2f})"
                ),
            }
            for one in found.terms
        ],
        "Odds of a higher grade",
    )
    table(
        [
            {
                "Runners": LEVELS[group] or "all",
                "Grade": f"{share.grade:.0f}",
                "How many": count_words(share.count),
                "Predicted": f"{100 * share.predicted:.0f} %",
            }
            for group, shares in found.groups
            for share in shares
        ],
        "Grades at the outcome",
    )
    _show_fitting(found.words)
