"""How each kind of record of an import is stored: its row, its key, what a blank becomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from sqlalchemy.orm import InstrumentedAttribute

from casebook.domain.injuries import Course, Occurrence, Onset
from casebook.domain.people import Role, Sex
from casebook.domain.prescriptions import BlockDetail, ProgrammeDetail
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.sides import InjurySide
from casebook.intake.columns import TableKind
from casebook.storage import plan_translation
from casebook.storage.tables import (
    AdherenceRow,
    BlockRow,
    ConsentRow,
    FindingRow,
    InjuryRow,
    ProgrammeRow,
    Row,
    RunnerRow,
    RunRow,
    TargetRow,
    UserRow,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How a kind of record is stored.

    Parameters
    ----------
    row : type of Row
    parent : attribute of the row that refers to what the record belongs to
    key : tuple of str
        Attributes that name the record under its parent.
    defaults : dict
        For each further attribute what a blank in a new record becomes.
    renamed : dict of str to str
        Column of the file -> attribute, where they differ.
    """

    row: type[Row]
    parent: InstrumentedAttribute[Any]
    key: tuple[str, ...]
    defaults: Mapping[str, Any]
    renamed: Mapping[str, str] = field(default_factory=dict)


# What a blank becomes: the empty text, or nothing at all for a choice or a number.
PROGRAMME_DETAIL: Mapping[str, Any] = asdict(ProgrammeDetail())
BLOCK_DETAIL: Mapping[str, Any] = {
    **{name: getattr(BlockDetail(position=1), name) for name in plan_translation.BLOCK_DETAIL},
    **dict.fromkeys(plan_translation.TEMPO),
}
SHAPES: dict[TableKind, Shape] = {
    TableKind.USERS: Shape(
        row=UserRow,
        parent=UserRow.clinic_id,
        key=("code",),
        defaults={"display_name": "", "role": Role.CLINICIAN, "active": True},
        renamed={"user": "code"},
    ),
    TableKind.RUNNERS: Shape(
        row=RunnerRow,
        parent=RunnerRow.clinic_id,
        key=("code",),
        defaults={
            "sex": Sex.NOT_RECORDED,
            "birth_year": None,
            "discipline": "",
            "height_cm": None,
            "mass_kg": None,
            "registered_on": None,
        },
        renamed={"runner": "code"},
    ),
    TableKind.INJURIES: Shape(
        row=InjuryRow,
        parent=InjuryRow.runner_id,
        key=("region", "pathology", "side", "onset_on"),
        defaults={
            "onset": Onset.GRADUAL,
            "occurrence": Occurrence.FIRST,
            "course": Course.OPEN,
            "returned_on": None,
            "fully_back_on": None,
            "days_limited": None,
            "sessions_missed_in_row": None,
            "consulted": None,
        },
    ),
    TableKind.CONSENTS: Shape(
        row=ConsentRow,
        parent=ConsentRow.runner_id,
        key=("purpose", "given_on"),
        defaults={"withdrawn_on": None},
    ),
    TableKind.PROGRAMMES: Shape(
        row=ProgrammeRow,
        parent=ProgrammeRow.runner_id,
        key=("started_on", "title"),
        defaults={
            "ended_on": None,
            "kind": ProgrammeKind.INJURY,
            "rationale": "",
            "injury_id": None,
            **PROGRAMME_DETAIL,
        },
    ),
    TableKind.BLOCKS: Shape(
        row=BlockRow,
        parent=BlockRow.programme_id,
        key=("position",),
        defaults={
            "aim": None,
            "exercise": None,
            "side": InjurySide.BOTH,
            "sets": None,
            "repetitions": None,
            "load": "",
            "hold_s": None,
            "sessions_per_week": None,
            **BLOCK_DETAIL,
        },
    ),
    TableKind.TARGETS: Shape(
        row=TargetRow,
        parent=TargetRow.programme_id,
        key=("metric_id", "what"),
        defaults={"direction": None, "amount": None, "due_on": None},
        renamed={"metric": "metric_id"},
    ),
    TableKind.ADHERENCE: Shape(
        row=AdherenceRow,
        parent=AdherenceRow.programme_id,
        key=("week_start",),
        defaults={
            "sessions_planned": None,
            "sessions_done": None,
            "pain_during": None,
            "pain_morning_after": None,
            "comment": "",
        },
    ),
    TableKind.RUNS: Shape(
        row=RunRow,
        parent=RunRow.runner_id,
        key=("run_on", "number"),
        defaults={"distance_km": None, "minutes": None, "effort": None},
        renamed={"run_date": "run_on"},
    ),
    TableKind.FINDINGS: Shape(
        row=FindingRow,
        parent=FindingRow.visit_id,
        key=("finding",),
        defaults={"present": None},
    ),
}
IDENTITY = {"given_name": "", "family_name": "", "birth_date": None}
