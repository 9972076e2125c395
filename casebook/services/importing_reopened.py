"""What an import opens again: prompts and flags of pain that rest on what it stored."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from casebook.domain.history import Change, Subject
from casebook.services.importing_records import Store
from casebook.services.reopening import Resting, reopen_weeks
from casebook.storage import bulk, findings
from casebook.storage.tables import AdherenceRow, CautionAcknowledgementRow

REASON = "an import"


def resting_prompts(store: Store, runner_of_visit: Mapping[int, int]) -> Resting:
    """What was found, before the import, at those visits of which somebody has seen a prompt.

    Parameters
    ----------
    runner_of_visit : mapping of int to int
        Id of the runner by id of each stored visit that the import brings findings of.
    """
    resting = Resting(store.session)
    seen = bulk.rows_of(store.session, CautionAcknowledgementRow.visit_id, runner_of_visit)
    for visit_id in sorted({row["visit_id"] for row in seen}):
        resting.note_visit(runner_of_visit[visit_id], visit_id)
    return resting


def opened_prompts(store: Store, resting: Resting) -> list[Change]:
    """Open the prompts that rest on other findings than before."""
    # The import writes past the session's own rows.
    store.session.expire_all()
    return resting.opened(reason=REASON)


def opened_weeks(store: Store) -> list[Change]:
    """Open the flags of pain that rest on weeks which the import stored or changed."""
    changed = {
        one.subject_id: one.runner_id
        for one in store.changes
        if one.subject is Subject.ADHERENCE and one.runner_id is not None
    }
    if not changed:
        return []
    programmes = findings.programmes_with_seen_pain(store.session)
    rows = bulk.rows_of(store.session, AdherenceRow.programme_id, programmes)
    weeks: dict[tuple[int, int], list[date]] = {}
    for row in rows:
        if row["id"] in changed:
            place = (changed[row["id"]], row["programme_id"])
            weeks.setdefault(place, []).append(row["week_start"])
    return list(_opened(store, weeks))


def _opened(store: Store, weeks: Mapping[tuple[int, int], list[date]]) -> Iterable[Change]:
    for (runner_id, programme_id), days in weeks.items():
        yield from reopen_weeks(store.session, runner_id, programme_id, days, reason=REASON)
