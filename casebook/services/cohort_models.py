"""The model that a metric of a cohort asks for."""

from __future__ import annotations

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_growth import CohortGrades, CohortGrowth, NoModel
from casebook.domain.audit_outcomes import On
from casebook.domain.metrics import Scale
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_growth import cohort_growth
from casebook.services.cohort_ordinal import cohort_grades


def cohort_model(
    loaded: LoadedCohort, choice: AuditChoice, metric: str, on: On, *, by: bool = True
) -> CohortGrowth | CohortGrades | NoModel:
    """The model that a metric's scale asks for: of grades an ordinal one, else one of growth.

    Parameters and refusals as for `cohort_growth`.
    """
    graded = any(one.key == metric and one.scale is Scale.GRADE for one in loaded.metrics)
    if graded:
        return cohort_grades(loaded, choice, metric, on, by=by)
    return cohort_growth(loaded, choice, metric, on, by=by)
