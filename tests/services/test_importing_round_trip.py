"""One set of facts, written in any of the forms a clinic may use, is stored as the same facts."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.services.importing import import_files
from casebook.services.keeping import Casebook
from casebook.services.recording import list_visits
from casebook.services.registering import list_runners

METRICS = {"knee_flexion_midstance": True, "lunge_distance": True, "cadence": False}


class Fact(NamedTuple):
    runner: str
    day: date
    metric: str
    side: str
    trial: int
    value: float


@st.composite
def facts(draw: st.DrawFn) -> list[Fact]:
    found = {}
    for _ in range(draw(st.integers(1, 25))):
        metric = draw(st.sampled_from(sorted(METRICS)))
        fact = Fact(
            runner=draw(st.sampled_from(["A-1", "B 2", 'C"3"', "d;4", "e,5"])),
            day=date(2025, draw(st.integers(1, 12)), draw(st.integers(1, 28))),
            metric=metric,
            side=draw(st.sampled_from(["left", "right"])) if METRICS[metric] else "none",
            trial=draw(st.integers(1, 4)),
            value=draw(st.integers(1, 2500)) / 100,
        )
        found[fact[:5]] = fact
    return list(found.values())


class Form(NamedTuple):
    """How a file is written."""

    delimiter: str
    decimal_comma: bool
    mark: bool
    day_first: bool
    line_end: str
    shuffle: int


forms = st.builds(
    Form,
    delimiter=st.sampled_from([",", ";", "\t"]),
    decimal_comma=st.booleans(),
    mark=st.booleans(),
    day_first=st.booleans(),
    line_end=st.sampled_from(["\n", "\r\n"]),
    shuffle=st.integers(0, 1000),
)


def cell(text: str, form: Form) -> str:
    if form.delimiter in text or '"' in text:
        return '"' + text.replace('"', '""') + '"'
    return text


def number(value: float, form: Form) -> str:
    # Two decimals: a number that could be read in two ways has three.
    text = f"{value:.2f}"
    return text.replace(".", ",") if form.decimal_comma else text


def day(value: date, form: Form) -> str:
    return value.strftime("%d.%m.%Y") if form.day_first else value.isoformat()


def written(rows: list[dict[str, str]], form: Form) -> bytes:
    chance = random.Random(form.shuffle)
    names = list(dict.fromkeys(name for row in rows for name in row))
    chance.shuffle(names)
    chance.shuffle(rows)
    lines = [names, *([row.get(name, "") for name in names] for row in rows)]
    text = form.line_end.join(
        form.delimiter.join(cell(one, form) for one in line) for line in lines
    )
    return (b"\xef\xbb\xbf" if form.mark else b"") + text.encode()


def tidy(given_facts: list[Fact], form: Form) -> bytes:
    return written(
        [
            {
                "runner": fact.runner,
                "visit_date": day(fact.day, form),
                "metric": fact.metric,
                "side": fact.side,
                "trial": str(fact.trial),
                "value": number(fact.value, form),
            }
            for fact in given_facts
        ],
        form,
    )


def wide(given_facts: list[Fact], form: Form) -> bytes:
    visits: dict[tuple[str, date], dict[str, str]] = {}
    for fact in given_facts:
        row = visits.setdefault(
            (fact.runner, fact.day),
            {"runner": fact.runner, "visit_date": day(fact.day, form)},
        )
        side = "" if fact.side == "none" else f"_{fact.side}"
        row[f"{fact.metric}{side}_{fact.trial}"] = number(fact.value, form)
    return written(list(visits.values()), form)


def stored(casebook: Casebook) -> set[tuple[str, date, str, str, tuple[float, ...]]]:
    return {
        (runner.code, one.visit.visited_on, value.metric, value.side.value, value.trials)
        for runner in list_runners(casebook)
        for one in list_visits(casebook, runner.code)
        for value in one.visit.values
    }


def expected(given_facts: list[Fact]) -> set[tuple[str, date, str, str, tuple[float, ...]]]:
    groups: dict[tuple[str, date, str, str], list[Fact]] = {}
    for fact in given_facts:
        groups.setdefault(fact[:4], []).append(fact)
    return {
        (*key, tuple(one.value for one in sorted(group, key=lambda one: one.trial)))
        for key, group in groups.items()
    }


@pytest.mark.parametrize("table", [tidy, wide])
@settings(max_examples=12)
@given(given_facts=facts(), form=forms, other=forms)
def test_whatever_the_form_of_the_file_the_same_facts_are_stored(
    table: Callable[[list[Fact], Form], bytes],
    given_facts: list[Fact],
    form: Form,
    other: Form,
    sqlite_template: Path,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    from casebook.services.keeping import open_casebook

    folder = tmp_path_factory.mktemp("round")
    (folder / "casebook.sqlite").write_bytes(sqlite_template.read_bytes())
    casebook = open_casebook(str(folder / "casebook.sqlite"))
    try:
        path = folder / "visits.csv"
        path.write_bytes(table(given_facts, form))
        report = import_files(casebook, [path], day_first=form.day_first)
        assert report.problems == ()
        assert report.added == len(given_facts)
        assert stored(casebook) == expected(given_facts)
        # The same facts in another form, and in the other kind of table, are nothing new.
        for again in (tidy, wide):
            path.write_bytes(again(given_facts, other))
            second = import_files(casebook, [path], day_first=other.day_first)
            assert (second.problems, second.added) == ((), 0)
            assert second.unchanged == len(given_facts)
    finally:
        casebook.close()
