"""Export: de-identified tables for an audit or for research, and the log of what left."""

from __future__ import annotations

import io
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import streamlit as st

from app import routes, state
from app.choices import choose
from app.messages import calmly, count_words, day_words, plain
from app.sidebar import choose_user
from app.typed_boxes import Boxes
from casebook.domain.exporting import ExportKey, ExportSettings, Trait, key_of_text
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
MADE = state.Key.EXPORT_MADE
ALSO = (FileFormat.PARQUET, FileFormat.XLSX)
# Signs of a fingerprint that are enough to tell keys apart by eye; the whole stands below.
SHORT = 12
BOXES = (
    "export_purpose",
    "export_k",
    "export_l",
    "export_formats",
    "export_metrics",
    "export_clinicians",
    "export_leave_out",
    "export_rows",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Made:
    """An export that lies ready until the settings change or the session ends."""

    settings: ExportSettings
    report: ExportReport
    packed: bytes
    key: ExportKey


def show() -> None:
    """The page."""
    st.title("Export de-identified tables")
    state.show_notice()
    casebook = state.opened_casebook()
    st.markdown(
        "Tables of runners who consented (it is stored and withdrawn on each runner's page), "
        "without names, dates or free text. In what a club-mate would know they are made alike, "
        "so that nobody stands alone. Look at what would leave and what it does not protect "
        "against, then make the files."
    )
    state.bring_back(state.Key.EXPORT, page="export")
    settings = _settings(casebook)
    state.keep(state.Key.EXPORT, BOXES)
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
    st.session_state.setdefault("export_formats", list(ALSO))
    formats = first.multiselect(
        "Also as",
        ALSO,
        format_func=FORMATS.__getitem__,
        key="export_formats",
        help="CSV is always among the files.",
        placeholder="CSV alone",
    )
    named: list[str] = []
    if own:
        known = {one.key for one in own}
        st.session_state["export_metrics"] = [
            key for key in st.session_state.get("export_metrics", ()) if key in known
        ]
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
    dropped = first.multiselect(
        "Leave out altogether",
        Trait,
        format_func=NAMES.__getitem__,
        key="export_leave_out",
        placeholder="Nothing",
        max_selections=len(Trait) - 1,
        help="What does not leave need not be made alike, so that the rest leaves less coarse. "
        "Height and mass cost the most.",
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
        leave_out=tuple(one for one in Trait if one in dropped),
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
    if not facts.exported:
        (why,) = found.sentences
        st.info(
            f"Nobody would leave. {plain(why)} Consents are recorded on each runner's page.",
            icon=":material/person_off:",
        )
        return
    st.markdown(
        f"**{count_words(facts.exported, 'runner')}** of {facts.registered} registered "
        f"({facts.consenting} consented). Each is like at least **{facts.k - 1}** others; "
        f"the largest probability of telling who a runner is, from what a club-mate knows, is "
        f"**{100 * facts.largest:.1f} %**, the mean {100 * facts.mean:.1f} %."
    )
    with st.container(border=True, key="export_risk"):
        st.markdown("\n".join(f"- {plain(one)}" for one in found.sentences))
    with st.container(key="export_levels"):
        st.table(
            pd.DataFrame(
                [
                    {
                        "What a club-mate knows": NAMES[name],
                        "As it leaves": level_words(name, facts.levels[name][0]),
                        "Information lost": f"{100 * facts.loss_of[name]:.0f} %",
                    }
                    for name in facts.levels
                ]
            ),
            border="horizontal",
            hide_index=True,
            alt="How coarse each characteristic leaves",
        )
    with st.expander(
        "What this does not protect against", icon=":material/gpp_maybe:", expanded=True
    ):
        st.markdown("\n".join(f"- {plain(one)}" for one in NOT_PROTECTED))
    st.caption(DISCLAIMER)
    names = list(found.first_rows)
    state.choose_first("export_rows", names)
    name = st.segmented_control("First rows of", names, key="export_rows", required=True)
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
    by = state.who()
    if not by:
        choose_user(casebook, place="export")
        st.caption("Say who you are first: the log keeps who made an export.")
    if st.button("Make the files and log it", type="primary", key="export_make", disabled=not by):
        key = fresh_key()
        if given is not None:
            key = key_of_text(given.getvalue().decode("ascii", "replace"), file=given.name)
        with tempfile.TemporaryDirectory() as place:
            report = export_audit(casebook, settings, Path(place) / "export", key=key, by=by)
            st.session_state[MADE] = _Made(
                settings=settings, report=report, packed=_zipped(report.folder), key=key
            )
    made: _Made | None = st.session_state.get(MADE)
    if made is not None and made.settings != settings:
        # What lies ready is always what the boxes say.
        del st.session_state[MADE]
        made = None
    if made is not None:
        _show_made(made)


def _show_made(made: _Made) -> None:
    report = made.report
    st.success(
        f"Export {report.number} is made and logged: {len(report.files)} files, with the key "
        f"whose fingerprint begins {report.key_fingerprint[:SHORT]}.",
        icon=":material/check_circle:",
    )
    with st.container(horizontal=True):
        st.download_button(
            "Download the tables (.zip)",
            made.packed,
            file_name=f"export-{report.number}.zip",
            mime="application/zip",
            icon=":material/download:",
            key="export_zip",
            on_click="ignore",
        )
        st.download_button(
            "Download the key",
            made.key.text(),
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
    with st.expander("Settings, fingerprints and checksums", icon=":material/fingerprint:"):
        st.dataframe(
            pd.DataFrame([row for one in logged for row in _details(one)]),
            hide_index=True,
            width="stretch",
        )
    routes.link("audit", "To the audit", icon=":material/bar_chart:")


def _details(one: LoggedExport) -> list[dict[str, str]]:
    said = {"settings": one.settings, "key": one.key_fingerprint, **one.files}
    return [{"No.": str(one.number), "What": what, "Is": is_} for what, is_ in said.items()]


def _logged(one: LoggedExport) -> dict[str, str]:
    return {
        "No.": str(one.number),
        "When": f"{day_words(one.at.date())} {one.at:%H:%M}",
        "By": plain(one.by),
        "For": PURPOSES[Purpose(one.purpose)],
        "Runners": str(one.runners),
        "Alike at least": str(one.risk["k"]),
        "Key": plain(f"{one.key_fingerprint[:SHORT]}…"),
        "Files": str(len(one.files)),
    }


show()
