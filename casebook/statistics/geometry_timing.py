"""Times, rates and lengths of steps from stances."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from casebook.domain.sides import Side
from casebook.statistics.geometry import Number
from casebook.statistics.geometry_stances import Stance, Stances, Trial, lies_after


def timing_trials(
    stances: Stances, frames_per_s: float | None, speed_km_h: Number | None
) -> tuple[Trial, ...]:
    """Times, rates and lengths of the steps of one view.

    Parameters
    ----------
    stances : Stances
    frames_per_s : float or None
        Taken as exact; without it only shares of a time are told.
    speed_km_h : number, with or without an error, or None
        For lengths; an error of it is shared by all steps.

    Returns
    -------
    tuple of Trial
        Metrics `contact_time`, `flight_time`, `step_time` (ms), `cadence` (steps a minute),
        `duty_factor`, `heel_rise_timing` (%), `step_length`, `stride_length` (cm), by the
        catalogue's conventions. Errors of a moment are kept in all that it belongs to: a
        contact ends one step and begins the next.

    References
    ----------
    [Practice], [Bennett1948]

    Examples
    --------
    >>> timing_trials(Stances(stances=(), both=False), 120.0, None)
    ()
    """
    return (
        *_within_stances(stances, frames_per_s),
        *_between_feet(stances, frames_per_s, speed_km_h),
        *_strides(stances, frames_per_s, speed_km_h),
    )


def _trial(metric: str, stance: Stance, value: Number, *, side: Side | None = None) -> Trial:
    return Trial(
        metric=metric,
        side=stance.side if side is None else side,
        view=stance.view,
        frame=stance.contact.frame,
        value=value,
    )


def _within_stances(stances: Stances, frames_per_s: float | None) -> Iterator[Trial]:
    for stance in stances.stances:
        if stance.toe_off is None:
            continue
        time = stance.toe_off.at - stance.contact.at
        if frames_per_s is not None:
            yield _trial("contact_time", stance, 1000.0 * time / frames_per_s)
        if stance.heel_rise is not None:
            share = 100.0 * (stance.heel_rise.at - stance.contact.at) / time
            yield _trial("heel_rise_timing", stance, share)


def _between_feet(
    stances: Stances, frames_per_s: float | None, speed_km_h: Number | None
) -> Iterator[Trial]:
    if frames_per_s is None:
        return
    for before, after in pairwise(stances.stances):
        if before.side is after.side or not lies_after(before.contact, after.contact):
            continue
        step = 1000.0 * (after.contact.at - before.contact.at) / frames_per_s
        yield _trial("step_time", after, step)
        if speed_km_h is not None:
            yield _trial("step_length", after, _length_cm(step, speed_km_h))
        if before.toe_off is not None and before.toe_off.frame <= after.contact.frame:
            # Both in one frame is a flight of nothing, which is told as it was seen.
            flight = 1000.0 * (after.contact.at - before.toe_off.at) / frames_per_s
            yield _trial("flight_time", before, flight)


def _strides(
    stances: Stances, frames_per_s: float | None, speed_km_h: Number | None
) -> Iterator[Trial]:
    apart = 2 if stances.both else 1
    listed = stances.stances
    strides = [
        (first, listed[i + apart])
        for i, first in enumerate(listed[: len(listed) - apart])
        if listed[i + apart].side is first.side
        and lies_after(first.contact, listed[i + apart].contact)
        and (not stances.both or listed[i + 1].side is not first.side)
    ]
    # One foot is enough for the rate of both: each stride is two steps.
    counted = strides[0][0].side if strides else None
    for first, last in strides:
        frames = last.contact.at - first.contact.at
        if first.toe_off is not None:
            contact = first.toe_off.at - first.contact.at
            yield _trial("duty_factor", first, 100.0 * contact / frames)
        if frames_per_s is None:
            continue
        if first.side is counted:
            yield _trial("cadence", first, 120.0 * frames_per_s / frames, side=Side.NONE)
        if speed_km_h is not None:
            time = 1000.0 * frames / frames_per_s
            yield _trial("stride_length", last, _length_cm(time, speed_km_h))


def _length_cm(milliseconds: Number, speed_km_h: Number) -> Number:
    return milliseconds * speed_km_h / 36.0
