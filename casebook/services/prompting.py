"""Prompts to consider referral that nobody has acknowledged, over a whole caseload."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from casebook.domain.cautions import Caution
from casebook.services.reopening import called
from casebook.storage import findings
from casebook.storage.session import Unit

__all__ = ["OpenPrompt", "open_prompts"]


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
