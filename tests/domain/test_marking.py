"""Notes on marked frames: what holds of many frames is said once, what withholds a value first."""

from __future__ import annotations

from casebook.domain.marking import FrameNote, MarkView, note_lines


def a_note(frame: int | None, code: str = "coincident", **more: object) -> FrameNote:
    told = {"view": MarkView.SIDE, "message": "two points stand in one place."} | more
    return FrameNote(code=code, frame=frame, **told)  # type: ignore[arg-type]


def test_what_is_said_of_several_frames_is_said_once_with_their_numbers() -> None:
    ((line, _),) = note_lines([a_note(frame) for frame in (30, 12, 12)])
    assert line == "from the side, frames 12, 30: two points stand in one place."
    ((many, _),) = note_lines([a_note(frame) for frame in range(20)])
    assert many.startswith("from the side, frames 0, 1, 2, 3, 4, 5, 6, 7 and 12 more: ")


def test_a_lean_that_differs_by_a_tenth_from_frame_to_frame_is_told_once() -> None:
    notes = [a_note(frame, "not_level", message=f"{frame} degrees.") for frame in (1, 2)]
    assert note_lines(notes) == (("from the side, frames 1, 2: 1 degrees.", False),)


def test_what_withholds_a_value_comes_first() -> None:
    lines = note_lines([a_note(1), a_note(2, "facing", withheld=True, message="odd.")])
    assert lines[0] == ("from the side, frame 2: odd.", True)


def test_what_concerns_no_frame_or_no_view_names_none() -> None:
    assert str(a_note(None)) == "from the side: two points stand in one place."
    assert str(a_note(None, view=None)) == "two points stand in one place."
    ((line, _),) = note_lines([a_note(1, view=None), a_note(2, view=None)])
    assert line.startswith("frames 1, 2: ")
