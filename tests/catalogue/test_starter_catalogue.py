"""The starter catalogue keeps its names, its units and its sources."""

from __future__ import annotations

import math
import re
from statistics import NormalDist

import pytest

from casebook.catalogue.loader import starter_figures, starter_metrics
from casebook.catalogue.units import is_ucum
from casebook.domain.metrics import (
    AppliesTo,
    AsymmetryForm,
    Better,
    ErrorFigure,
    ErrorOrigin,
    FloorKind,
    Metric,
    MetricGroup,
    Scale,
)

METRICS = {metric.key: metric for metric in starter_metrics()}
FIGURES = {(figure.metric, figure.applies_to): figure for figure in starter_figures()}

# The keys that files and scripts of clinics rely on; they may never go.
PROMISED = [
    "contralateral_pelvic_drop",
    "trunk_side_lean",
    "rearfoot_eversion_peak",
    "foot_inversion_at_contact",
    "step_width",
    "foot_ahead_of_body",
    "foot_angle_at_contact",
    "shank_angle_at_contact",
    "knee_flexion_at_contact",
    "knee_flexion_midstance",
    "ankle_dorsiflexion_peak",
    "heel_rise_timing",
    "hip_extension_toe_off",
    "forward_lean",
    "arm_swing_crossing",
    "cadence",
    "contact_time",
    "flight_time",
    "step_length",
    "forefoot_varus",
    "forefoot_compensation",
    "calcaneal_eversion_range",
    "tibial_varum",
    "first_ray_mobility",
    "lunge_distance",
    "navicular_drop",
    "hip_abductor_strength",
    "hip_extensor_strength",
    "heel_raise_count",
    "hop_distance",
    "pain_running",
    "pain_rest",
]

WITHOUT_FIGURE = [
    "cadence",
    "contact_time",
    "flight_time",
    "step_length",
    "stride_length",
    "step_width",
    "forward_lean",
    "foot_ahead_of_body",
    "hip_extension_toe_off",
    "heel_rise_timing",
    "rearfoot_eversion_peak",
    "forefoot_varus",
    "first_ray_mobility",
    "calcaneal_eversion_range",
    "tibial_varum",
    "big_toe_extension",
    "hip_abductor_strength",
    "hip_extensor_strength",
    "calf_strength",
    "visa_a_total",
    "akps_total",
]

# metric, what, published minimal detectable change, its level in percent; source in the file.
PUBLISHED = [
    # Dingenen 2018, Phys Ther Sport 33:40-47: upper ends of the SDD bands (an SDD is 95 %).
    ("foot_angle_at_contact", AppliesTo.SIDE_VALUE, 2.3, 95),
    ("trunk_side_lean", AppliesTo.SIDE_VALUE, 2.3, 95),
    ("knee_travel_to_midline", AppliesTo.SIDE_VALUE, 2.3, 95),
    ("shank_angle_at_contact", AppliesTo.SIDE_VALUE, 4.8, 95),
    ("ankle_dorsiflexion_peak", AppliesTo.SIDE_VALUE, 4.8, 95),
    ("knee_flexion_midstance", AppliesTo.SIDE_VALUE, 3.8, 95),
    ("contralateral_pelvic_drop", AppliesTo.SIDE_VALUE, 2.8, 95),
    # Damsted 2015, Int J Sports Phys Ther 10(2):147-154: half of 14 deg between days, 95 %.
    ("knee_flexion_at_contact", AppliesTo.SIDE_VALUE, 7.0, 95),
    # Powden 2015, Man Ther: 1.9 cm and 4.7 deg, level not reported, read as 90 %.
    ("lunge_distance", AppliesTo.SIDE_VALUE, 1.9, 90),
    ("lunge_angle", AppliesTo.SIDE_VALUE, 4.7, 90),
    # Chisholm 2012, Physiother Can 64(4):347-355: side difference, level not reported.
    ("lunge_distance", AppliesTo.ASYMMETRY, 1.5, 90),
    # 10.1055/a-1304-3677: 1.77 points, level not reported.
    ("pain_rest", AppliesTo.SIDE_VALUE, 1.77, 90),
    ("pain_running", AppliesTo.SIDE_VALUE, 1.77, 90),
    ("pain_after", AppliesTo.SIDE_VALUE, 1.77, 90),
    # Binkley 1999, Phys Ther 79(4):371-383: 9 points at 90 %.
    ("lefs_total", AppliesTo.SIDE_VALUE, 9.0, 90),
]
# Figures that their source gives as an SEM; the MDC95 is 1.96 * sqrt 2 times as much (Weir 2005,
# J Strength Cond Res 19(1):231-240).
PUBLISHED_SEM = [
    ("heel_raise_count", 2.07, 5.7),  # Ross and Fontenot 2000, J Sport Rehabil 9(2):117
    ("hop_distance", 4.6, 12.8),  # Ross 2002, J Strength Cond Res 16(4)
    ("navicular_drop", 2.72, 7.5),  # J Orthop Sports Phys Ther 1993;18:553-558, between raters
    ("uwri_total", 1.47, 4.1),  # Nelson 2019, J Orthop Sports Phys Ther 49(10):751-760
]


