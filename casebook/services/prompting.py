"""Prompts and flags of pain that nobody has acknowledged, over a whole caseload."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from casebook.domain.cautions import Caution, PainReason, pain_flags
from casebook.services.cautioning import RunnerPain
from casebook.services.pain_runs import RECENT_PAIN, RunnerPainRun, runs_of_pain
from casebook.services.reopening import called
from casebook.storage import findings
from casebook.storage.session import Unit

__all__ = ["OpenPrompt", "calls_for_referral", "open_pain", "open_prompts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPrompt:
    """A prompt that the findings of a visit call for and that nobody has acknowledged."""

    visited_on: date
    caution: Caution


def open_prompts(unit: Unit, clinic_id: int) -> Mapping[int, tuple[OpenPrompt, ...]]:
    """Prompts of a clinic's runners that nobody has acknowledged.

    Returns
    -------
    mapping of int to tuple of OpenPrompt
        By runner id, newest visit and most urgent first; runners without one are not in it.
    """
    seen = findings.prompts_seen(unit, clinic_id)
    found: dict[int, list[OpenPrompt]] = {}
    for runner_id, visit in findings.findings_of_clinic(unit, clinic_id):
        for caution in called(visit.findings):
            if (visit.visit_id, caution.rule.key) not in seen:
                found.setdefault(runner_id, []).append(
                    OpenPrompt(visited_on=visit.visited_on, caution=caution)
                )
    return {runner_id: tuple(prompts) for runner_id, prompts in found.items()}


def open_pain(
    unit: Unit, clinic_id: int, *, today: date
) -> Mapping[int, tuple[RunnerPainRun, ...]]:
    """Recent flags of pain in the weeks of a clinic's programmes that nobody has acknowledged.

    Returns
    -------
    mapping of int to tuple of RunnerPainRun
        By runner id, those that say to consider referral first, then the newest; runners without
        one are not in it.
    """
    seen = findings.pain_seen_of_clinic(unit, clinic_id)
    found: dict[int, list[RunnerPain]] = {}
    for one in findings.recent_weeks_of_clinic(unit, clinic_id, today - RECENT_PAIN):
        found.setdefault(one.runner_id, []).extend(
            RunnerPain(programme_id=one.programme_id, title=one.title, flag=flag, seen=None)
            for flag in pain_flags(one.weeks, one.injury)
            if (one.programme_id, flag.week.week_start, flag.reason) not in seen
        )
    runs = {
        runner_id: sorted(
            (run for run in runs_of_pain(pains)[::-1] if run.is_recent(today)),
            key=lambda run: not calls_for_referral(run),
        )
        for runner_id, pains in found.items()
    }
    return {runner_id: tuple(mine) for runner_id, mine in runs.items() if mine}


def calls_for_referral(run: RunnerPainRun) -> bool:
    """Whether pain is such that its words are to consider a referral."""
    return run.run.worst.reason is PainReason.BONE
