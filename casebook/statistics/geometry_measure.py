"""From everything that was marked to the metrics of a visit, with their marking errors."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from casebook.domain.marking import (
    SHARED_CONTACTS,
    FrameNote,
    MarkedAsymmetry,
    MarkedTrial,
    MarkedValue,
    Marks,
    MarkSettings,
    MarkView,
    Measured,
)
from casebook.domain.sides import Side
from casebook.statistics.geometry import Number
from casebook.statistics.geometry_frames import (
    FramesOfView,
    frames_of_view,
    point_error_px,
)
from casebook.statistics.geometry_metrics import landmarks_needed
from casebook.statistics.geometry_reading import read_frames
from casebook.statistics.geometry_spread import (
    difference_of_means,
    nominal,
    spread_of_trials,
    std_dev,
    with_error,
)
from casebook.statistics.geometry_stances import (
    Stances,
    Trial,
    event_error_frames,
    stances_of,
)
from casebook.statistics.geometry_timing import timing_trials


def measure(marks: Marks, settings: MarkSettings) -> Measured:
    """Every metric that the marks tell, by side, with the error of marking.

    Parameters
    ----------
    marks : Marks
    settings : MarkSettings

    Returns
    -------
    Measured
        Values in the catalogue's units and signs, in the order in which they were met. A
        metric that is read from points has no error where that of a point is not known.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> measure(Marks(), MarkSettings()).values
    ()
    """
    point_sd = point_error_px(marks.points, settings.point_sd_px)
    event_sd = event_error_frames(marks.events, settings.event_sd_frames)
    notes: list[FrameNote] = []
    trials: list[Trial] = []
    stances = stances_of(marks.events, event_sd)
    for view in MarkView:
        here = stances.get(view, Stances(stances=(), both=False))
        frames = frames_of_view(marks, view, settings, point_sd)
        notes.extend((*here.notes, *frames.notes))
        found, told = read_frames(frames, here)
        trials.extend(found)
        notes.extend(told)
        notes.extend(_far_leg(frames, found))
    timed, told_of_time = _times(marks, settings, stances)
    trials.extend(timed)
    notes.extend((*told_of_time, *_unknown_error(trials, point_sd)))
    by_value: dict[tuple[str, Side], list[Trial]] = {}
    for trial in trials:
        by_value.setdefault((trial.metric, trial.side), []).append(trial)
    known = {metric: _error_known(metric, point_sd) for metric, _ in by_value}
    return Measured(
        values=tuple(_value(found, known=known[metric]) for (metric, _), found in by_value.items()),
        asymmetries=tuple(_asymmetries(by_value, known)),
        notes=tuple(notes),
        point_sd_px=point_sd,
        event_sd_frames=event_sd,
    )


def _error_known(metric: str, point_sd: float | None) -> bool:
    return point_sd is not None or not landmarks_needed(metric)


def _times(
    marks: Marks, settings: MarkSettings, stances: Mapping[MarkView, Stances]
) -> tuple[Sequence[Trial], list[FrameNote]]:
    """Times come from one view: two films of the same steps would count them twice."""
    if not stances:
        return (), []
    view = max(stances, key=lambda one: (_whole(stances[one]), one is MarkView.SIDE))
    notes = []
    if len(stances) > 1:
        notes.append(
            FrameNote(
                code="times_of_one_view",
                view=view,
                message="times and step lengths are taken from this view alone, for the other "
                "may show the same steps.",
            )
        )
    rate = marks.frames_per_s.get(view, settings.frames_per_s)
    if rate is None:
        told = (
            "no frame rate was given (column frames_per_s), so that frames can't be turned into "
            "times: only shares of a time are read."
        )
        notes.append(FrameNote(code="no_frame_rate", view=view, message=told, withheld=True))
    speed: Number | None = None
    if settings.speed_km_h is not None:
        speed = with_error(settings.speed_km_h, settings.speed_sd_km_h or 0.0)
        if not settings.speed_sd_km_h:
            notes.append(
                FrameNote(
                    code="speed_exact",
                    message=f"the speed of {settings.speed_km_h:g} km/h is taken as exact: an "
                    "error of it would shift all lengths of steps alike.",
                )
            )
    else:
        told = "no speed was given, so that no length of a step is computed."
        notes.append(FrameNote(code="no_speed", message=told))
    return timing_trials(stances[view], rate, speed), notes


def _whole(stances: Stances) -> int:
    return sum(stance.toe_off is not None for stance in stances.stances)


def _far_leg(frames: FramesOfView, trials: Iterable[Trial]) -> Iterable[FrameNote]:
    """A camera to the runner's right sees them run to the right of the picture."""
    if not frames.ahead:
        return
    far = Side.LEFT if frames.ahead > 0 else Side.RIGHT
    if any(trial.side is far for trial in trials):
        yield FrameNote(
            code="far_leg",
            view=frames.view,
            message=f"the {far} leg is the one farther from the camera: it is read with more "
            "error (about twice, Mo and co-workers 2025) than its points alone tell, and its "
            "scale is another.",
        )


