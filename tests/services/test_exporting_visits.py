"""What is exported and imported into an empty casebook is the same visits and values."""

from __future__ import annotations

import csv
import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.domain.errors import StoreUnavailable
from casebook.domain.history import value_content
from casebook.domain.sides import Side
from casebook.domain.visits import (
    Conditions,
    MissingReason,
    Value,
    Visit,
    VisitKind,
    missing_value,
    value_of_mean,
    value_of_trials,
)
from casebook.services.exporting_visits import export_visits
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.recording import list_visits, record_visit
from casebook.services.registering import list_runners, register_runner
from tests.builders import BEND, STEPS, STRENGTH, a_runner, a_visit
from tests.stores import furnish

CODES = ("A-1", "B;2", 'C "3"', "=Ö,4")
numbers = st.floats(0, 900).map(lambda number: number + 0.0)
words = st.text("abc äß,;\"'\n=+@", max_size=12).map(lambda text: " ".join(text.split()))


@st.composite
def values(draw: st.DrawFn) -> tuple[Value, ...]:
    drawn = []
    places = [(STRENGTH, Side.LEFT), (STRENGTH, Side.RIGHT), (BEND, Side.LEFT), (STEPS, Side.NONE)]
    for metric, side in draw(st.lists(st.sampled_from(places), min_size=1, unique=True)):
        drawn.append(
            draw(
                st.one_of(
                    st.lists(numbers, min_size=1, max_size=4).map(
                        lambda trials, m=metric, s=side: value_of_trials(m, s, trials)
                    ),
                    st.builds(value_of_mean, st.just(metric), st.just(side), numbers, st.just(5)),
                    st.builds(
                        missing_value,
                        st.just(metric),
                        st.just(side),
                        st.sampled_from(MissingReason),
                    ),
                )
            )
        )
    return tuple(drawn)


visits = st.builds(
    Visit,
    runner=st.sampled_from(CODES),
    visited_on=st.integers(0, 3).map(lambda days: date(2026, 1, 1) + timedelta(days=days)),
    session=st.integers(1, 2),
    kind=st.sampled_from(VisitKind),
    conditions=st.builds(
        Conditions,
        speed_km_h=st.none() | st.floats(1, 40),
        surface=words,
        footwear=words,
        pain_today=st.none() | st.floats(0, 10),
    ),
    next_due_on=st.none() | st.just(date(2026, 6, 1)),
    note=words,
    values=values(),
)


def everything(casebook: Casebook) -> list[tuple[Visit, dict[str, Any]]]:
    # The content of a value, as the history holds it: means are computed anew, to the last digit
    # but one.
    return [
        (
            replace(one.visit, values=()),
            {f"{value.metric} {value.side}": value_content(value) for value in one.visit.values},
        )
        for runner in list_runners(casebook)
        for one in list_visits(casebook, runner.code)
    ]


@settings(max_examples=8)
@given(
    drawn=st.lists(
        visits, min_size=1, max_size=5, unique_by=lambda v: (v.runner, v.visited_on, v.session)
    )
)
def test_an_export_that_is_imported_gives_the_same_visits(
    drawn: list[Visit], sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("export")
    opened = []
    for name in ("one", "other"):
        shutil.copyfile(sqlite_template, folder / f"{name}.sqlite")
        opened.append(open_casebook(str(folder / f"{name}.sqlite")))
        furnish(opened[-1])
    one, other = opened
    try:
        for code in CODES:
            register_runner(one, a_runner(code=code))
        for visit in drawn:
            record_visit(one, visit, by="AB")
        written = export_visits(one, folder / "visits.csv")
        report = import_files(other, [folder / "visits.csv"])
        assert (report.problems, report.added) == ((), written)
        assert everything(other) == everything(one)
        assert check_casebook(other).ok
    finally:
        one.close()
        other.close()


def test_no_text_of_an_export_is_run_by_a_spreadsheet_and_each_comes_back(
    sqlite_template: Path, tmp_path: Path
) -> None:
    lively = ("=1+1", "+1", "-2+3", "@SUM(A1)", "'=1", "=HYPERLINK(0)")
    conditions = Conditions(
        surface=lively[0], footwear=lively[1], view=lively[2], assessor=lively[3]
    )
    visit = replace(a_visit(), runner=lively[5], conditions=conditions, note=lively[4])
    opened = []
    for name in ("one", "other"):
        shutil.copyfile(sqlite_template, tmp_path / f"{name}.sqlite")
        opened.append(open_casebook(str(tmp_path / f"{name}.sqlite")))
        furnish(opened[-1])
    one, other = opened
    register_runner(one, a_runner(code=lively[5]))
    record_visit(one, visit, by="AB")
    export_visits(one, tmp_path / "visits.csv")
    with (tmp_path / "visits.csv").open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert {f"'{text}" for text in lively} <= set(cells)
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]
    assert import_files(other, [tmp_path / "visits.csv"]).problems == ()
    assert everything(other) == everything(one)
    for casebook in opened:
        casebook.close()


def test_an_export_never_writes_over_a_file_and_only_its_owner_may_read_it(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    record_visit(sqlite_clinic, a_visit(), by="AB")
    file = tmp_path / "visits.csv"
    assert export_visits(sqlite_clinic, file) == 5
    assert file.stat().st_mode & 0o077 == 0
    with pytest.raises(StoreUnavailable, match="cannot be written"):
        export_visits(sqlite_clinic, file)