def mdc(figure: ErrorFigure, level: float) -> float:
    assert figure.sem is not None
    z = NormalDist().inv_cdf(0.5 + level / 200)
    return z * math.sqrt(2) * figure.sem


@pytest.mark.parametrize("key", PROMISED)
def test_every_promised_key_is_in_the_catalogue(key: str) -> None:
    assert key in METRICS


@pytest.mark.parametrize("metric", METRICS.values(), ids=METRICS)
def test_every_metric_is_fully_described(metric: Metric) -> None:
    assert metric.starter
    assert metric.active
    # The Unified Code for Units of Measure, as the ucumvert library parses it.
    assert is_ucum(metric.unit)
    assert metric.sign_convention.endswith(".")
    assert metric.sources
    if metric.group is not MetricGroup.REPORTED:
        assert metric.view
    if metric.group in {MetricGroup.POSTERIOR_VIEW, MetricGroup.SIDE_VIEW}:
        assert metric.plane
        assert metric.phase


def test_the_order_is_the_one_in_which_a_clinician_looks() -> None:
    positions = [metric.position for metric in METRICS.values()]
    assert positions == sorted(set(positions))
    groups = list(dict.fromkeys(metric.group for metric in METRICS.values()))
    assert groups == list(MetricGroup)


def test_only_times_between_two_frames_take_their_floor_from_the_frame_rate() -> None:
    by_frames = {key for key, metric in METRICS.items() if metric.floor_kind is FloorKind.INTERVAL}
    assert by_frames == {"contact_time", "flight_time", "step_time"}


def test_angles_and_grades_are_never_compared_by_a_ratio() -> None:
    # An angle's zero is a convention; the steps of a grade are not of one size (Stevens 1946,
    # On the theory of scales of measurement, from memory).
    for metric in METRICS.values():
        if metric.unit == "deg":
            assert metric.asymmetry_form in {AsymmetryForm.DIFFERENCE, AsymmetryForm.NONE}
        if metric.scale is Scale.GRADE:
            assert metric.asymmetry_form is AsymmetryForm.NONE


@pytest.mark.parametrize("key", ["cadence", "weekly_distance", "speed", "forefoot_varus"])
def test_no_direction_is_claimed_where_none_can_be_defended(key: str) -> None:
    assert METRICS[key].better is Better.NONE


@pytest.mark.parametrize(
    ("key", "better"),
    [
        # Common practice, no source.
        ("foot_ahead_of_body", Better.LOWER),
        ("arm_swing_crossing", Better.LOWER),
        ("contralateral_pelvic_drop", Better.LOWER),
        ("ankle_dorsiflexion_peak", Better.HIGHER),
        ("knee_flexion_at_contact", Better.RANGE),
        ("hip_abductor_strength", Better.HIGHER),
        ("pain_running", Better.LOWER),
    ],
)
def test_directions_follow_the_trade_where_it_has_one(key: str, better: Better) -> None:
    assert METRICS[key].better is better


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("pain_running", 2),  # Salaffi 2004, Eur J Pain 8(4):283-291: 'much better'
        ("uwri_total", 5),  # Nelson 2020, J Orthop Sports Phys Ther 50(12):702-710
        ("lefs_total", 9),  # Binkley 1999, Phys Ther 79(4):371-383
        ("visa_a_total", 14),  # Lagas 2021, J Orthop Sports Phys Ther, at 12 weeks
        ("akps_total", 10),  # Crossley 2004, Arch Phys Med Rehabil 85(5):815-822
    ],
)
def test_important_changes_are_those_that_were_published(key: str, change: float) -> None:
    assert METRICS[key].important_change == change


