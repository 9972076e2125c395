"""A stored programme: what is prescribed, its targets, what is still empty, its versions."""

from __future__ import annotations

from itertools import groupby

import streamlit as st

from app.messages import count_words, day_words, plain
from app.programme_form import TEXTS
from app.programme_targets import show_preview
from app.programme_words import (
    DELIVERIES,
    KINDS,
    MODES,
    TAILORINGS,
    block_lines,
    dates_words,
)
from casebook.domain.prescriptions import Prescription
from casebook.domain.programme_versions import ChangeOf
from casebook.domain.reporting_items import STANDARDS, ItemState
from casebook.domain.target_outcomes import TARGET_CALLS, TargetCall
from casebook.domain.wording import complaint_words
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.services.prescribing import (
    ProgrammeVersion,
    StoredPrescription,
    list_injuries_of,
    list_versions,
    reporting_gaps,
)
from casebook.services.targeting import ToldTarget, list_targets

SIGNS = {
    TargetCall.MET: ":material/check_circle:",
    TargetCall.NOT_MET: ":material/cancel:",
    TargetCall.CANNOT_SAY: ":material/help:",
    TargetCall.NOT_DUE: ":material/schedule:",
}


def show_facts(casebook: Casebook, stored: StoredPrescription) -> None:
    """When it runs, what it is for, and why."""
    prescription = stored.prescription
    programme = prescription.programme
    injuries = dict(list_injuries_of(casebook, stored.runner))
    injury = injuries.get(stored.injury_id or 0)
    told = [dates_words(programme, clock.today())]
    told.append(f"for {complaint_words(injury)}" if injury else KINDS[programme.kind])
    if prescription.version > 1:
        told.append(f"version {prescription.version}")
    st.markdown(plain(" · ".join(told)))
    if programme.rationale:
        st.markdown(f"**Why:** {plain(programme.rationale)}")


def show_prescription(stored: StoredPrescription) -> None:
    """What is prescribed, in words."""
    prescription = stored.prescription
    programme = prescription.programme
    st.subheader("What is prescribed", anchor=False)
    if programme.blocks:
        ordered = sorted(programme.blocks, key=lambda block: block.position)
        st.markdown("\n".join(block_lines(one, prescription.detail_of(one)) for one in ordered))
    else:
        st.caption("No exercise is filled in.")
    _show_delivery(prescription)


def _show_delivery(prescription: Prescription) -> None:
    detail = prescription.detail
    coded = [
        MODES[detail.mode] if detail.mode else "",
        DELIVERIES[detail.delivery] if detail.delivery else "",
        f"exercises {TAILORINGS[detail.tailored]}" if detail.tailored else "",
        count_words(detail.planned_weeks, "week") + " planned" if detail.planned_weeks else "",
    ]
    lines = [", ".join(one for one in coded if one)]
    lines += [f"{label}: {getattr(detail, name)}" for name, label in TEXTS if getattr(detail, name)]
    lines = [line for line in lines if line]
    if lines:
        with st.expander("How it is delivered", icon=":material/assignment:"):
            st.markdown("\n".join(f"- {plain(line)}" for line in lines))


def show_targets(casebook: Casebook, stored: StoredPrescription) -> None:
    """Each target, whether it could be seen, and what became of it at its date."""
    told = [
        one
        for one in list_targets(casebook, stored.runner)
        if one.programme_id == stored.programme_id
    ]
    st.subheader("Targets", anchor=False)
    if not told:
        st.caption("None is set: what the programme changed can't be held against a plan.")
    for number, one in enumerate(told):
        _show_target(one, f"target_{stored.programme_id}_{number}")
    if any(one.outcome.call is not TargetCall.NOT_DUE for one in told):
        st.caption(
            "Judged at the first visit on or after its date. Met: it moved that way beyond error "
            "and at least as far. Not met: it falls short by more than error, or moved the other "
            "way. Between the two it can't be said."
        )


def _show_target(told: ToldTarget, key: str) -> None:
    call = told.outcome.call
    with st.container(border=True, key=key):
        words = told.words.replace(f": {TARGET_CALLS[call]}", "", 1)
        sign = ":material/warning:" if told.outcome.hollow else SIGNS[call]
        st.markdown(f"{sign} **{TARGET_CALLS[call].capitalize()}** · {plain(words)}")
        if call in {TargetCall.NOT_DUE, TargetCall.CANNOT_SAY}:
            show_preview(told.preview)


def show_gaps(stored: StoredPrescription) -> None:
    """The published reporting items that are still empty."""
    gaps = reporting_gaps(stored.prescription)
    empty = len(gaps.empty)
    title = f"Reporting items still empty ({empty})" if empty else "No reporting item is empty"
    with st.expander(title, icon=":material/checklist:"):
        st.markdown(plain(gaps.words))
        for standard, states in groupby(gaps.empty, key=lambda one: one.item.standard):
            lines = "\n".join(_gap_words(state) for state in states)
            st.markdown(f"**{plain(STANDARDS[standard])}**\n\n{lines}")
        st.caption(
            "An item counts as filled in where something stands in its boxes; whether that is "
            "good enough no program can tell."
        )


def _gap_words(state: ItemState) -> str:
    lacking = ", ".join(state.lacking)
    more = f" (lacking: {lacking})" if lacking not in {"", state.item.asks} else ""
    return f"- {state.item.number}: {plain(state.item.asks + more)}"


def show_versions(casebook: Casebook, stored: StoredPrescription) -> None:
    """Every version, newest first, changes of the dose marked."""
    versions = list_versions(casebook, stored.programme_id)
    doses = sum(version.dose_changed for version in versions)
    title = count_words(len(versions), "version")
    if len(versions) > 1:
        title += f", the dose changed in {doses}" if doses else ", no dose changed"
    with st.expander(title.capitalize(), icon=":material/history:"):
        for version in reversed(versions):
            st.markdown(_version_words(version))


def _version_words(version: ProgrammeVersion) -> str:
    at = f" · {day_words(version.at.astimezone().date())}" if version.at else ""
    by = f" · by {plain(version.by)}" if version.by else ""
    dose = " · :material/exercise: **the dose changed**" if version.dose_changed else ""
    lines = [f"**Version {version.number}**{at}{by}{dose}"]
    if version.reason:
        lines.append(f"\nWhy: {plain(version.reason)}")
    marked = {ChangeOf.DOSE, ChangeOf.BLOCK}
    lines += [
        f"- {plain(change.words)}" if change.of not in marked else f"- **{plain(change.words)}**"
        for change in version.changes
    ]
    if version.number == 1:
        lines.append("\nAs it was first stored.")
    return "\n".join(lines)
