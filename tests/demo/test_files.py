"""The demo files are as promised: invented, complete, of moderate size, and reproducible."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path
from statistics import mean

import pytest

import seed_demo
from seed_demo.generate import SEED, write_files
from seed_demo.quantities import QUANTITIES
from tests.demo.told import catalogue

# The day on which the demo was made: nothing that was measured may lie after it.
MADE_ON = date(2026, 11, 25)
DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
WIDE = "visits_to_march_2026_wide.csv"
SEMICOLONS = "visits_from_august_2026.csv"
TIDY = ("visits_april_to_july_2026.csv", SEMICOLONS)
VIDEO = frozenset({"contralateral_pelvic_drop", "trunk_side_lean", "knee_flexion_midstance"})


@cache
def rows_of(name: str) -> list[dict[str, str]]:
    with (seed_demo.FOLDER / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, delimiter=";" if name == SEMICOLONS else ","))


def readings() -> Iterator[tuple[str, str, str, str, int]]:
    """Runner, date, metric, side and number of trials of everything that was read."""
    for row in rows_of(WIDE):
        for column, cell in row.items():
            found = re.fullmatch(r"(.+?)(?:_(left|right))?", column)
            if found and cell and re.fullmatch(r"[-\d. ]+", cell) and column in wide_metrics():
                metric, side = found[1], found[2] or "none"
                yield row["runner"], row["visit_date"], metric, side, len(cell.split())
    for name in TIDY:
        counts = Counter(
            (row["runner"], row["visit_date"], row["metric"], row["side"])
            for row in rows_of(name)
            if row["value"]
        )
        for (runner, day, metric, side), number in counts.items():
            yield runner, day, metric, side, number


@cache
def wide_metrics() -> set[str]:
    head = list(rows_of(WIDE)[0])
    return {name for name in head[head.index("next_due") + 1 :] if not name.endswith("_missing")}


@pytest.fixture(scope="module")
def read() -> list[tuple[str, str, str, str, int]]:
    return list(readings())


@pytest.fixture(scope="module")
def visits() -> list[dict[str, str]]:
    found = {
        (row["runner"], row["visit_date"]): row for name in (WIDE, *TIDY) for row in rows_of(name)
    }
    return list(found.values())


def test_the_same_seed_gives_the_same_bytes_as_the_files_kept_here(tmp_path: Path) -> None:
    written = write_files(tmp_path / "again")
    assert {path.name for path in written} == {path.name for path in seed_demo.FOLDER.glob("*.csv")}
    for path in written:
        assert path.read_bytes() == (seed_demo.FOLDER / path.name).read_bytes(), path.name


def test_another_seed_gives_other_readings(tmp_path: Path) -> None:
    write_files(tmp_path, seed=SEED + 1)
    for name in (WIDE, *TIDY):
        assert (tmp_path / name).read_bytes() != (seed_demo.FOLDER / name).read_bytes()


def test_every_file_to_import_is_there_and_what_no_import_takes_is_not_among_them() -> None:
    names = [path.name for path in seed_demo.data_files()]
    assert all(path.is_file() for path in seed_demo.data_files())
    apart = {
        "truth.csv", "truth_predictions.csv", "truth_targets.csv", "hypotheses.csv",
        "marks_points.csv", "marks_events.csv",
    }  # fmt: skip
    assert set(names) == {path.name for path in seed_demo.FOLDER.glob("*.csv")} - apart


def test_the_files_say_that_they_are_invented() -> None:
    words = (seed_demo.FOLDER / "README.md").read_text(encoding="utf-8")
    assert "everything here is invented" in words.splitlines()[0]
    assert {row["given_name"] for row in rows_of("runners.csv")} == {"Invented"}
    assert all(row["display_name"].startswith("Invented ") for row in rows_of("users.csv"))
    assert all(row["source"].startswith("INVENTED") for row in rows_of("error_figures.csv"))


def test_the_files_are_small_enough_to_be_imported_while_one_waits() -> None:
    assert sum(path.stat().st_size for path in seed_demo.data_files()) < 4_000_000


def test_there_are_about_forty_runners_with_two_to_nine_visits(
    visits: list[dict[str, str]],
) -> None:
    counts = Counter(row["runner"] for row in visits)
    assert set(counts) == {row["runner"] for row in rows_of("runners.csv")}
    assert 38 <= len(counts) <= 44
    assert set(counts.values()) <= set(range(2, 10))
    assert min(counts.values()) == 2
    assert max(counts.values()) >= 8


def test_a_visit_has_fifteen_to_twenty_five_metrics(
    read: list[tuple[str, str, str, str, int]],
) -> None:
    metrics: dict[tuple[str, str], set[str]] = {}
    for runner, day, metric, _, _ in read:
        metrics.setdefault((runner, day), set()).add(metric)
    sizes = [len(found) for found in metrics.values()]
    assert min(sizes) >= 15
    assert max(sizes) <= 25


def test_video_metrics_have_about_seven_trials_a_side_and_reports_have_one(
    read: list[tuple[str, str, str, str, int]],
) -> None:
    video = [number for _, _, metric, _, number in read if metric in VIDEO]
    assert {6, 7, 8} == set(video)
    assert mean(video) == pytest.approx(7.0, abs=0.1)
    assert {number for _, _, metric, _, number in read if metric.startswith("pain_")} == {1}
    assert {number for _, _, metric, _, number in read if metric == "lunge_distance"} == {3}


def test_nothing_but_a_next_visit_or_a_target_lies_in_the_future(
    visits: list[dict[str, str]],
) -> None:
    planned = {"next_due", "due_on"}
    for path in seed_demo.data_files():
        for row in rows_of(path.name):
            for column, cell in row.items():
                if DATE.fullmatch(cell) and column not in planned:
                    assert date.fromisoformat(cell) <= MADE_ON, (path.name, column, cell)
    assert {row["visit_date"][:4] for row in visits} == {"2025", "2026"}
    assert max(row["visit_date"] for row in visits) >= "2026-10-15"


def test_some_next_visits_are_overdue_and_some_are_still_to_come(
    visits: list[dict[str, str]],
) -> None:
    last = {row["runner"]: row for row in sorted(visits, key=lambda row: row["visit_date"])}
    due = [date.fromisoformat(row["next_due"]) for row in last.values() if row["next_due"]]
    assert sum(day < MADE_ON for day in due) >= 3
    assert sum(day >= MADE_ON for day in due) >= 3
    assert all(not row["next_due"] for row in last.values() if row["kind"] == "discharge")


def test_ten_runners_were_measured_again_twice_within_days_and_without_change(
    visits: list[dict[str, str]],
) -> None:
    repeats: dict[str, list[date]] = {}
    for row in visits:
        if row["kind"] == "repeat":
            repeats.setdefault(row["runner"], []).append(date.fromisoformat(row["visit_date"]))
    assert len(repeats) >= 10
    assert all(len(days) == 2 for days in repeats.values())
    assert all(0 < abs((days[1] - days[0]).days) <= 9 for days in repeats.values())


def test_all_kinds_of_visit_occur_and_some_runners_have_several_baselines(
    visits: list[dict[str, str]],
) -> None:
    assert {row["kind"] for row in visits} == {"baseline", "review", "discharge", "repeat"}
    baselines = Counter(row["runner"] for row in visits if row["kind"] == "baseline")
    assert sum(number == 2 for number in baselines.values()) >= 3
    assert sum(number == 3 for number in baselines.values()) >= 2


def test_missing_values_carry_a_reason_and_a_present_value_none() -> None:
    reasons = Counter(row["missing_reason"] for name in TIDY for row in rows_of(name))
    assert set(reasons) > {"", "equipment", "not_visible", "painful"}
    for name in TIDY:
        for row in rows_of(name):
            assert bool(row["value"]) != bool(row["missing_reason"])


def test_one_sheet_has_decimal_commas_and_no_decimal_point() -> None:
    values = [row["value"] for row in rows_of(SEMICOLONS)]
    assert any("," in value for value in values)
    assert not any("." in value for value in values)


def test_every_quantity_is_in_the_starter_catalogue_with_the_same_sides() -> None:
    for key, quantity in QUANTITIES.items():
        assert catalogue()[key]["sided"] == quantity.sided, key


def test_every_reading_lies_in_the_plausible_range_of_the_catalogue() -> None:
    for name in TIDY:
        for row in rows_of(name):
            metric = catalogue()[row["metric"]]
            if row["value"] and not row["unit"]:
                value = float(row["value"].replace(",", "."))
                assert metric["plausible_low"] <= value <= metric["plausible_high"], row
    for row in rows_of(WIDE):
        for column in wide_metrics():
            metric = catalogue()[re.sub(r"_(left|right)$", "", column)]
            for trial in row[column].split():
                assert metric["plausible_low"] <= float(trial) <= metric["plausible_high"], column
