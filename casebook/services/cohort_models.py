"""The model that a metric of a cohort asks for."""

from __future__ import annotations

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_growth import CohortGrades, CohortGrowth, NoModel
from casebook.domain.audit_outcomes import On
from casebook.domain.metrics import Scale
from casebook.services.audit_refusals import ons_of
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_growth import cohort_growth
from casebook.services.cohort_ordinal import cohort_grades


def cohort_model(
    loaded: LoadedCohort, choice: AuditChoice, metric: str, on: On | None, *, by: bool = True
) -> CohortGrowth | CohortGrades | NoModel:
    """The model that a metric's scale asks for: of grades an ordinal one, else one of growth.

    Parameters and refusals as for `cohort_growth`; without `on` the first that a metric has: the
    asymmetry, else the worse side, or the value.
    """
    known = next((one for one in loaded.metrics if one.key == metric), None)
    if on is None:
        # Of a metric that is not there any will do: it is refused for that.
        on = On.VALUE if known is None else ons_of(known)[0]
    if known is not None and known.scale is Scale.GRADE:
        return cohort_grades(loaded, choice, metric, on, by=by)
    return cohort_growth(loaded, choice, metric, on, by=by)
