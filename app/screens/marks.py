"""Marked points: from coordinates on still frames to metrics, and into a visit."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import streamlit as st

from app import state
from app.marks_saving import offer_saving
from app.marks_shown import show_form_of_tables, show_measured
from app.messages import calmly, show_caution
from app.typed_boxes import Boxes
from casebook.domain.marking import MarkSettings
from casebook.services.keeping import Casebook
from casebook.services.marking import RANGES, MarksRead, read_files

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

KEPT = "marks_read"
BOXES = {
    "speed_km_h": ("Running speed (km/h)", "For lengths of steps."),
    "speed_sd_km_h": ("SD of the speed (km/h)", "Blank: the speed is taken as exact."),
    "frames_per_s": ("Frames a second", "Where the tables do not say it."),
    "last_frame": ("Last frame of the clip", "A frame beyond it is refused."),
    "point_sd_px": ("SD of a point (pixels)", "Blank: from frames that were marked repeatedly."),
    "event_sd_frames": (
        "SD of a moment (frames)",
        "How far two choices of the frame lie apart, beside the rounding to a whole frame. "
        "Blank: from moments that were marked repeatedly.",
    ),
    "tilt_sd_deg": (
        "SD of the camera's lean (degrees)",
        "Where no plumb line was marked. Blank: the camera is taken as level.",
    ),
    "px_per_cm_sd": (
        "SD of the scale (pixels a cm)",
        "Blank: from readings of px_per_cm that differ, else taken as exact.",
    ),
}
LIMITS = {name: (low, high) for name, low, high, _ in RANGES}
WHOLE = frozenset({"last_frame"})


def show() -> None:
    """The page."""
    st.title("Marked points")
    state.show_notice()
    casebook = state.opened_casebook()
    st.markdown(
        "Points that were marked on still frames become angles, distances and times, each with "
        "the error that marking brings to it."
    )
    uploads = st.file_uploader(
        "CSV files of points and of moments",
        type=["csv", "txt"],
        accept_multiple_files=True,
        key="marks_uploads",
    )
    if not uploads:
        show_form_of_tables()
        return
    boxes = Boxes()
    settings = _ask_settings(boxes)
    if boxes.problems:
        st.caption("Mend what is marked in red; then the marks are computed.")
        return
    with calmly():
        read = _read(casebook, uploads, settings)
        show_measured(read)
        if read.measured.values:
            offer_saving(casebook, read)
    show_caution()


def _ask_settings(boxes: Boxes) -> MarkSettings:
    given: dict[str, float | None] = {}
    with st.expander("How it was filmed and marked", expanded=True, icon=":material/tune:"):
        for names in (list(BOXES)[:4], list(BOXES)[4:]):
            for name, place in zip(names, st.columns(4), strict=True):
                label, words = BOXES[name]
                low, high = LIMITS[name]
                ask = boxes.whole if name in WHOLE else boxes.number
                given[name] = ask(place, label, key=f"marks_{name}", low=low, high=high, help=words)
    last = given.pop("last_frame")
    return MarkSettings(last_frame=None if last is None else int(last), **given)


def _read(casebook: Casebook, uploads: Sequence[UploadedFile], settings: MarkSettings) -> MarksRead:
    mark = repr(
        (
            [(one.name, hashlib.sha256(one.getvalue()).hexdigest()) for one in uploads],
            settings,
            casebook.url,
        )
    )
    kept = st.session_state.get(KEPT)
    if kept is None or kept[0] != mark:
        st.session_state.pop(KEPT, None)
        with st.spinner("Computing …"), _on_disk(uploads) as paths:
            kept = (mark, read_files(paths, settings, casebook=casebook))
        st.session_state[KEPT] = kept
    found: MarksRead = kept[1]
    return found


@contextmanager
def _on_disk(uploads: Sequence[UploadedFile]) -> Iterator[list[Path]]:
    with TemporaryDirectory(prefix="casebook-marks-") as place:
        paths = []
        for number, upload in enumerate(uploads):
            # A folder for each: two files may bear one name.
            folder = Path(place) / str(number)
            folder.mkdir()
            path = folder / Path(upload.name).name
            path.write_bytes(upload.getvalue())
            paths.append(path)
        yield paths


show()
