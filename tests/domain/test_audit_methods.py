"""The methods paragraph says every setting that made the numbers, and nothing that did not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from casebook.domain.audit import AuditChoice, OutcomeVisit
from casebook.domain.audit_methods import SOURCES, methods_words
from casebook.domain.injuries import Pathology, Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind

PLAIN = AuditChoice(as_of=date(2026, 6, 30))
CHOSEN = AuditChoice(
    as_of=date(2026, 6, 30),
    started_from=date(2026, 1, 1),
    started_to=date(2026, 3, 31),
    kinds=(ProgrammeKind.INJURY,),
    regions=(Region.LOWER_LEG, Region.KNEE),
    pathologies=(Pathology.BONE_STRESS,),
    clinicians=("AB",),
    visit=OutcomeVisit.DISCHARGE,
    purpose=Purpose.RESEARCH,
    least_group=7,
    grace_days=21,
    lost_after_days=100,
)


def test_without_a_choice_nothing_is_said_of_one() -> None:
    told = " ".join(methods_words(PLAIN))
    assert "Runners were included if" not in told
    assert "consent" not in told
    assert "registered by 30 Jun 2026 were considered." in told


def test_every_setting_is_said() -> None:
    told = " ".join(methods_words(CHOSEN))
    for words in (
        "consent covered research",
        "1 Jan 2026 or later",
        "31 Mar 2026 or before",
        "programmes for an injury",
        "lower leg or knee",
        "bone stress",
        "assessed by one chosen clinician",
        "visit of discharge",
        "up to 21 days",
        "after 100 days",
        "fewer than 7",
    ):
        assert words in told


def test_clinicians_are_named_to_the_clinic_alone() -> None:
    two = replace(CHOSEN, clinicians=("AB", "CD"))
    assert "assessed by 2 chosen clinicians" in " ".join(methods_words(two))
    assert "assessed by AB or CD" in " ".join(methods_words(replace(two, purpose=None)))


def test_every_source_is_dated() -> None:
    assert all(any(year in source for year in ("19", "20")) for source in SOURCES)
