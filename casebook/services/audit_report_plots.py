"""The plots of an audit's report, made from what the audit tells and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from casebook.domain.audit import Part
from casebook.domain.audit_outcomes import (
    Funnel,
    FunnelLimit,
    FunnelPoint,
    GroupOutcome,
    MetricOutcome,
    ReturnToRunning,
    Split,
)
from casebook.domain.audit_words import LEVELS
from casebook.domain.reports import Drawn, Plot, Series
from casebook.domain.summary_words import shortened
from casebook.domain.wording import upper_first

MOST_GROUPS = 4
LONGEST_MARK = 14
# Of two shares in one line of a list, from its middle.
APART = 0.17


def shares_plot(outcomes: Sequence[MetricOutcome], title: str) -> Plot | None:
    """Shares improved and worsened beyond error, a place along the axis each metric.

    None where every group is withheld.
    """
    told: list[tuple[str, GroupOutcome]] = []
    for one in outcomes:
        whole = dict(one.splits)[Split.NONE]
        told += [(one.label, group) for group in whole if group.improved.share is not None]
    if not told:
        return None
    # From below, so that the last point, which bears the name, lies at the top.
    places = [(float(at + 1), group) for at, (_, group) in enumerate(reversed(told))]
    series: list[Series] = []
    for look, (name, parts) in enumerate(
        (
            ("improved", [(at + APART, group.improved) for at, group in places]),
            ("worsened", [(at - APART, group.worsened) for at, group in places]),
        )
    ):
        shown = [(at, part) for at, part in parts if part.share is not None]
        if shown:
            series += _shares(shown, name, look)
    farthest = max(high for one in series for high in (*one.x, *one.high))
    return Plot(
        title=title,
        x_title="of the runners with a verdict, %",
        y_title="",
        series=tuple(series),
        y_words=tuple((at + 1.0, label) for at, (label, _) in enumerate(reversed(told))),
        y_range=(0.4, len(told) + 0.6),
        x_range=(0.0, min(100.0, 10.0 * ceil(farthest / 10.0 + 0.1))),
        told="; ".join(
            f"{label}: {_told(group.improved.count, group.improved.total)} improved, "
            f"{_told(group.worsened.count, group.worsened.total)} worsened"
            for label, group in told
        )
        + ".",
        note="Dots: improved beyond error; squares: worsened beyond error; strokes: 95 % "
        "intervals (Wilson 1927).",
    )


def _shares(shown: Sequence[tuple[float, Part]], name: str, look: int) -> list[Series]:
    y = tuple(at for at, _ in shown)
    return [
        Series(
            drawn=Drawn.REACH,
            x=tuple(100 * (part.low or 0.0) for _, part in shown),
            y=y,
            high=tuple(100 * (part.high or 0.0) for _, part in shown),
            look=look,
        ),
        Series(
            drawn=Drawn.DOTS,
            x=tuple(100 * (part.share or 0.0) for _, part in shown),
            y=y,
            look=look,
            name=name,
        ),
    ]


def _told(count: int | None, total: int | None) -> str:
    return "withheld" if count is None or total is None else f"{count} of {total}"


def returns_plot(returns: Sequence[ReturnToRunning]) -> Plot | None:
    """Share not yet running again by days from the onset, with the numbers at risk."""
    shown = [one for one in returns if one.steps][:MOST_GROUPS]
    if not shown:
        return None
    series: list[Series] = []
    for look, one in enumerate(shown):
        x = (one.begins, *(step.day for step in one.steps))
        if len(shown) == 1:
            series.append(_stair_band(one))
        series.append(
            Series(
                drawn=Drawn.STAIR,
                x=x,
                y=(100.0, *(100 * step.still_out for step in one.steps)),
                look=look,
                name=LEVELS[one.group] or "all",
            )
        )
    return Plot(
        title="Runners not yet running again after the onset of the complaint",
        x_title="days from the onset",
        y_title="not yet running, %",
        series=tuple(series),
        y_range=(0.0, 100.0),
        x_range=(0.0, max(_last_day(one) for one in shown)),
        x_words=tuple((day, f"{day:.0f}") for day, _ in shown[0].at_risk),
        below=tuple(
            (
                f"at risk: {LEVELS[one.group] or 'all'}",
                tuple((day, "<" if n is None else str(n)) for day, n in one.at_risk),
            )
            for one in shown
        ),
        told=" ".join(_median_words(one) for one in shown),
        note="Kaplan and Meier 1958; the band is the 95 % interval of each day. Below: runners "
        "still at risk; < stands for a number that is withheld. Runners count from their first "
        "visit on, and those not seen running again up to their last one.",
    )


def _last_day(one: ReturnToRunning) -> float:
    return max(one.steps[-1].day, *(day for day, _ in one.at_risk), 1.0)


def _stair_band(one: ReturnToRunning) -> Series:
    """The interval as stairs: every level holds until the next step."""
    x, low, high = [one.begins, one.steps[0].day], [100.0, 100.0], [100.0, 100.0]
    for at, step in enumerate(one.steps):
        if at:
            x.append(step.day)
            low.append(100 * one.steps[at - 1].low)
            high.append(100 * one.steps[at - 1].high)
        x.append(step.day)
        low.append(100 * step.low)
        high.append(100 * step.high)
    return Series(drawn=Drawn.BAND, x=tuple(x), y=tuple(low), high=tuple(high))


def _median_words(one: ReturnToRunning) -> str:
    name = upper_first(LEVELS[one.group] or "all runners")
    if one.begins:
        name += f", of those not running by day {one.begins:.0f}"
    if one.median is None or one.median[0] is None:
        return f"{name}: half of the runners were not seen running again in the time observed."
    middle, low, high = one.median
    ends = [f"{end:.0f}" if end is not None else "not reached" for end in (low, high)]
    return f"{name}: half ran again by day {middle:.0f} (95 % interval {ends[0]} to {ends[1]})."


def funnel_plot(funnel: Funnel, label: str) -> Plot | None:
    """Clinicians' shares by number of runners, with the limits around the overall share."""
    if not funnel.points or not funnel.limits:
        return None
    x = tuple(float(limit.total) for limit in funnel.limits)

    def limits(name: str, look: int, words: str) -> Series:
        y = tuple(100 * _limit(limit, name) for limit in funnel.limits)
        return Series(drawn=Drawn.LINE, x=x, y=y, look=look, name=words)

    whole = (100 * funnel.overall,) * len(x)
    highest = max(
        100.0 * max(limit.high_998 for limit in funnel.limits),
        *(100.0 * one.share for one in funnel.points),
    )
    beyond = [one for one in funnel.points if one.beyond_95]
    each = f"{upper_first('; '.join(_of_clinician(one) for one in funnel.points))}."
    return Plot(
        title=f"Share improved beyond error by clinician: {label}",
        x_title="runners with a verdict",
        y_title="improved, %",
        y_range=(0.0, min(100.0, 10.0 * ceil(highest / 10.0))),
        series=(
            Series(drawn=Drawn.LINE, x=x, y=whole, look=3, name="all shown"),
            limits("low_95", 1, ""),
            limits("high_95", 1, "95 %"),
            limits("low_998", 2, ""),
            limits("high_998", 2, "99.8 %"),
            Series(
                drawn=Drawn.DOTS,
                x=tuple(float(one.total) for one in funnel.points),
                y=tuple(100 * one.share for one in funnel.points),
                look=0,
                # For others than the clinic they are called clinician 1, 2, ...
                marks=tuple(
                    shortened(one.name.removeprefix("clinician "), LONGEST_MARK)
                    for one in funnel.points
                ),
            ),
        ),
        told=(
            f"{len(funnel.points)} clinicians; overall {100 * funnel.overall:.0f} %; "
            f"{len(beyond)} outside the 95 % limits. {each}"
        ),
        note=f"{each} Limits within which 95 % and 99.8 % of clinicians would lie by chance alone "
        "if all had the overall share (Spiegelhalter 2005, exact binomial). Clinicians see "
        "different runners: a point outside asks for a look, and is no ranking.",
    )


def _of_clinician(one: FunnelPoint) -> str:
    outside = ", beyond 99.8 %" if one.beyond_998 else ", beyond 95 %" if one.beyond_95 else ""
    return f"{one.name} {one.count} of {one.total}{outside}"


def _limit(limit: FunnelLimit, name: str) -> float:
    found: float = getattr(limit, name)
    return found
