"""Amending what is known of a runner beside visits; what it was stays in the history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem, refuse
from casebook.domain.history import Act, Change, Subject, Was
from casebook.domain.people import clean_by
from casebook.services import clock
from casebook.services.amending import asked_reason
from casebook.services.opened import Casebook
from casebook.services.record_rules import record_problems
from casebook.services.registering import get_runner_row
from casebook.services.reopening import Resting
from casebook.services.visit_words import NOTHING_STORED
from casebook.storage import findings, history, hypotheses, people, record_fields, records
from casebook.storage.session import reading, writing

YES_AND_NO: Final = {"yes": True, "no": False, "true": True, "false": False}
# What it hangs on stays: to move a record is to strike it out and record it anew.
_LINKS = frozenset({"runner_id", "programme_id", "metric_id", "visit_id", "injury_id"})
AMENDABLE: Final[Mapping[Subject, tuple[str, ...]]] = MappingProxyType(
    {
        subject: tuple(name for name in record_fields.TOLD[subject] if name not in _LINKS)
        for subject in (
            Subject.RUNNER,
            Subject.IDENTITY,
            Subject.INJURY,
            Subject.CONSENT,
            Subject.PROGRAMME,
            Subject.BLOCK,
            Subject.TARGET,
            Subject.ADHERENCE,
            Subject.RUN,
        )
    }
    # Another finding is another record.
    | {Subject.FINDING: ("present",)}
)
# A runner and their identifiers are amended, and leave only with a whole import that is undone.
STRUCK_OUT: Final = frozenset(AMENDABLE) - {Subject.RUNNER, Subject.IDENTITY}


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRecord:
    """Something known of a runner beside visits.

    Parameters
    ----------
    columns : mapping of str to object
        What can be amended, by column.
    about : mapping of str to object
        What tells a finding from others: `finding` and the day of its visit, `visited_on`.
    """

    subject: Subject
    record_id: int
    columns: Mapping[str, object]
    about: Mapping[str, object] = field(default_factory=dict)


def list_records(casebook: Casebook, runner: str) -> tuple[StoredRecord, ...]:
    """What is known of a runner beside visits, kind by kind.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        kept = records.records_of(unit, runner_id)
        days = {
            one.visit_id: one.visited_on for one in findings.findings_of_runner(unit, runner_id)
        }
    return tuple(
        StoredRecord(
            subject=one.subject,
            record_id=one.record_id,
            columns={name: one.columns[name] for name in AMENDABLE[one.subject]},
            about=(
                {"finding": one.columns["finding"], "visited_on": days[one.visit_id]}
                if one.subject is Subject.FINDING and one.visit_id is not None
                else {}
            ),
        )
        for one in kept
    )


def amend_record(
    casebook: Casebook,
    runner: str,
    record: tuple[Subject, int],
    columns: Mapping[str, object],
    *,
    shown: Mapping[str, object] | None = None,
    reason: str,
    by: str,
) -> None:
    """Change what is known of a runner; all of it or nothing.

    Parameters
    ----------
    record : (Subject, int)
        Kind and id, as `list_records` gives them.
    columns : mapping of str to object
        What is to stand, by column: a value of the column's type, or its text (a day as
        YYYY-MM-DD, a code). None or '' empties a column that can be empty.
    shown : mapping of str to object, optional
        The columns as they were shown to whoever changes them.
    reason : str

    Raises
    ------
    NotFound
        For a runner or record that does not exist, or is another runner's.
    InputRefused
        With every problem found, or without a reason.
    Conflict
        When the record is no longer as it was shown, or would be the same as another.
    """
    subject, record_id = record
    by = clean_by(by)
    reason = asked_reason(reason)
    given = _typed(subject, columns)
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        kept = _get(unit, runner_id, known.code, record)
        _refuse_moved(kept, shown or {})
        changed = {name: new for name, new in given.items() if kept.columns[name] != new}
        if not changed:
            return
        problems = record_problems(subject, {**kept.columns, **changed}, runner=known.code)
        if problems:
            raise InputRefused(problems)
        resting = Resting(unit, kept)
        records.write_record(unit, subject, record_id, changed)
        resting.note(records.find_record(unit, subject, record_id))
        told = Change(
            act=Act.AMENDED,
            subject=subject,
            subject_id=record_id,
            fields={
                name: (_told(subject, kept.columns[name]), _told(subject, new))
                for name, new in changed.items()
            },
            runner_id=runner_id,
            visit_id=kept.visit_id,
            reason=reason,
        )
        people.bump_runner(unit, runner_id)
        reopened = resting.opened(reason=reason)
        history.append(unit, [told, *reopened], by=by, at=clock.now())
        unit.commit()


def strike_out_record(
    casebook: Casebook, runner: str, record: tuple[Subject, int], *, reason: str, by: str
) -> None:
    """Strike out a complaint, consent, finding, programme (with its parts) or part of one.

    Raises
    ------
    NotFound
        For a runner or record that does not exist, or is another runner's.
    InputRefused
        Without a reason, or for a record that is only ever amended.
    Conflict
        When something else rests on it (a programme on its complaint).
    """
    by = clean_by(by)
    reason = asked_reason(reason)
    if record[0] not in STRUCK_OUT:
        raise InputRefused(
            (
                Problem(
                    code="never_struck_out",
                    column="record",
                    value=record[0].value,
                    message=f"a {record[0].value} is amended and never struck out. "
                    f"{NOTHING_STORED}",
                ),
            )
        )
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        kept = _get(unit, runner_id, known.code, record)
        going = [kept]
        if kept.subject is Subject.PROGRAMME:
            going = [*records.parts_of_programme(unit, kept.record_id), kept]
        _refuse_rested_on(unit, kept)
        # Flags of a programme's weeks leave with the programme.
        resting = Resting(unit, kept)
        for one in going:
            records.remove_record(unit, one.subject, one.record_id)
        told = [removal(one, act=Act.STRUCK_OUT, reason=reason) for one in going]
        told += resting.opened(reason=reason)
        people.bump_runner(unit, runner_id)
        history.append(unit, told, by=by, at=clock.now())
        unit.commit()


