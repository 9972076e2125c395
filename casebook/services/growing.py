"""Growth models of any long table."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.growth_words import model_words
from casebook.intake.growth_table import GrowthColumns, read_growth_table
from casebook.statistics.growth.model import GrowthFit, fit_growth


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthReport:
    """A fitted growth model with what was understood of the table, and the model in words."""

    fit: GrowthFit
    notes: tuple[str, ...]
    words: tuple[str, ...]


def growth_of_file(
    path: Path, columns: GrowthColumns, *, error_sd: float | None = None
) -> GrowthReport:
    """Fit a growth model to a long table in a file.

    Parameters
    ----------
    path : Path
    columns : GrowthColumns
    error_sd : float or None
        Known standard error of measurement of a value, in the value's own unit.

    Raises
    ------
    InputRefused
        For cells that cannot be taken, or a table that cannot tell a slope.
    """
    if error_sd is not None and not 0 < error_sd < float("inf"):
        raise refuse(
            "error_not_positive",
            f"the standard error of measurement is {error_sd:g}; expected a number above 0.",
            column="--sem",
            value=error_sd,
        )
    table, _, notes = read_growth_table(path, columns)
    try:
        fit = fit_growth(table, error_variance=None if error_sd is None else error_sd**2)
    except ValueError:
        raise InputRefused(
            (
                Problem(
                    file=path.name,
                    column=columns.time or "",
                    code="no_slope",
                    message="the table cannot tell a slope: expected at least two times (in each "
                    "group, where --by is given) and more rows than levels and slopes. Give more "
                    "measurements, or leave --by out.",
                ),
            )
        ) from None
    words = model_words(
        fit.random.value,
        tuple((part.value, why.value) for part, why in fit.given_up),
        converged=fit.fit.converged,
        error_share=fit.error_share,
        error_too_large=fit.error_too_large,
        check=fit.check,
    )
    return GrowthReport(fit=fit, notes=notes, words=words)
