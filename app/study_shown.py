"""A repeatability study: the one sentence first, what to beware of, then the details."""

from __future__ import annotations

import math

import streamlit as st

from app import state
from app.messages import count_words, day_words, plain
from app.study_tables import (
    error_of_visit,
    mdc_of,
    show_components,
    show_grading,
    show_icc,
    show_numbers,
    show_sides,
    told,
)
from casebook.charts.agreement import Limit, agreement_plot
from casebook.domain.metrics import Scale
from casebook.services.repeating import Study
from casebook.statistics.repeatability.results import Repeatability

# Warnings about SEM and ICC: of grades and of the asymmetry they stand with those numbers.
OF_NUMBERS = ("Two occasions only", "Few ", "The variance between")


def show_headline(study: Study) -> None:
    """What a clinician needs to know, in one sentence for a value and one for the asymmetry."""
    lines = [_change_words(study, study.result, study.unit, what="change")]
    if study.sides is not None and not _graded(study):
        lines.append(
            _change_words(
                study, study.sides.asymmetry, study.asymmetry_unit, what="change of right − left"
            )
        )
    with st.container(border=True, key="study_headline"):
        for line in lines:
            st.markdown(line)
        st.caption(_basis_words(study))


def _graded(study: Study) -> bool:
    return study.result.grading is not None or (
        study.metric is not None and study.metric.scale is Scale.GRADE
    )


def _change_words(study: Study, found: Repeatability, unit: str, *, what: str) -> str:
    if _graded(study):
        if found.grading is None:
            return "The step of repeat grading can't be told: nobody was graded twice."
        step = count_words(found.grading.step95, "grade")
        return (
            f"### A {what} of {step} or less can be error alone.\n"
            f"In 95 % of pairs repeat grading stayed within {step}."
        )
    sem = error_of_visit(found)
    if not math.isfinite(sem.estimate):
        return (
            f"The error of a {what} can't be told: no runner was measured in two sessions under "
            "the same names."
        )
    limit, low, high = (mdc_of(number) for number in (sem.estimate, sem.low, sem.high))
    trials = _trials_words(found)
    share = ""
    if found.growing_error is not None and found.growing_error.grows and found.log_scale:
        logs = found.log_scale
        share = (
            f" The error grows with the value, so better in percent: a rise of up to "
            f"{told(logs.mdc95_up_percent, '%')} or a fall of up to "
            f"{told(logs.mdc95_down_percent, '%')}."
        )
    return (
        f"### A {what} of {plain(told(limit, unit))} or less can be error alone.\n"
        f"Between two visits{trials}, in 95 of 100 such comparisons. How sure: the limit itself "
        f"lies between {plain(told(low, unit))} and {plain(told(high, unit))} (95 % interval)."
        f"{share}"
    )


def _trials_words(found: Repeatability) -> str:
    least, most = found.trials_least, found.trials_most
    if most == 1:
        return " of one reading each"
    return f" of {most} trials each" if least == most else f" of {least} to {most} trials each"


def _basis_words(study: Study) -> str:
    found = study.result
    when = ""
    if study.began_on is not None and study.ended_on is not None:
        when = f", {day_words(study.began_on)} to {day_words(study.ended_on)}"
    raters = f", {found.n_raters} raters" if found.n_raters > 1 else ""
    return plain(
        f"From {count_words(study.n_runners, 'runner')}, {count_words(found.n_sessions, 'session')}"
        f" and {count_words(found.n_values, 'reading')}{when}"
        f"{raters}. "
        f"{'Numbers are in the unit of the file. ' if study.metric is None else ''}"
        "It holds for these assessors, this equipment and runners like these."
    )


def show_warnings(study: Study) -> None:
    """What to beware of before a number is used, in plain words."""
    found = [words for words in study.result.warnings if not _left_for_later(study, words)]
    if study.sides is not None:
        found += [
            f"Of the asymmetry: {words}"
            for words in study.sides.asymmetry.warnings
            if words not in found and not words.startswith(OF_NUMBERS)
        ]
    if not found:
        return
    with st.container(key="study_warnings"):
        st.warning(
            "**Before you rely on it**\n\n" + "\n".join(f"- {plain(words)}" for words in found),
            icon=":material/warning:",
        )