def _unknown_error(trials: Iterable[Trial], point_sd: float | None) -> Iterable[FrameNote]:
    if point_sd is None and any(landmarks_needed(trial.metric) for trial in trials):
        yield FrameNote(
            code="point_error_unknown",
            message="how well a point was marked is not known, so angles and distances carry no "
            "error: mark some frames a second time (column repeat), or say the error in pixels.",
        )


def _value(trials: Sequence[Trial], *, known: bool) -> MarkedValue:
    spread = spread_of_trials([trial.value for trial in trials])
    first = trials[0]
    return MarkedValue(
        metric=first.metric,
        side=first.side,
        view=first.view,
        trials=tuple(
            MarkedTrial(
                frame=trial.frame,
                value=nominal(trial.value),
                sd=std_dev(trial.value) if known else None,
            )
            for trial in trials
        ),
        mean=spread.mean,
        own_sd=spread.own if known else None,
        shared_sd=spread.shared if known else None,
        mean_sd=spread.mean_sd if known else None,
        marking_sd=spread.stored if known else None,
    )


def _asymmetries(
    by_value: Mapping[tuple[str, Side], Sequence[Trial]], known: Mapping[str, bool]
) -> Iterable[MarkedAsymmetry]:
    for (metric, side), right in by_value.items():
        left = by_value.get((metric, Side.LEFT))
        if side is not Side.RIGHT or left is None:
            continue
        ours, theirs = [one.value for one in right], [one.value for one in left]
        difference, sd = difference_of_means(ours, theirs)
        apart = math.hypot(spread_of_trials(ours).mean_sd, spread_of_trials(theirs).mean_sd)
        yield MarkedAsymmetry(
            metric=metric,
            value=difference,
            sd=sd if known[metric] else None,
            sd_if_independent=apart if known[metric] else None,
        )


def asymmetry_words(asymmetry: MarkedAsymmetry) -> str:
    """How the error compares with that of independent sides, in words, where it matters.

    Parameters
    ----------
    asymmetry : MarkedAsymmetry

    Returns
    -------
    str
        Empty where the sides' errors are as good as independent.

    References
    ----------
    [JCGM2008]

    Examples
    --------
    >>> asymmetry_words(MarkedAsymmetry(metric="step_time", value=1.0, sd=1.4,
    ...     sd_if_independent=1.0))
    '1.4 times as large: left and right share their contacts'
    """
    if not asymmetry.sd or not asymmetry.sd_if_independent:
        return ""
    ratio = asymmetry.sd / asymmetry.sd_if_independent
    if ratio >= 1.05:
        shared = "their contacts" if asymmetry.metric in SHARED_CONTACTS else "one camera's lean"
        return f"{ratio:.1f} times as large: left and right share {shared}"
    if ratio <= 0.95:
        return f"{ratio:.2g} times as large: what moves both alike cancels"
    return ""
