"""The exercises of a programme that is being written: from the list or in one's own words."""

from __future__ import annotations

from typing import Any

import streamlit as st

from app.messages import count_words, plain
from app.programme_draft import ProgrammeDraft
from app.programme_words import AIMS, block_heading, dose_words, usual_dose_words
from app.typed_boxes import Boxes
from casebook.domain.errors import InputRefused
from casebook.domain.exercises import Exercise, prescribed
from casebook.domain.prescriptions import (
    SUPERVISIONS,
    BlockDetail,
    Supervision,
    Tempo,
    tempo_of,
)
from casebook.domain.programme_versions import SIDES
from casebook.domain.programmes import Aim, Block
from casebook.domain.sides import InjurySide
from casebook.services.exercising import list_exercises, load_starter_exercises
from casebook.services.keeping import Casebook

MOST_SETS, MOST_REPETITIONS, LONGEST_HOLD_S, MOST_SESSIONS = 50, 1000, 3600.0, 70.0
LONGEST_REST_S = 3600.0
TEMPO_HELP = (
    "Seconds down, held, up, and held at the top where it is: 3-0-1 or 3-0-1-0. Blank where it "
    "does not matter."
)
OWN_WORDS = "In my own words"


def edit_blocks(
    casebook: Casebook, draft: ProgrammeDraft, boxes: Boxes
) -> tuple[tuple[Block, BlockDetail], ...]:
    """Every exercise with its dose and rules, and a row that adds one."""
    st.markdown("##### Exercises")
    if not draft.blocks:
        st.caption("None yet: add the first one below.")
    found = [
        _edit(draft, boxes, slot, position) for position, slot in enumerate(draft.blocks, start=1)
    ]
    _add(casebook, draft)
    return tuple(found)


def _add(casebook: Casebook, draft: ProgrammeDraft) -> None:
    known = {one.key: one for one in list_exercises(casebook)}
    words = {OWN_WORDS: OWN_WORDS}
    words |= {key: f"{one.name} ({AIMS[one.aim]})" for key, one in known.items()}
    name = draft.typing.name
    with st.container(border=True):
        which, side, add = st.columns([4, 2, 2], vertical_alignment="bottom")
        chosen = which.selectbox(
            "Add an exercise",
            list(words),
            index=None,
            format_func=words.__getitem__,
            key=f"adding_{name}",
            placeholder="Type or choose",
        )
        exercise = known.get(str(chosen))
        sided = exercise is None or exercise.sided
        sides = [InjurySide.BOTH, InjurySide.LEFT, InjurySide.RIGHT]
        on = side.selectbox(
            "Side",
            sides if sided else [InjurySide.NONE],
            format_func=SIDES.__getitem__,
            key=f"adding_side_{name}_{sided}",
        )
        add.button(
            "Add",
            key=f"do_add_{name}",
            icon=":material/add:",
            disabled=chosen is None,
            on_click=_take_in,
            args=(draft, exercise, on, f"adding_{name}"),
        )
        if exercise is not None:
            dose = usual_dose_words(exercise)
            st.caption(f"{exercise.purpose}{f' Usual dose: {dose}.' if dose else ''}")
        if not known:
            st.caption("The clinic's list of exercises is empty.")
            if st.button("Fill it with the starter list", key=f"do_starter_{name}"):
                load_starter_exercises(casebook)
                st.rerun()


def _take_in(draft: ProgrammeDraft, exercise: Exercise | None, side: Any, box: str) -> None:
    if exercise is None:
        block = Block(position=1, aim=Aim.STRENGTH, exercise="", side=side or InjurySide.BOTH)
        draft.add_block(block, BlockDetail(position=1))
    else:
        draft.add_block(*prescribed(exercise, position=1, side=side or InjurySide.BOTH))
    st.session_state[box] = None


def _edit(
    draft: ProgrammeDraft, boxes: Boxes, slot: int, position: int
) -> tuple[Block, BlockDetail]:
    start, detail = draft.blocks[slot]
    typing = draft.typing
    shown = str(st.session_state.get(typing.key("block", slot, "exercise"), start.exercise))
    with st.expander(
        f"{position}. {shown or 'Exercise in your own words'}",
        expanded=not start.exercise,
        icon=":material/fitness_center:",
        key=f"block_{typing.name}_{slot}",
    ):
        mine = _Block(draft, boxes, slot, position, start, detail)
        found = mine.edit()
        with st.container(horizontal=True):
            st.button(
                "Move up",
                key=f"do_up_{typing.name}_{slot}",
                icon=":material/arrow_upward:",
                disabled=position == 1,
                on_click=draft.move_up,
                args=(slot,),
            )
            st.button(
                "Take it out",
                key=f"do_out_{typing.name}_{slot}",
                icon=":material/remove:",
                on_click=draft.take_out,
                args=("block", slot),
            )
    # Below the fold: what is copied is seen and checked without opening one after the other.
    told = dose_words(*found)
    st.caption(plain(f"{position}. {block_heading(found[0])}: {told or 'no dose filled in'}"))
    return found


