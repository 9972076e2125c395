"""Clinicians side by side: whose runners improved beyond error, within what chance would do."""

from __future__ import annotations

import numpy as np

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import Funnel, FunnelLimit, FunnelPoint, On
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import Members
from casebook.services.cohort_rows import OutcomeRows
from casebook.statistics.change import CANNOT_SAY, IMPROVED
from casebook.statistics.codes import NOTHING, Whole
from casebook.statistics.cohort_withholding import withheld_groups
from casebook.statistics.funnel import OUTER, beyond_chance, funnel_limits

# Sizes at which the limits are drawn, at most.
MOST_SIZES = 120
# Clinicians that make a comparison.
FEWEST = 2


def cohort_funnels(
    loaded: LoadedCohort, members: Members, choice: AuditChoice, rows: OutcomeRows
) -> tuple[Funnel, ...]:
    """Share of runners improved beyond error by clinician, for each outcome that is told.

    Parameters
    ----------
    loaded : LoadedCohort
    members : Members
    choice : AuditChoice
    rows : OutcomeRows
        The outcomes of these members, by metric, what it is about and runner.

    Returns
    -------
    tuple of Funnel
        Of asymmetries, worse sides and values, where at least two clinicians have as many
        runners with a verdict as may be shown, and some but not all improved. The common share
        is that of those shown.
        Clinicians stand in the order of their runners' number: never a ranking. For others than
        the clinic (a purpose in the choice) they are numbered in that order, not named.
    """
    clinician, nobody = loaded.runners["clinician"].to_numpy(), len(loaded.clinicians)
    found = []
    for metric, on, group in rows.groups():
        if on is On.OTHER_SIDE:
            continue
        told = group.at((group.call != CANNOT_SAY) & members.reviewed[group.runner])
        # In the last place those of whom it is not recorded who assessed them.
        whose = np.where(clinician[told.runner] == NOTHING, nobody, clinician[told.runner])
        totals = np.bincount(whose, minlength=nobody + 1)
        counts = np.bincount(whose[told.call == IMPROVED], minlength=nobody + 1)
        shown = _shown(totals, choice.least_group)
        if len(shown) < FEWEST or counts[shown].sum() in (0, totals[shown].sum()):
            continue
        place = np.lexsort((shown, -totals[shown]))
        names = tuple(
            # The names are for the clinic's own eyes.
            loaded.clinicians[at] if choice.purpose is None else f"clinician {number}"
            for number, at in enumerate(shown[place], start=1)
        )
        found.append(
            _funnel(
                loaded.metrics[metric].key,
                on,
                names,
                counts[shown[place]],
                totals[shown[place]],
                left_out=int(np.sum(totals[:nobody] > 0)) - len(shown),
            )
        )
    order = {metric.key: metric.position for metric in loaded.metrics}
    return tuple(sorted(found, key=lambda one: (order[one.metric], list(On).index(one.on))))


def _shown(totals: Whole, least: int) -> Whole:
    """Clinicians that are shown: all runners less theirs may leave no few others over.

    The last total is that of runners of whom no clinician is known.
    """
    hidden = withheld_groups(totals.tolist(), least)
    if not hidden.whole_may_be_shown:
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero(~np.array(hidden.groups[:-1], dtype=np.bool_) & (totals[:-1] > 0))


def _funnel(
    metric: str, on: On, names: tuple[str, ...], counts: Whole, totals: Whole, *, left_out: int
) -> Funnel:
    overall = float(counts.sum() / totals.sum())
    inner = beyond_chance(overall, counts, totals)
    outer = beyond_chance(overall, counts, totals, level=OUTER)
    share = counts / totals
    sizes = _sizes(totals)
    drawn, far = funnel_limits(overall, sizes), funnel_limits(overall, sizes, level=OUTER)
    return Funnel(
        metric=metric,
        on=on,
        overall=overall,
        points=tuple(
            FunnelPoint(
                name=name,
                count=int(counts[at]),
                total=int(totals[at]),
                share=float(share[at]),
                beyond_95=bool(inner[at]),
                beyond_998=bool(outer[at]),
            )
            for at, name in enumerate(names)
        ),
        limits=tuple(
            FunnelLimit(
                total=int(size),
                low_95=float(drawn[0][at]),
                high_95=float(drawn[1][at]),
                low_998=float(far[0][at]),
                high_998=float(far[1][at]),
            )
            for at, size in enumerate(sizes)
        ),
        left_out=left_out,
    )


def _sizes(totals: Whole) -> Whole:
    """Group sizes to draw the limits at: a little below the smallest to above the largest."""
    first, last = max(1, int(totals.min() * 0.8)), int(np.ceil(totals.max() * 1.1))
    sizes: Whole = np.unique(np.linspace(first, last, MOST_SIZES).round().astype(np.int64))
    return sizes
