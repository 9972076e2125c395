"""A study from a CSV file: which column holds what, and what was measured."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.choices import choose
from app.messages import calmly, plain
from app.words import FORMS, metric_words
from casebook.domain.metrics import AsymmetryForm, Metric, Scale
from casebook.intake.repeat_table import RepeatColumns
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import Casebook
from casebook.services.repeating import Study, columns_of_file, study_from_file

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

LONG, WIDE = "A row for each reading", "A row a runner, a column a session"
KEPT = "study_of_file"
# Names by which a column is likely to go, so that a choice is mostly right at first.
LIKELY = {
    "subject": ("subject", "runner", "participant", "id", "code"),
    "session": ("session", "visit_date", "visit", "day", "occasion", "date"),
    "value": ("value", "reading", "measurement"),
    "rater": ("rater", "assessor"),
    "trial": ("trial",),
    "side": ("side",),
}


def study_of_upload(casebook: Casebook) -> Study | None:
    """Ask for the file and its columns; the study once it was analysed."""
    upload = st.file_uploader("CSV file", type=["csv", "txt"], key="study_upload")
    if upload is None:
        st.caption(
            "Either a row for each reading, with a column of the runner's code, one of the "
            "session and one of the value (and of rater, trial and side, where there are any); "
            "or a row for each runner and a column for each session. Nothing of it is stored, "
            "unless you adopt the error that it gives."
        )
        return None
    found = None
    with calmly(), _on_disk(upload) as path:
        found = _asked(casebook, path, upload)
    if found is not None:
        metric = found.metric
        st.subheader(
            plain(found.place if metric is None else f"{metric.label} ({found.place})"),
            anchor=False,
        )
    return found


def _asked(casebook: Casebook, path: Path, upload: UploadedFile) -> Study | None:
    header = columns_of_file(path)
    layout = st.segmented_control(
        "The table has", (LONG, WIDE), default=LONG, key="study_layout", required=True
    )
    wide = layout == WIDE
    columns = _wide_columns(header) if wide else _long_columns(header)
    metric = _metric(casebook)
    grades = metric.scale is Scale.GRADE if metric is not None else False
    form = metric.asymmetry_form if metric is not None else AsymmetryForm.DIFFERENCE
    left, right = st.columns(2)
    if metric is None:
        grades = left.checkbox("The values are grades (0, 1, 2, …)", key="study_grades")
        if columns.side is not None:
            forms = [one for one in AsymmetryForm if one is not AsymmetryForm.NONE]
            form = choose(right, "Sides are compared as", forms, FORMS, key="study_form")
    mark = repr(
        (hashlib.sha256(upload.getvalue()).hexdigest(), wide, columns, metric, grades, form)
    )
    if not columns.subject or not columns.sessions or not (wide or columns.value):
        st.caption("Say which columns hold the runner's code, the session and the value.")
        return None
    if st.button("Analyse", type="primary", key="study_analyse", icon=":material/calculate:"):
        st.session_state.pop(KEPT, None)
        with st.spinner("Analysing …"):
            study = study_from_file(
                path,
                columns,
                wide=wide,
                grades=grades,
                asymmetry_form=form,
                metric=metric,
            )
        st.session_state[KEPT] = (mark, study)
    kept = st.session_state.get(KEPT)
    if kept is None or kept[0] != mark:
        return None
    found: Study = kept[1]
    return found


def _metric(casebook: Casebook) -> Metric | None:
    metrics = {one.key: one for one in list_metrics(casebook)}
    key = st.selectbox(
        "What was measured (needed to adopt the error)",
        list(metrics),
        index=None,
        format_func=lambda one: metric_words(metrics[one]),
        key="study_file_metric",
        placeholder="A metric of the catalogue, in its unit",
    )
    return metrics[key] if key else None


def _long_columns(header: tuple[str, ...]) -> RepeatColumns:
    first, second, third = st.columns(3)
    subject = _column(first, "Runner's code", "subject", header)
    session = _column(second, "Session", "session", header)
    value = _column(third, "Value", "value", header)
    return RepeatColumns(
        subject=subject,
        sessions=(session,) if session else (),
        value=value,
        rater=_column(first, "Rater (if any)", "rater", header),
        trial=_column(second, "Trial (if any)", "trial", header),
        side=_column(third, "Side (if any)", "side", header),
    )


def _column(place: DeltaGenerator, label: str, part: str, header: tuple[str, ...]) -> str | None:
    small = [name.casefold() for name in header]
    likely = next((small.index(name) for name in LIKELY[part] if name in small), None)
    chosen = place.selectbox(
        label,
        header,
        index=likely,
        key=f"study_column_{part}_{hash(header)}",
        placeholder="No such column",
    )
    return str(chosen) if chosen is not None else None


def _wide_columns(header: tuple[str, ...]) -> RepeatColumns:
    left, right = st.columns(2)
    subject = left.selectbox("Runner's code", header, key=f"study_wide_subject_{hash(header)}")
    others = [name for name in header if name != subject]
    sessions = right.multiselect(
        "Sessions, in their order",
        others,
        default=others,
        key=f"study_wide_sessions_{hash((header, subject))}",
    )
    return RepeatColumns(subject=str(subject), sessions=tuple(sessions))


@contextmanager
def _on_disk(upload: UploadedFile) -> Iterator[Path]:
    with TemporaryDirectory(prefix="casebook-study-") as place:
        path = Path(place) / Path(upload.name).name
        path.write_bytes(upload.getvalue())
        yield path