class _Block:
    """The boxes of one exercise."""

    def __init__(
        self,
        draft: ProgrammeDraft,
        boxes: Boxes,
        slot: int,
        position: int,
        start: Block,
        detail: BlockDetail,
    ) -> None:
        self.typing, self.boxes = draft.typing, boxes
        self.slot, self.position = slot, position
        self.start, self.detail = start, detail

    def part(self, name: str) -> str:
        return f"block_{self.slot}_{name}"

    def number(self, place: Any, label: str, name: str, high: float, **more: Any) -> float | None:
        start = getattr(self.start, name, None) if name != "rest_s" else self.detail.rest_s
        # Told with the exercise: 'Sets' alone would not say of which one.
        noted = len(self.boxes.problems)
        read = self.boxes.number(
            place,
            label,
            key=self.typing.key(self.part(name)),
            start=start,
            low=more.pop("low", 1.0),
            high=high,
            **more,
        )
        self.boxes.problems[noted:] = [
            f"Exercise {self.position}, {problem}" for problem in self.boxes.problems[noted:]
        ]
        return read

    def edit(self) -> tuple[Block, BlockDetail]:
        exercise, aim, side = self._what()
        first = st.columns(4)
        sets = self.number(first[0], "Sets", "sets", MOST_SETS, whole=True)
        repetitions = self.number(
            first[1], "Repetitions", "repetitions", MOST_REPETITIONS, whole=True
        )
        load = self.typing.text(
            first[2],
            "Load",
            self.part("load"),
            self.start.load,
            placeholder="e.g. 8 kg, red band",
            max_chars=60,
        )
        weekly = self.number(
            first[3], "Sessions a week", "sessions_per_week", MOST_SESSIONS, low=0.1
        )
        second = st.columns(4)
        hold = self.number(second[0], "Hold (s)", "hold_s", LONGEST_HOLD_S, low=0.1)
        tempo = self._tempo(second[1])
        rest = self.number(second[2], "Rest between sets (s)", "rest_s", LONGEST_REST_S, low=0.0)
        supervision = self.typing.choice(
            second[3],
            "Supervision",
            self.part("supervision"),
            list(Supervision),
            SUPERVISIONS,
            self.detail.supervision,
            placeholder="Not said",
        )
        texts = self._texts()
        block = Block(
            position=self.position,
            aim=aim,
            exercise=exercise,
            side=side,
            sets=None if sets is None else int(sets),
            repetitions=None if repetitions is None else int(repetitions),
            load=load,
            hold_s=hold,
            sessions_per_week=weekly,
        )
        detail = BlockDetail(
            position=self.position,
            exercise_key=self.detail.exercise_key,
            tempo=tempo,
            rest_s=rest,
            supervision=supervision,
            **texts,
        )
        return block, detail

    def _what(self) -> tuple[str, Aim, InjurySide]:
        name, aim, side = st.columns([4, 2, 2])
        exercise = self.typing.text(
            name, "Exercise", self.part("exercise"), self.start.exercise, max_chars=200
        )
        if not exercise:
            self.boxes.problems.append(f"Exercise {self.position}: it has no name.")
        chosen = self.typing.choice(
            aim, "Works on", self.part("aim"), list(Aim), AIMS, self.start.aim
        )
        on = self.typing.choice(
            side, "Side", self.part("side"), list(InjurySide), SIDES, self.start.side
        )
        return exercise, chosen or self.start.aim, on or self.start.side

    def _tempo(self, place: Any) -> Tempo | None:
        start = self.detail.tempo
        text = self.typing.text(
            place,
            "Tempo (s)",
            self.part("tempo"),
            str(start) if start else "",
            placeholder="e.g. 3-0-1",
            help=TEMPO_HELP,
        )
        try:
            return tempo_of(text)
        except InputRefused as refusal:
            place.caption(f":red[:material/error: {refusal.problems[0].message}]")
            self.boxes.problems.append(
                f"Exercise {self.position}, tempo: {refusal.problems[0].message}"
            )
            return None

    def _texts(self) -> dict[str, Any]:
        detail = self.detail
        told = {
            "instructions": self.typing.area(
                st.container(),
                "How to do it, so that somebody else could",
                self.part("instructions"),
                detail.instructions,
            )
        }
        left, right = st.columns(2)
        for place, name, label in (
            (left, "progress_when", "Make it harder when"),
            (right, "progress_how", "How it is made harder"),
            (left, "ease_when", "Ease off when, and how"),
            (right, "equipment", "Equipment ('none' is an answer)"),
        ):
            told[name] = self.typing.text(place, label, self.part(name), getattr(detail, name))
        return told


def blocks_words(draft: ProgrammeDraft) -> str:
    """How many exercises it has."""
    return count_words(len(draft.blocks), "exercise")
