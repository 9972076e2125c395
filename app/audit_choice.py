"""What an audit is about: the boxes in which it is chosen."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

import streamlit as st

from app import state
from app.messages import day_words
from app.typed_boxes import Boxes
from app.words import code_words
from casebook.domain.audit import (
    GRACE_DAYS,
    LEAST_GROUP,
    LOST_AFTER_DAYS,
    AuditChoice,
    OutcomeVisit,
)
from casebook.domain.injuries import Pathology, Region
from casebook.domain.metrics import Metric
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind
from casebook.services.cohort import LoadedCohort

VISITS = {
    OutcomeVisit.LATEST: "the latest visit",
    OutcomeVisit.FIRST: "the first review",
    OutcomeVisit.DISCHARGE: "the discharge",
}
KINDS = {ProgrammeKind.INJURY: "for an injury", ProgrammeKind.PERFORMANCE: "for performance"}
CONSENTS = {
    None: "none: all runners",
    Purpose.AUDIT: "audit: who consented",
    Purpose.RESEARCH: "research: who consented",
}
ALL = "All"
# What is chosen on one page holds on the other, and when the page is returned to.
BOXES = (
    "audit_from",
    "audit_to",
    "audit_as_of",
    "audit_kinds",
    "audit_regions",
    "audit_pathologies",
    "audit_clinicians",
    "audit_metrics",
    "audit_visit",
    "audit_purpose",
    "audit_least",
    "audit_grace",
    "audit_lost",
)


def choose_cohort(
    metrics: dict[str, Metric], clinicians: tuple[str, ...], today: date, *, page: str
) -> AuditChoice | None:
    """The choice as it stands in the boxes; None while one of them can't be read."""
    boxes = Boxes()
    state.bring_back(state.Key.AUDIT, page=page)
    _drop_unknown("audit_metrics", metrics)
    _drop_unknown("audit_clinicians", clinicians)
    with st.expander("Which runners, and what of them", icon=":material/filter_alt:"):
        first, second, third = st.columns(3)
        started_from = boxes.day(first, "Programme started from", key="audit_from", latest=today)
        started_to = boxes.day(second, "Programme started until", key="audit_to")
        as_of = boxes.day(third, "As of", key="audit_as_of", start=today, latest=today)
        first, second, third = st.columns(3)
        kinds = first.multiselect(
            "Programme",
            list(ProgrammeKind),
            format_func=KINDS.__getitem__,
            key="audit_kinds",
            placeholder=ALL,
        )
        regions = second.multiselect(
            "Region of the complaint",
            list(Region),
            format_func=code_words,
            key="audit_regions",
            placeholder=ALL,
        )
        pathologies = third.multiselect(
            "Kind of tissue",
            list(Pathology),
            format_func=code_words,
            key="audit_pathologies",
            placeholder=ALL,
        )
        first, second, third = st.columns(3)
        assessed = first.multiselect(
            "Baseline assessed by", clinicians, key="audit_clinicians", placeholder=ALL
        )
        measured = second.multiselect(
            "Metrics",
            list(metrics),
            format_func=lambda key: metrics[key].label,
            key="audit_metrics",
            placeholder=ALL,
        )
        visit = third.selectbox(
            "Outcome told by", list(VISITS), format_func=VISITS.__getitem__, key="audit_visit"
        )
        first, second, third, fourth = st.columns(4)
        purpose = first.selectbox(
            "Purpose",
            list(CONSENTS),
            format_func=CONSENTS.__getitem__,
            key="audit_purpose",
            help="Without one all runners are in it, for the clinic's own eyes. What others see is "
            "of those who consented to that purpose.",
        )
        least = boxes.whole(
            second,
            "Smallest group shown",
            start=LEAST_GROUP,
            low=2,
            high=1000,
            required=True,
            key="audit_least",
            help="Numbers about fewer runners are withheld, and those that would give them away.",
        )
        grace = boxes.whole(
            third,
            "Days of grace",
            start=GRACE_DAYS,
            low=0,
            high=366,
            required=True,
            key="audit_grace",
            help="So long after its day a planned visit still counts as kept in time.",
        )
        lost = boxes.whole(
            fourth,
            "Lost after days unseen",
            start=LOST_AFTER_DAYS,
            low=1,
            high=3660,
            required=True,
            key="audit_lost",
            help="Counted from the latest visit, or from the day planned at it.",
        )
    state.keep(state.Key.AUDIT, BOXES)
    start, end = started_from.value, started_to.value
    if start is not None and end is not None and end < start:
        st.error(
            f"No programme can start from {day_words(start)} and until {day_words(end)}: change "
            "one of the two days.",
            icon=":material/block:",
        )
        return None
    if boxes.problems or least is None or grace is None or lost is None or as_of.value is None:
        st.error("Mend what is marked in red above.", icon=":material/block:")
        return None
    return AuditChoice(
        as_of=as_of.value,
        started_from=start,
        started_to=end,
        kinds=tuple(kinds),
        regions=tuple(regions),
        pathologies=tuple(pathologies),
        clinicians=tuple(assessed),
        metrics=tuple(measured),
        visit=OutcomeVisit(visit),
        purpose=purpose,
        least_group=least,
        grace_days=grace,
        lost_after_days=lost,
    )


def _drop_unknown(key: str, offered: Collection[str]) -> None:
    """Take out of a box what is no longer there to be chosen."""
    if key in st.session_state:
        st.session_state[key] = [one for one in st.session_state[key] if one in offered]


def measured_metrics(loaded: LoadedCohort) -> frozenset[str]:
    """Keys of the metrics that anything was measured of at a baseline."""
    return frozenset(
        loaded.metrics[int(at)].key for at in loaded.references["metric"].unique().tolist()
    )
