"""The two charts of a metric's course: both sides, and the asymmetry where there is one."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import streamlit as st

from app import state
from casebook.charts.course import Smooth, asymmetry_course, side_course
from casebook.charts.time_axis import TimeAxis
from casebook.domain.metrics import Metric
from casebook.domain.verdicts import What
from casebook.domain.wording import asymmetry_unit, unit_words


def draw_course(
    course: pd.DataFrame,
    axis: TimeAxis,
    metric: Metric,
    *,
    place: str,
    key: str,
    smooth: Mapping[str, Smooth] | None = None,
) -> None:
    """Draw them one below the other; `place` and `key` tell them from others of the page."""
    palette = state.palette()
    st.vega_lite_chart(
        spec=side_course(
            course, axis, unit=unit_words(metric.unit), palette=palette, smooth=smooth
        ),
        theme=None,
        key=f"{place}_sides_{key}",
    )
    if (course["what"] == What.ASYMMETRY.value).any():
        st.vega_lite_chart(
            spec=asymmetry_course(
                course,
                axis,
                unit=asymmetry_unit(metric.asymmetry_form, metric.unit),
                palette=palette,
                smooth=smooth,
            ),
            theme=None,
            key=f"{place}_asymmetry_{key}",
        )
