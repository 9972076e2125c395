"""Tables of marked points and moments: what is understood, and every cell that can't be."""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.marking import Landmark, MarkView, Moment
from casebook.domain.sides import Side
from casebook.intake.marks import read_marks

POINTS = "frame,landmark,x,y,view,side\n"
EVENTS = "frame,event,side\n"
GOOD_POINTS = POINTS + "3,knee,100.5,200,side,left\n3,ear,90,20,side,\n"
GOOD_EVENTS = EVENTS + "3,contact,left\n20,toe_off,L\n"


def files(folder: Path, *texts: str) -> list[Path]:
    paths = []
    for number, text in enumerate(texts):
        path = folder / f"marks_{number}.csv"
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    return paths


def refused(folder: Path, *texts: str, last_frame: int | None = None) -> tuple[Problem, ...]:
    with pytest.raises(InputRefused) as refusal:
        read_marks(files(folder, *texts), last_frame=last_frame)
    return refusal.value.problems


def test_points_and_moments_are_read_in_any_order_and_the_only_view_is_theirs(
    tmp_path: Path,
) -> None:
    marks = read_marks(files(tmp_path, GOOD_EVENTS, GOOD_POINTS))
    knee, ear = marks.points
    assert (knee.landmark, knee.side, knee.x_px, knee.y_px) == (
        Landmark.KNEE, Side.LEFT, 100.5, 200.0,
    )  # fmt: skip
    assert (ear.side, ear.repeat, ear.row, ear.file) == (Side.NONE, 1, 3, "marks_1.csv")
    assert [(one.frame, one.moment, one.side, one.view) for one in marks.events] == [
        (3, Moment.CONTACT, Side.LEFT, MarkView.SIDE),
        (20, Moment.TOE_OFF, Side.LEFT, MarkView.SIDE),
    ]


def test_a_table_from_another_computer_with_semicolons_decimal_commas_and_other_words(
    tmp_path: Path,
) -> None:
    text = (
        "Frame;Landmark;X;Y;View;Side;px_per_cm;frames_per_s;repeat\n"
        "3;heel_low;100,5;200,25;behind;R;4,1;120;1\n3;heel_low;101,5;200,75;rear;r;4,2;;2\n"
    )
    marks = read_marks(files(tmp_path, text))
    assert [(one.x_px, one.repeat, one.view) for one in marks.points] == [
        (100.5, 1, MarkView.POSTERIOR),
        (101.5, 2, MarkView.POSTERIOR),
    ]
    assert marks.px_per_cm == {MarkView.POSTERIOR: (4.1, 4.2)}
    assert marks.frames_per_s == {MarkView.POSTERIOR: 120.0}


def test_moments_alone_are_taken_as_from_the_side_and_a_rate_without_a_view_is_theirs(
    tmp_path: Path,
) -> None:
    text = "frame,event,side,frames_per_s\n3,contact,left,240\n"
    marks = read_marks(files(tmp_path, text))
    assert marks.events[0].view is MarkView.SIDE
    assert marks.frames_per_s == {MarkView.SIDE: 240.0}


