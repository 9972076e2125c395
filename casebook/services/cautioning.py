"""Cautions: findings at a visit, the prompts they call for, and who has seen them.

A prompt is no diagnosis; every decision stays the clinician's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from casebook.domain.cautions import (
    CAUTION_ACTIONS,
    FINDINGS,
    Caution,
    CautionAction,
    Finding,
    PainFlag,
    PainReason,
    pain_flags,
)
from casebook.domain.errors import Conflict, NotFound
from casebook.domain.people import clean_by
from casebook.services import clock
from casebook.services.amending import asked_reason, get_visit
from casebook.services.opened import Casebook
from casebook.services.prescribing import get_kept
from casebook.services.registering import get_runner_row
from casebook.services.reopening import called, found_at, reopen_prompts
from casebook.services.visit_words import NOTHING_STORED, who
from casebook.storage import findings as stored_findings
from casebook.storage import history, people, prescriptions, visits
from casebook.storage.findings import Seen, VisitFindings
from casebook.storage.session import Unit, reading, writing

__all__ = [
    "CAUTION_ACTIONS",
    "FINDINGS",
    "RunnerCaution",
    "RunnerPain",
    "Seen",
    "acknowledge_caution",
    "acknowledge_pain",
    "findings_of",
    "list_cautions",
    "list_pain_flags",
    "record_findings",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerCaution:
    """A prompt that the findings of a visit call for, and who has seen it."""

    visited_on: date
    session: int
    caution: Caution
    seen: Seen | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerPain:
    """A week of a programme with pain beyond the usual limits, and who has seen it."""

    programme_id: int
    title: str
    flag: PainFlag
    seen: Seen | None


def record_findings(
    casebook: Casebook,
    runner: str,
    visited_on: date,
    session: int,
    findings: Mapping[Finding, bool],
    *,
    by: str,
    reason: str = "",
) -> tuple[RunnerCaution, ...]:
    """Store what was found at a visit; what is not mentioned stays as it is.

    Where a prompt rests on other findings than before, it is open again.

    Parameters
    ----------
    findings : mapping of Finding to bool
        True where it was there, False where it was looked for and not there.
    reason : str
        Asked for where a finding is stored the other way round.

    Returns
    -------
    tuple of RunnerCaution
        The prompts of this visit that nobody has seen.

    Raises
    ------
    NotFound
        For a runner or visit that does not exist.
    InputRefused
        For a changed finding without a reason.
    """
    by = clean_by(by)
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        visit = get_visit(unit, runner_id, known.code, visited_on, session)
        before = found_at(unit, runner_id, visit.visit_id)
        if any(before.get(finding, present) != present for finding, present in findings.items()):
            reason = asked_reason(reason)
        told = stored_findings.save_findings(
            unit, runner_id, visit.visit_id, findings, reason=reason
        )
        if told:
            reopened = reopen_prompts(
                unit, runner_id, visit.visit_id, before, reason=reason or "more was found"
            )
            people.bump_runner(unit, runner_id)
            history.append(unit, [*told, *reopened], by=by, at=clock.now())
            unit.commit()
        found = _cautions(unit, runner_id)
    return tuple(
        one
        for one in found
        if (one.visited_on, one.session) == (visited_on, session) and one.seen is None
    )


def findings_of(
    casebook: Casebook, runner: str, visited_on: date, session: int = 1
) -> dict[Finding, bool]:
    """What was found at a visit; what was not asked is not in it.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        visit = visits.find_visit(unit, runner_id, known.code, visited_on, session)
        if visit is None:
            raise NotFound(
                f"There is no visit of '{known.code}' on {visited_on} (session {session}). Check "
                "the day and the session."
            )
        return found_at(unit, runner_id, visit.visit_id)


