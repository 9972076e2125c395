"""Columns <-> values of what was prescribed and what was expected of it.

Columns rather than rows, since a version of a programme is read from the history's columns.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any

from casebook.domain.exercises import Exercise
from casebook.domain.hypotheses import Hypothesis, Link
from casebook.domain.prescriptions import BlockDetail, Prescription, ProgrammeDetail, Tempo
from casebook.domain.programmes import AdherenceWeek, Block, Programme, Target
from casebook.domain.running_load import Run
from casebook.storage.tables import ExerciseRow, HypothesisLinkRow, HypothesisRow, RunRow

Columns = Mapping[str, Any]
PROGRAMME = ("title", "kind", "rationale", "started_on", "ended_on")
DETAIL = tuple(field.name for field in fields(ProgrammeDetail))
BLOCK = tuple(field.name for field in fields(Block))
BLOCK_DETAIL = tuple(
    field.name for field in fields(BlockDetail) if field.name not in {"position", "tempo"}
)
TEMPO = ("tempo_lower_s", "tempo_hold_s", "tempo_lift_s", "tempo_rest_s")
TARGET = ("what", "direction", "amount", "due_on")
EXERCISE = tuple(field.name for field in fields(Exercise) if field.name != "metrics")


def programme_columns(prescription: Prescription) -> dict[str, Any]:
    """Columns of a programme's row but whose it is and which complaint it is for."""
    return {name: getattr(prescription.programme, name) for name in PROGRAMME} | asdict(
        prescription.detail
    )


def block_columns(block: Block, detail: BlockDetail) -> dict[str, Any]:
    """Columns of a block's row but the programme."""
    parts = (None,) * len(TEMPO) if detail.tempo is None else detail.tempo.parts
    return (
        {name: getattr(block, name) for name in BLOCK}
        | {name: getattr(detail, name) for name in BLOCK_DETAIL}
        | dict(zip(TEMPO, parts, strict=True))
    )


def target_columns(target: Target) -> dict[str, Any]:
    """Columns of a target's row but the programme and the metric."""
    return {name: getattr(target, name) for name in TARGET}


def prescription_value(
    runner: str,
    programme: Columns,
    blocks: Sequence[Columns],
    targets: Sequence[tuple[str, Columns]],
    weeks: Sequence[AdherenceWeek] = (),
) -> Prescription:
    """A programme with all that was filled in.

    Parameters
    ----------
    blocks : sequence of mappings
        In any order.
    targets : sequence of (str, mapping)
        Each with the key of its metric, in the order in which they are told.
    """
    ordered = sorted(blocks, key=lambda one: one["position"])
    details = (_block_detail(one) for one in ordered)
    return Prescription(
        programme=Programme(
            runner=runner,
            **{name: programme[name] for name in PROGRAMME},
            blocks=tuple(Block(**{name: one[name] for name in BLOCK}) for one in ordered),
            targets=tuple(
                Target(metric=key, **{name: one[name] for name in TARGET}) for key, one in targets
            ),
            adherence=tuple(weeks),
        ),
        detail=ProgrammeDetail(**{name: programme[name] for name in DETAIL}),
        block_details=tuple(
            detail for detail in details if detail != BlockDetail(position=detail.position)
        ),
    )


def _block_detail(block: Columns) -> BlockDetail:
    return BlockDetail(
        position=block["position"],
        tempo=tempo_value(block),
        **{name: block[name] for name in BLOCK_DETAIL},
    )


def tempo_value(block: Columns) -> Tempo | None:
    """The tempo of a block; none where one of its first three parts lacks or all are 0."""
    lower, hold, lift, rest = (block[name] for name in TEMPO)
    if None in (lower, hold, lift) or not lower + hold + lift + (rest or 0.0):
        return None
    return Tempo(lower_s=lower, hold_s=hold, lift_s=lift, rest_s=rest or 0.0)


def exercise_columns(exercise: Exercise) -> dict[str, Any]:
    """Columns of an exercise's row."""
    return {name: getattr(exercise, name) for name in EXERCISE} | {
        "metrics": list(exercise.metrics)
    }


def exercise_value(row: ExerciseRow) -> Exercise:
    """A stored exercise as a value."""
    return Exercise(
        **{name: getattr(row, name) for name in EXERCISE},
        metrics=tuple(str(key) for key in row.metrics),
    )


def hypothesis_value(
    row: HypothesisRow, links: Sequence[tuple[str, HypothesisLinkRow]], *, runner: str, title: str
) -> Hypothesis:
    """A stored version of a hypothesis with its links, each beside the key of its metric."""
    return Hypothesis(
        runner=runner,
        programme=title,
        kind=row.kind,
        driver=row.driver,
        leads_to=row.leads_to,
        links=tuple(
            Link(
                position=one.position,
                role=one.role,
                metric=key,
                on=one.what,
                due_on=one.due_on,
                direction=one.direction,
                amount=one.amount,
                why=one.why,
            )
            for key, one in links
        ),
        sureness_pct=row.sureness_pct,
        written_on=row.written_on,
        written_by=row.written_by,
        version=row.version,
        reason=row.reason,
    )


def run_value(row: RunRow) -> Run:
    """A stored run as a value."""
    return Run(on=row.run_on, distance_km=row.distance_km, minutes=row.minutes, effort=row.effort)
