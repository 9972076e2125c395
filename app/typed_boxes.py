"""Boxes for numbers and dates that hold what was typed and nothing else.

Streamlit's own keep the value before when a text can't be read, or drop the comma of `9,5`,
and go on with that; these show what is wrong below the box and give no value.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.messages import plain
from casebook.domain.typed_fields import TypedDay, read_day, read_number, weekday_words

DATE_HELP = "Day first (25.11.2026 or 25/11/2026), or 2026-11-25."


def number_text(number: float | None) -> str:
    """A number as one would type it."""
    return "" if number is None else f"{number:.12g}"


def day_text(day: date | None) -> str:
    """A date as one would type it."""
    return "" if day is None else f"{day.day} {day:%b %Y}"


def show_problem(place: DeltaGenerator, problem: str) -> None:
    """What is wrong, right below its box."""
    if problem:
        place.caption(f":red[:material/error: {plain(problem)}]")


@dataclass(slots=True)
class Boxes:
    """The boxes of one form, and what is wrong in them, each with its label.

    Parameters
    ----------
    kept : callable or None
        Called with the key of a box whenever what stands in it was changed, before the page is
        drawn anew or another page is drawn in its place.
    blanks_marked : bool
        A blank box that must be filled in is marked at once. Off in a form that nobody has begun:
        what is blank is told when it is sent.
    """

    problems: list[str] = field(default_factory=list)
    kept: Callable[[str], None] | None = None
    blanks_marked: bool = True

    def number(
        self,
        place: DeltaGenerator,
        label: str,
        *,
        key: str,
        start: float | None = None,
        low: float = -math.inf,
        high: float = math.inf,
        required: bool = False,
        **more: Any,
    ) -> float | None:
        """One number, or None where the box is blank or holds none."""
        whole = bool(more.pop("whole", False))
        st.session_state.setdefault(key, number_text(start))
        text = place.text_input(
            label, key=key, autocomplete="off", on_change=self.kept, args=(key,), **more
        )
        typed = read_number(text or "", low=low, high=high, whole=whole)
        blank = required and not typed.problem and typed.value is None
        problem = "It is blank; type a number." if blank else typed.problem
        self._note(place, label, problem, marked=self.blanks_marked or not blank)
        return typed.value

    def whole(
        self,
        place: DeltaGenerator,
        label: str,
        *,
        key: str,
        start: int | None = None,
        low: float = -math.inf,
        high: float = math.inf,
        required: bool = False,
        **more: Any,
    ) -> int | None:
        """One whole number, or None where the box is blank or holds none."""
        number = self.number(
            place,
            label,
            key=key,
            start=start,
            low=low,
            high=high,
            whole=True,
            required=required,
            **more,
        )
        return None if number is None else int(number)

    def day(
        self,
        place: DeltaGenerator,
        label: str,
        *,
        key: str,
        start: date | None = None,
        earliest: date | None = None,
        latest: date | None = None,
        **more: Any,
    ) -> TypedDay:
        """One date, told back with its weekday."""
        st.session_state.setdefault(key, day_text(start))
        text = place.text_input(
            label,
            key=key,
            autocomplete="off",
            help=DATE_HELP,
            on_change=self.kept,
            args=(key,),
            **more,
        )
        typed = read_day(text or "", earliest=earliest, latest=latest)
        self._note(place, label, typed.problem)
        if typed.value is not None:
            place.caption(weekday_words(typed.value))
        return typed

    def _note(
        self, place: DeltaGenerator, label: str, problem: str, *, marked: bool = True
    ) -> None:
        if marked:
            show_problem(place, problem)
        if problem:
            self.problems.append(f"{label}: {problem}")

    def refuse(self, place: DeltaGenerator | None = None) -> bool:
        """Say that nothing was stored where a box is wrong; True when one is."""
        if not self.problems:
            return False
        listed = "\n".join(f"- {plain(problem)}" for problem in self.problems)
        (place or st).error(
            f"Nothing was stored. Mend this first:\n\n{listed}", icon=":material/block:"
        )
        return True