def list_cautions(
    casebook: Casebook, runner: str, *, include_seen: bool = False
) -> tuple[RunnerCaution, ...]:
    """Prompts that a runner's findings call for, newest visit and most urgent first.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        found = _cautions(unit, runner_id)
    return tuple(one for one in found if include_seen or one.seen is None)


def acknowledge_caution(
    casebook: Casebook,
    runner: str,
    visited_on: date,
    session: int,
    rule: str,
    *,
    action: CautionAction,
    reason: str,
    by: str,
) -> None:
    """Store that a named user has seen a prompt, what was done and why.

    Raises
    ------
    NotFound
        When there is no such prompt, runner or user.
    InputRefused
        Without a reason.
    Conflict
        When it was acknowledged already.
    """
    reason = asked_reason(reason)
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        user_id = _user(unit, casebook, by)
        visit = get_visit(unit, runner_id, known.code, visited_on, session)
        rules = {one.rule.key for one in called(found_at(unit, runner_id, visit.visit_id))}
        if rule not in rules:
            raise NotFound(
                f"The findings of '{known.code}' at the visit of {visited_on} do not call for "
                f"'{rule}'. {NOTHING_STORED} Look at the findings again."
            )
        seen = stored_findings.cautions_seen(unit, runner_id).get((visit.visit_id, rule))
        if seen is not None:
            raise _seen_already(seen)
        now = clock.now()
        told = stored_findings.add_caution_seen(
            unit,
            (visit.visit_id, rule),
            action=action,
            reason=reason,
            user_id=user_id,
            at=now,
            runner_id=runner_id,
        )
        people.bump_runner(unit, runner_id)
        history.append(unit, [told], by=by, at=now)
        unit.commit()


def list_pain_flags(
    casebook: Casebook, runner: str, *, include_seen: bool = False
) -> tuple[RunnerPain, ...]:
    """Weeks of a runner's programmes with pain beyond the usual limits, oldest first.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        found = _pain(unit, runner_id)
    return tuple(one for one in found if include_seen or one.seen is None)


def acknowledge_pain(
    casebook: Casebook,
    programme_id: int,
    weeks: Sequence[date],
    kind: PainReason,
    *,
    reason: str,
    by: str,
) -> None:
    """Store that a named user has seen the pain of some weeks, and what they made of it.

    Parameters
    ----------
    weeks : sequence of date
        Their first days; each is recorded by itself, all of them or none.

    Raises
    ------
    NotFound
        When there is no such flag, programme or user.
    InputRefused
        Without a reason.
    Conflict
        When one of them was acknowledged already.
    """
    reason = asked_reason(reason)
    with writing(casebook.engine) as unit:
        kept = get_kept(unit, casebook, programme_id)
        user_id = _user(unit, casebook, by)
        flags = {
            one.flag.week.week_start: one
            for one in _pain(unit, kept.runner_id)
            if (one.programme_id, one.flag.reason) == (programme_id, kind)
        }
        now = clock.now()
        told = []
        for week_start in weeks:
            flag = flags.get(week_start)
            if flag is None:
                raise NotFound(
                    f"The week from {week_start} has no such flag of pain. {NOTHING_STORED} It "
                    "may have gone since the page was loaded."
                )
            if flag.seen is not None:
                raise _seen_already(flag.seen)
            told.append(
                stored_findings.add_pain_seen(
                    unit,
                    (programme_id, week_start, kind),
                    reason=reason,
                    user_id=user_id,
                    at=now,
                    runner_id=kept.runner_id,
                )
            )
        people.bump_runner(unit, kept.runner_id)
        history.append(unit, told, by=by, at=now)
        unit.commit()


def _user(unit: Unit, casebook: Casebook, by: str) -> int:
    user_id = people.find_user(unit, casebook.clinic_id, by)
    if user_id is None:
        raise NotFound(f"There is no user '{by}': add the user first. {NOTHING_STORED}")
    return user_id


def _seen_already(seen: Seen) -> Conflict:
    return Conflict(
        f"It was acknowledged already by {who(seen.by)} on {seen.at:%Y-%m-%d}: {seen.reason}. "
        f"{NOTHING_STORED}"
    )


def _cautions(unit: Unit, runner_id: int) -> tuple[RunnerCaution, ...]:
    seen = stored_findings.cautions_seen(unit, runner_id)
    found: tuple[VisitFindings, ...] = stored_findings.findings_of_runner(unit, runner_id)
    return tuple(
        RunnerCaution(
            visited_on=visit.visited_on,
            session=visit.session,
            caution=caution,
            seen=seen.get((visit.visit_id, caution.rule.key)),
        )
        for visit in found
        for caution in called(visit.findings)
    )


def _pain(unit: Unit, runner_id: int) -> tuple[RunnerPain, ...]:
    injuries = dict(people.injuries_by_id(unit, runner_id, ""))
    seen = stored_findings.pain_seen(unit, runner_id)
    return tuple(
        RunnerPain(
            programme_id=kept.programme_id,
            title=kept.prescription.programme.title,
            flag=flag,
            seen=seen.get((kept.programme_id, flag.week.week_start, flag.reason)),
        )
        for kept in prescriptions.programmes_of(unit, runner_id)
        for flag in pain_flags(
            kept.prescription.programme.adherence, injuries.get(kept.injury_id or 0)
        )
    )
