"""Export: de-identified tables for an audit or for research, and the log of what left."""

from __future__ import annotations

import io
import tempfile
import zipfile
from pathlib import Path

import pandas as pd
import streamlit as st

from app import routes, state
from app.choices import choose
from app.messages import calmly, count_words, day_words, plain
from app.typed_boxes import Boxes
from casebook.domain.exporting import ExportKey, ExportSettings, key_of_text
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose
from casebook.domain.risk_words import DISCLAIMER, NAMES, NOT_PROTECTED, level_words
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.cohort import cohort_stamp
from casebook.services.exporting_audit import (
    ExportPreview,
    ExportReport,
    LoggedExport,
    export_audit,
    list_exports,
    preview_export,
)
from casebook.services.exporting_keys import fresh_key
from casebook.services.keeping import Casebook

PURPOSES = {Purpose.AUDIT: "audit", Purpose.RESEARCH: "research"}
FORMATS = {FileFormat.CSV: "CSV", FileFormat.PARQUET: "Parquet", FileFormat.XLSX: "XLSX workbook"}
MADE = "export_made"


def show() -> None:
    """The page."""
    st.title("Export de-identified tables")
    state.show_notice()
    casebook = state.opened_casebook()
    st.markdown(
        "Tables of runners who consented, without names, dates or free text, made alike until "
        "nobody can be told from at least a few others. Look at the preview, then make the files. "
        f"{plain(DISCLAIMER)}"
    )
    settings = _settings(casebook)
    if settings is not None:
        with calmly():
            _preview(casebook, settings)
    _log(casebook)


def _settings(casebook: Casebook) -> ExportSettings | None:
    boxes = Boxes()
    first, second, third = st.columns(3)
    purpose = choose(first, "For", Purpose, PURPOSES, key="export_purpose")
    k = boxes.whole(
        second,
        "At least so many alike (k)",
        start=5,
        low=2,
        high=100,
        required=True,
        key="export_k",
        help="Every runner in the tables shares sex, age band, discipline, complaint and body "
        "size with at least this many, themselves among them.",
    )
    diversity = boxes.whole(
        third,
        "Kinds of tissue among them (l)",
        start=2,
        low=1,
        high=9,
        required=True,
        key="export_l",
        help="So that being alike does not give away which tissue is injured.",
    )
    own = [one for one in list_metrics(casebook, include_inactive=True) if not one.starter]
    first, second = st.columns([2, 1])
    formats = first.multiselect(
        "Also as",
        [FileFormat.PARQUET, FileFormat.XLSX],
        default=[FileFormat.PARQUET, FileFormat.XLSX],
        format_func=FORMATS.__getitem__,
        key="export_formats",
        help="CSV is always among the files.",
        placeholder="CSV alone",
    )
    named: list[str] = []
    if own:
        named = first.multiselect(
            "Metrics of your own that may leave",
            [one.key for one in own],
            key="export_metrics",
            placeholder="None",
            help="Their keys are words of your own: look whether one could name somebody.",
        )
    clinicians = second.toggle(
        "With pseudonyms of clinicians",
        key="export_clinicians",
        help="Only of those who saw at least k runners.",
    )
    if boxes.problems or k is None or diversity is None:
        st.error("Mend what is marked in red above.", icon=":material/block:")
        return None
    return ExportSettings(
        purpose=purpose,
        as_of=clock.today(),
        k=k,
        diversity=diversity,
        metrics=tuple(named),
        formats=(FileFormat.CSV, *formats),
        clinicians=clinicians,
    )


@st.cache_resource(show_spinner="Making runners alike …", max_entries=8)
def _previewed(
    _casebook: Casebook,
    url: str,  # noqa: ARG001
    stamp: tuple[int | str, ...],  # noqa: ARG001
    settings: ExportSettings,
) -> ExportPreview:
    return preview_export(_casebook, settings)


