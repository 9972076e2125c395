"""What was said of a prompt or of a week's pain is open again when what it rests on changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from sqlalchemy.orm import Session

from casebook.domain.cautions import RISE_WITHIN_DAYS, Caution, Finding, cautions_for
from casebook.domain.history import Change, Subject
from casebook.storage import findings
from casebook.storage.records import KeptRecord


def found_at(unit: Session, runner_id: int, visit_id: int) -> dict[Finding, bool]:
    """What was asked or looked for at a visit, and whether it was there."""
    found = findings.findings_of_runner(unit, runner_id)
    return next((dict(one.findings) for one in found if one.visit_id == visit_id), {})


def called(found: Mapping[Finding, bool]) -> tuple[Caution, ...]:
    """The prompts that findings call for."""
    return cautions_for([finding for finding, present in found.items() if present])


def reopen_prompts(
    unit: Session, runner_id: int, visit_id: int, before: Mapping[Finding, bool], *, reason: str
) -> list[Change]:
    """Open prompts of a visit that rest on other findings than before; returns what is told.

    Parameters
    ----------
    before : mapping of Finding to bool
        What was found there before it changed.
    """
    was = {one.rule.key: one.findings for one in called(before)}
    now = {one.rule.key: one.findings for one in called(found_at(unit, runner_id, visit_id))}
    moved = {rule for rule in {**was, **now} if was.get(rule) != now.get(rule)}
    return findings.reopen_cautions(
        unit, runner_id, visit_id, moved, reason=f"findings changed: {reason}"
    )


def reopen_weeks(
    unit: Session, runner_id: int, programme_id: int, weeks: Iterable[date], *, reason: str
) -> list[Change]:
    """Open the flags of pain that rest on weeks which changed; returns what is told."""
    # A flag rests on the four weeks before it as well.
    resting = {week + timedelta(days) for week in weeks for days in range(RISE_WITHIN_DAYS + 1)}
    return findings.reopen_pain(
        unit, runner_id, programme_id, sorted(resting), reason=f"week changed: {reason}"
    )


class Resting:
    """What rests on a record that is about to change, to be opened once it has changed."""

    def __init__(self, unit: Session, *records: KeptRecord | None) -> None:
        self._unit = unit
        self._findings: dict[tuple[int, int], dict[Finding, bool]] = {}
        self._weeks: dict[tuple[int, int], set[date]] = {}
        self.note(*records)

    def note(self, *records: KeptRecord | None) -> None:
        """Look at a record as it stands now; before it changes, and after."""
        for one in records:
            if one is None or one.runner_id is None:
                continue
            if one.subject is Subject.FINDING and one.visit_id is not None:
                self.note_visit(one.runner_id, one.visit_id)
            programme, week = one.columns.get("programme_id"), one.columns.get("week_start")
            if one.subject is Subject.ADHERENCE and isinstance(programme, int):
                weeks = self._weeks.setdefault((one.runner_id, programme), set())
                weeks |= {week} if isinstance(week, date) else set()

    def note_visit(self, runner_id: int, visit_id: int) -> None:
        """Note what was found at a visit, unless it was noted before."""
        if (runner_id, visit_id) not in self._findings:
            self._findings[runner_id, visit_id] = found_at(self._unit, runner_id, visit_id)

    def opened(self, *, reason: str) -> list[Change]:
        """Open what rested on something else; returns what the history is told."""
        told = []
        for place, before in self._findings.items():
            told += reopen_prompts(self._unit, *place, before, reason=reason)
        for place, weeks in self._weeks.items():
            told += reopen_weeks(self._unit, *place, weeks, reason=reason)
        return told
