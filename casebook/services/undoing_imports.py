"""Undoing an import as a whole, while nobody has built on it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from casebook.domain.errors import Conflict, NotFound
from casebook.domain.history import Act, Entry, Subject
from casebook.domain.people import clean_by
from casebook.services import clock
from casebook.services.amending import asked_reason
from casebook.services.opened import Casebook
from casebook.storage import bulk, bulk_history, history, import_runs, people, undoing
from casebook.storage.import_runs import ImportRun
from casebook.storage.session import Unit, reading, writing

__all__ = ["ImportRun", "Undone", "list_imports", "undo_import"]

MOST_NAMED = 5
SUBJECT_WORDS = {
    Subject.RUNNER: "the runner's details",
    Subject.IDENTITY: "the runner's name or birth date",
    Subject.CONSENT: "a consent",
    Subject.INJURY: "a complaint",
    Subject.VISIT: "a visit",
    Subject.PROGRAMME: "a programme",
    Subject.BLOCK: "a programme's exercise",
    Subject.TARGET: "a target",
    Subject.ADHERENCE: "a week of adherence",
    Subject.ACKNOWLEDGEMENT: "an acknowledged flag",
    Subject.ERROR_FIGURE: "an error figure",
    Subject.ATTACHMENT: "an attachment",
    Subject.USER: "a user",
    Subject.RUN: "a run",
    Subject.FINDING: "a finding",
    Subject.CAUTION: "a caution that was seen",
    Subject.PAIN: "a week's pain that was seen",
    Subject.HYPOTHESIS: "a working hypothesis",
    Subject.LINK: "a prediction",
}
# A flag rests on the visits before its own as well, a hypothesis on its programme.
RESTS_ON_A_RUNNER = frozenset({Subject.ACKNOWLEDGEMENT, Subject.PAIN, Subject.HYPOTHESIS})
ACT_WORDS = {
    Act.RECORDED: "was stored",
    Act.ADDED: "was added to",
    Act.AMENDED: "was amended",
    Act.STRUCK_OUT: "was struck out",
    Act.UNDONE: "was taken back",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """What the undoing of an import came to.

    Parameters
    ----------
    visits, records : int
        Visits and other records that were taken back, new ones and those added to.
    """

    run_id: int
    visits: int
    records: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Touched:
    """What an import stored or changed."""

    records: frozenset[tuple[Subject, int]]
    new_runners: frozenset[int]
    runners: frozenset[int]
    users: frozenset[str]
    visits: frozenset[int]


def list_imports(casebook: Casebook) -> tuple[ImportRun, ...]:
    """Every import that stored something, newest first; undone ones too."""
    with reading(casebook.engine) as unit:
        return import_runs.runs(unit, casebook.clinic_id)


def undo_import(casebook: Casebook, run_id: int, *, reason: str, by: str = "") -> Undone:
    """Take back everything that an import stored; its history stays.

    Raises
    ------
    NotFound
        For a number that no import has.
    InputRefused
        Without a reason.
    Conflict
        When it is undone already, or somebody has built on it since (amended or added to what
        it stored, acknowledged a flag that rests on it, stored something of a runner whom it
        registered); names what.
    """
    by = clean_by(by)
    reason = asked_reason(reason)
    with writing(casebook.engine, alone=True) as unit:
        bulk.begin_bulk(unit)
        run = import_runs.find_run(unit, casebook.clinic_id, run_id, to_undo=True)
        if run is None:
            raise NotFound(f"There is no import {run_id}. Nothing was changed.")
        if run.undone_at is not None:
            who = f" by '{run.undone_by}'" if run.undone_by else ""
            raise Conflict(
                f"Import {run_id} was undone already{who} at {run.undone_at:%Y-%m-%d %H:%M} UTC. "
                "Nothing was changed."
            )
        entries = history.entries_of_import(unit, run_id)
        if any(entry.subject is Subject.HYPOTHESIS for entry in entries):
            raise Conflict(
                f"Import {run_id} brought a working hypothesis along, which nobody takes back: "
                "what was predicted stays. Nothing was changed. Strike out the visits instead, "
                "or amend what is wrong."
            )
        touched = _touched(entries)
        _refuse_built_on(unit, casebook, run_id, entries, touched)
        now = clock.now()
        changes = list(undoing.take_back(unit, entries, by=by, at=now, reason=reason))
        bulk.bump_runners(unit, touched.runners - touched.new_runners)
        import_runs.mark_undone(unit, run_id, at=now, by=by, reason=reason)
        bulk_history.append(unit, changes, by=by, at=now, import_run_id=run_id)
        unit.commit()
    n_visits = sum(entry.subject is Subject.VISIT for entry in entries)
    return Undone(run_id=run_id, visits=n_visits, records=len(entries) - n_visits)


def _touched(entries: Iterable[Entry]) -> _Touched:
    records, new, runners, users = set(), set(), set(), set()
    visits = set()
    for entry in entries:
        records.add((entry.subject, entry.subject_id))
        if entry.runner_id is not None:
            runners.add(entry.runner_id)
        if entry.subject is Subject.RUNNER and entry.act is Act.RECORDED:
            new.add(entry.subject_id)
        if entry.subject is Subject.USER and entry.act is Act.RECORDED:
            users.add(str(entry.fields["code"][1]))
        if entry.subject is Subject.VISIT:
            visits.add(entry.subject_id)
    return _Touched(
        records=frozenset(records),
        new_runners=frozenset(new),
        runners=frozenset(runners),
        users=frozenset(users),
        visits=frozenset(visits),
    )


def _refuse_built_on(
    unit: Unit, casebook: Casebook, run_id: int, entries: tuple[Entry, ...], touched: _Touched
) -> None:
    codes = {key: code for code, key in people.runner_ids(unit, casebook.clinic_id).items()}
    newest = max((entry.number for entry in entries), default=0)
    found = [
        _said(entry, codes)
        for entry in undoing.later_entries(unit, newest)
        if _rests_on(entry, touched)
    ]
    if found:
        more = f"; and {len(found) - MOST_NAMED} more" if len(found) > MOST_NAMED else ""
        raise Conflict(
            f"Import {run_id} cannot be undone, for somebody has built on it since: "
            f"{'; '.join(found[:MOST_NAMED])}{more}. Nothing was changed. Take that back first, or "
            "amend what is wrong where it stands."
        )


def _rests_on(entry: undoing.Later, touched: _Touched) -> bool:
    return (
        (entry.subject, entry.subject_id) in touched.records
        or entry.visit_id in touched.visits
        or entry.runner_id in touched.new_runners
        or entry.by in touched.users
        or (entry.subject in RESTS_ON_A_RUNNER and entry.runner_id in touched.runners)
    )


def _said(entry: undoing.Later, codes: dict[int, str]) -> str:
    code = codes.get(entry.runner_id or 0)
    of = f" of '{code}'" if code else ""
    who = f" by '{entry.by}'" if entry.by else ""
    through = f" through import {entry.import_run_id}" if entry.import_run_id else ""
    return (
        f"{SUBJECT_WORDS.get(entry.subject, entry.subject.value)}{of} "
        f"{ACT_WORDS.get(entry.act, entry.act.value)}{who}{through} on {entry.at:%Y-%m-%d %H:%M}"
    )