def test_a_questionnaire_is_kept_as_its_total_and_nothing_else() -> None:
    totals = [metric for metric in METRICS.values() if metric.key.endswith("_total")]
    assert len(totals) == 4
    for metric in totals:
        assert metric.scale is Scale.SCORE
        assert metric.grades == ()
        assert "total only" in metric.notes
        assert "?" not in metric.notes + metric.sign_convention
    # One metric a questionnaire: no key that could hold an item of it.
    for name in ("uwri", "lefs", "visa", "akps", "koos", "psfs"):
        assert sum(name in key for key in METRICS) <= 1


@pytest.mark.parametrize("figure", FIGURES.values(), ids=lambda f: f"{f.metric}-{f.applies_to}")
def test_every_figure_says_who_was_measured_how_and_where_it_was_published(
    figure: ErrorFigure,
) -> None:
    assert figure.origin is ErrorOrigin.PUBLISHED
    assert re.search(r"\b(19|20)\d\d\b|10\.\d{4}/", figure.source)
    assert figure.population
    assert figure.averaged
    assert re.search(r"\d", figure.published_as)


@pytest.mark.parametrize("key", WITHOUT_FIGURE)
def test_where_the_literature_gives_no_defensible_figure_there_is_none(key: str) -> None:
    assert key in METRICS
    assert not any(metric == key for metric, _ in FIGURES)


def test_no_grade_has_a_standard_error() -> None:
    assert not any(METRICS[metric].scale is Scale.GRADE for metric, _ in FIGURES)


def test_the_lunge_is_the_only_metric_with_an_error_of_its_side_difference() -> None:
    assert [m for m, what in FIGURES if what is AppliesTo.ASYMMETRY] == ["lunge_distance"]


def test_every_figure_is_checked_here_against_its_publication() -> None:
    checked = {(key, what) for key, what, _, _ in PUBLISHED}
    checked |= {(key, AppliesTo.SIDE_VALUE) for key, _, _ in PUBLISHED_SEM}
    assert checked == set(FIGURES)


@pytest.mark.parametrize(("key", "what", "published", "level"), PUBLISHED)
def test_the_sem_gives_back_the_published_detectable_change(
    key: str, what: AppliesTo, published: float, level: float
) -> None:
    # Half of the last digit kept in the file, times z * sqrt 2.
    assert mdc(FIGURES[key, what], level) == pytest.approx(published, abs=2e-4)


def test_knee_flexion_in_midstance_takes_1_96_times_root_2_times_its_sem_to_3_8_degrees() -> None:
    figure = FIGURES["knee_flexion_midstance", AppliesTo.SIDE_VALUE]
    assert figure.sem is not None
    # Dingenen 2018: 3.8 deg; 1.96 is z rounded, which moves it by 0.0001.
    assert figure.sem * 1.96 * math.sqrt(2) == pytest.approx(3.8, abs=5e-4)


@pytest.mark.parametrize(("key", "sem", "published"), PUBLISHED_SEM)
def test_a_published_sem_is_taken_as_it_stands(key: str, sem: float, published: float) -> None:
    figure = FIGURES[key, AppliesTo.SIDE_VALUE]
    assert figure.sem == sem
    # The references round to a tenth.
    assert mdc(figure, 95) == pytest.approx(published, abs=0.051)


@pytest.mark.parametrize("figure", FIGURES.values(), ids=lambda f: f"{f.metric}-{f.applies_to}")
def test_a_level_that_was_not_reported_is_left_out_and_the_wider_reading_said(
    figure: ErrorFigure,
) -> None:
    if "level not reported" in figure.published_as:
        assert figure.published_level is None
        assert "90 % (the wider reading)" in figure.published_as


@pytest.mark.parametrize(
    "key",
    [key for key, what, _, level in PUBLISHED if level == 95 and what is AppliesTo.SIDE_VALUE],
)
def test_a_figure_for_a_mean_of_seven_steps_is_not_offered_for_one(key: str) -> None:
    assert FIGURES[key, AppliesTo.SIDE_VALUE].sem_trials == 7
