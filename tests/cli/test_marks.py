"""`casebook marks`: numbers with their errors, faults by frame, and the way into a visit."""

from __future__ import annotations

from pathlib import Path

import pytest

import seed_demo
from casebook.services.keeping import open_casebook
from casebook.services.recording import list_visits
from tests.cli.conftest import Casebook

FILES = [seed_demo.FOLDER / "marks_points.csv", seed_demo.FOLDER / "marks_events.csv"]
EVENTS = FILES[1]
TIMED = ("--frames-per-s", 120, "--speed", 11)


def test_the_demo_marks_are_told_in_words_with_what_is_shared_and_what_is_taken_for_granted(
    casebook: Casebook,
) -> None:
    said = casebook("marks", *FILES, "--speed", 11)
    assert (said.code, said.err) == (0, "")
    for words in (
        "Knee flexion in mid-stance",
        "left and right share their contacts",
        "the camera is not level: the plumb line leans 1.3 degrees to the right",
        "is taken as exact",
        "never replace it",
    ):
        assert words in " ".join(said.out.split())


def test_a_leg_from_behind_alone_is_said_to_be_taken_as_not_mirrored(
    casebook: Casebook, tmp_path: Path
) -> None:
    leg = tmp_path / "leg.csv"
    leg.write_text("frame,landmark,x,y,view,side\n15,ankle,1000,820,posterior,right\n", "utf-8")
    said = " ".join(casebook("marks", leg, EVENTS, *TIMED).out.split())
    assert "- from behind: the picture is taken as not mirrored" in said
    assert "not mirrored" not in " ".join(casebook("marks", *FILES, "--speed", 11).out.split())


def test_the_object_holds_every_trial_with_its_frame_and_every_error_apart(
    casebook: Casebook,
) -> None:
    report = casebook("marks", EVENTS, *TIMED, "--speed-sd", 0.2, "--json").report
    step = next(
        one for one in report["values"] if (one["metric"], one["side"]) == ("step_length", "left")
    )
    assert step["unit"] == "cm"
    assert len(step["trials"]) == 7
    assert {"frame", "value", "sd"} == set(step["trials"][0])
    assert step["marking_sd"] == pytest.approx(
        (step["own_sd"] ** 2 + 7 * step["shared_sd"] ** 2) ** 0.5, rel=1e-3
    )
    assert report["stored"] is None
    time = next(one for one in report["asymmetries"] if one["metric"] == "step_time")
    assert time["sd"] > 1.3 * time["sd_if_independent"]


def test_a_fault_is_refused_with_its_place_and_nothing_is_stored(
    casebook: Casebook, demo: Path, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("frame,event,side\n3,contact,left\n4,toe_of,left\n", encoding="utf-8")
    said = casebook("marks", bad, "--runner", "SKV-01", "--on", "2026-11-25", "--db", demo)
    assert (said.code, said.out) == (1, "")
    assert "bad.csv, row 3, column event:" in said.err
    assert "Did you mean" in said.err or "toe_off" in said.err


def test_marks_are_stored_as_a_visit_and_then_added_to(casebook: Casebook, demo: Path) -> None:
    where = ("--runner", "SKV-01", "--on", "2026-11-25", "--db", demo, "--by", "GANNET")
    said = casebook("marks", EVENTS, *TIMED, *where, "--surface", "treadmill")
    assert (said.code, said.err) == (0, "")
    assert "Stored: " in said.out
    again = casebook("marks", EVENTS, *TIMED, *where)
    assert again.code == 1
    assert "is stored already" in again.err
    more = casebook("marks", EVENTS, *TIMED, *where, "--add", "--json")
    assert more.report["stored"]["added"] == 0
    opened = open_casebook(str(demo))
    latest = list_visits(opened, "SKV-01")[-1].visit
    opened.close()
    assert (latest.conditions.surface, latest.conditions.assessor) == ("treadmill", "GANNET")
    assert {value.metric for value in latest.values} >= {"step_time", "duty_factor", "cadence"}
    assert all(value.marking_sd for value in latest.values)


@pytest.mark.parametrize(
    "words", [("--on", "2026-11-25"), ("--add",), ("--runner", "SKV-01")], ids=" ".join
)
def test_a_visit_needs_a_runner_and_a_day(casebook: Casebook, words: tuple[str, ...]) -> None:
    assert casebook("marks", EVENTS, *words).code == 2
