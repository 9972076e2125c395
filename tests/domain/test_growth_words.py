from __future__ import annotations

import pytest

from casebook.domain.audit_growth import FitCheck
from casebook.domain.growth_words import NO_CAUSE, model_words


def test_what_was_fitted_and_what_was_given_up_are_said_and_no_cause_is_claimed() -> None:
    told = model_words(
        "intercept",
        (("intercept_and_slope", "not_converged"),),
        converged=True,
        error_share=0.25,
    )
    assert told[0].startswith("Fitted by restricted maximum likelihood: a level of its own")
    assert "because the fit did not settle" in told[1]
    assert "makes up 25 % of the residual variance" in told[2]
    assert told[-1] == NO_CAUSE


def test_a_model_without_levels_of_their_own_warns_of_its_standard_errors() -> None:
    told = " ".join(
        model_words(
            "none",
            (("intercept", "at_the_edge"),),
            converged=False,
            error_share=1.5,
            error_too_large=True,
        )
    )
    assert "standard errors can be too small" in told
    assert "take no number of it" in told
    assert "the error figure may be too large" in told


def test_residuals_a_little_smaller_than_their_error_accuse_nobody() -> None:
    told = " ".join(model_words("intercept", (), converged=True, error_share=1.1))
    assert "all of the residual variance, as far as these rows tell" in told
    assert "too large" not in told


def test_a_model_that_was_fitted_as_asked_needs_no_more_words() -> None:
    assert len(model_words("none", (), converged=True, error_share=None)) == 2


@pytest.mark.parametrize(
    ("check", "said"),
    [
        (FitCheck.AGREES, "is flat there"),
        (FitCheck.REFITTED, "that library's own"),
        (FitCheck.UNCONFIRMED, "with caution"),
    ],
)
def test_what_the_second_judge_said_is_told(check: FitCheck, said: str) -> None:
    told = model_words("intercept", (), converged=True, error_share=None, check=check)
    assert said in " ".join(told)
