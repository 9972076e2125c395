"""Tables of marked points and of moments, read from CSV files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.marking import (
    LANDMARKS_OF,
    Landmark,
    MarkedEvent,
    MarkedPoint,
    Marks,
    MarkView,
    Moment,
)
from casebook.domain.sides import Side
from casebook.intake.cells import Style, decimal_mark, read_cell
from casebook.intake.columns import Column, Type
from casebook.intake.marks_columns import EVENT_COLUMNS, POINT_COLUMNS
from casebook.intake.nearest import hint
from casebook.intake.reading import Sheet, read_sheet

MOST_MARKS = 200_000


@dataclass(slots=True)
class _Gathered:
    points: list[MarkedPoint] = field(default_factory=list)
    # A moment whose view is still open has None.
    events: list[tuple[MarkedEvent, MarkView | None]] = field(default_factory=list)
    scales: dict[MarkView, dict[float, None]] = field(default_factory=dict)
    rates: dict[MarkView | None, tuple[float, str, int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def read_marks(paths: Sequence[Path], *, last_frame: int | None = None) -> Marks:
    """Read tables of marked points and of moments, in any order.

    Parameters
    ----------
    paths : sequence of Path
        CSV files. A header with `landmark` makes a table of points, one with `event` a table
        of moments (`POINT_COLUMNS`, `EVENT_COLUMNS`).
    last_frame : int or None
        Number of the clip's last frame; one beyond it is refused.

    Raises
    ------
    InputRefused
        With every cell of every file that can't be taken, and where it stands.
    """
    found = _Gathered()
    for path in paths:
        try:
            _read_file(path, found, last_frame)
        except InputRefused as refusal:
            found.problems.extend(replace(one, file=path.name) for one in refusal.problems)
    events = _with_views(found)
    _refuse_twice(found, events)
    if not found.problems and not found.points and not events:
        found.problems.append(
            Problem(
                code="no_marks",
                message="the tables hold no mark; expected a row for each point or moment.",
                file=paths[0].name if paths else "",
            )
        )
    if found.problems:
        raise InputRefused(tuple(found.problems))
    views = {point.view for point in found.points} | {event.view for event in events}
    anywhere = found.rates.get(None)
    rates = {view: found.rates.get(view, anywhere) for view in views}
    return Marks(
        points=tuple(found.points),
        events=tuple(events),
        px_per_cm={view: tuple(readings) for view, readings in found.scales.items()},
        frames_per_s={view: rate[0] for view, rate in rates.items() if rate is not None},
    )


def _read_file(path: Path, found: _Gathered, last_frame: int | None) -> None:
    known = {column.name for column in (*POINT_COLUMNS, *EVENT_COLUMNS)}
    sheet = read_sheet(path, known)
    names = [name.casefold() for name in sheet.header]
    if ("landmark" in names) == ("event" in names):
        raise InputRefused(
            (
                Problem(
                    code="no_table_of_marks",
                    message="the header needs a column 'landmark' (a table of points: frame, "
                    "landmark, x, y, view, side) or a column 'event' (a table of moments: frame, "
                    f"event, side), and not both; it has {', '.join(sheet.header)}.",
                    row=sheet.header_line,
                ),
            )
        )
    columns = POINT_COLUMNS if "landmark" in names else EVENT_COLUMNS
    places = _places(sheet, columns)
    found.problems.extend(replace(one, file=path.name) for one in sheet.problems)
    if len(sheet.lines) > MOST_MARKS:
        raise InputRefused(
            (
                Problem(
                    code="too_many_marks",
                    message=f"the table has {len(sheet.lines)} rows; at most {MOST_MARKS}.",
                ),
            )
        )
    for row, cells in _rows(path.name, sheet, columns, places, found.problems):
        if last_frame is not None and cells["frame"] > last_frame:
            _tell(
                found,
                (path.name, row, "frame", str(cells["frame"])),
                "frame_outside",
                f"frame {cells['frame']} lies outside the clip, whose last frame is {last_frame}.",
            )
        elif columns is POINT_COLUMNS:
            _take_point(path.name, row, cells, found)
        else:
            _take_event(path.name, row, cells, found)


def _places(sheet: Sheet, columns: Sequence[Column]) -> dict[str, int]:
    names = {name.casefold(): place for place, name in enumerate(sheet.header)}
    known = [column.name for column in columns]
    problems = [
        Problem(
            code="column_missing",
            message=f"the header has no column '{column.name}' ({column.words}).",
            row=sheet.header_line,
            column=column.name,
        )
        for column in columns
        if column.required and column.name not in names
    ]
    problems.extend(
        Problem(
            code="unknown_column",
            message=f"there is no column '{name}' in a table of marks; it may have "
            f"{', '.join(known)}.{hint(name, known)}",
            row=sheet.header_line,
            column=name,
            value=name,
        )
        for name in sheet.header
        if name and name.casefold() not in known
    )
    if problems:
        raise InputRefused(tuple(problems))
    return {name: names[name] for name in known if name in names}


def _rows(
    file: str,
    sheet: Sheet,
    columns: Sequence[Column],
    places: dict[str, int],
    problems: list[Problem],
) -> Iterator[tuple[int, dict[str, Any]]]:
    numbers = [
        text
        for column in columns
        if column.type is Type.NUMBER and column.name in places
        for text in sheet.columns[places[column.name]].texts
    ]
    style = Style(mark=decimal_mark(numbers, sheet.delimiter))
    for index, line in enumerate(sheet.lines.tolist()):
        cells: dict[str, Any] = {}
        wrong = False
        for column in columns:
            place = places.get(column.name)
            text = "" if place is None else sheet.columns[place].text(index)
            at = {"file": file, "row": line, "column": column.name, "value": text}
            try:
                cells[column.name] = read_cell(text, column, style) if text.strip() else None
            except InputRefused as refusal:
                (problem,) = refusal.problems
                problems.append(replace(problem, **at))
                wrong = True
                continue
            if cells[column.name] is None and column.required:
                problems.append(
                    Problem(
                        code=f"{column.name}_blank",
                        message=f"{column.name} is blank; every row needs it ({column.words}).",
                        **at,
                    )
                )
                wrong = True
        if not wrong:
            yield line, cells


def _tell(found: _Gathered, place: tuple[str, int, str, str], code: str, message: str) -> None:
    file, row, column, value = place
    found.problems.append(
        Problem(code=code, message=message, file=file, row=row, column=column, value=value)
    )


def _take_point(file: str, row: int, cells: dict[str, Any], found: _Gathered) -> None:
    view, landmark = MarkView(cells["view"]), Landmark(cells["landmark"])
    side = Side(cells["side"] or Side.NONE)
    allowed = LANDMARKS_OF[view]
    if landmark not in allowed:
        _tell(
            found,
            (file, row, "landmark", landmark),
            "landmark_of_another_view",
            f"'{landmark}' is not read in the {view} view; there: {', '.join(allowed)}.",
        )
        return
    if (side is Side.NONE) == allowed[landmark]:
        expected = "left or right" if allowed[landmark] else "a blank, for it has no side there"
        _tell(
            found,
            (file, row, "side", cells["side"] or ""),
            "side_unknown" if allowed[landmark] else "side_not_taken",
            f"{landmark} in the {view} view: side is '{cells['side'] or ''}'; expected {expected}.",
        )
        return
    if cells["px_per_cm"] is not None:
        found.scales.setdefault(view, {})[cells["px_per_cm"]] = None
    _take_rate(file, row, cells, view, found)
    found.points.append(
        MarkedPoint(
            view=view,
            frame=cells["frame"],
            landmark=landmark,
            side=side,
            x_px=cells["x"],
            y_px=cells["y"],
            repeat=cells["repeat"] or 1,
            row=row,
            file=file,
        )
    )


def _take_event(file: str, row: int, cells: dict[str, Any], found: _Gathered) -> None:
    view = MarkView(cells["view"]) if cells["view"] else None
    _take_rate(file, row, cells, view, found)
    event = MarkedEvent(
        view=view or MarkView.SIDE,
        frame=cells["frame"],
        moment=Moment(cells["event"]),
        side=Side(cells["side"]),
        repeat=cells["repeat"] or 1,
        row=row,
        file=file,
    )
    found.events.append((event, view))


def _take_rate(
    file: str, row: int, cells: dict[str, Any], view: MarkView | None, found: _Gathered
) -> None:
    rate = cells["frames_per_s"]
    if rate is None:
        return
    held = found.rates.setdefault(view, (rate, file, row))
    if held[0] != rate:
        _tell(
            found,
            (file, row, "frames_per_s", f"{rate:g}"),
            "frame_rates_differ",
            f"frames_per_s is {rate:g} here and {held[0]:g} in row {held[2]} of {held[1]}; one "
            "view has one frame rate.",
        )


def _with_views(found: _Gathered) -> list[MarkedEvent]:
    """Moments with their views: what says none belongs to the only view there is."""
    views = {point.view for point in found.points} | {
        view for _, view in found.events if view is not None
    }
    settled = []
    for event, view in found.events:
        if view is None and len(views) > 1:
            _tell(
                found,
                (event.file, event.row, "view", ""),
                "view_blank",
                "view is blank, and the marks have two views, each with frame numbers of its own; "
                "say which one this moment was seen in.",
            )
            continue
        only = next(iter(views)) if len(views) == 1 else MarkView.SIDE
        settled.append(replace(event, view=view or only))
    return settled


def _refuse_twice(found: _Gathered, events: Sequence[MarkedEvent]) -> None:
    seen: dict[tuple[object, ...], MarkedPoint | MarkedEvent] = {}
    listed: list[MarkedPoint | MarkedEvent] = [*found.points, *events]
    for mark in listed:
        what = mark.landmark if isinstance(mark, MarkedPoint) else mark.moment
        key = (type(mark), mark.view, mark.frame, what, mark.side, mark.repeat)
        before = seen.setdefault(key, mark)
        if before is not mark:
            _tell(
                found,
                (
                    mark.file,
                    mark.row,
                    "landmark" if isinstance(mark, MarkedPoint) else "event",
                    what,
                ),
                "marked_twice",
                f"{what} ({mark.side}) of frame {mark.frame} stands in row {before.row}"
                f"{'' if before.file == mark.file else ' of ' + before.file} already; keep one, "
                "or number a second marking in the column 'repeat'.",
            )
