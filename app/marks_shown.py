"""What came of marked points: values with their marking error, asymmetries, notes by frame."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from app.messages import count_words, plain
from app.tables import show_stacked
from app.words import SIDES, metric_words
from casebook.domain.marking import LANDMARK_WORDS, LANDMARKS_OF, VIEW_WORDS, note_lines
from casebook.domain.sides import Side
from casebook.domain.wording import number_words, plausible_words, unit_words
from casebook.services.marking import MarksRead
from casebook.statistics.geometry_measure import asymmetry_words

SHARED = "Against independent sides"
ERROR_EXPLAINED = (
    "**Error of one trial**: standard deviation of what marking brings anew to each trial. "
    "**Shared**: what scale, camera, speed and the rounding of moments to whole frames bring to "
    "all trials alike, so that more trials do not shrink it (the rounding is alike where a stride "
    "lasts nearly a whole number of frames, and is taken so throughout). **Error of the mean**: "
    "both together. None of them holds how the runner varies from step to step or from day to day."
)


def show_form_of_tables() -> None:
    """What the tables look like, before any was given."""
    st.caption(
        "Two CSV tables, in any order. **Points**: `frame`, `landmark`, `x`, `y`, `view`, `side`, "
        "and where there are any `repeat`, `px_per_cm`, `frames_per_s`; x and y in pixels, y "
        "downwards. **Moments**: `frame`, `event` (`contact`, `mid_stance`, `heel_rise`, "
        "`toe_off`), `side`, and `view` where there are two. Mark some frames a second time "
        "(`repeat` 2): it tells how well you mark. Nothing is stored until you save."
    )
    with st.expander("Landmarks by name", icon=":material/pin_drop:"):
        for view, listed in LANDMARKS_OF.items():
            st.markdown(f"**Seen {VIEW_WORDS[view]}**")
            st.markdown(
                "\n".join(
                    f"- `{one}`{'' if sided else ' (no side)'}: {LANDMARK_WORDS[one]}"
                    for one, sided in listed.items()
                )
            )


def show_measured(read: MarksRead) -> None:
    """Everything that was computed, and what to know of the frames."""
    _show_notes(read)
    measured = read.measured
    if not measured.values:
        st.info("No value could be read from these marks.", icon=":material/search_off:")
        return
    st.subheader("What the marks tell", anchor=False)
    with st.container(key="marks_values"):
        st.table(
            _values_table(read), border="horizontal", hide_index=True, alt="What the marks tell"
        )
    st.caption(f"{_errors_used(read)} {ERROR_EXPLAINED}")
    if measured.asymmetries:
        st.subheader("Right minus left", anchor=False)
        show_stacked(_asymmetry_table(read), key="marks_asymmetries", alt="Right minus left")
    with st.expander("Every trial, by frame", icon=":material/table_rows:"):
        st.dataframe(_trials_table(read), hide_index=True, width="stretch", key="marks_trials")


def _show_notes(read: MarksRead) -> None:
    lines = note_lines(read.measured.notes)
    withheld = [line for line, is_withheld in lines if is_withheld]
    others = [line for line, is_withheld in lines if not is_withheld]
    if withheld:
        listed = "\n".join(f"- {plain(line)}" for line in withheld)
        st.warning(
            f"**Not everything could be read.**\n\n{listed}", icon=":material/frame_inspect:"
        )
    for value in read.unlikely:
        metric = read.metrics[value.metric]
        unit = unit_words(metric.unit)
        st.warning(
            f"**{plain(metric.label)}, {SIDES[value.side]}**: "
            f"{plain(number_words(value.mean, unit))} lies outside the plausible "
            f"{plain(plausible_words(metric))}. "
            "Look again at points, sides and scale.",
            icon=":material/help:",
        )
    if others:
        with st.expander(
            f"Taken for granted, and worth knowing ({len(others)})",
            expanded=True,
            icon=":material/info:",
        ):
            st.markdown("\n".join(f"- {plain(line)}" for line in others))


def _errors_used(read: MarksRead) -> str:
    measured = read.measured
    parts = []
    if measured.point_sd_px is not None:
        how = "as given" if read.settings.point_sd_px is not None else "from repeated marks"
        parts.append(f"a point {measured.point_sd_px:.2g} pixels ({how})")
    if any(event.moment for event in read.marks.events):
        how = "as given" if read.settings.event_sd_frames is not None else "from repeats"
        more = f", and {measured.event_sd_frames:.2g} frames ({how})"
        parts.append(
            "a moment a whole frame's rounding" + (more if measured.event_sd_frames else "")
        )
    return f"Marking error used: {'; '.join(parts)}." if parts else ""


NEGLIGIBLE = 1e-9


def _side(side: Side) -> str:
    return "–" if side is Side.NONE else SIDES[side]


def _cell(number: float | None, *, signed: bool = False) -> str:
    """A number whose unit stands with the metric's name."""
    if number is not None and not signed and abs(number) < NEGLIGIBLE:
        return "none"
    return number_words(number, signed=signed)


def _values_table(read: MarksRead) -> pd.DataFrame:
    rows = []
    for value in read.measured.values:
        metric = read.metrics[value.metric]
        rows.append(
            {
                "Metric": plain(metric_words(metric)),
                "Side": _side(value.side),
                "Mean": _cell(value.mean),
                "Trials": len(value.trials),
                "Error of one trial": _cell(value.own_sd),
                "Shared": _cell(value.shared_sd),
                "Error of the mean": _cell(value.mean_sd),
            }
        )
    return pd.DataFrame(rows)


def _asymmetry_table(read: MarksRead) -> pd.DataFrame:
    rows = []
    for one in read.measured.asymmetries:
        metric = read.metrics[one.metric]
        rows.append(
            {
                "Metric": plain(metric_words(metric)),
                "Right − left": _cell(one.value, signed=True),
                "Its error": _cell(one.sd),
                SHARED: asymmetry_words(one) or "–",
            }
        )
    return pd.DataFrame(rows)


def _trials_table(read: MarksRead) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "Metric": metric_words(read.metrics[value.metric]),
                "Side": _side(value.side),
                "Seen": VIEW_WORDS[value.view],
                "Frame": trial.frame,
                "Value": _cell(trial.value),
                "Its error": _cell(trial.sd),
            }
            for value in read.measured.values
            for trial in value.trials
        ]
    )


def count_line(read: MarksRead) -> str:
    """How much there is to be saved."""
    kept = [value for value in read.measured.values if value.metric in read.kept]
    out = len(read.measured.values) - len(kept)
    left = (
        f" {count_words(out, 'value belongs', 'values belong')} to metrics that this casebook's "
        "catalogue does not have, and will be left out."
        if out
        else ""
    )
    return f"**{count_words(len(kept), 'value')}** ready to be saved.{left}"
