"""Undoing: what an entry changed is what it was before, and the history keeps both."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.history import Act, Entry
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.domain.people import Role, User
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    Value,
    Visit,
    VisitKind,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.cataloguing import adopt_figure
from casebook.services.flagging import acknowledge_flag, list_flags
from casebook.services.keeping import check_casebook
from casebook.services.opened import Casebook
from casebook.services.recording import find_visit, list_visits, record_visit
from casebook.services.registering import register_user
from casebook.services.striking_out import strike_out_visit
from casebook.services.undoing_entries import undo_entry
from casebook.storage import history
from casebook.storage.session import reading
from tests.builders import BEND, METRICS, STRENGTH, a_visit

DAY = date(2026, 3, 2)
FIGURE = ErrorFigure(
    metric=STRENGTH,
    applies_to=AppliesTo.SIDE_VALUE,
    origin=ErrorOrigin.OWN,
    between_sd=4.0,
    within_sd=6.0,
    source="own",
)


def newest(casebook: Casebook) -> Entry:
    with reading(casebook.engine) as unit:
        entry = history.find_entry(unit, history.last(unit)[0])
    assert entry is not None
    return entry


def undo(casebook: Casebook, number: int | None = None) -> None:
    undo_entry(casebook, number or newest(casebook).number, reason="wrong after all", by="lee")


def stands(casebook: Casebook) -> list[tuple[Visit, frozenset[Value]]]:
    found = [one.visit for one in list_visits(casebook, "T-001")]
    return [
        (a_visit(**{**_parts(visit), "values": ()}), frozenset(visit.values)) for visit in found
    ]


def _parts(visit: Visit) -> dict[str, Any]:
    names = ("runner", "visited_on", "kind", "session", "conditions", "next_due_on", "note")
    return {name: getattr(visit, name) for name in names}


def amend(casebook: Casebook, change: VisitChange, day: date = DAY) -> None:
    stored = find_visit(casebook, "T-001", day)
    assert stored is not None
    amend_visit(
        casebook, "T-001", day, 1, change, expected_revision=stored.revision, reason="s", by="kim"
    )


numbers = st.floats(0, 70).map(lambda number: round(number, 2))
places = st.sampled_from(
    [(one.key, side) for one in METRICS[:2] for side in (Side.LEFT, Side.RIGHT)]
    + [(METRICS[2].key, Side.NONE)]
)


@st.composite
def some_value(draw: st.DrawFn) -> Value:
    metric, side = draw(places)
    kind = draw(st.sampled_from(["trials", "mean", "missing"]))
    if kind == "missing":
        return missing_value(metric, side, draw(st.sampled_from(list(MissingReason))))
    if kind == "mean":
        return value_of_mean(metric, side, draw(numbers), draw(st.integers(1, 5)))
    return value_of_trials(metric, side, draw(st.lists(numbers, min_size=1, max_size=4)))


details = st.fixed_dictionaries(
    {},
    optional={
        "speed_km_h": st.sampled_from([None, 9.5, 12.0]),
        "footwear": st.sampled_from(["", "racing flat"]),
        "note": st.sampled_from(["", "tired", "läuft ✓"]),
        "kind": st.sampled_from(["review", "baseline"]),
        "next_due_on": st.sampled_from([None, date(2026, 6, 1)]),
        "visited_on": st.sampled_from([DAY, date(2026, 3, 4)]),
    },
)
edits = st.one_of(
    st.tuples(st.just("amend"), st.lists(some_value(), max_size=3), details),
    st.tuples(
        st.just("remove"), st.lists(places, min_size=1, max_size=2, unique=True), st.just({})
    ),
    st.tuples(st.just("strike out"), st.just([]), st.just({})),
)


def edit(casebook: Casebook, what: str, given_values: list[Any], changed: dict[str, Any]) -> None:
    """One random edit; what makes no sense now is left out."""
    found = list_visits(casebook, "T-001")
    if not found:
        record_visit(casebook, a_visit(), by="kim")
        return
    stored = found[0]
    kept = {(value.metric, value.side) for value in stored.visit.values}
    day = stored.visit.visited_on
    if what == "strike out":
        strike_out_visit(
            casebook, "T-001", day, expected_revision=stored.revision, reason="s", by="kim"
        )
    elif what == "remove":
        amend(casebook, VisitChange(removed=[one for one in given_values if one in kept]), day)
    else:
        by_place = {(value.metric, value.side): value for value in given_values}
        amend(casebook, VisitChange(values=list(by_place.values()), details=changed), day)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(done=st.lists(edits, min_size=1, max_size=5))
def test_random_edits_undone_in_reverse_give_the_same_values(
    sqlite_clinic: Casebook, done: list[tuple[str, list[Any], dict[str, Any]]]
) -> None:
    for one in list_visits(sqlite_clinic, "T-001"):
        strike_out_visit(
            sqlite_clinic,
            "T-001",
            one.visit.visited_on,
            expected_revision=one.revision,
            reason="begin anew",
            by="kim",
        )
    record_visit(sqlite_clinic, a_visit(), by="kim")
    start = newest(sqlite_clinic).number
    states = [stands(sqlite_clinic)]
    for one in done:
        before = newest(sqlite_clinic).number
        edit(sqlite_clinic, *one)
        if newest(sqlite_clinic).number > before:
            states.append(stands(sqlite_clinic))
    for number in range(newest(sqlite_clinic).number, start, -1):
        assert stands(sqlite_clinic) == states.pop()
        undo(sqlite_clinic, number)
    assert [stands(sqlite_clinic)] == states
    assert check_casebook(sqlite_clinic).ok


def test_a_visit_struck_out_comes_back_whole_under_its_own_id(clinic: Casebook) -> None:
    saved = record_visit(clinic, a_visit(), by="kim")
    before = stands(clinic)
    strike_out_visit(clinic, "T-001", DAY, expected_revision=1, reason="slip", by="kim")
    undo(clinic)
    assert stands(clinic) == before
    again = find_visit(clinic, "T-001", DAY)
    assert again is not None
    assert (again.visit_id, again.revision, again.last_saved_by) == (saved.visit_id, 2, "lee")
    entry = newest(clinic)
    assert (entry.act, entry.by, entry.reason) == (Act.UNDONE, "lee", "wrong after all")
    undo(clinic)
    assert stands(clinic) == []
    assert check_casebook(clinic).ok


@pytest.mark.parametrize(
    ("later", "words"),
    [
        (
            lambda c: amend(c, VisitChange(values=[value_of_trials(STRENGTH, Side.LEFT, [1.0])])),
            ", left changed again since",
        ),
        (
            lambda c: strike_out_visit(
                c, "T-001", DAY, expected_revision=2, reason="slip", by="kim"
            ),
            "the visit changed again",
        ),
    ],
)
def test_what_was_changed_again_since_is_not_undone(
    sqlite_clinic: Casebook, later: Callable[[Casebook], None], words: str
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="kim")
    amend(sqlite_clinic, VisitChange(values=[value_of_trials(STRENGTH, Side.LEFT, [2.0])]))
    number = newest(sqlite_clinic).number
    later(sqlite_clinic)
    with pytest.raises(Conflict, match=words):
        undo(sqlite_clinic, number)


def test_an_entry_is_undone_though_other_fields_were_changed_since(
    sqlite_clinic: Casebook,
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="kim")
    amend(sqlite_clinic, VisitChange(values=[value_of_trials(STRENGTH, Side.LEFT, [2.0])]))
    number = newest(sqlite_clinic).number
    painful = missing_value(BEND, Side.RIGHT, MissingReason.PAINFUL)
    amend(sqlite_clinic, VisitChange(values=[painful], details={"note": "later"}))
    undo(sqlite_clinic, number)
    (visit, values), *_ = stands(sqlite_clinic)
    assert visit.note == "later"
    assert values == frozenset(a_visit().values) | {painful}


def test_a_visit_that_comes_back_opens_the_flags_that_were_acknowledged_without_it(
    sqlite_clinic: Casebook,
) -> None:
    adopt_figure(sqlite_clinic, FIGURE)
    register_user(sqlite_clinic, User(code="kim", display_name="Kim", role=Role.LEAD))
    for month, left, kind in (
        (1, 220.0, VisitKind.BASELINE),
        (2, 300.0, VisitKind.BASELINE),
        (3, 200.0, VisitKind.REVIEW),
    ):
        sides = [
            value_of_trials(STRENGTH, side, (reading,) * 3)
            for side, reading in ((Side.LEFT, left), (Side.RIGHT, 300.0))
        ]
        visit = a_visit(visited_on=date(2026, month, 1), kind=kind, values=tuple(sides))
        record_visit(sqlite_clinic, visit, by="kim")
    first = date(2026, 1, 1)
    strike_out_visit(
        sqlite_clinic, "T-001", first, expected_revision=1, reason="another runner", by="kim"
    )
    struck_out = newest(sqlite_clinic).number
    (flag,) = list_flags(sqlite_clinic).flags
    acknowledge_flag(
        sqlite_clinic,
        "T-001",
        flag.visit_date,
        flag.session,
        STRENGTH,
        flag.kind,
        reason="known",
        by="kim",
    )
    assert not list_flags(sqlite_clinic).flags
    undo(sqlite_clinic, struck_out)
    again = list_flags(sqlite_clinic, all_visits=True).flags
    assert flag.kind in {one.kind for one in again}
    assert not any(one.acknowledged for one in again)
    assert check_casebook(sqlite_clinic).ok


def test_what_cannot_be_undone_says_why(sqlite_clinic: Casebook) -> None:
    with pytest.raises(NotFound, match="no entry 9999"):
        undo(sqlite_clinic, 9999)
    with pytest.raises(InputRefused, match="clinic's own lists"):
        undo(sqlite_clinic, 1)
    with pytest.raises(InputRefused, match="registered the runner"):
        undo(sqlite_clinic)
    record_visit(sqlite_clinic, a_visit(), by="kim")
    with pytest.raises(InputRefused, match="Say why"):
        undo_entry(sqlite_clinic, newest(sqlite_clinic).number, reason="", by="kim")
    strike_out_visit(sqlite_clinic, "T-001", DAY, expected_revision=1, reason="slip", by="kim")
    number = newest(sqlite_clinic).number
    record_visit(sqlite_clinic, a_visit(), by="kim")
    with pytest.raises(Conflict, match="Another visit stands on 2026-03-02"):
        undo(sqlite_clinic, number)
