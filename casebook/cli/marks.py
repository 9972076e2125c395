"""`casebook marks`: from points marked on still frames to metrics, and into a visit."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from casebook.cli.objects import plainly, print_object
from casebook.domain import wording
from casebook.domain.marking import LANDMARK_WORDS, LANDMARKS_OF, MarkSettings
from casebook.domain.visits import Conditions, VisitKind

if TYPE_CHECKING:
    from casebook.services.marking import MarksRead, MarksSaved

EPILOG = "\n\n".join(
    (
        "A table of points has the columns frame, landmark, x, y, view (posterior, side), side "
        "(left, right, or blank), and may have repeat, px_per_cm and frames_per_s; x and y are "
        "pixels, y downwards. A table of moments has frame, event (contact, mid_stance, "
        "heel_rise, toe_off), side, and may have view, repeat and frames_per_s.",
        *(
            f"Landmarks of the {view} view: "
            + "; ".join(f"{one} ({LANDMARK_WORDS[one]})" for one in listed)
            + "."
            for view, listed in LANDMARKS_OF.items()
        ),
    )
)


def _number(option: str, unit: str, words: str) -> Any:
    return typer.Option(option, metavar=unit, help=words)


def marks(  # noqa: PLR0913  (an argument for each option)
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE...", help="CSV files of points and of moments, any order."),
    ],
    *,
    point_sd: Annotated[
        float | None,
        _number("--point-sd", "PX", "SD of marking a point; else from frames marked repeatedly."),
    ] = None,
    event_sd: Annotated[
        float | None,
        _number("--event-sd", "FRAMES", "SD of choosing a frame for a moment; else from repeats."),
    ] = None,
    tilt_sd: Annotated[
        float | None,
        _number("--tilt-sd", "DEG", "SD of the camera's lean where no plumb line was marked."),
    ] = None,
    scale_sd: Annotated[
        float | None,
        _number("--scale-sd", "PX_PER_CM", "SD of the scale; else from readings that differ."),
    ] = None,
    speed: Annotated[
        float | None, _number("--speed", "KM_H", "Running speed, for lengths of steps.")
    ] = None,
    speed_sd: Annotated[float | None, _number("--speed-sd", "KM_H", "SD of the speed.")] = None,
    frames_per_s: Annotated[
        float | None,
        _number("--frames-per-s", "N", "Frames a second, where the files do not say it."),
    ] = None,
    last_frame: Annotated[
        int | None, typer.Option("--last-frame", metavar="N", help="The clip's last frame.")
    ] = None,
    runner: Annotated[
        str | None,
        typer.Option("--runner", metavar="CODE", help="Store as a visit of this runner."),
    ] = None,
    on: Annotated[
        datetime | None,
        typer.Option("--on", formats=["%Y-%m-%d"], help="Day of the visit (needed with --runner)."),
    ] = None,
    session: Annotated[
        int, typer.Option("--session", min=1, help="Session of the day, 1 as a rule.")
    ] = 1,
    kind: Annotated[
        VisitKind, typer.Option("--kind", help="Kind of a new visit.")
    ] = VisitKind.REVIEW,
    view: Annotated[
        str, typer.Option("--view", metavar="WORDS", help="Camera view, as at other visits.")
    ] = "",
    surface: Annotated[str, typer.Option("--surface", metavar="WORDS", help="Surface.")] = "",
    incline: Annotated[float | None, _number("--incline", "PCT", "Incline.")] = None,
    footwear: Annotated[str, typer.Option("--footwear", metavar="WORDS", help="Footwear.")] = "",
    add: Annotated[
        bool, typer.Option("--add", help="Add to the visit that is stored for that day.")
    ] = False,
    by: Annotated[
        str, typer.Option("--by", metavar="USER", help="Code of the user who stores it.")
    ] = "",
    db: Annotated[
        str | None,
        typer.Option(
            "--db",
            metavar="FILE_OR_ADDRESS",
            help="The casebook, where --runner is given: an SQLite file or a database address.",
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
    ] = False,
) -> None:
    """Compute angles, distances and times from points marked on still frames.

    Each value carries the error that marking brings to it: of points and frames, anew in each
    trial, and of scale, camera, speed and rounding to whole frames, which all trials may share.
    What was wrong with a frame is told. Without --runner nothing is stored and no casebook is
    needed.
    """
    from casebook.services import marking

    settings = MarkSettings(
        point_sd_px=point_sd,
        event_sd_frames=event_sd,
        tilt_sd_deg=tilt_sd,
        px_per_cm_sd=scale_sd,
        speed_km_h=speed,
        speed_sd_km_h=speed_sd,
        frames_per_s=frames_per_s,
        last_frame=last_frame,
    )
    if runner is None:
        if on is not None or add:
            raise typer.BadParameter("--on and --add need --runner.")
        _show(marking.read_files(files, settings), None, as_json=as_json)
        return
    if on is None:
        raise typer.BadParameter("--runner needs --on, the day of the visit.")
    from casebook.cli.opening import opened

    with opened(db) as casebook:
        read = marking.read_files(files, settings, casebook=casebook)
        where = marking.ForVisit(
            runner=runner,
            visited_on=on.date(),
            session=session,
            kind=kind,
            conditions=Conditions(
                surface=surface, incline_pct=incline, footwear=footwear, view=view, assessor=by
            ),
            add=add,
        )
        saved = marking.save_marks(casebook, read, where, by=by)
    _show(read, saved, as_json=as_json)


def _show(read: MarksRead, saved: MarksSaved | None, *, as_json: bool) -> None:
    if as_json:
        print_object(marks_object(read, saved))
    else:
        from casebook.cli.marks_shown import show_marks

        show_marks(read, saved)


def marks_object(read: MarksRead, saved: MarksSaved | None) -> dict[str, Any]:
    """What was computed as one object; units are those of the metrics."""
    found: dict[str, Any] = plainly(read.measured)
    for value in found["values"]:
        value["unit"] = read.metrics[value["metric"]].unit
    unlikely = {(one.metric, one.side) for one in read.unlikely}
    found["unlikely"] = [{"metric": metric, "side": side} for metric, side in sorted(unlikely)]
    found["stored"] = (
        None
        if saved is None
        else {
            "visit_id": saved.saved.visit_id,
            "added": saved.saved.added,
            "left_out": list(saved.left_out),
        }
    )
    return found | {"caution": wording.CAUTION}