CELLS = {
    "frame -3": (POINTS + "-3,knee,1,2,side,left\n", "frame", "-3", "0"),
    "frame 1.5": (POINTS + "1.5,knee,1,2,side,left\n", "frame", "1.5", "whole number"),
    "no frame": (POINTS + ",knee,1,2,side,left\n", "frame", "", "every row needs it"),
    "landmark": (POINTS + "3,kneee,1,2,side,left\n", "landmark", "kneee", "Did you mean knee"),
    "x": (POINTS + "3,knee,abc,2,side,left\n", "x", "abc", "not a number"),
    "y nan": (POINTS + "3,knee,1,nan,side,left\n", "y", "nan", "no number"),
    "x far out": (POINTS + "3,knee,1e7,2,side,left\n", "x", "1e7", "-100000 to 100000"),
    "view": (POINTS + "3,knee,1,2,top,left\n", "view", "top", "posterior, side"),
    "of another view": (POINTS + "3,toe,1,2,posterior,left\n", "landmark", "toe", "not read in"),
    "side missing": (POINTS + "3,knee,1,2,side,\n", "side", "", "left or right"),
    "side of the ear": (POINTS + "3,ear,1,2,side,left\n", "side", "left", "has no side"),
    "event": (EVENTS + "3,landing,left\n", "event", "landing", "contact, mid_stance"),
    "event's side": (EVENTS + "3,contact,none\n", "side", "none", "left, right"),
    "rates": (
        "frame,event,side,frames_per_s\n3,contact,left,120\n9,toe_off,left,60\n",
        "frames_per_s",
        "60",
        "120 in row 2",
    ),
    "twice": (GOOD_POINTS + "3,knee,7,8,side,left\n", "landmark", "knee", "row 2 already"),
}


@pytest.mark.parametrize("name", CELLS)
def test_a_cell_that_can_not_be_taken_is_told_with_file_row_field_and_value(
    name: str, tmp_path: Path
) -> None:
    text, column, value, expected = CELLS[name]
    (problem,) = refused(tmp_path, text)
    row = text.count("\n")
    assert (problem.file, problem.row, problem.column, problem.value) == (
        "marks_0.csv", row, column, value,
    )  # fmt: skip
    assert expected in problem.message


def test_a_frame_outside_of_the_clip_is_refused(tmp_path: Path) -> None:
    (problem,) = refused(tmp_path, GOOD_POINTS, GOOD_EVENTS, last_frame=19)
    assert (problem.file, problem.row, problem.column, problem.value) == (
        "marks_1.csv", 3, "frame", "20",
    )  # fmt: skip
    assert "last frame is 19" in problem.message


def test_with_two_views_a_moment_must_say_in_which_it_was_seen(tmp_path: Path) -> None:
    both = GOOD_POINTS + "3,neck,1,2,posterior,\n"
    problems = refused(tmp_path, both, GOOD_EVENTS)
    assert [(one.row, one.code) for one in problems] == [(2, "view_blank"), (3, "view_blank")]


def test_a_mark_that_stands_in_two_files_names_the_other(tmp_path: Path) -> None:
    (problem, _) = refused(tmp_path, GOOD_EVENTS, GOOD_EVENTS)
    assert "row 2 of marks_0.csv already" in problem.message
    assert problem.file == "marks_1.csv"


def test_every_problem_of_every_file_is_told_at_once(tmp_path: Path) -> None:
    problems = refused(
        tmp_path, POINTS + "x,knee,1,2,side,left\n4,knee,y,2,side,left\n", EVENTS + "3,up,left\n"
    )
    assert [(one.file, one.row) for one in problems] == [
        ("marks_0.csv", 2),
        ("marks_0.csv", 3),
        ("marks_1.csv", 2),
    ]


HEADERS = {
    "frame,x,y\n1,2,3\n": ("no_table_of_marks", "'landmark'"),
    "frame,landmark,event\n1,knee,contact\n": ("no_table_of_marks", "not both"),
    "frame,landmark,x,y\n1,knee,2,3\n": ("column_missing", "'view'"),
    GOOD_POINTS.replace("side\n", "sdie\n", 1): ("unknown_column", "Did you mean side"),
    POINTS: ("no_marks", "hold no mark"),
    "": ("empty_file", "empty"),
}


@pytest.mark.parametrize("text", HEADERS)
def test_a_table_that_is_none_of_marks_is_refused_as_a_whole(text: str, tmp_path: Path) -> None:
    code, expected = HEADERS[text]
    problems = refused(tmp_path, text)
    assert code in {problem.code for problem in problems}
    assert any(expected in problem.message for problem in problems)
    assert {problem.file for problem in problems} == {"marks_0.csv"}
