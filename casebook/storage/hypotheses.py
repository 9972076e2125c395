"""Working hypotheses: versions are put after one another and read, nothing else."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from casebook.domain.history import Change
from casebook.domain.hypotheses import Hypothesis
from casebook.storage import record_fields
from casebook.storage.plan_translation import hypothesis_value
from casebook.storage.tables import (
    HypothesisLinkRow,
    HypothesisRow,
    MetricRow,
    ProgrammeRow,
    RunnerRow,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptHypothesis:
    """All versions of one hypothesis, oldest first; `number` within its programme."""

    programme_id: int
    runner_id: int
    programme_started_on: date
    number: int
    versions: tuple[Hypothesis, ...]


def any_of_programme(session: Session, programme_id: int) -> bool:
    """Whether a hypothesis was written for a programme."""
    return bool(session.scalar(select(exists().where(HypothesisRow.programme_id == programme_id))))


def next_number(session: Session, programme_id: int) -> int:
    """The number that a programme's next hypothesis gets."""
    query = select(func.max(HypothesisRow.number)).where(HypothesisRow.programme_id == programme_id)
    return (session.scalar(query) or 0) + 1


def hypotheses_of(
    session: Session, clinic_id: int, runner_ids: Iterable[int] | None = None
) -> tuple[KeptHypothesis, ...]:
    """Hypotheses of some runners, or of all of a clinic, by runner, programme and number."""
    query = (
        select(HypothesisRow, RunnerRow.code, ProgrammeRow.title, ProgrammeRow.started_on)
        .join(RunnerRow, RunnerRow.id == HypothesisRow.runner_id)
        .join(ProgrammeRow, ProgrammeRow.id == HypothesisRow.programme_id)
        .where(RunnerRow.clinic_id == clinic_id)
        .order_by(
            RunnerRow.code,
            ProgrammeRow.started_on,
            HypothesisRow.programme_id,
            HypothesisRow.number,
            HypothesisRow.version,
        )
    )
    links_query = (
        select(HypothesisLinkRow, MetricRow.key)
        .join(MetricRow, MetricRow.id == HypothesisLinkRow.metric_id)
        .join(HypothesisRow, HypothesisRow.id == HypothesisLinkRow.hypothesis_id)
        .order_by(HypothesisLinkRow.hypothesis_id, HypothesisLinkRow.position)
    )
    if runner_ids is not None:
        listed = list(runner_ids)
        query = query.where(HypothesisRow.runner_id.in_(listed))
        links_query = links_query.where(HypothesisRow.runner_id.in_(listed))
    links: defaultdict[int, list[tuple[str, HypothesisLinkRow]]] = defaultdict(list)
    for link, key in session.execute(links_query):
        links[link.hypothesis_id].append((key, link))
    found: dict[tuple[int, int], list[Hypothesis]] = {}
    places: dict[tuple[int, int], tuple[int, date]] = {}
    for row, code, title, started_on in session.execute(query):
        place = row.programme_id, row.number
        places[place] = row.runner_id, started_on
        found.setdefault(place, []).append(
            hypothesis_value(row, links[row.id], runner=code, title=title)
        )
    return tuple(
        KeptHypothesis(
            programme_id=place[0],
            runner_id=places[place][0],
            programme_started_on=places[place][1],
            number=place[1],
            versions=tuple(versions),
        )
        for place, versions in found.items()
    )


def add_version(
    session: Session,
    place: tuple[int, int, int],
    hypothesis: Hypothesis,
    metric_ids: Mapping[str, int],
    *,
    at: datetime,
) -> list[Change]:
    """Store a version with its links; returns what the history is told.

    Parameters
    ----------
    place : (int, int, int)
        Ids of runner and programme, and the hypothesis' number within the programme.
    """
    runner_id, programme_id, number = place
    row = HypothesisRow(
        runner_id=runner_id,
        programme_id=programme_id,
        number=number,
        version=hypothesis.version,
        kind=hypothesis.kind,
        driver=hypothesis.driver,
        leads_to=hypothesis.leads_to,
        sureness_pct=hypothesis.sureness_pct,
        reason=hypothesis.reason,
        written_on=hypothesis.written_on,
        written_at=at,
        written_by=hypothesis.written_by,
    )
    session.add(row)
    session.flush()
    links = [
        HypothesisLinkRow(
            hypothesis_id=row.id,
            position=link.position,
            role=link.role,
            metric_id=metric_ids[link.metric],
            what=link.on,
            direction=link.direction,
            amount=link.amount,
            due_on=link.due_on,
            why=link.why,
        )
        for link in hypothesis.links
    ]
    session.add_all(links)
    session.flush()
    return [
        record_fields.recorded(row, reason=hypothesis.reason),
        *(record_fields.recorded(link, runner_id=runner_id) for link in links),
    ]