def _preview(casebook: Casebook, settings: ExportSettings) -> None:
    found = _previewed(casebook, casebook.url, cohort_stamp(casebook), settings)
    facts = found.facts
    st.subheader("What would leave", anchor=False)
    st.markdown(
        f"**{count_words(facts.exported, 'runner')}** of {facts.registered} registered "
        f"({facts.consenting} consented). Each is like at least **{facts.k - 1}** others; "
        f"the largest probability of telling who a runner is, from what a club-mate knows, is "
        f"**{100 * facts.largest:.0f} %**, the mean {100 * facts.mean:.1f} %."
    )
    with st.container(border=True, key="export_risk"):
        st.markdown("\n".join(f"- {plain(one)}" for one in found.sentences))
    with st.container(key="export_levels"):
        st.table(
            pd.DataFrame(
                [
                    {
                        "What a club-mate knows": NAMES[name],
                        "As it leaves": level_words(*facts.levels[name]),
                        "Information lost": f"{100 * facts.loss_of[name]:.0f} %",
                    }
                    for name in facts.levels
                ]
            ),
            border="horizontal",
            hide_index=True,
            alt="How coarse each characteristic leaves",
        )
    st.markdown(f"**What this does not protect against.** {plain(' '.join(NOT_PROTECTED))}")
    names = list(found.first_rows)
    name = st.segmented_control(
        "First rows of", names, default=names[0], key="export_rows", required=True
    )
    st.dataframe(found.first_rows[str(name)], hide_index=True, width="stretch")
    _make(casebook, settings)


def _make(casebook: Casebook, settings: ExportSettings) -> None:
    st.subheader("Make the files", anchor=False)
    given = st.file_uploader(
        "Key of an earlier export (optional)",
        key="export_key",
        help="With it the same runners keep their pseudonyms, so that years can be joined. "
        "Without it a new key is made, and this export can't be joined to another.",
    )
    if st.button("Make the files and log it", type="primary", key="export_make"):
        key = fresh_key()
        if given is not None:
            key = key_of_text(given.getvalue().decode("ascii", "replace"), file=given.name)
        with tempfile.TemporaryDirectory() as place:
            report = export_audit(
                casebook, settings, Path(place) / "export", key=key, by=state.who()
            )
            st.session_state[MADE] = (report, _zipped(report.folder), key)
    made: tuple[ExportReport, bytes, ExportKey] | None = st.session_state.get(MADE)
    if made is None:
        return
    report, packed, key = made
    st.success(
        f"Export {report.number} is made and logged: {len(report.files)} files. Key "
        f"{report.key_fingerprint}.",
        icon=":material/check_circle:",
    )
    with st.container(horizontal=True):
        st.download_button(
            "Download the tables (.zip)",
            packed,
            file_name=f"export-{report.number}.zip",
            mime="application/zip",
            icon=":material/download:",
            key="export_zip",
            on_click="ignore",
        )
        st.download_button(
            "Download the key",
            key.text(),
            file_name=f"export-{report.number}.key",
            icon=":material/key:",
            key="export_keyfile",
            on_click="ignore",
        )
    st.caption(
        "Keep the key in the clinic and never beside the tables: with it and the casebook, "
        "pseudonyms can be worked out. Without it this export can't be made again."
    )


def _zipped(folder: Path) -> bytes:
    """The folder as one file, its members dated alike so that it tells no time."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(one for one in folder.rglob("*") if one.is_file()):
            info = zipfile.ZipInfo(path.relative_to(folder).as_posix())
            info.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(info, path.read_bytes())
    return held.getvalue()


def _log(casebook: Casebook) -> None:
    st.subheader("What left before", anchor=False)
    logged = list_exports(casebook)
    if not logged:
        st.caption("Nothing was exported yet.")
        return
    with st.container(key="export_log"):
        st.table(
            pd.DataFrame([_logged(one) for one in logged]),
            border="horizontal",
            hide_index=True,
            alt="Log of exports",
        )
    routes.link("audit", "Back to the audit", icon=":material/bar_chart:")


def _logged(one: LoggedExport) -> dict[str, str]:
    return {
        "No.": str(one.number),
        "When": f"{day_words(one.at.date())} {one.at:%H:%M}",
        "By": plain(one.by),
        "For": PURPOSES[Purpose(one.purpose)],
        "Runners": str(one.runners),
        "k reached": str(one.risk["k"]),
        "Key": plain(one.key_fingerprint),
        "Files": str(len(one.files)),
    }


show()
