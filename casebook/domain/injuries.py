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
    """One complaint of a runner."""

    runner: str
    region: Region
    pathology: Pathology
    side: InjurySide
    onset_on: date
    onset: Onset = Onset.GRADUAL
    occurrence: Occurrence = Occurrence.FIRST
    course: Course = Course.OPEN
    returned_on: date | None = None
