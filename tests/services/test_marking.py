"""Marked points end in a visit's values, with the error of marking, all or nothing."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import seed_demo
from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.marking import MarkSettings
from casebook.domain.sides import Side
from casebook.domain.visits import Conditions, VisitKind
from casebook.services.cataloguing import get_metric, list_metrics, save_metric
from casebook.services.keeping import Casebook
from casebook.services.marking import ForVisit, MarksRead, read_files, save_marks, values_to_store
from casebook.services.recording import StoredVisit, find_visit

DAY = date(2026, 5, 4)
FILES = [seed_demo.FOLDER / "marks_points.csv", seed_demo.FOLDER / "marks_events.csv"]
KNOWN = MarkSettings(speed_km_h=11.0, speed_sd_km_h=0.1)
WHERE = ForVisit(
    runner="T-001",
    visited_on=DAY,
    kind=VisitKind.BASELINE,
    conditions=Conditions(surface="treadmill", assessor="AB"),
)


@pytest.fixture(scope="module")
def computed() -> MarksRead:
    return read_files(FILES, KNOWN)


@pytest.fixture
def read(clinic: Casebook, computed: MarksRead) -> MarksRead:
    """As read with the clinic's own catalogue, which holds the starter's metrics unchanged."""
    return replace(computed, kept=frozenset(metric.key for metric in list_metrics(clinic)))


def stored(casebook: Casebook) -> StoredVisit:
    found = find_visit(casebook, "T-001", DAY)
    assert found is not None
    return found


def test_what_was_marked_is_stored_trial_by_trial_with_its_marking_error(
    clinic: Casebook, read: MarksRead
) -> None:
    done = save_marks(clinic, read, WHERE, by="AB")
    visit = stored(clinic).visit
    assert (done.saved.added, done.left_out) == (36, ())
    assert visit.conditions == Conditions(
        surface="treadmill", assessor="AB", speed_km_h=11.0, frames_per_s=120.0
    )
    kept = {(value.metric, value.side): value for value in visit.values}
    assert len(kept) == 36
    for found in read.measured.values:
        value = kept[found.metric, found.side]
        assert value.trials == pytest.approx([one.value for one in found.trials], abs=5e-5)
        assert value.marking_sd == pytest.approx(found.marking_sd)
        assert found.mean_sd is not None
        assert value.marking_sd is not None
        # What is divided by the root of n downstream never understates the mean's error.
        assert value.marking_sd / math.sqrt(value.n_trials) >= found.mean_sd * (1 - 1e-9)
    steps = kept["step_length", Side.LEFT]
    assert steps.marking_sd is not None
    assert steps.marking_sd > 0.1 / 11.0 * 100.0 * math.sqrt(steps.n_trials)


def test_the_invented_runner_reads_as_it_was_made(read: MarksRead) -> None:
    """The right hip gives way by 2.5 degrees; the right foot stays 2.5 frames longer."""
    by = {one.metric: one for one in read.measured.asymmetries}
    for metric, made in (
        ("contralateral_pelvic_drop", 2.5),
        ("knee_travel_to_midline", 2.5),
        ("contact_time", 2.5 * 1000 / 120),
    ):
        error = by[metric].sd
        assert error is not None
        assert abs(by[metric].value - made) < 4.0 * error
    assert read.unlikely == ()


def test_values_are_added_to_a_visit_that_stands_once(clinic: Casebook, read: MarksRead) -> None:
    events = read_files(FILES[1:], MarkSettings(frames_per_s=120.0), casebook=clinic)
    save_marks(clinic, events, WHERE, by="AB")
    before = stored(clinic)
    adding = replace(WHERE, add=True)
    save_marks(clinic, read, adding, by="CD")
    after = stored(clinic)
    assert {value.metric for value in after.visit.values} > {
        value.metric for value in before.visit.values
    }
    assert (after.recorded_by, after.last_saved_by) == ("AB", "CD")
    assert after.visit.conditions.speed_km_h == 11.0
    again = save_marks(clinic, read, adding, by="CD")
    assert (again.saved.added, stored(clinic).revision) == (0, after.revision)


def test_a_visit_that_stands_or_does_not_is_never_taken_for_the_other(
    clinic: Casebook, read: MarksRead
) -> None:
    with pytest.raises(NotFound, match="no visit of 'T-001' on 2026-05-04"):
        save_marks(clinic, read, replace(WHERE, add=True), by="AB")
    assert find_visit(clinic, "T-001", DAY) is None
    save_marks(clinic, read, WHERE, by="AB")
    with pytest.raises(Conflict, match="stored already"):
        save_marks(clinic, read, WHERE, by="AB")


def test_another_frame_rate_than_the_visit_s_is_refused_and_nothing_is_half_stored(
    clinic: Casebook, read: MarksRead, tmp_path: Path
) -> None:
    save_marks(clinic, read, WHERE, by="AB")
    before = stored(clinic)
    slower = tmp_path / "slower.csv"
    slower.write_text(
        "frame,event,side,frames_per_s\n3,contact,left,60\n20,toe_off,left,60\n", encoding="utf-8"
    )
    other = read_files([slower], MarkSettings(), casebook=clinic)
    with pytest.raises(Conflict):
        save_marks(clinic, other, replace(WHERE, add=True), by="AB")
    assert stored(clinic) == before


def test_numbers_are_in_the_casebook_s_own_unit(clinic: Casebook) -> None:
    known = get_metric(clinic, "contact_time")
    metric = known.metric
    seconds = replace(
        metric,
        unit="s",
        plausible_low=metric.plausible_low / 1000,
        plausible_high=metric.plausible_high / 1000,
        resolution=0.0333,
    )
    save_metric(clinic, seconds, expected_revision=known.revision)
    rate = replace(KNOWN, frames_per_s=120.0)
    read = read_files(FILES[1:], rate, casebook=clinic)
    value = next(one for one in read.measured.values if one.metric == "contact_time")
    assert value.mean == pytest.approx(0.25, abs=0.03)
    assert value.marking_sd == pytest.approx(1 / 120 * math.sqrt(len(value.trials) / 6))
    assert read.unlikely == ()


def test_a_metric_that_is_switched_off_is_left_out_and_named(clinic: Casebook) -> None:
    known = get_metric(clinic, "duty_factor")
    save_metric(clinic, replace(known.metric, active=False), expected_revision=known.revision)
    values, left_out = values_to_store(read_files(FILES[1:], KNOWN, casebook=clinic))
    assert left_out == ("duty_factor",)
    assert "duty_factor" not in {value.metric for value in values}


def test_marks_that_give_nothing_are_not_saved_as_an_empty_visit(
    clinic: Casebook, tmp_path: Path
) -> None:
    lone = tmp_path / "lone.csv"
    lone.write_text("frame,event,side\n3,contact,left\n", encoding="utf-8")
    with pytest.raises(InputRefused, match="gave no value"):
        save_marks(clinic, read_files([lone], KNOWN, casebook=clinic), WHERE, by="AB")
    assert find_visit(clinic, "T-001", DAY) is None


def test_a_number_outside_of_its_plausible_range_is_asked_about(tmp_path: Path) -> None:
    slow = tmp_path / "slow.csv"
    slow.write_text("frame,event,side\n3,contact,left\n90,toe_off,left\n", encoding="utf-8")
    read = read_files([slow], MarkSettings(frames_per_s=120.0))
    assert [one.metric for one in read.unlikely] == ["contact_time"]


@pytest.mark.parametrize(
    ("settings", "column"),
    [
        (MarkSettings(point_sd_px=-1.0), "point_sd_px"),
        (MarkSettings(speed_km_h=450.0), "speed_km_h"),
        (MarkSettings(tilt_sd_deg=float("nan")), "tilt_sd_deg"),
        (MarkSettings(speed_sd_km_h=0.1), "speed_sd_km_h"),
    ],
)
def test_a_setting_that_can_not_be_is_refused_by_name(settings: MarkSettings, column: str) -> None:
    with pytest.raises(InputRefused) as refusal:
        read_files(FILES, settings)
    assert [one.column for one in refusal.value.problems] == [column]
