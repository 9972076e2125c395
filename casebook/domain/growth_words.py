"""A growth model in plain words: what was fitted, what was given up, and what it can't say."""

from __future__ import annotations

from casebook.domain.audit_growth import FitCheck

PARTS = {
    "intercept_and_slope": "a level and a slope of its own for each subject, which may go together",
    "intercept_and_slope_uncorrelated": (
        "a level and a slope of its own for each subject, taken as independent of one another"
    ),
    "intercept": "a level of its own for each subject, and one slope for all",
    "none": "one line for all subjects, none with a level of its own",
}
WHY = {
    "too_few_rows": "too few measurements a subject to tell it from the residual",
    "too_few_subjects": "too few subjects to tell how far they lie apart",
    "at_the_edge": "the data do not hold it apart (a variance of 0, or a correlation of 1)",
    "not_converged": "the fit did not settle",
}
CHECKS = {
    FitCheck.AGREES: (
        "Checked: an independent library's restricted likelihood has the same value at these "
        "estimates and is flat there."
    ),
    FitCheck.REFITTED: (
        "An independent library's restricted likelihood did not confirm the first fit: the "
        "numbers told are that library's own."
    ),
    FitCheck.UNCONFIRMED: (
        "An independent library's restricted likelihood could neither confirm the fit nor find "
        "another: take its numbers with caution."
    ),
}
NO_CAUSE = (
    "The model describes how values ran with time. It does not show what made them do so: "
    "regression to the mean, who came back and who did not, and anything else that changed at "
    "the same time run along. It supports a clinician's judgement and never replaces it."
)


def model_words(
    random: str,
    given_up: tuple[tuple[str, str], ...],
    *,
    converged: bool,
    error_share: float | None,
    error_too_large: bool = False,
    check: FitCheck = FitCheck.CLOSED_FORM,
) -> tuple[str, ...]:
    """What was fitted, a sentence each.

    Parameters
    ----------
    random : str
        The random part that was fitted, a key of `PARTS`.
    given_up : tuple of (str, str)
        Richer parts that were tried, and why they were given up (keys of `PARTS` and `WHY`).
    error_share : float or None
        Share of the residual variance that the known measurement error makes up.
    error_too_large : bool
        Whether residuals so small would seldom come of that error by chance.
    check : FitCheck
        Nothing is said of CLOSED_FORM, which needs none.
    """
    told = [f"Fitted by restricted maximum likelihood: {PARTS[random]}."]
    told += [f"Given up before: {PARTS[part]}, because {WHY[why]}." for part, why in given_up]
    if random == "none" and given_up:
        told.append(
            "Rows of one subject are then taken as independent, and standard errors can be too "
            "small."
        )
    if not converged:
        told.append("The fit did not settle: take no number of it as it stands.")
    if check in CHECKS:
        told.append(CHECKS[check])
    if error_share is not None:
        told.append(_share_words(error_share, too_large=error_too_large))
    return (*told, NO_CAUSE)


def _share_words(share: float, *, too_large: bool) -> str:
    if too_large:
        return (
            "The residuals are smaller than the measurement error given lets one expect: the "
            "error figure may be too large for these data."
        )
    if share > 1:
        return "Measurement error makes up all of the residual variance, as far as these rows tell."
    return f"Measurement error makes up {100 * share:.0f} % of the residual variance."
