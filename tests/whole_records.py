"""Whole records to test with: every kind of row there is, with every column by its type."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from hypothesis import strategies as st
from sqlalchemy import Boolean, Date, Float, Integer
from sqlalchemy import Enum as SqlEnum

from casebook.domain.history import Subject
from casebook.domain.people import User
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.domain.whole_record import METRIC, HeldRow, HeldValue, HistoryLine, WholeRecord
from casebook.storage import whole_record as store
from casebook.storage.tables import UtcDateTime
from tests.builders import BEND, METRICS, STEPS, STRENGTH

MOMENT = datetime(2026, 3, 5, 9, 30, 1, 250000, tzinfo=UTC)
USERS = (User(code="KM", display_name="K. Invented", active=False), User(code="QQ", active=False))
# Days that follow one another, in the order in which they must.
DAYS = (
    "birth_date",
    "registered_on",
    "onset_on",
    "given_on",
    "started_on",
    "written_on",
    "visited_on",
    "week_start",
    "run_on",
    "returned_on",
    "withdrawn_on",
    "fully_back_on",
    "ended_on",
    "due_on",
    "next_due_on",
)
RANGES = {
    "frames_per_s": (10.0, 2000.0),
    "height_cm": (50.0, 260.0),
    "mass_kg": (10.0, 350.0),
    "birth_year": (1900, 1990),
    "pain_today": (0.0, 10.0),
}
# Those that tell rows of a kind apart.
NUMBERED = frozenset({"position", "session", "number"})
# What FHIR forbids in a text: control characters, and nothing but blanks.
texts = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Zs", "Zl", "Zp")), min_size=1, max_size=12
).map(lambda text: f'{text} =<&\n\t"é')


@st.composite
def whole_records(draw: st.DrawFn, code: str = "T-7") -> WholeRecord:
    rows: list[HeldRow] = []
    for kind in store.kinds():
        alone = kind in {Subject.RUNNER, Subject.IDENTITY}
        n_rows = 1 if alone else draw(st.integers(1, 2))
        rows += [_row(draw, kind, number, rows) for number in range(1, n_rows + 1)]
    rows = [_mended(row, code) for row in rows]
    n_visits = sum(row.kind is Subject.VISIT for row in rows)
    values = [one for visit in range(1, n_visits + 1) for one in _values(draw, visit)]
    return WholeRecord(
        code=code,
        clinic="Invented clinic",
        written_at=MOMENT,
        rows=tuple(rows),
        values=tuple(values),
        metrics=METRICS,
        users=USERS,
        history=(HistoryLine(number=3, at=MOMENT, by="", what="visit recorded <b>"),),
    )


def _row(draw: st.DrawFn, kind: Subject, number: int, rows: list[HeldRow]) -> HeldRow:
    fields: dict[str, Any] = {}
    refs = {}
    for name, column in store.columns_of(kind).items():
        parent = store.referred_kind(kind, name)
        if parent is not None:
            numbers = [row.number for row in rows if row.kind is parent]
            # A row each: no two are about the same thing of the same parent.
            refs[name] = (parent, numbers[min(number, len(numbers)) - 1])
            continue
        given = _content(draw, name, column, number)
        if given is not None:
            fields[name] = given
    return HeldRow(kind=kind, number=number, fields=fields, refs=refs)


def _content(draw: st.DrawFn, name: str, column: Any, number: int) -> Any:
    if column.nullable and draw(st.booleans()):
        return None
    if name == METRIC:
        return (STRENGTH, BEND)[number - 1]
    if column.foreign_keys:
        return draw(st.sampled_from(USERS)).code
    kind = column.type
    low, high = RANGES.get(name, (1, 10))
    for sort, drawn in (
        # Of two rows of a kind each has others: neither is about the other's thing.
        (SqlEnum, lambda: draw(st.sampled_from(list(kind.enum_class)[number - 1 :: 2])).value),
        (UtcDateTime, MOMENT.isoformat),
        (Date, lambda: _day(name, number)),
        (Boolean, lambda: draw(st.booleans())),
        (Integer, lambda: number if name in NUMBERED else draw(st.integers(low, high))),
        (Float, lambda: draw(st.floats(low, high, allow_nan=False))),
    ):
        if isinstance(kind, sort):
            return drawn()
    if column.default is not None and draw(st.booleans()):
        return None
    # As some people write: a text that looks like a day, too.
    text = draw(st.one_of(texts, st.sampled_from(["2026-03-02", "2026-99-02"])))
    text = text if text.startswith("2026") and name != "rule" else f"{number}{text}"
    return text[: kind.length or 40]


def _day(name: str, number: int) -> str:
    if name == "birth_date":
        return "1985-02-03"
    return (date(2024, 1, 1) + timedelta(days=20 * DAYS.index(name) + number * 7)).isoformat()


def _mended(row: HeldRow, code: str) -> HeldRow:
    """The row within the rules that go beyond one column."""
    fields = dict(row.fields)
    if row.kind is Subject.LINK:
        fields["amount"] = 2.5
        fields["direction"] = "up"
        if fields["role"] == "still":
            del fields["direction"]
    return replace(row, fields=_within_rules(row.kind, fields, code, row.number))


def _within_rules(kind: Subject, fields: dict[str, Any], code: str, number: int) -> dict[str, Any]:
    if kind is Subject.RUNNER:
        fields["code"] = code
        fields.pop("birth_year", None)
    if kind is Subject.IDENTITY:
        fields.setdefault("family_name", "Invented")  # one of which nothing is known is none
    if kind is Subject.HYPOTHESIS:
        fields["version"] = 1
        fields.pop("reason", None)
    if kind in {Subject.LINK, Subject.TARGET} and fields["what"] == "none":
        fields["what"] = "asymmetry"
    if kind is Subject.BLOCK:
        for name in ("tempo_lower_s", "tempo_hold_s", "tempo_lift_s"):
            fields[name] = 1.5
    if kind is Subject.ATTACHMENT:
        fields |= {"kind": "pdf", "sha256": f"{number}" * 64}
    if kind is Subject.INJURY and "fully_back_on" in fields:
        fields.setdefault("returned_on", fields["onset_on"])
    return fields


def _values(draw: st.DrawFn, visit: int) -> list[HeldValue]:
    numbers = st.floats(0.0, 900.0, allow_nan=False)
    marking = draw(st.one_of(st.none(), st.floats(0.001, 9.0)))
    trials = draw(st.lists(numbers, min_size=1, max_size=6))
    made = [
        _marked(value_of_trials(STRENGTH, Side.LEFT, trials), marking),
        _marked(value_of_mean(STRENGTH, Side.RIGHT, draw(numbers), draw(st.integers(1, 9))), None),
        missing_value(BEND, Side.LEFT, draw(st.sampled_from(MissingReason))),
        _marked(value_of_trials(STEPS, Side.NONE, [draw(numbers)]), marking),
    ]
    return [HeldValue(visit=visit, value=value) for value in made]


def _marked(value: Any, marking: float | None) -> Any:
    return replace(value, marking_sd=marking)