def _left_for_later(study: Study, words: str) -> bool:
    return _graded(study) and words.startswith(OF_NUMBERS)


def show_details(study: Study) -> None:
    """The numbers behind it, part by part; a grade has no standard deviation, so fewer."""
    found = study.result
    graded = _graded(study)
    if found.grading is not None:
        st.subheader("Repeat grading", anchor=False)
        show_grading(found.grading)
    if not graded:
        st.subheader("Where the error comes from", anchor=False)
        show_components(found, study.unit)
        if found.bland_altman is not None:
            st.subheader("Two sessions side by side", anchor=False)
            _show_agreement(study, found)
        if study.sides is not None:
            st.subheader("Left, right, and right minus left", anchor=False)
            show_sides(study)
    st.subheader("For those who want the numbers", anchor=False)
    if not graded:
        with st.expander("Standard error and minimal detectable change", icon=":material/table:"):
            show_numbers(found, study.unit)
    with st.expander("Intraclass correlation, six forms", icon=":material/table:"):
        show_icc(found)
    later = [words for words in found.warnings if _left_for_later(study, words)]
    notes = [*study.notes, *found.notes, *later]
    if notes:
        with st.expander("How the numbers were got", icon=":material/info:"):
            st.markdown("\n".join(f"- {plain(note)}" for note in notes))


def _show_agreement(study: Study, found: Repeatability) -> None:
    limits = found.bland_altman
    if limits is None:
        return
    unit = study.unit
    st.markdown(
        f"On average the second measurement differs by "
        f"{plain(told(limits.bias, unit, signed=True))} ({plain(limits.difference)}; 95 % interval "
        f"{plain(told(limits.bias_low, unit))} to {plain(told(limits.bias_high, unit))}). 95 of "
        f"100 differences are expected between **{plain(told(limits.lower, unit))}** (interval "
        f"{plain(told(limits.lower_low, unit))} to {plain(told(limits.lower_high, unit))}) and "
        f"**{plain(told(limits.upper, unit))}** (interval "
        f"{plain(told(limits.upper_low, unit))} to {plain(told(limits.upper_high, unit))})."
    )
    if limits.sd > 0:
        st.vega_lite_chart(
            spec=agreement_plot(
                limits.points,
                (
                    Limit(
                        name="lower limit",
                        value=limits.lower,
                        low=limits.lower_low,
                        high=limits.lower_high,
                    ),
                    Limit(
                        name="mean difference",
                        value=limits.bias,
                        low=limits.bias_low,
                        high=limits.bias_high,
                    ),
                    Limit(
                        name="upper limit",
                        value=limits.upper,
                        low=limits.upper_low,
                        high=limits.upper_high,
                    ),
                ),
                difference=limits.difference,
                unit=unit,
                palette=state.palette(),
            ),
            theme=None,
            key="chart_agreement",
        )
        st.caption(
            "Each point is one runner, or one side of a runner: across the mean of the two "
            "measurements, up and down their difference. Broken lines: limits of agreement; "
            "shaded: how exactly each line is known (95 %)."
        )
    if found.growing_error is not None and found.log_scale is not None:
        _show_proportion(found)


def _show_proportion(found: Repeatability) -> None:
    growing, logs = found.growing_error, found.log_scale
    if growing is None or logs is None:
        return
    cv = logs.cv_percent
    told_cv = (
        f"coefficient of variation {told(cv.estimate, '%')} (95 % interval "
        f"{told(cv.low, '%')} to {told(cv.high, '%')})"
    )
    if growing.grows:
        st.markdown(
            f":material/warning: **The error grows with the value** (Kendall's tau "
            f"{growing.tau:.2f}, p = {growing.p:.2g}): percent tell it better, {told_cv}."
        )
    else:
        st.caption(
            f"No sign that the error grows with the value (Kendall's tau {growing.tau:.2f}, "
            f"p = {growing.p:.2g}). In percent: {told_cv}."
        )
