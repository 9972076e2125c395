"""Mean squares and variance components of a table of subjects by occasions."""

from __future__ import annotations

import numpy as np

from casebook.statistics.codes import Flags, Floats
from casebook.statistics.repeatability.cells import groups_connected
from casebook.statistics.repeatability.likelihood import fit_reml
from casebook.statistics.repeatability.results import Components, MeanSquares, Method

# Below this share of the whole, a sum of squares is rounding and not error.
ROUNDING = 1e-24
# A variance that is this small beside the others was driven to zero by the likelihood.
NEGLIGIBLE = 1e-9


def two_way_mean_squares(table: Floats) -> MeanSquares:
    """Analysis of variance of a table without gaps.

    Parameters
    ----------
    table : ndarray of float, shape (subjects, occasions)
        Two subjects and two occasions or more.

    Returns
    -------
    MeanSquares

    References
    ----------
    [Shrout1979], [McGraw1996]

    Examples
    --------
    >>> found = two_way_mean_squares(np.array([[9.0, 2.0], [6.0, 1.0], [8.0, 4.0]]))
    >>> round(found.between_subjects, 4), round(found.error, 4)
    (3.5, 1.1667)
    """
    n, k = table.shape
    centred = table - table.mean()
    total = float(np.square(centred).sum())
    rows, columns = centred.mean(axis=1), centred.mean(axis=0)
    within = centred - rows[:, None]
    residual = within - columns
    error = _not_rounding(float(np.square(residual).sum()), total)
    occasions = _not_rounding(n * float(np.square(columns).sum()), total)
    subjects = _not_rounding(k * float(np.square(rows).sum()), total)
    return MeanSquares(
        subjects=float(n),
        occasions=float(k),
        between_subjects=subjects / (n - 1),
        between_occasions=occasions / (k - 1),
        error=error / ((n - 1) * (k - 1)),
        within=(occasions + error) / (n * (k - 1)),
        df_subjects=n - 1,
        df_occasions=k - 1,
        df_error=(n - 1) * (k - 1),
        df_within=n * (k - 1),
    )


def _not_rounding(squares: float, total: float) -> float:
    return squares if squares > ROUNDING * total else 0.0


def components_of(squares: MeanSquares) -> Components:
    """Variance components of a table without gaps; one below zero is set to zero.

    Parameters
    ----------
    squares : MeanSquares

    Returns
    -------
    Components

    References
    ----------
    [McGraw1996]

    Examples
    --------
    >>> found = components_of(two_way_mean_squares(np.array([[9.0, 2.0], [6.0, 1.0], [8.0, 4.0]])))
    >>> round(found.subject, 4), round(found.error, 4)
    (1.1667, 1.1667)
    """
    subject = (squares.between_subjects - squares.error) / squares.occasions
    occasion = (squares.between_occasions - squares.error) / squares.subjects
    return Components(
        subject=max(subject, 0.0),
        occasion=max(occasion, 0.0),
        error=squares.error,
        negative=tuple(
            name for name, value in (("subject", subject), ("occasion", occasion)) if value < 0
        ),
    )


def table_with_gaps(table: Floats) -> tuple[MeanSquares, Components]:
    """Components by REML of a table with gaps, and the mean squares that go with them.

    Those mean squares are what an analysis of variance would give for a table without gaps
    that has these components and as many cells as this one (harmonic means). They serve the
    intervals, which are approximate where there are gaps.

    Parameters
    ----------
    table : ndarray of float, shape (subjects, occasions)
        NaN where empty. Connected, with one cell or more than needed for the means of
        subjects and occasions (`error_freedom` > 0), and not all equal.

    Returns
    -------
    squares : MeanSquares
    components : Components

    References
    ----------
    [Patterson1971]

    Examples
    --------
    >>> table = np.array([[1.0, 1.5], [4.0, 5.0], [9.0, np.nan], [6.0, 5.5]])
    >>> _, components = table_with_gaps(table)
    >>> components.subject > 20 * components.error
    True
    """
    held = np.isfinite(table)
    row, column = np.nonzero(held)
    value = table[held]
    n_harmonic = _harmonic(held.sum(axis=0))
    k_harmonic = _harmonic(held.sum(axis=1))
    crossed, one_way = fit_reml(value, [row, column]), fit_reml(value, [row])
    subject, occasion = crossed.variances
    nothing = NEGLIGIBLE * (subject + occasion + crossed.residual)
    error = crossed.residual if crossed.residual > nothing else 0.0
    squares = MeanSquares(
        subjects=n_harmonic,
        occasions=k_harmonic,
        between_subjects=error + k_harmonic * subject,
        between_occasions=error + n_harmonic * occasion,
        error=error,
        within=one_way.residual if one_way.residual > nothing else 0.0,
        df_subjects=int(held.shape[0] - 1),
        df_occasions=int(held.shape[1] - 1),
        df_error=error_freedom(held),
        df_within=int(held.sum() - held.shape[0]),
    )
    return squares, Components(
        subject=subject,
        occasion=occasion,
        error=error,
        negative=tuple(
            name
            for name, variance in (("subject", subject), ("occasion", occasion))
            if variance <= nothing
        ),
    )


def error_freedom(held: Flags) -> int:
    """Degrees of freedom left for the error once subjects and occasions have their means.

    Parameters
    ----------
    held : ndarray of bool, shape (subjects, occasions)

    Returns
    -------
    int
        Zero where the error cannot be told.

    References
    ----------
    None: counting of cells.

    Examples
    --------
    >>> error_freedom(np.array([[True, True], [True, True], [True, False]]))
    1
    """
    return int(held.sum() - held.shape[0] - held.shape[1] + groups_connected(held))


def _harmonic(counts: Floats) -> float:
    return float(counts.size / np.sum(1.0 / counts))


def analysed(table: Floats) -> tuple[Method, MeanSquares, Components]:
    """Mean squares and components, by the method that the table allows.

    Parameters
    ----------
    table : ndarray of float, shape (subjects, occasions)
        NaN where empty.

    Returns
    -------
    method : Method
        ANOVA without gaps, REML with them.
    squares : MeanSquares
    components : Components

    References
    ----------
    [McGraw1996], [Patterson1971]

    Examples
    --------
    >>> analysed(np.array([[9.0, 2.0], [6.0, 1.0], [8.0, 4.0]]))[0]
    <Method.ANOVA: 'anova'>
    """
    held = np.isfinite(table)
    if held.all() or np.ptp(table[held]) == 0.0:
        squares = two_way_mean_squares(np.where(held, table, table[held][0]))
        return Method.ANOVA, squares, components_of(squares)
    return Method.REML, *table_with_gaps(table)
