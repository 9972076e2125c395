"""Users, runners, consents and complaints: all invented."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from random import Random
from typing import Final

from seed_demo.cases import Case, Cell, Table, weak_side
from seed_demo.diary import ASSESSORS
from seed_demo.stories import RACERS, Character, Course


def users() -> Table:
    """People of the clinic, all invented."""
    rows: list[Sequence[Cell]] = [
        [code, f"Invented Clinician {code.title()}", "lead" if code == "TERN" else "clinician"]
        for code in ASSESSORS
    ]
    rows.append(["PUFFIN", "Invented Data Manager Puffin", "data_manager"])
    return ("user", "display_name", "role"), rows


SHORE: Final = [
    "Dulse",
    "Kelp",
    "Limpet",
    "Whelk",
    "Samphire",
    "Marram",
    "Thrift",
    "Barnacle",
    "Cockle",
    "Winkle",
    "Bladderwrack",
    "Tangle",
    "Razorshell",
    "Sandhopper",
    "Sealavender",
    "Oarweed",
    "Mussel",
    "Lugworm",
    "Spindrift",
    "Driftwood",
    "Scallop",
    "Searocket",
    "Periwinkle",
    "Shingle",
    "Glasswort",
    "Eelgrass",
    "Starfish",
    "Urchin",
    "Anemone",
    "Prawn",
    "Shrimp",
    "Ebb",
    "Chiton",
    "Ormer",
    "Cuttle",
    "Brittlestar",
    "Seaholly",
    "Rockrose",
    "Driftglass",
    "Sandeel",
    "Wrasse",
    "Seapink",
    "Gribble",
]
DISCIPLINES: Final = (
    "causeway 10 km",
    "coast-path ultra",
    "marathon",
    "half marathon",
    "1500 m",
    "lighthouse stair race",
    "dune cross-country",
)


def runners(cases: Iterable[Case], seed: int) -> Table:
    """Runners by code; their 'names' say that they are invented."""
    rows: list[Sequence[Cell]] = []
    for case, shore in zip(cases, SHORE, strict=True):
        chance = Random(f"{seed}/{case.character.code}/person")
        sex = chance.choice(("female", "male"))
        year = chance.randint(1961, 2005)
        born = date(year, chance.randint(1, 12), chance.randint(1, 28))
        height = chance.normalvariate(166 if sex == "female" else 179, 6)
        mass = chance.normalvariate(21.8, 1.5) * (height / 100) ** 2
        rows.append(
            [
                case.character.code,
                sex,
                year,
                born,
                "Invented",
                shore,
                chance.choice(DISCIPLINES),
                f"{height:.0f}",
                f"{mass:.1f}",
                case.visits[0].on,
            ]
        )
    head = (
        "runner",
        "sex",
        "birth_year",
        "birth_date",
        "given_name",
        "family_name",
        "discipline",
        "height_cm",
        "mass_kg",
        "registered_on",
    )
    return head, rows


def consents(cases: Iterable[Case], seed: int) -> Table:
    """Consent to audit from most, to research from about half; some withdrew."""
    rows: list[Sequence[Cell]] = []
    for case in cases:
        code, first = case.character.code, case.visits[0].on
        chance = Random(f"{seed}/{code}/consent")
        if chance.random() < 0.85:
            withdrawn = case.character.number in WITHDREW
            rows.append([code, "audit", first, first + timedelta(days=20) if withdrawn else None])
        if chance.random() < 0.5:
            rows.append([code, "research", first, None])
    return ("runner", "purpose", "given_on", "withdrawn_on"), rows


# They took their consent to audit back.
WITHDREW: Final = frozenset({9, 28})
COMPLAINTS: Final = (
    ("ankle", "tendinopathy"),
    ("knee", "joint"),
    ("lower_leg", "bone_stress"),
    ("foot", "fascia"),
    ("thigh", "muscle_injury"),
    ("hip_groin", "tendinopathy"),
    ("knee", "non_specific"),
    ("lumbosacral", "non_specific"),
)
# Came for a better race, with no complaint.
NO_COMPLAINT: Final = frozenset({30, *(one.number for one in RACERS)})
# Still in care when they ran again, before the visit before the last one.
RAN_AGAIN: Final = frozenset({4, 6, 21, 22, 23, 24, 28, 31})


def injuries(cases: Iterable[Case], seed: int) -> Table:
    """One complaint for each runner who has one, on the weak side where a story has one."""
    rows: list[Sequence[Cell]] = []
    for case in cases:
        character = case.character
        if character.number in NO_COMPLAINT:
            continue
        chance = Random(f"{seed}/{character.code}/injury")
        region, pathology = chance.choice(COMPLAINTS)
        side = weak_side(case) or chance.choice(("left", "right"))
        rows.append(
            [
                character.code,
                region,
                pathology,
                side,
                onset_of(case, seed),
                chance.choice(("gradual", "gradual", "sudden")),
                chance.choice(("first", "first", "recurrent")),
                _course_of(character),
                _ran_again_on(case),
            ]
        )
    head = (
        "runner",
        "region",
        "pathology",
        "side",
        "onset_on",
        "onset",
        "occurrence",
        "course",
        "returned_on",
    )
    return head, rows


def _ran_again_on(case: Case) -> date | None:
    if case.character.discharge:
        return case.visits[-1].on - timedelta(days=21)
    if case.character.number in RAN_AGAIN:
        return case.visits[-2].on - timedelta(days=7)
    return None


def _course_of(character: Character) -> str:
    if character.discharge:
        return "resolved"
    gained = character.course is Course.WEAK_SIDE_GAINED
    return "improving" if gained or character.number in RAN_AGAIN else "open"


def onset_of(case: Case, seed: int) -> date:
    """When the complaint began: three to twelve weeks before the first visit."""
    chance = Random(f"{seed}/{case.character.code}/onset")
    return case.visits[0].on - timedelta(days=chance.randint(21, 84))


# Two whose bone may be under stress: what was found calls for a caution on both.
ASKED: Final = {
    3: (("bone_tenderness", "yes"), ("night_pain", "no"), ("hop_pain", "yes")),
    20: (("bone_tenderness", "yes"), ("night_pain", "yes"), ("fever", "no")),
}


def findings(cases: Iterable[Case]) -> Table:
    """What was asked or looked for at the first visit of a few; a row a finding."""
    rows: list[Sequence[Cell]] = [
        [case.character.code, case.visits[0].on, finding, present]
        for case in cases
        for finding, present in ASKED.get(case.character.number, ())
    ]
    return ("runner", "visit_date", "finding", "present"), rows
