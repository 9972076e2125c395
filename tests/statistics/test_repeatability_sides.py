"""Left, right and the asymmetry itself, measured repeatedly."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.domain.metrics import AsymmetryForm
from casebook.statistics.repeatability.results import SidedRepeatability
from casebook.statistics.repeatability.sides import analyse_sides


def drawn(  # both sides share part of a session's error, with the correlation given
    *, n: int = 12, k: int = 2, m: int = 1, correlation: float = 0.0, seed: int = 1
) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    shape = np.linalg.cholesky(np.array([[1.0, correlation], [correlation, 1.0]]))
    rows = []
    for subject in range(n):
        truth = rng.normal(60, 6, 2)
        for session in range(k):
            level = truth + 2.0 * shape @ rng.normal(0, 1, 2)
            for trial in range(1, m + 1):
                reading = level + rng.normal(0, 1.5, 2)
                rows += [
                    (f"s{subject}", str(session), side, trial, value)
                    for side, value in zip(("left", "right"), reading, strict=True)
                ]
    return pd.DataFrame(rows, columns=["subject", "session", "side", "trial", "value"])


def told(found: SidedRepeatability, words: str) -> bool:
    parts = (found.pooled, found.left, found.right, found.asymmetry)
    return any(words in one for part in parts for one in (*part.warnings, *part.notes))


# An identity: var(R - L) = var L + var R - 2 cov, of deviations within subjects.
@pytest.mark.parametrize("correlation", [-0.8, 0.0, 0.9])
def test_the_error_of_the_difference_is_that_of_the_sides_less_their_covariance(
    correlation: float,
) -> None:
    found = analyse_sides(drawn(correlation=correlation))
    of_sides = found.left.sem_one_way.estimate**2 + found.right.sem_one_way.estimate**2
    assert found.asymmetry.sem_one_way.estimate**2 == pytest.approx(
        of_sides - 2 * found.error_covariance
    )
    assert found.error_correlation == pytest.approx(
        found.error_covariance
        / (found.left.sem_one_way.estimate * found.right.sem_one_way.estimate)
    )


def test_errors_that_go_together_are_found_and_pointed_out() -> None:
    together = analyse_sides(drawn(n=40, m=4, correlation=0.9))
    assert together.error_correlation > 0.5
    assert told(together, "go together")
    apart = analyse_sides(drawn(n=40, m=4, correlation=0.0))
    assert abs(apart.error_correlation) < 0.4
    parts, loose = together.pooled.nested, apart.pooled.nested
    assert parts is not None
    assert loose is not None
    assert parts.df_sessions < loose.df_sessions <= 80
    assert not told(apart, "go together")


@given(st.integers(0, 50))
def test_swapping_the_sides_flips_the_sign_and_nothing_else(seed: int) -> None:
    frame = drawn(n=6, m=2, correlation=0.3, seed=seed)
    swapped = frame.assign(side=frame["side"].map({"left": "right", "right": "left"}))
    one, other = analyse_sides(frame), analyse_sides(swapped)
    assert other.asymmetry.mean == pytest.approx(-one.asymmetry.mean)
    assert other.asymmetry.mdc95 == one.asymmetry.mdc95 or (
        other.asymmetry.mdc95.agreement == pytest.approx(one.asymmetry.mdc95.agreement)
    )
    assert other.error_covariance == pytest.approx(one.error_covariance)
    assert other.left.mdc95.agreement == pytest.approx(one.right.mdc95.agreement)
    parts, swapped_parts = one.asymmetry.nested, other.asymmetry.nested
    assert parts is not None
    assert swapped_parts is not None
    assert swapped_parts.between_sd.estimate == pytest.approx(parts.between_sd.estimate)


def test_both_sides_pooled_lie_between_them() -> None:
    found = analyse_sides(drawn(m=5))
    assert found.pooled.n_subjects == 24
    assert told(found, "counted as two subjects")
    assert any("Few limbs (24)" in one for one in found.pooled.warnings)
    for part in ("between_sd", "within_sd", "sem_of_mean"):
        one, both, other = sorted(
            getattr(side.nested, part).estimate for side in (found.left, found.pooled, found.right)
        )
        assert one <= both <= other
        assert getattr(found.pooled.nested, part).estimate == pytest.approx(
            math.sqrt(
                (
                    getattr(found.left.nested, part).estimate ** 2
                    + getattr(found.right.nested, part).estimate ** 2
                )
                / 2
            )
        )


def test_trials_that_pair_and_trials_that_do_not_tell_nearly_the_same_parts() -> None:
    frame = drawn(n=30, m=6, seed=3)
    paired = analyse_sides(frame)
    ragged = analyse_sides(frame[~((frame["side"] == "left") & (frame["trial"] == 6))])
    assert told(ragged, "do not pair")
    assert not told(paired, "do not pair")
    one, other = paired.asymmetry.nested, ragged.asymmetry.nested
    assert one is not None
    assert other is not None
    assert other.within_sd.estimate == pytest.approx(one.within_sd.estimate, rel=0.1)
    assert other.between_sd.estimate == pytest.approx(one.between_sd.estimate, rel=0.1)


@pytest.mark.parametrize("form", [AsymmetryForm.PERCENT, AsymmetryForm.LOG_RATIO])
def test_a_relative_asymmetry_has_parts_in_percent(form: AsymmetryForm) -> None:
    frame = drawn(n=20, m=6, seed=4)
    paired = analyse_sides(frame, form=form)
    ragged = analyse_sides(frame[~((frame["side"] == "right") & (frame["trial"] == 1))], form=form)
    difference = analyse_sides(frame)
    assert paired.asymmetry_form == form.value
    assert paired.asymmetry.nested is not None
    assert ragged.asymmetry.nested is not None
    assert difference.asymmetry.nested is not None
    # Sides near 60: a difference of one is about 1.67 percent.
    scaled = difference.asymmetry.nested.within_sd.estimate / 0.6
    assert paired.asymmetry.nested.within_sd.estimate == pytest.approx(scaled, rel=0.05)
    assert ragged.asymmetry.nested.within_sd.estimate == pytest.approx(scaled, rel=0.1)


def test_sessions_in_which_the_asymmetry_has_no_meaning_are_left_out() -> None:
    frame = drawn(m=1)
    odd = (frame["subject"] == "s0") & (frame["side"] == "left")
    found = analyse_sides(
        frame.assign(value=frame["value"].where(~odd, -60.0)), form=AsymmetryForm.LOG_RATIO
    )
    assert found.asymmetry.n_subjects == 11
    assert found.left.n_subjects == 12
    with pytest.raises(ValueError, match="no session has both sides"):
        analyse_sides(frame.assign(value=-frame["value"]), form=AsymmetryForm.LOG_RATIO)


def test_no_session_with_both_sides_gives_no_asymmetry() -> None:
    frame = drawn(n=4)
    other_day = frame[(frame["side"] == "left") == (frame["session"] == "0")]
    with pytest.raises(ValueError, match="no session has both sides"):
        analyse_sides(other_day)


def test_one_session_tells_no_covariance_and_only_the_parts_within() -> None:
    found = analyse_sides(drawn(k=1, m=4))
    assert math.isnan(found.error_covariance)
    assert math.isnan(found.error_correlation)
    assert found.pooled.nested is not None
    assert math.isnan(found.pooled.nested.between_sd.estimate)
    ragged = drawn(k=1, m=4)
    ragged = ragged[~((ragged["side"] == "left") & (ragged["trial"] == 4))]
    assert analyse_sides(ragged).asymmetry.nested is None


def test_sides_that_never_vary_have_no_correlation_and_no_parts() -> None:
    frame = drawn(m=3)
    steady = frame.assign(value=frame["subject"].str[1:].astype(float) + 50.0)
    found = analyse_sides(steady)
    assert math.isnan(found.error_correlation)
    ragged = steady[~((steady["side"] == "left") & (steady["trial"] == 3))]
    assert analyse_sides(ragged).asymmetry.nested is None


def test_means_of_trials_tell_no_parts() -> None:
    frame = drawn(m=1).drop(columns="trial").assign(trials_in_value=5)
    found = analyse_sides(frame)
    assert found.pooled.nested is None
    assert found.asymmetry.nested is None
    assert found.asymmetry.trials_most == 5
    single = analyse_sides(drawn(m=1).drop(columns="trial"))
    assert single.asymmetry.trials_most == 1


def test_raters_are_kept_apart_when_sides_are_compared() -> None:
    frame = drawn(k=2)
    both = pd.concat([frame.assign(rater="AB"), frame.assign(rater="CD", value=frame["value"] + 1)])
    found = analyse_sides(both)
    assert found.asymmetry.n_raters == 2
    assert found.asymmetry.raters is not None


def test_grades_of_both_sides_have_a_kappa_and_so_has_their_difference() -> None:
    frame = drawn(n=20).assign(value=lambda table: np.clip((table["value"] - 50) // 7, 0, 2))
    found = analyse_sides(frame, grades=(0.0, 1.0, 2.0))
    assert found.pooled.grading is not None
    assert found.asymmetry.grading is not None
    assert found.asymmetry.grading.grades == (-2.0, -1.0, 0.0, 1.0, 2.0)
    assert found.pooled.grading.pairs == 40
