"""Runners, the people who look after them, and consent."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from casebook.domain.errors import refuse

LONGEST_CODE = 64
# Invisible, but what makes one sign of two emoji; between letters it stays refused.
_EMOJI_JOINER = re.compile("(?<=[^\\x00-\\u1fff])\\u200d(?=[^\\x00-\\u1fff])")


class Sex(StrEnum):
    """Sex as recorded by the clinic."""

    FEMALE = "female"
    MALE = "male"
    OTHER = "other"
    NOT_RECORDED = "not_recorded"


class Role(StrEnum):
    """What a user of the casebook does."""

    CLINICIAN = "clinician"
    LEAD = "lead"
    DATA_MANAGER = "data_manager"


class Purpose(StrEnum):
    """What a runner may consent to beyond their own care."""

    AUDIT = "audit"
    RESEARCH = "research"


def clean_code(text: str, *, column: str = "runner") -> str:
    """A runner's or user's code, trimmed; refuses what no file or screen could show.

    Raises
    ------
    InputRefused
        When empty, longer than 64 characters, or with control characters.
    """
    code = text.strip()
    if not code:
        raise refuse("code_empty", f"{column} is empty; give a code.", column=column, value=text)
    if len(code) > LONGEST_CODE:
        raise refuse(
            "code_too_long",
            f"{column} '{code[:20]}...' has {len(code)} characters; at most {LONGEST_CODE}.",
            column=column,
            value=text,
        )
    if any(not character.isprintable() for character in _EMOJI_JOINER.sub("", code)):
        raise refuse(
            "code_unprintable",
            f"{column} {code!r} holds a line break, tab or other unprintable character; "
            "use letters, digits and signs that can be seen.",
            column=column,
            value=text,
        )
    return code


def clean_by(by: str) -> str:
    """The code of whoever does something, trimmed; empty where it is not known.

    Raises
    ------
    InputRefused
        For a code that `clean_code` refuses, but for an empty one.
    """
    return clean_code(by, column="by") if by.strip() else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Runner:
    """A runner, known by code only; identifiers live in `Identity`."""

    code: str
    sex: Sex = Sex.NOT_RECORDED
    birth_year: int | None = None
    discipline: str = ""
    height_cm: float | None = None
    mass_kg: float | None = None
    registered_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Direct identifiers of a runner; never shown by `repr`, never logged, never exported."""

    runner: str
    given_name: str = field(default="", repr=False)
    family_name: str = field(default="", repr=False)
    birth_date: date | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class User:
    """A person who uses the casebook, known by a short code such as initials."""

    code: str
    display_name: str = ""
    role: Role = Role.CLINICIAN
    active: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Consent:
    """Consent of a runner to one purpose, with its withdrawal when there is one."""

    runner: str
    purpose: Purpose
    given_on: date
    withdrawn_on: date | None = None