def removal(kept: records.KeptRecord, *, act: Act, reason: str) -> Change:
    """What the history is told of a record that is removed."""
    return record_fields.change(
        kept.subject,
        kept.record_id,
        kept.fields,
        {},
        act=act,
        runner_id=kept.runner_id,
        visit_id=kept.visit_id,
        reason=reason,
    )


def _told(subject: Subject, content: object) -> Was:
    told = record_fields.plain(content)
    return told if subject is not Subject.IDENTITY or told is None else True


def _get(
    unit: Session, runner_id: int, code: str, record: tuple[Subject, int]
) -> records.KeptRecord:
    kept = records.find_record(unit, *record, to_write=True)
    if kept is None or kept.runner_id != runner_id:
        raise NotFound(
            f"'{code}' has no {record[0].value} with the number {record[1]}. {NOTHING_STORED} "
            "Look up its number in the runner's history."
        )
    return kept


def _refuse_moved(kept: records.KeptRecord, shown: Mapping[str, object]) -> None:
    moved = [
        f"{name} was {_said(was)} and is {_said(kept.columns[name])} now"
        for name, was in shown.items()
        if name in kept.columns and kept.columns[name] != was
    ]
    if moved:
        if kept.subject is Subject.IDENTITY:
            moved = [f"{len(moved)} of the identifiers"]
        raise Conflict(
            f"Somebody else changed this {kept.subject.value} after it was opened: "
            f"{'; '.join(moved)}. {NOTHING_STORED} Look at it again, then change it."
        )


def _said(content: object) -> str:
    told = record_fields.plain(content)
    return "blank" if told is None else f"'{told}'"


def _refuse_rested_on(unit: Session, kept: records.KeptRecord) -> None:
    if kept.subject is Subject.PROGRAMME and hypotheses.any_of_programme(unit, kept.record_id):
        raise Conflict(
            "A working hypothesis was written for this programme, and nobody takes back a "
            f"prediction: end the programme instead of striking it out. {NOTHING_STORED}"
        )
    if kept.subject is not Subject.INJURY or kept.runner_id is None:
        return
    resting = [
        str(one.columns["title"])
        for one in records.records_of(unit, kept.runner_id)
        if one.subject is Subject.PROGRAMME and one.columns["injury_id"] == kept.record_id
    ]
    if resting:
        raise Conflict(
            f"The programme '{resting[0]}' was prescribed for this complaint; strike that out "
            f"first. {NOTHING_STORED}"
        )


def _typed(subject: Subject, columns: Mapping[str, object]) -> dict[str, object]:
    """Columns with contents of their own types."""
    problems, typed = [], {}
    allowed = AMENDABLE.get(subject, ())
    if subject in {Subject.HYPOTHESIS, Subject.LINK}:
        raise refuse(
            "never_altered",
            "is part of a working hypothesis, which nobody alters: write a new version of it on "
            "the page Hypotheses; the version before stays as it is.",
            column="record",
            value=subject.value,
        )
    for name, content in columns.items():
        if name not in allowed:
            listed = ", ".join(allowed) or "nothing"
            problems.append(
                Problem(
                    code="unknown_column",
                    column=name,
                    message=f"'{name}' is nothing of a {subject.value} that can be amended; "
                    f"expected {listed}.",
                )
            )
            continue
        try:
            typed[name] = typed_content(subject, name, content)
        except ValueError as error:
            problems.append(
                Problem(code="content", column=name, value=str(content), message=str(error))
            )
    if problems:
        raise InputRefused(tuple(problems))
    return typed


def column_type(subject: Subject, name: str) -> type:
    """Python type of what a column holds."""
    return record_fields.type_of(subject, name)


def may_be_empty(subject: Subject, name: str) -> bool:
    """Whether a column can be left blank."""
    return not record_fields.must_be_given(subject, name)


def typed_content(subject: Subject, name: str, content: object) -> object:
    """A column's content from a value of its type or from its text.

    Raises
    ------
    ValueError
        With what was expected, in words.
    """
    if isinstance(content, str):
        content = content.strip()
    if content is None or content == "":
        if record_fields.must_be_given(subject, name):
            raise ValueError(f"{name} can't be empty; give one.")
        return record_fields.content_of(subject, name, None)
    kind = record_fields.type_of(subject, name)
    if isinstance(content, kind) and not (kind is date and isinstance(content, datetime)):
        return content
    try:
        if issubclass(kind, StrEnum) or kind is date:
            return record_fields.content_of(subject, name, content)
        if kind is bool and str(content).lower() in YES_AND_NO:
            return YES_AND_NO[str(content).lower()]
        if kind in (int, float) and not isinstance(content, bool):
            return kind(str(content))
        if kind is str:
            return str(content)
    except (ValueError, KeyError):
        pass
    raise ValueError(f"{name} is '{content}'; expected {_expected(kind)}.")


def _expected(kind: type) -> str:
    if issubclass(kind, StrEnum):
        return "one of " + ", ".join(one.value for one in kind)
    return {
        date: "a day as YYYY-MM-DD",
        int: "a whole number",
        float: "a number",
        bool: "yes or no",
    }.get(kind, "a text")
