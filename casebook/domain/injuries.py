"""Injuries (complaints) and their course.

Regions and tissue types follow the list of body areas and tissues of the IOC consensus on
recording injury and illness in sport (Bahr et al. 2020, Br J Sports Med 54:372-389; list from
memory), cut to what a runner brings.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from casebook.domain.sides import InjurySide


class Region(StrEnum):
    """Body area of an injury."""

    FOOT = "foot"
    ANKLE = "ankle"
    LOWER_LEG = "lower_leg"
    KNEE = "knee"
    THIGH = "thigh"
    HIP_GROIN = "hip_groin"
    LUMBOSACRAL = "lumbosacral"
    OTHER = "other"


class Pathology(StrEnum):
    """Kind of tissue affected or of pathology."""

    TENDINOPATHY = "tendinopathy"
    MUSCLE_INJURY = "muscle_injury"
    BONE_STRESS = "bone_stress"
    JOINT = "joint"
    LIGAMENT = "ligament"
    FASCIA = "fascia"
    NERVE = "nerve"
    NON_SPECIFIC = "non_specific"
    OTHER = "other"


class Onset(StrEnum):
    """How the complaint began."""

    SUDDEN = "sudden"
    GRADUAL = "gradual"


class Occurrence(StrEnum):
    """Whether the runner has had this before."""

    FIRST = "first"
    RECURRENT = "recurrent"


class Course(StrEnum):
    """Where the complaint stands."""

    OPEN = "open"
    IMPROVING = "improving"
    RESOLVED = "resolved"


@dataclass(frozen=True, slots=True, kw_only=True)
class Injury:
    """One complaint of a runner.

    Parameters
    ----------
    returned_on : date or None
        Day of the first run, which is no full return yet.
    fully_back_on : date or None
        First day of full training and racing.
    days_limited, sessions_missed_in_row : int or None
        Days on which it restricted running, and planned sessions in a row that were restricted
        or missed.
    consulted : bool or None
        Whether a health professional was seen about it; None where it was not asked.
    """

    runner: str
    region: Region
    pathology: Pathology
    side: InjurySide
    onset_on: date
    onset: Onset = Onset.GRADUAL
    occurrence: Occurrence = Occurrence.FIRST
    course: Course = Course.OPEN
    returned_on: date | None = None
    fully_back_on: date | None = None
    days_limited: int | None = None
    sessions_missed_in_row: int | None = None
    consulted: bool | None = None
