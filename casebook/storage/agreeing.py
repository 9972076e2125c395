"""Does the store agree with its history? Its chain, its guards, and what it says should stand."""

from __future__ import annotations

import json
from collections import defaultdict
from contextlib import closing
from dataclasses import dataclass, field

from sqlalchemy import Connection, select

from casebook.domain.history import Entry, Subject, Was, seal
from casebook.domain.replaying import apply
from casebook.storage import history, standing
from casebook.storage.tables import HistoryRow

MOST_TOLD = 5
# The order in which sets are offered is the clinic's taste and nothing of a record.
NOT_COMPARED = {Subject.MEASUREMENT_SET: frozenset({"position"})}
# An attached file's entries name its visit beside the fields: a picture that was moved is found.
VISIT = "its visit"

Answer = tuple[bool, str]


@dataclass(slots=True)
class Wrong:
    """What was found wrong: how much, and the first few in words."""

    count: int = 0
    first: list[str] = field(default_factory=list)

    def tell(self, words: str) -> None:
        """One more."""
        self.count += 1
        if len(self.first) < MOST_TOLD:
            self.first.append(words)

    def words(self) -> str:
        """The first few, and how many more."""
        more = f"; and {self.count - len(self.first)} more" if self.count > MOST_TOLD else ""
        return "; ".join(self.first) + more


@dataclass(slots=True)
class Replay:
    """The history read once from its first entry to its last."""

    entries: int = 0
    head: str = ""
    chain: Wrong = field(default_factory=Wrong)
    agreement: Wrong = field(default_factory=Wrong)
    # What should stand of everything but visits, as JSON: far smaller than as objects.
    states: dict[Subject, dict[int, str]] = field(default_factory=lambda: defaultdict(dict))


def replayed(connection: Connection) -> Replay:
    """Read the whole history: check its chain, and what it makes of everything but visits."""
    replay = Replay()
    try:
        with closing(history.every_entry(connection)) as entries:
            for entry in entries:
                _check_link(replay, entry)
                replay.entries, replay.head = entry.number, entry.hash
                _bring_on(replay, entry)
    except (LookupError, ValueError, TypeError, AttributeError):
        replay.chain.tell(f"the entry after number {replay.entries} can't be read")
    return replay


def _check_link(replay: Replay, entry: Entry) -> None:
    if entry.number != replay.entries + 1:
        replay.chain.tell(f"entry {replay.entries + 1} is missing before entry {entry.number}")
    elif entry.previous != replay.head:
        replay.chain.tell(f"entry {entry.number} does not follow on the one before")
    if seal(entry) != entry.hash:
        replay.chain.tell(f"entry {entry.number} is not what was sealed")


def _bring_on(replay: Replay, entry: Entry) -> None:
    if entry.subject is Subject.VISIT:  # later, visit by visit
        if entry.visit_id != entry.subject_id:
            replay.agreement.tell(f"entry {entry.number} tells of a visit under another's id")
        return
    states = replay.states[entry.subject]
    state = json.loads(states.get(entry.subject_id, "{}"))
    state.pop(VISIT, None)
    _apply(replay.agreement, state, entry)
    if state:
        if entry.subject is Subject.ATTACHMENT:
            state[VISIT] = entry.visit_id
        states[entry.subject_id] = json.dumps(state, ensure_ascii=False, separators=(",", ":"))
    else:
        states.pop(entry.subject_id, None)


def _apply(wrong: Wrong, state: dict[str, Was], entry: Entry) -> None:
    left_out = NOT_COMPARED.get(entry.subject, frozenset())
    fields = {name: pair for name, pair in entry.fields.items() if name not in left_out}
    differing = apply(state, fields)
    if differing:
        wrong.tell(
            f"entry {entry.number} changes {_named(differing)} of {entry.subject.value} "
            f"{entry.subject_id} from what it was not"
        )


def chain_answer(replay: Replay) -> Answer:
    """Whether every entry is what was sealed and follows on the one before."""
    if replay.chain.count:
        return False, replay.chain.words()
    if not replay.entries:
        return True, "no entries yet"
    return True, f"{replay.entries} entries, the last with the hash {replay.head}"


def head_answer(connection: Connection, expected: str) -> Answer:
    """Whether an entry whose hash was noted down still stands."""
    number = connection.execute(
        select(HistoryRow.number).where(HistoryRow.hash == expected.strip().lower())
    ).scalar()
    if number is None:
        return False, (
            f"no entry has the hash {expected.strip()}: what was stored by then was altered or "
            "cut off, or it is another casebook's"
        )
    return True, f"the noted hash is that of entry {number}"


def agreement_answer(connection: Connection, replay: Replay) -> Answer:
    """Whether what stands is what the history makes of it, record by record."""
    wrong, records = replay.agreement, 0
    for subject in standing.SMALL:
        records += _compare_small(connection, subject, replay)
    for first, last in standing.visit_ranges(connection):
        records += _compare_visits(connection, first, last, wrong)
    if wrong.count:
        return False, wrong.words()
    return True, f"{records} records are what their history says"


def _compare_small(connection: Connection, subject: Subject, replay: Replay) -> int:
    wrong, states, records = replay.agreement, replay.states.pop(subject, {}), 0
    left_out = NOT_COMPARED.get(subject, frozenset())
    for one in standing.small_records(connection, subject):
        records += 1
        told = states.pop(one.subject_id, None)
        state = None if told is None else json.loads(told)
        fields = {name: one.fields[name] for name in one.fields if name not in left_out}
        if subject is Subject.ATTACHMENT:
            fields[VISIT] = one.visit_id
        _compare(wrong, subject, one.subject_id, state, fields)
    for subject_id in states:
        _compare(wrong, subject, subject_id, json.loads(states[subject_id]), None)
    return records


def _compare_visits(connection: Connection, first: int, last: int, wrong: Wrong) -> int:
    states = _told_visits(connection, first, last, wrong)
    records = 0
    for one in standing.visits_between(connection, first, last):
        records += 1
        state = states.pop(one.subject_id, None)
        _compare(wrong, Subject.VISIT, one.subject_id, state, dict(one.fields))
    for visit_id, state in states.items():
        _compare(wrong, Subject.VISIT, visit_id, state, None)
    return records


def _told_visits(
    connection: Connection, first: int, last: int, wrong: Wrong
) -> dict[int, dict[str, Was]]:
    states: defaultdict[int, dict[str, Was]] = defaultdict(dict)
    try:
        with closing(history.entries_of_visits(connection, first, last)) as entries:
            for entry in entries:
                _apply(wrong, states[entry.subject_id], entry)
    except (LookupError, ValueError, TypeError, AttributeError):
        wrong.tell(f"an entry of the visits {first} to {last} can't be read")
    return {visit_id: state for visit_id, state in states.items() if state}


def _compare(
    wrong: Wrong,
    subject: Subject,
    subject_id: int,
    told: dict[str, Was] | None,
    stands: dict[str, Was] | None,
) -> None:
    if told == stands:
        return
    name = f"{subject.value} {subject_id}"
    if not told:
        wrong.tell(f"{name} stands and its history does not tell of it")
    elif stands is None:
        wrong.tell(f"{name} is gone and its history says that it stands")
    else:
        differing = [one for one in {**told, **stands} if told.get(one) != stands.get(one)]
        wrong.tell(f"{name} differs from its history in {_named(differing)}")


def _named(names: list[str]) -> str:
    more = f" and {len(names) - MOST_TOLD} more" if len(names) > MOST_TOLD else ""
    return ", ".join(names[:MOST_TOLD]) + more
