"""Caseload: whom to consider for referral, who has a flag and what it says, who is due."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app import routes, state
from app.choices import choose, choose_knowingly
from app.messages import calmly, count_words, day_words, plain, show_caution
from app.typed_boxes import Boxes
from app.words import SEXES, code_words, due_words
from casebook.domain.injuries import Injury, Occurrence, Onset, Pathology, Region
from casebook.domain.people import Runner, Sex
from casebook.domain.sides import InjurySide
from casebook.domain.verdicts import FlagKind
from casebook.domain.wording import FLAG_KINDS, upper_first
from casebook.services import clock
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import Casebook
from casebook.services.registering import record_injury, register_runner
from casebook.services.reviewing import CaseloadEntry, list_caseload

A_PAGE = 25
SHOWN = ("All", "With a flag", "Overdue")
WIDTHS = (2.2, 1.5, 2, 4.5)


def show() -> None:
    """The page."""
    st.title("Caseload")
    state.show_notice()
    casebook = state.opened_casebook()
    today = clock.today()
    entries = list_caseload(casebook, today=today, memo=state.standing_memo(casebook.url))
    if not entries:
        st.info(
            "No runner is registered yet. Add one here, or bring tables in on the page Import.",
            icon=":material/person_add:",
        )
    with st.expander("Add a runner", icon=":material/person_add:", expanded=not entries):
        _add_runner(casebook, today)
    if entries:
        labels = {
            metric.key: metric.label for metric in list_metrics(casebook, include_inactive=True)
        }
        _show_entries(entries, today, labels)
        show_caution()


def _show_entries(
    entries: tuple[CaseloadEntry, ...], today: date, labels: Mapping[str, str]
) -> None:
    heading = st.empty()
    words, which, paging = st.columns([1.9, 2.4, 1.3], vertical_alignment="bottom")
    sought = words.text_input("Search by code, discipline or complaint", key="caseload_search")
    shown = which.segmented_control(
        "Show", SHOWN, default="All", key="caseload_show", required=True
    )
    found = [entry for entry in entries if _fits(entry, sought, str(shown))]
    flagged = sum(entry.open_flags > 0 for entry in found)
    prompted = sum(_to_refer(entry) for entry in found)
    to_refer = f":red[**{prompted} to consider for referral**] · " if prompted else ""
    pained = sum(entry.open_pain > 0 and not entry.pain_to_refer for entry in found)
    pain = f"**{pained} with pain beyond the usual limits** · " if pained else ""
    overdue = sum(entry.overdue for entry in found)
    all_of_them = count_words(len(entries), "runner")
    heading.markdown(
        f"{all_of_them if len(found) == len(entries) else f'{len(found)} of {all_of_them}'} · "
        f"{to_refer}{pain}**{flagged} with an open flag** · **{overdue} overdue**"
    )
    found.sort(key=_urgency)
    if not found:
        st.info("No runner fits the search. Clear it, or show all.", icon=":material/search_off:")
        return
    pages = -(-len(found) // A_PAGE)
    at = _page_number(paging, pages)
    _heading()
    for entry in found[(at - 1) * A_PAGE : at * A_PAGE]:
        _line(entry, today, labels)
    if pages > 1:
        _turn_pages(at, pages, len(found))


def _fits(entry: CaseloadEntry, sought: str, shown: str) -> bool:
    if shown == "With a flag" and not _calls(entry):
        return False
    if shown == "Overdue" and not entry.overdue:
        return False
    text = f"{entry.code} {entry.discipline} {entry.complaint}".casefold()
    return all(word in text for word in sought.casefold().split())


def _to_refer(entry: CaseloadEntry) -> bool:
    return bool(entry.open_prompts) or entry.pain_to_refer


def _calls(entry: CaseloadEntry) -> bool:
    return bool(entry.open_flags or entry.open_prompts or entry.open_pain)


def _urgency(entry: CaseloadEntry) -> tuple[bool, bool, bool, bool, str]:
    """Findings that call for a referral, then what the runner feels, come before any number."""
    return (
        not _to_refer(entry),
        entry.worst_kind is not FlagKind.SYMPTOM_UP and not entry.open_pain,
        entry.open_flags == 0,
        not entry.overdue,
        entry.code,
    )


def _page_number(place: DeltaGenerator, pages: int) -> int:
    if pages == 1:
        return 1
    if st.session_state.get("caseload_page", 1) > pages:
        st.session_state["caseload_page"] = 1
    at = place.number_input(
        f"Page, 1 to {pages}",
        min_value=1,
        max_value=pages,
        key="caseload_page",
    )
    return int(at)


def _turn_pages(at: int, pages: int, n: int) -> None:
    """At the foot of the list, where a reader is who has read it."""
    with st.container(horizontal=True, vertical_alignment="center", key="caseload_pages"):
        st.caption(
            f"Runners {(at - 1) * A_PAGE + 1} to {min(at * A_PAGE, n)} of {n}", width="content"
        )
        for words, to, icon in (
            ("Earlier in the list", at - 1, ":material/arrow_back:"),
            ("Further in the list", at + 1, ":material/arrow_forward:"),
        ):
            st.button(
                words,
                key=f"caseload_to_{words.split()[0].lower()}",
                icon=icon,
                type="tertiary",
                disabled=not 1 <= to <= pages,
                on_click=lambda to=to: st.session_state.update(caseload_page=to),
            )


def _heading() -> None:
    with st.container(key="caseload_heading"):
        for column, words in zip(
            st.columns(WIDTHS), ("Runner", "Last visit", "Next due", "Open flags"), strict=True
        ):
            column.caption(f"**{words}**")


def _line(entry: CaseloadEntry, today: date, labels: Mapping[str, str]) -> None:
    with st.container(key=f"caseload_line_{entry.code.encode().hex()}"):
        runner, last, due, flags = st.columns(WIDTHS)
        with runner:
            routes.link(
                "runner",
                f"**{plain(entry.code)}**",
                icon=":material/chevron_right:",
                runner=entry.code,
            )
            about = " · ".join(plain(part) for part in (entry.discipline, entry.complaint) if part)
            if about:
                st.caption(about)
        last.markdown(
            f"{day_words(entry.last_visit)}  \n:gray[{count_words(entry.n_visits, 'visit')}]"
        )
        words = due_words(entry.next_due, today)
        due.markdown(f":material/schedule: **{words}**" if entry.overdue else words)
        if entry.open_prompts:
            _prompt_words(flags, entry)
        if entry.open_pain:
            _pain_words(flags, entry)
        if entry.open_flags:
            _flag_words(flags, entry, labels)
        elif not _calls(entry):
            flags.markdown(":gray[no open flag]")


def _prompt_words(place: DeltaGenerator, entry: CaseloadEntry) -> None:
    others = count_words(entry.open_prompts - 1, "more prompt")
    more = f"  \n:gray[{others}]" if entry.open_prompts > 1 else ""
    place.markdown(f":red[:material/emergency_home: **{plain(entry.worst_prompt)}**]{more}")
    if entry.prompted_on:
        place.caption(f"Entered at the visit of {day_words(entry.prompted_on)}, not acknowledged.")


def _pain_words(place: DeltaGenerator, entry: CaseloadEntry) -> None:
    words = f":material/warning: **{plain(entry.worst_pain)}**"
    place.markdown(f":red[{words}]" if entry.pain_to_refer else words)
    place.caption(
        f"Pain in a programme's weeks: {count_words(entry.open_pain, 'recent flag')}, not "
        "acknowledged."
    )


def _flag_words(place: DeltaGenerator, entry: CaseloadEntry, labels: Mapping[str, str]) -> None:
    """What the worst flag is about, in a few words; its numbers after, smaller."""
    label = labels.get(entry.worst_metric, entry.worst_metric)
    kind = FLAG_KINDS[entry.worst_kind] if entry.worst_kind else ""
    others = count_words(entry.open_flags - 1, "more open flag")
    more = f"  \n:gray[{others}]" if entry.open_flags > 1 else ""
    place.markdown(f":material/flag: **{plain(label)}**: {kind}{more}")
    numbers = entry.worst_flag.removeprefix(f"{label}: ")
    place.caption(plain(upper_first(numbers)))


def _add_runner(casebook: Casebook, today: date) -> None:
    boxes = Boxes()
    left, right = st.columns(2)
    code = left.text_input(
        "Code", key="runner_code", help="No name: names belong in the clinic's own records."
    )
    discipline = right.text_input(
        "Discipline", key="runner_discipline", placeholder="e.g. half marathon"
    )
    sex = choose(left, "Sex", Sex, SEXES, key="runner_sex", start=Sex.NOT_RECORDED)
    born = boxes.whole(right, "Birth year", key="runner_born", placeholder="e.g. 1988")
    injured = st.toggle("The runner comes with a complaint", key="runner_injured")
    injury = _injury_fields(boxes, code, today) if injured else None
    if not st.button("Add runner", type="primary", key="runner_add") or boxes.refuse():
        return
    if not code.strip():
        st.error("Nothing was stored: give the runner a code.", icon=":material/block:")
        return
    runner = Runner(code=code.strip(), sex=sex, birth_year=born, discipline=discipline.strip())
    with calmly():
        register_runner(casebook, runner, by=state.who())
        if injury is not None:
            record_injury(casebook, injury, by=state.who())
        state.leave_notice(f"Runner {plain(runner.code)} is registered.")
        routes.go("runner", runner=runner.code)


def _injury_fields(boxes: Boxes, code: str, today: date) -> Injury | None:
    """What the complaint is; region, side and kind are chosen and never taken for granted."""
    left, right = st.columns(2)
    region = choose_knowingly(left, "Region", Region, code_words, key="injury_region")
    side = choose_knowingly(right, "Side", InjurySide, code_words, key="injury_side")
    pathology = choose_knowingly(left, "Kind", Pathology, code_words, key="injury_pathology")
    began = boxes.day(right, "Began on", latest=today, key="injury_onset_on").value
    onset = choose(left, "Onset", Onset, code_words, key="injury_onset", start=Onset.GRADUAL)
    occurrence = choose(
        right, "First or recurrent", Occurrence, code_words, key="injury_occurrence"
    )
    chosen = {"Region": region, "Side": side, "Kind": pathology, "Began on": began}
    boxes.problems += [f"{label}: not chosen yet." for label, one in chosen.items() if one is None]
    if region is None or side is None or pathology is None or began is None:
        return None
    return Injury(
        runner=code.strip(),
        region=region,
        pathology=pathology,
        side=side,
        onset_on=began,
        onset=onset,
        occurrence=occurrence,
    )


show()
