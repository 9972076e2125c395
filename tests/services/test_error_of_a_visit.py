"""The error of a visit's mean through the store: the best figure, scaled, floored, and named.

Numbers by hand from sem2 = sb2 + max(sw2, floor2) / n and MDC95 = 1.959964 sqrt(sem2 + sem2).
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest

from casebook.domain.metrics import (
    AppliesTo,
    ErrorFigure,
    ErrorOrigin,
    FloorKind,
)
from casebook.domain.sides import Side
from casebook.domain.verdicts import Call, Reason, Verdict, What
from casebook.domain.visits import Conditions, Value, VisitKind, value_of_mean, value_of_trials
from casebook.services.cataloguing import adopt_figure, retire_figure, save_metric
from casebook.services.keeping import Casebook
from casebook.services.recording import record_visit
from casebook.services.reviewing import review_runner
from tests.builders import BEND, QUALITY, a_metric, a_visit
from tests.services.test_reviewing import START

Z = 1.959963984540054
CONTACT = "test_contact"


def figure(origin: ErrorOrigin, source: str, **numbers: float | None) -> ErrorFigure:
    return ErrorFigure(
        metric=BEND,
        applies_to=AppliesTo.SIDE_VALUE,
        origin=origin,
        source=source,
        **numbers,  # type: ignore[arg-type]
    )


def seen(casebook: Casebook, week: int, *values: Value, frames: float = 120.0) -> None:
    record_visit(
        casebook,
        a_visit(
            visited_on=START + timedelta(weeks=week),
            kind=VisitKind.BASELINE if week == 0 else VisitKind.REVIEW,
            conditions=Conditions(frames_per_s=frames),
            values=values,
        ),
        by="ab",
    )


def verdict(casebook: Casebook, metric: str = BEND, what: What = What.LEFT) -> Verdict:
    found = review_runner(casebook, "T-001").verdicts
    return next(v for v in found if (v.metric, v.what) == (metric, what))


def test_the_best_figure_there_is_is_used_and_its_origin_and_source_travel_with_the_verdict(
    clinic: Casebook,
) -> None:
    seen(clinic, 0, value_of_trials(BEND, Side.LEFT, [19.0, 20.0, 21.0]))
    seen(clinic, 8, value_of_trials(BEND, Side.LEFT, [29.0, 30.0, 31.0]))
    bound = verdict(clinic)
    assert (bound.error_origin, bound.error_source) == (ErrorOrigin.WITHIN_SESSION, "")
    assert (bound.verdict, bound.reason) == (Call.CANNOT_SAY, Reason.ONLY_WITHIN_SESSION)
    assert bound.mdc95 == pytest.approx(Z * (2 * 1.0 / 3) ** 0.5)

    adopt_figure(clinic, figure(ErrorOrigin.PUBLISHED, "An article", sem=2.0, sem_trials=3))
    published = verdict(clinic)
    assert (published.error_origin, published.error_source) == (
        ErrorOrigin.PUBLISHED,
        "An article",
    )
    assert (published.verdict, published.bridged) == (Call.IMPROVED, False)
    assert published.mdc95 == pytest.approx(Z * 8.0**0.5)

    adopt_figure(clinic, figure(ErrorOrigin.OWN, "Our study", between_sd=1.0, within_sd=3.0))
    own = verdict(clinic)
    assert (own.error_origin, own.error_source) == (ErrorOrigin.OWN, "Our study")
    # Scaled to the three trials that were averaged.
    assert own.mdc95 == pytest.approx(Z * (2 * (1.0 + 9.0 / 3)) ** 0.5)
    assert (own.latest_sem, own.best_sem) == (pytest.approx(2.0), 1.0)

    for origin in (ErrorOrigin.OWN, ErrorOrigin.PUBLISHED):
        retire_figure(clinic, BEND, applies_to=AppliesTo.SIDE_VALUE, origin=origin)
    assert verdict(clinic) == bound


def test_more_trials_at_a_visit_shrink_its_error(clinic: Casebook) -> None:
    adopt_figure(clinic, figure(ErrorOrigin.OWN, "Our study", between_sd=1.0, within_sd=3.0))
    seen(clinic, 0, value_of_mean(BEND, Side.LEFT, 20.0, 1))
    seen(clinic, 4, value_of_mean(BEND, Side.LEFT, 26.0, 9))
    told = verdict(clinic)
    assert (told.baseline_sem, told.latest_sem) == (
        pytest.approx(10.0**0.5),
        pytest.approx(2.0**0.5),
    )
    assert told.latest_trials == 9


def test_a_figure_for_a_mean_of_seven_is_not_used_for_a_single_mean_without_trials(
    clinic: Casebook,
) -> None:
    adopt_figure(clinic, figure(ErrorOrigin.PUBLISHED, "An article", sem=2.0, sem_trials=7))
    seen(clinic, 0, value_of_mean(BEND, Side.LEFT, 20.0, 7))
    seen(clinic, 8, value_of_mean(BEND, Side.LEFT, 40.0, 1))
    told = verdict(clinic)
    assert (told.verdict, told.reason) == (Call.CANNOT_SAY, Reason.FEWER_TRIALS_THAN_FIGURE)
    assert (told.mdc95, told.p_better, told.bridged) == (None, None, False)
    assert told.error_origin is ErrorOrigin.PUBLISHED


def test_the_error_of_a_reading_is_never_below_its_resolution(clinic: Casebook) -> None:
    adopt_figure(clinic, figure(ErrorOrigin.OWN, "Our study", between_sd=0.1, within_sd=0.0))
    seen(clinic, 0, value_of_mean(BEND, Side.LEFT, 20.0, 1))
    seen(clinic, 8, value_of_mean(BEND, Side.LEFT, 20.0, 1))
    # Read to 1 degree: 1 / sqrt(12).
    assert verdict(clinic).latest_sem == pytest.approx((0.01 + 1.0 / 12.0) ** 0.5)


@pytest.mark.parametrize("frames", [60.0, 240.0])
def test_the_error_of_a_duration_is_never_below_what_the_frame_rate_allows(
    sqlite_clinic: Casebook, frames: float
) -> None:
    save_metric(
        sqlite_clinic,
        a_metric(key=CONTACT, unit="ms", resolution=1.0, floor_kind=FloorKind.INTERVAL),
        expected_revision=None,
    )
    adopt_figure(
        sqlite_clinic,
        ErrorFigure(
            metric=CONTACT,
            applies_to=AppliesTo.SIDE_VALUE,
            origin=ErrorOrigin.OWN,
            between_sd=1.0,
            within_sd=0.5,
            source="Our study",
        ),
    )
    for week in (0, 8):
        seen(sqlite_clinic, week, value_of_mean(CONTACT, Side.LEFT, 250.0, 4), frames=frames)
    # (1000 / frames) / sqrt(6) for one duration, averaged over four.
    floor2 = (1000.0 / frames) ** 2 / 6.0
    assert verdict(sqlite_clinic, CONTACT).latest_sem == pytest.approx((1.0 + floor2 / 4) ** 0.5)


def test_grades_are_judged_by_the_step_of_repeat_grading(clinic: Casebook) -> None:
    seen(clinic, 0, value_of_mean(QUALITY, Side.LEFT, 2.0, 1))
    seen(clinic, 8, value_of_mean(QUALITY, Side.LEFT, 0.0, 1))
    assert verdict(clinic, QUALITY).reason is Reason.NO_ERROR_FIGURE
    step = ErrorFigure(
        metric=QUALITY,
        applies_to=AppliesTo.SIDE_VALUE,
        origin=ErrorOrigin.OWN,
        grade_step=1,
        source="regrading",
    )
    adopt_figure(clinic, step)
    told = verdict(clinic, QUALITY)
    assert (told.verdict, told.mdc95, told.error_source) == (Call.IMPROVED, 1.0, "regrading")
    assert (told.se_change, told.p_better) == (None, None)


def marked(side: Side, trials: list[float], marking_sd: float | None, metric: str = BEND) -> Value:
    return replace(value_of_trials(metric, side, trials), marking_sd=marking_sd)


def test_a_known_error_of_marking_lies_under_that_of_a_session_and_never_on_top_of_it(
    clinic: Casebook,
) -> None:
    """MDC95 by hand: z sqrt(sem2 + sem2), sem2 = 2^2 + max(1, marking)^2 / 3."""
    adopt_figure(clinic, figure(ErrorOrigin.OWN, "own study", between_sd=2.0, within_sd=1.0))
    for week, value in ((0, 20.0), (8, 30.0)):
        trials = [value - 1.0, value, value + 1.0]
        seen(clinic, week, marked(Side.LEFT, trials, 3.0), marked(Side.RIGHT, trials, 0.5))
    below, above = verdict(clinic, what=What.RIGHT), verdict(clinic, what=What.LEFT)
    assert below.mdc95 == pytest.approx(Z * math.sqrt(2 * (4 + 1 / 3)))
    assert above.mdc95 == pytest.approx(Z * math.sqrt(2 * (4 + 9 / 3)))
    both = verdict(clinic, what=What.ASYMMETRY)
    assert both.mdc95 == pytest.approx(Z * math.sqrt(2 * (4 + 1 / 3 + 4 + 9 / 3)))


def test_an_error_that_moves_the_sides_apart_counts_twice_in_their_asymmetry(
    clinic: Casebook,
) -> None:
    """A camera that leans leans outwards for one side only: errors add, and not their squares."""
    key = "lower_leg_angle_posterior"  # no error figure of it was published
    for week, value in ((0, 4.0), (8, 9.0)):
        trials = [value - 0.1, value, value + 0.1]
        seen(
            clinic,
            week,
            marked(Side.LEFT, trials, 3.0, key),
            marked(Side.RIGHT, [one + 2.0 for one in trials], 3.0, key),
        )
    side, both = verdict(clinic, key, What.LEFT), verdict(clinic, key, What.ASYMMETRY)
    assert side.mdc95 == pytest.approx(Z * math.sqrt(2 * 9 / 3))
    assert both.mdc95 == pytest.approx(Z * math.sqrt(2) * 2 * math.sqrt(9 / 3))
