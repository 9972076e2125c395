"""A description that contradicts itself is refused before a row of it is written."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.packages import (
    Field,
    FieldType,
    Link,
    Manifest,
    Package,
    PackedFile,
    Table,
    canonical_json,
    unfit_text,
)

TEXT, WHOLE, NUMBER, YES = (
    FieldType.STRING, FieldType.INTEGER, FieldType.NUMBER, FieldType.BOOLEAN,
)  # fmt: skip
RUNNER = Field(name="runner", type=TEXT, words="Who.", pattern="R[0-9]{4}")
ALWAYS = Field(name="runner", type=TEXT, words="Who.", pattern="R[0-9]{4}", required=True)
DAY = Field(name="day", type=WHOLE, words="When.", unit="d", required=True)
OF_RUNNER = Link(fields=("runner",), table="runners", its_fields=("runner",))


def runners(**changed: object) -> Table:
    said = {"name": "runners", "words": "One runner.", "fields": (RUNNER,), "key": ("runner",)}
    return Table(**(said | changed))


def visits(*, links: tuple[Link, ...] = (OF_RUNNER,), runner: Field = RUNNER) -> Table:
    return Table(name="visits", words="One visit.", fields=(runner, DAY), links=links)


def package(*tables: Table, name: str = "audit") -> Package:
    return Package(name=name, title="Audit", words="Invented.", tables=tables)


def field(**said: object) -> Field:
    return Field(**({"name": "it", "type": TEXT, "words": "It."} | said))


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda: field(name="Über", allowed=("a",)), "'Über' cannot be the name of a field"),
        (lambda: field(name="x" * 29, allowed=("a",)), "cannot be the name"),
        (lambda: field(words=" ", allowed=("a",)), "it has no words"),
        (field, "needs the list of its values or their pattern"),
        (lambda: field(allowed=("a",), pattern="a"), "needs the list of its values or their"),
        (lambda: field(allowed=("a", "b", "a")), "'a' is allowed twice"),
        (lambda: field(allowed=("=1+1",)), "'=1+1' cannot be allowed: a spreadsheet could take"),
        (lambda: field(pattern="R[0-9"), "its pattern cannot be read"),
        (lambda: field(pattern="^R$"), "its pattern has"),
        (lambda: field(type=NUMBER, allowed=("a",)), "a list or a pattern of values is for text"),
        (lambda: field(allowed=("a",), unit="ms"), "a unit and limits are for numbers"),
        (lambda: field(type=YES, low=0), "a unit and limits are for numbers"),
        (lambda: field(type=WHOLE, low=2, high=1), "its least value 2 is above 1"),
        (lambda: runners(name="2021"), "cannot be the name of a table"),
        (lambda: runners(fields=(), key=()), "it has no fields"),
        (lambda: runners(words=""), "no words for the dictionary"),
        (lambda: runners(fields=(RUNNER, RUNNER)), "the field 'runner' stands in it twice"),
        (lambda: runners(key=("runner", "visit")), "names 'visit', which is no field"),
        (lambda: runners(key=()), "no field is always there"),
        (package, "it has no tables"),
        (lambda: package(runners(), name="An Audit"), "cannot be the name of a package"),
        (lambda: package(runners(), runners()), "the table 'runners' stands in it twice"),
        (lambda: package(visits(), runners()), "'runners', which is no table before it"),
        (lambda: package(runners(key=(), fields=(ALWAYS,)), visits()), "whose key is ()"),
        (
            lambda: package(runners(), visits(runner=field(name="runner", type=WHOLE))),
            "'runner' and 'runner' of 'runners' differ in type",
        ),
    ],
)
def test_a_description_that_contradicts_itself_is_refused(make: Callable[[], object], why: str):
    with pytest.raises(InputRefused) as refused:
        make()
    assert why in str(refused.value)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_no_text_that_begins_like_a_formula_may_stand_in_a_cell(start: str):
    assert "formula" in unfit_text(f"{start}1+1")


@pytest.mark.parametrize("text", ["", " left", "left ", "le\x00ft", "le\u202eft", "le\nft"])
def test_a_text_that_is_empty_or_hides_something_may_not_stand_in_a_cell(text: str):
    assert unfit_text(text)


def test_words_with_signs_that_can_be_seen_may_stand_in_a_cell():
    assert [unfit_text(text) for text in ("18 to 29", "≥ 90", "a, b", 'a "b"', "knee (left)")] == [
        ""
    ] * 5


def test_a_well_described_package_gives_its_tables_and_fields_by_name():
    number = field(name="age", type=NUMBER, unit="a", low=0, high=120)
    table = runners(fields=(RUNNER, number, field(name="well", type=YES, required=True)))
    described = package(table, visits())
    assert described.table("runners") is table
    assert table.names == ("runner", "age", "well")
    assert [table.is_required(one) for one in table.fields] == [True, False, True]
    assert table.field("age") is number
    with pytest.raises(InputRefused, match="no table 'injuries'; it has: runners, visits"):
        described.table("injuries")


def test_a_table_may_link_to_itself():
    earlier = field(name="earlier", pattern="R[0-9]{4}")
    link = Link(fields=("earlier",), table="runners", its_fields=("runner",))
    described = package(runners(fields=(RUNNER, earlier), links=(link,)))
    assert described.tables[0].links == (link,)


def test_a_manifest_is_the_same_json_however_its_extra_was_put_together():
    file = PackedFile(name="data/a.csv", format="csv", sha256="0" * 64, bytes=3, rows=1)
    one = Manifest(name="audit", files=(file,), extra={"k": 5, "a": {"y": 1, "x": None}})
    two = Manifest(name="audit", files=(file,), extra={"a": {"x": None, "y": 1}, "k": 5})
    assert one.written() == two.written()
    assert one.sha256 == hashlib.sha256(one.written()).hexdigest()
    assert json.loads(one.written())["files"] == [
        {"path": "data/a.csv", "format": "csv", "sha256": "0" * 64, "bytes": 3, "rows": 1}
    ]


@pytest.mark.parametrize("value", [{"a": float("nan")}, {"a": object()}])
def test_what_json_cannot_hold_is_refused(value: object):
    with pytest.raises(InputRefused, match="finite numbers"):
        canonical_json(value)
