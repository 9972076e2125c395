"""Saving what marked points told: as a new visit, or into one that stands."""

from __future__ import annotations

from datetime import date

import streamlit as st

from app import routes, sidebar, state
from app.choices import choose
from app.marks_shown import count_line
from app.messages import count_words, day_words, plain, show_refusal
from app.typed_boxes import Boxes
from app.which_runner import show_no_runner
from casebook.domain.errors import CasebookError
from casebook.domain.people import Runner
from casebook.domain.visits import Conditions, VisitKind
from casebook.domain.wording import VISIT_KINDS
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.services.marking import ForVisit, MarksRead, save_marks
from casebook.services.recording import StoredVisit, list_visits
from casebook.services.registering import list_runners

NEW = "A new visit"


def offer_saving(casebook: Casebook, read: MarksRead) -> None:
    """Ask whose visit it is, and save."""
    st.divider()
    st.subheader("Save", anchor=False)
    st.markdown(count_line(read))
    runners = {runner.code: runner for runner in list_runners(casebook)}
    if not runners:
        show_no_runner()
        return
    if not state.who():
        sidebar.choose_user(casebook, place="marks")
    boxes = Boxes()
    first, second = st.columns(2)
    code = first.selectbox(
        "Runner",
        list(runners),
        index=None,
        key="marks_runner",
        placeholder="Type or choose a code",
    )
    if code is None:
        st.caption("Choose the runner whose visit this is.")
        return
    visits = list_visits(casebook, code)
    chosen = second.selectbox(
        "Save into",
        [None, *reversed(range(len(visits)))],
        format_func=lambda at: NEW if at is None else _visit_words(visits[at]),
        key=f"marks_into_{code}",
    )
    if chosen is None:
        where = _ask_new(boxes, runners[code], visits)
    else:
        stored = visits[chosen].visit
        where = ForVisit(
            runner=code, visited_on=stored.visited_on, session=stored.session, add=True
        )
        st.caption(
            "What is stored there stays as it is: values that it does not have yet are added, and "
            "one that differs from a stored one is refused."
        )
    sure = not read.unlikely or st.checkbox(
        "I looked again at the values outside their plausible range; they are right.",
        key="marks_sure",
    )
    if not st.button("Save", type="primary", key="marks_save", icon=":material/save:"):
        return
    if not state.who():
        st.error("Say first who you are, so that the visit is yours.")
    elif not sure:
        st.error("Nothing was saved: confirm the values outside their plausible range, or mend.")
    elif where is None:
        boxes.refuse()
    else:
        _save(casebook, read, where)


def _visit_words(stored: StoredVisit) -> str:
    visit = stored.visit
    session = f", session {visit.session}" if visit.session > 1 else ""
    return f"{day_words(visit.visited_on)}{session} ({VISIT_KINDS[visit.kind]})"


def _ask_new(boxes: Boxes, runner: Runner, visits: tuple[StoredVisit, ...]) -> ForVisit | None:
    last = visits[-1].visit if visits else None
    before = last.conditions if last else Conditions()
    day, session, kind = st.columns(3)
    typed = boxes.day(
        day,
        "Date of the visit",
        key="marks_day",
        start=clock.today(),
        earliest=date(runner.birth_year or 1900, 1, 1),
        latest=clock.today(),
    )
    number = boxes.whole(
        session, "Session of that day", key="marks_session", start=1, low=1, high=20, required=True
    )
    chosen = choose(
        kind,
        "Kind of visit",
        list(VisitKind),
        VISIT_KINDS,
        key=f"marks_kind_{runner.code}",
        start=VisitKind.REVIEW if last else VisitKind.BASELINE,
    )
    st.caption(
        f"Conditions are taken over from the visit of {day_words(last.visited_on)}; change what "
        "differs. The speed is the one above, and the frame rate the marks' own."
        if last
        else "What is not recorded of the conditions can't be compared later."
    )
    # The latest visit says when the next is due, and this one would be the latest.
    st.caption("No next visit is planned by this: open the visit on 'Log a visit' to say when.")
    places = st.columns(4)
    told = {
        name: place.text_input(
            label, value=getattr(before, name), max_chars=60, key=f"marks_{name}_{runner.code}"
        ).strip()
        for (name, label), place in zip(
            (("view", "Camera view"), ("surface", "Surface"), ("footwear", "Footwear")),
            places,
            strict=False,
        )
    }
    incline = boxes.number(
        places[3],
        "Incline (%)",
        key=f"marks_incline_{runner.code}",
        start=before.incline_pct,
        low=-30,
        high=30,
    )
    if typed.value is None and not typed.problem:
        boxes.problems.append("Date of the visit: it is blank; type the day of the visit.")
    if boxes.problems or typed.value is None or number is None:
        return None
    return ForVisit(
        runner=runner.code,
        visited_on=typed.value,
        session=number,
        kind=chosen,
        conditions=Conditions(
            view=told["view"],
            surface=told["surface"],
            footwear=told["footwear"],
            incline_pct=incline,
            assessor=state.who(),
        ),
    )


def _save(casebook: Casebook, read: MarksRead, where: ForVisit) -> None:
    try:
        done = save_marks(casebook, read, where, by=state.who())
    except CasebookError as refusal:
        show_refusal(refusal)
        return
    left = f" Left out: {plain(', '.join(done.left_out))}." if done.left_out else ""
    state.leave_notice(
        f"{count_words(done.saved.added, 'value')} from marked points saved in the visit of "
        f"{day_words(where.visited_on)}.{left}"
    )
    routes.go("runner", runner=where.runner)
