"""A runner of the files who might be one that there is already: never merged in silence."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from casebook.domain.decisions import Asks, Choice, Question, Shown
from casebook.domain.errors import Problem
from casebook.intake.context import Context
from casebook.intake.records import Record
from casebook.storage import bulk

# Of two spellings of a name; common practice, no source.
ALIKE = 0.75
CHOICES = (Choice.SAME, Choice.ANOTHER, Choice.LEAVE_OUT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """What is known of a runner, to be told apart from another."""

    code: str
    where: str
    given_name: str = field(default="", repr=False)
    family_name: str = field(default="", repr=False)
    birth_date: date | None = field(default=None, repr=False)
    more: tuple[str, ...] = ()

    def words(self) -> str:
        """Code, name and birth date, as they stand side by side."""
        name = " ".join(part for part in (self.given_name, self.family_name) if part)
        born = f"born {self.birth_date}" if self.birth_date else ""
        return ", ".join(part for part in (f"code {self.code}", name, born, *self.more) if part)


def ask_runners(
    context: Context,
    session: Session,
    known: Mapping[str, bulk.KnownRunner],
    tabled: Mapping[str, Record],
) -> None:
    """Ask about every new runner who might be another; undecided ones are refused."""
    stored = _stored(session, known)
    people = dict(stored)
    new = [code for code in (*tabled, *context.runners) if code not in stored]
    same = context.asked.decisions.same_runners()
    left_out = context.asked.decisions.left_out_runners()
    codes, births = _index(people.values())
    # What a decision renamed or left out is held against the others as it was given.
    for code in dict.fromkeys((*new, *same, *left_out)):
        if code in stored:
            continue
        person = _given(context, code, tabled)
        if person is None:
            continue
        for other in _others(person, people, codes, births):
            if same.get(other.code) == code:
                continue
            _ask(context, person, other)
        people[code] = person
        codes.setdefault(_folded(code), []).append(code)
        if person.birth_date:
            births.setdefault(person.birth_date, []).append(code)


def _stored(session: Session, known: Mapping[str, bulk.KnownRunner]) -> dict[str, Person]:
    identities = bulk.identities_of(session, [one.runner_id for one in known.values()])
    empty: tuple[str, str, date | None] = ("", "", None)
    return {
        code: Person(
            code=code,
            where="stored",
            given_name=identities.get(one.runner_id, empty)[0],
            family_name=identities.get(one.runner_id, empty)[1],
            birth_date=identities.get(one.runner_id, empty)[2],
        )
        for code, one in known.items()
    }


def _given(context: Context, code: str, tabled: Mapping[str, Record]) -> Person | None:
    record = tabled.get(code)
    cells: Mapping[str, Any] = record.cells if record else context.renamed.get(code, {})
    place = context.runner_spellings.get(code)
    if record is not None:
        place = (record.file, record.line)
    if place is None and not cells:
        return None
    where = f"row {place[1]} of {context.problems.files[place[0]]}" if place else "given"
    return Person(
        code=code,
        where=where,
        given_name=cells.get("given_name") or "",
        family_name=cells.get("family_name") or "",
        birth_date=cells.get("birth_date"),
    )


Codes = dict[str, list[str]]
Births = dict[date, list[str]]


def _index(people: Any) -> tuple[Codes, Births]:
    codes: Codes = {}
    births: Births = {}
    for person in people:
        codes.setdefault(_folded(person.code), []).append(person.code)
        if person.birth_date:
            births.setdefault(person.birth_date, []).append(person.code)
    return codes, births


def _others(
    person: Person, people: Mapping[str, Person], codes: Codes, births: Births
) -> Iterator[Person]:
    alike = [code for code in codes.get(_folded(person.code), []) if code != person.code]
    if person.birth_date:
        alike += [
            code
            for code in births.get(person.birth_date, [])
            if code != person.code and _same_name(person, people[code])
        ]
    for code in dict.fromkeys(alike):
        yield people[code]


def _folded(code: str) -> str:
    """A code without capitals, blanks and signs, and without noughts before a number.

    Examples
    --------
    >>> _folded("RUN-01") == _folded("run 1")
    True
    """
    plain = re.sub(r"[\W_]+", " ", code.casefold()).strip()
    numbered = re.sub(r"(?<!\d)0+(?=\d)", "", plain)
    # Parted digits stay parted: 1-11 is not 11-1.
    return re.sub(r"(?<=\D) | (?=\D)", "", numbered) or code


def _same_name(one: Person, other: Person) -> bool:
    pairs = [
        (_plain(mine), _plain(theirs))
        for mine, theirs in (
            (one.given_name, other.given_name),
            (one.family_name, other.family_name),
        )
        if mine and theirs
    ]
    swapped = (
        one.given_name
        and one.family_name
        and _plain(one.given_name) == _plain(other.family_name)
        and _plain(one.family_name) == _plain(other.given_name)
    )
    return bool(swapped) or (bool(pairs) and all(_alike(*pair) for pair in pairs))


def _plain(name: str) -> str:
    folded = unicodedata.normalize("NFKD", name.casefold())
    return "".join(sign for sign in folded if sign.isalnum())


def _alike(one: str, other: str) -> bool:
    initial = min(len(one), len(other)) == 1 and one[:1] == other[:1]
    return initial or difflib.SequenceMatcher(None, one, other).ratio() >= ALIKE


def _ask(context: Context, person: Person, other: Person) -> None:
    question = Question(
        kind=Asks.RUNNER,
        about=(person.code, other.code),
        title=f"Is runner {person.code} the same as runner {other.code}?",
        shown=(
            Shown(where=person.where, what=person.words()),
            Shown(where=other.where, what=other.words()),
        ),
        choices=CHOICES,
    )
    if context.asked.ask(question) is not None:
        return
    file, line = context.runner_spellings.get(person.code, (0, 0))
    alike = "code" if _folded(person.code) == _folded(other.code) else "name and birth date"
    context.problems.add(
        file,
        Problem(
            code="similar_runner",
            message=f"runner '{person.code}' may be '{other.code}', who is "
            f"{'stored' if other.where == 'stored' else 'in ' + other.where}: their {alike} are "
            "alike. Decide whether it is the same runner or another one.".replace(
                "code are alike", "codes are alike"
            ),
            row=line or None,
            column="runner",
            value=person.code,
        ),
    )
