"""The charts of an audit's models: what they hold, valid, drawable, and told without colours."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import altair as alt
import pytest
import vl_convert

from casebook.charts.audit_courses import growth_courses
from casebook.charts.audit_funnel import funnel_plot
from casebook.charts.audit_grades import grade_shares
from casebook.charts.audit_residuals import residual_quantiles, residuals_by_fitted
from casebook.charts.audit_returns import return_curve
from casebook.charts.palette import DAY, NIGHT, Palette
from casebook.domain.audit import Count
from casebook.domain.audit_growth import (
    CohortGrades,
    CohortGrowth,
    FitCheck,
    GradeShare,
    GrowthCourse,
    Phase,
    RandomEffects,
    RawCourse,
    ResidualPoint,
)
from casebook.domain.audit_outcomes import (
    Funnel,
    FunnelLimit,
    FunnelPoint,
    On,
    ReturnStep,
    ReturnToRunning,
)


def course(group: str, phase: Phase | None, weeks: tuple[float, ...], mean: float) -> GrowthCourse:
    return GrowthCourse(
        group=group,
        phase=phase,
        weeks=weeks,
        mean=tuple(mean for _ in weeks),
        low=tuple(mean - 2 for _ in weeks),
        high=tuple(mean + 2 for _ in weeks),
    )


GROWTH = CohortGrowth(
    metric="m", label="M", on=On.ASYMMETRY, unit="°", n_runners=9, n_rows=30, terms=(),
    random=RandomEffects(
        sd_level=1.0, sd_slope=None, correlation=None, sd_residual=1.0, sd_error=None,
        error_share=None,
    ),
    log_likelihood=-1.0, converged=True, model="intercept", check=FitCheck.AGREES,
    courses=tuple(
        course(group, phase, weeks, mean)
        for phase, weeks in ((Phase.BEFORE, (-2.0, 0.0)), (Phase.AFTER, (0.0, 8.0)))
        for group, mean in (("injury", 10.0), ("performance", 14.0))
    ),
    raw=(
        RawCourse(group="injury", weeks=(-1.0, 4.0, 50.0), values=(9.0, 12.0, 400.0)),
        RawCourse(group="performance", weeks=(-1.0, 8.0), values=(15.0, 13.0)),
    ),
    residuals=tuple(
        ResidualPoint(fitted=10.0 + at, residual=at - 1.0, expected=0.9 * (at - 1.0))
        for at in (0.0, 1.0, 2.0, 6.0)
    ),
    words=(),
)  # fmt: skip
RETURNS = tuple(
    ReturnToRunning(
        group=group, n=30, returned=12,
        steps=(
            ReturnStep(day=20.0 * scale, still_out=0.9, low=0.7, high=0.97),
            ReturnStep(day=70.0 * scale, still_out=0.4, low=0.2, high=0.6),
        ),
        at_risk=((0.0, 30), (28.0, 12), (56.0, None), (200.0, 0)), median=(70.0, 20.0, None),
    )
    for group, scale in (("", 1.0), ("injury", 1.0), ("performance", 0.9))
)  # fmt: skip
FUNNEL = Funnel(
    metric="m", on=On.VALUE, overall=0.4,
    points=(
        FunnelPoint(name="AA", count=8, total=20, share=0.4, beyond_95=False, beyond_998=False),
        FunnelPoint(name="BB", count=10, total=10, share=1.0, beyond_95=True, beyond_998=True),
    ),
    limits=tuple(
        FunnelLimit(total=size, low_95=0.1, high_95=0.7, low_998=0.05, high_998=0.9)
        for size in (8, 15, 22)
    ),
    left_out=0,
)  # fmt: skip
GRADES = CohortGrades(
    metric="m", label="M", on=On.VALUE, n_runners=30, terms=(),
    groups=tuple(
        (
            group,
            tuple(
                GradeShare(grade=grade, count=Count(n=n), predicted=share)
                for grade, n, share in ((0.0, 9, 0.5), (1.0, 5, 0.48), (2.0, 1, 0.02))
            ),
        )
        for group in ("injury", "performance")
    ),
    log_likelihood=-1.0,
)  # fmt: skip


@cache
def drawn(palette: Palette) -> dict[str, dict[str, Any]]:
    return {
        "returns": return_curve(RETURNS, palette=palette),
        "whole": return_curve(RETURNS[:1], palette=palette),
        "funnel": funnel_plot(FUNNEL, label="pain", palette=palette),
        "courses": growth_courses(GROWTH, palette=palette),
        "fitted": residuals_by_fitted(GROWTH, palette=palette),
        "quantiles": residual_quantiles(GROWTH, palette=palette),
        "grades": grade_shares(GRADES, palette=palette),
    }


def rows(spec: dict[str, Any], mark: str) -> list[list[dict[str, Any]]]:
    return [layer["data"]["values"] for layer in spec["layer"] if layer["mark"]["type"] == mark]


def test_all_keep_the_grammar_and_can_be_drawn_narrow_at_night() -> None:
    for spec in drawn(DAY).values():
        alt.LayerChart.from_dict(spec)
    for spec in drawn(NIGHT).values():
        assert NIGHT.background in vl_convert.vegalite_to_svg({**spec, "width": 260})


def test_returns_step_down_from_all_with_the_numbers_at_risk_below() -> None:
    spec = drawn(DAY)["returns"]
    (curve,) = rows(spec, "line")
    assert [row["out"] for row in curve if row["Runners"] == "injury"] == [100.0, 90.0, 40.0]
    # With kinds of programme the whole is not drawn a second time.
    assert {row["Runners"] for row in curve} == {"injury", "performance"}
    line = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "line")
    assert line["mark"]["interpolate"] == "step-after"
    dashes = line["encoding"]["strokeDash"]["scale"]["range"]
    assert len({tuple(dash) for dash in dashes}) == 2
    picture = vl_convert.vegalite_to_svg({**spec, "width": 500})
    for words in ("at risk: injury", "at risk: performance", ">30<", ">12<", ">few<"):
        assert words in picture
    assert ">0<" in picture  # the axis; a number beyond the curve's end is not written
    assert all(row["day"] <= 70 for layer in rows(spec, "text") for row in layer if "day" in row)


def test_the_funnel_names_clinicians_and_tells_by_shape_who_lies_beyond() -> None:
    spec = drawn(DAY)["funnel"]
    (points,) = rows(spec, "point")
    assert [(row["name"], row["kind"]) for row in points] == [
        ("AA", "within the limits"),
        ("BB", "beyond 99.8 %"),
    ]
    mark = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "point")
    assert len(set(mark["encoding"]["shape"]["scale"]["range"])) == 2
    picture = vl_convert.vegalite_to_svg({**spec, "width": 500})
    for words in ("AA", "BB", "all shown: 40 %", "95 % limits", "99.8 % limits"):
        assert words in picture
    # The name of a clinician of whom nobody improved stands below, and above the axis.
    y = spec["layer"][0]["encoding"]["y"]
    assert y["scale"]["domain"][0] < 0 <= min(y["axis"]["values"])
    assert spec["description"] == "pain"
    inner = replace(FUNNEL.points[1], beyond_998=False)
    milder = funnel_plot(replace(FUNNEL, points=(inner,)), label="pain", palette=DAY)
    assert rows(milder, "point")[0][0]["kind"] == "beyond 95 %"


def test_courses_lie_over_single_runners_who_do_not_squash_them() -> None:
    spec = drawn(DAY)["courses"]
    raw, mean = rows(spec, "line")
    assert {row["runner"] for row in raw} == {0, 1}
    assert len({row["piece"] for row in mean}) == 4
    y = spec["layer"][0]["encoding"]["y"]["scale"]["domain"]
    assert y[1] < 30  # what lies beyond the weeks that are shown does not count
    picture = vl_convert.vegalite_to_svg({**spec, "width": 500})
    for words in ("start", "mean, programme for injury", "mean, for performance"):
        assert words in picture


def test_courses_without_single_runners_or_a_start_are_drawn_all_the_same() -> None:
    bare = replace(
        GROWTH, raw=(), on=On.VALUE, unit="", courses=(course("", None, (3.0, 9.0), 5.0),)
    )
    spec = growth_courses(bare, palette=DAY)
    picture = vl_convert.vegalite_to_svg({**spec, "width": 500})
    assert ">start<" not in picture
    assert "predicted mean" in picture
    assert len(rows(spec, "line")) == 1


def test_residuals_stand_on_axes_that_hold_the_outermost() -> None:
    for name in ("fitted", "quantiles"):
        spec = drawn(DAY)[name]
        (points,) = rows(spec, "point")
        assert len(points) == 4
        layer = next(one for one in spec["layer"] if one["mark"]["type"] == "point")
        low, high = layer["encoding"]["y"]["scale"]["domain"]
        assert low < -5.0 < 5.0 < high


def test_grades_are_written_on_their_parts_and_fill_the_whole() -> None:
    spec = drawn(DAY)["grades"]
    (bars,) = rows(spec, "bar")
    assert [row["Bar"] for row in bars[::3]] == [
        "injury, seen",
        "injury, predicted",
        "performance, seen",
        "performance, predicted",
    ]
    assert [row["to"] for row in bars[2::3]] == pytest.approx([100.0] * 4)
    assert [row["words"] for row in bars[3:6]] == ["grade 0", "grade 1", ""]
    withheld = tuple(
        GradeShare(grade=grade, count=Count(n=None), predicted=0.5) for grade in (0.0, 1.0)
    )
    hidden = grade_shares(replace(GRADES, groups=(("", withheld),)), palette=NIGHT)
    assert rows(hidden, "bar")[0][0]["Runners"] == "withheld"
