"""What must hold for any course of any runner."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.domain.metrics import AsymmetryForm, Better, ErrorFigure, Metric, Scale
from casebook.domain.verdicts import Call, FlagKind, Reason, SideMoved, What
from casebook.statistics.codes import code_of
from casebook.statistics.judgement import Judged, judge
from tests.statistics.caseloads import AVisit, a_figure, an_angle, frames_of

reading = st.floats(5.0, 60.0).map(lambda x: round(x, 2))
trials = st.lists(reading, min_size=1, max_size=6)
betters = st.sampled_from(Better)
forms = st.sampled_from([AsymmetryForm.DIFFERENCE, AsymmetryForm.PERCENT, AsymmetryForm.LOG_RATIO])
figures_in_use = st.sampled_from(
    [
        (),
        (a_figure(between_sd=1.5, within_sd=2.0),),
        (a_figure(sem=2.0, sem_trials=3),),
        (a_figure(sem=2.0, sem_trials=1),),
    ]
)
IMPROVED, WORSENED = code_of(Call.IMPROVED), code_of(Call.WORSENED)


@st.composite
def courses(draw: st.DrawFn) -> list[AVisit]:
    count = draw(st.integers(2, 5))
    references = draw(st.integers(0, 2))
    return [
        AVisit(
            readings={(0, side): draw(trials) for side in (0, 1) if draw(st.booleans()) or side},
            reference=place < references,
        )
        for place in range(count)
    ]


@st.composite
def metrics(draw: st.DrawFn) -> Metric:
    better = draw(betters)
    ranged = better is Better.RANGE
    return an_angle(
        better=better,
        scale=Scale.RATIO,
        target_low=20.0 if ranged else None,
        target_high=30.0 if ranged else None,
        asymmetry_form=draw(forms),
    )


def _judge(
    frames: tuple[pd.DataFrame, pd.DataFrame], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> Judged:
    return judge(*frames, (metric,), figures)


WORDS = ["runner", "visit", "metric", "what", "call", "reason", "moved", "origin", "bridged"]


@given(courses(), metrics(), figures_in_use)
def test_swapping_the_sides_flips_the_sign_of_the_asymmetry_and_nothing_else(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> None:
    values, visits = frames_of(course)
    one = _judge((values, visits), metric, figures).verdicts
    swapped = values.assign(side=1 - values["side"])
    other = _judge((swapped, visits), metric, figures).verdicts
    back = other.assign(what=other["what"].map({0: 1, 1: 0, 3: 3}).astype(np.int8))
    back = back.sort_values(["visit", "what"], ignore_index=True)
    pd.testing.assert_frame_equal(one[WORDS], back[WORDS])
    sign = np.where(one["what"] == code_of(What.ASYMMETRY), -1.0, 1.0)
    for column in ("baseline", "latest", "change"):
        np.testing.assert_allclose(one[column], sign * back[column], rtol=1e-9, atol=1e-9)
    for column in ("se_change", "mdc95", "p_better"):
        np.testing.assert_allclose(one[column], back[column], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(one["left_change"], back["right_change"], rtol=1e-9)


def _scaled(
    metric: Metric, figures: tuple[ErrorFigure, ...], by: float
) -> tuple[Metric, tuple[ErrorFigure, ...]]:
    def times(number: float | None) -> float | None:
        return None if number is None else number * by

    return (
        replace(metric, target_low=times(metric.target_low), target_high=times(metric.target_high)),
        tuple(
            replace(
                figure,
                between_sd=times(figure.between_sd),
                within_sd=times(figure.within_sd),
                sem=times(figure.sem),
            )
            for figure in figures
        ),
    )


@given(courses(), metrics(), figures_in_use, st.sampled_from([0.125, 0.5, 4.0, 1024.0]))
def test_another_unit_changes_no_verdict(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...], by: float
) -> None:
    # Powers of two, so that rounding cannot tip a change that lies on its limit.
    values, visits = frames_of(course)
    one = _judge((values, visits), metric, figures)
    larger = values.assign(mean=values["mean"] * by, sd=values["sd"] * by)
    other = _judge((larger, visits), *_scaled(metric, figures, by))
    pd.testing.assert_frame_equal(one.verdicts[WORDS], other.verdicts[WORDS])
    unitless = ["runner", "visit", "metric", "what", "kind", "p", "q", "visits"]
    pd.testing.assert_frame_equal(one.flags[unitless], other.flags[unitless])


@given(
    courses(),
    st.sampled_from([Better.HIGHER, Better.LOWER, Better.NONE]),
    figures_in_use,
    st.integers(-64, 64),
)
def test_a_constant_added_to_every_visit_changes_no_verdict_on_a_difference(
    course: list[AVisit], better: Better, figures: tuple[ErrorFigure, ...], shift: int
) -> None:
    values, visits = frames_of(course)
    # Multiples of 1/64 keep the sums exact.
    values = values.assign(mean=(values["mean"] * 64).round() / 64)
    metric = an_angle(better=better)
    one = _judge((values, visits), metric, figures)
    other = _judge((values.assign(mean=values["mean"] + shift), visits), metric, figures)
    np.testing.assert_allclose(one.verdicts["change"], other.verdicts["change"], atol=1e-9)
    near = np.abs(np.abs(one.verdicts["change"]) - one.verdicts["mdc95"]) < 1e-9
    pd.testing.assert_frame_equal(one.verdicts[WORDS][~near], other.verdicts[WORDS][~near])


@given(courses(), metrics(), figures_in_use, st.randoms())
def test_the_order_of_rows_and_of_trials_changes_nothing(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...], random
) -> None:
    mixed = [
        replace(
            visit,
            readings={
                place: random.sample(list(numbers), len(numbers))
                for place, numbers in visit.readings.items()
            },
        )
        for visit in course
    ]
    values, visits = frames_of(course)
    others, _ = frames_of(mixed)
    seed = random.randrange(1000)
    one = _judge((values, visits), metric, figures)
    other = _judge(
        (
            others.sample(frac=1, random_state=seed),
            visits.sample(frac=1, random_state=seed),
        ),
        metric,
        figures,
    )
    for name in ("verdicts", "measures", "references", "expected"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name), rtol=1e-9)


@given(courses(), metrics(), figures_in_use)
def test_a_change_below_the_mdc_is_never_called_real(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> None:
    found = _judge(frames_of(course), metric, figures).verdicts
    real = found["call"].isin([IMPROVED, WORSENED])
    assert (found["change"].abs() > found["mdc95"])[real].all()
    assert (found["reason"] == -1)[real].all()
    cannot = found["call"] == code_of(Call.CANNOT_SAY)
    assert (found["reason"] >= 0)[cannot].all()


@given(courses(), metrics())
def test_a_visit_with_fewer_trials_than_the_figures_never_uses_it_silently(
    course: list[AVisit], metric: Metric
) -> None:
    found = _judge(frames_of(course), metric, (a_figure(sem=2.0, sem_trials=3),))
    few = found.measures[found.measures["n"] < 3]
    assert (few["bridged"] | few["sem"].isna()).all()
    assert (few["sem"].isna() | (few["sem"] >= 2.0) | (few["what"] == 3)).all()
    enough = found.measures[(found.measures["n"] >= 3) & (found.measures["what"] < 3)]
    assert (enough["sem"] == 2.0).all()
    unusable = found.verdicts["mdc95"].isna() & found.verdicts["baseline"].notna()
    told = found.verdicts[unusable & found.verdicts["latest"].notna()]
    assert (told["reason"] == code_of(Reason.FEWER_TRIALS_THAN_FIGURE)).all()


@given(courses(), metrics(), figures_in_use)
def test_crossing_over_is_never_called_an_improvement(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> None:
    found = _judge(frames_of(course), metric, figures).verdicts
    crossed = found["moved"] == code_of(SideMoved.CROSSED_OVER)
    assert not (found["call"] == IMPROVED)[crossed].any()
    asymmetry = found[found["what"] == code_of(What.ASYMMETRY)]
    improved = asymmetry[asymmetry["call"] == IMPROVED]
    assert (improved["latest"].abs() < improved["baseline"].abs()).all()


@given(courses(), metrics(), figures_in_use)
def test_a_flag_never_contradicts_the_verdict_beside_it(
    course: list[AVisit], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> None:
    found = _judge(frames_of(course), metric, figures)
    beside = found.flags.merge(found.verdicts, on=["runner", "visit", "metric", "what"])
    assert len(beside) == len(found.flags)
    grown = beside[beside["kind"] == 0]
    assert (grown["call"] == WORSENED).all()
    assert ((found.flags["q"] <= 0.10) & (found.flags["p"] <= 0.025)).all()
    fell = beside[beside["kind"] == code_of(FlagKind.BETTER_SIDE_FELL)]
    assert (fell["latest"].abs() < fell["baseline"].abs()).all()


# Each example judges several caseloads.
@settings(max_examples=20)
@given(st.lists(courses(), min_size=2, max_size=4), metrics(), figures_in_use)
def test_a_runner_is_judged_alike_alone_and_within_a_caseload(
    several: list[list[AVisit]], metric: Metric, figures: tuple[ErrorFigure, ...]
) -> None:
    values, visits = frames_of(*several)
    together = _judge((values, visits), metric, figures)
    for runner in visits["runner"].unique():
        alone = _judge(
            (values[values["runner"] == runner], visits[visits["runner"] == runner]),
            metric,
            figures,
        )
        for name in ("verdicts", "measures", "references", "flags", "expected"):
            whole = getattr(together, name)
            pd.testing.assert_frame_equal(
                whole[whole["runner"] == runner].reset_index(drop=True), getattr(alone, name)
            )


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"visit": 999}, "visit is 999; expected an id"),
        ({"metric": 3}, "metric is 3"),
        ({"side": 3}, "side is 3"),
        ({"n": 0}, "n is 0; expected one trial"),
        ({"side": 0}, "same visit, metric and side"),
    ],
)
def test_frames_that_contradict_themselves_are_refused(
    change: dict[str, int], message: str
) -> None:
    values, visits = frames_of([AVisit(readings={(0, 0): [1.0], (0, 1): [2.0]})])
    with pytest.raises(ValueError, match=message):
        judge(values.assign(**change), visits, (an_angle(),), ())


def test_a_visit_that_stands_twice_is_refused() -> None:
    values, visits = frames_of([AVisit(readings={(0, 0): [1.0]})])
    with pytest.raises(ValueError, match="one row a visit"):
        judge(values, pd.concat([visits, visits]), (an_angle(),), ())


def test_an_empty_caseload_gives_empty_frames_of_the_same_columns() -> None:
    values, visits = frames_of([AVisit(readings={(0, 0): [1.0], (0, 1): [2.0]})])
    full = judge(values, visits, (an_angle(),), ())
    for found in (
        judge(values[:0], visits[:0], (an_angle(),), ()),
        judge(values[:0], visits, (), ()),
    ):
        for name in ("verdicts", "measures", "references", "flags"):
            assert getattr(found, name).empty
            assert list(getattr(found, name)) == list(getattr(full, name))
