"""An audit: what became of a clinic's runners, told so that nobody of a small group is told."""

from __future__ import annotations

from casebook.domain.audit import AuditChoice, OutcomeVisit, Step
from casebook.domain.audit_outcomes import Audit
from casebook.services.audit_completeness import completeness_of
from casebook.services.audit_flow import flow_of, timeliness_of, told
from casebook.services.audit_lost import lost_of
from casebook.services.audit_outcomes import outcomes_of
from casebook.services.audit_refusals import check_choice
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_as_of import as_known
from casebook.services.cohort_choosing import choose
from casebook.services.cohort_funnels import cohort_funnels
from casebook.services.cohort_returns import cohort_returns
from casebook.services.cohort_rows import chosen_metrics, outcome_rows


def audit(loaded: LoadedCohort, choice: AuditChoice) -> Audit:
    """Audit a clinic that is loaded; quick enough to be asked anew at every change of the choice.

    Parameters
    ----------
    loaded : LoadedCohort
    choice : AuditChoice

    Returns
    -------
    Audit
        Withheld where a group is small, and where a small one could be worked out from what
        else stands in the same audit. Two audits side by side are not protected against each
        other: what leaves the building is the export's business.

    Raises
    ------
    InputRefused
        For a choice that contradicts itself or names what the clinic does not have.
    """
    check_choice(loaded, choice)
    loaded = as_known(loaded, choice)
    members = choose(loaded, choice)
    metrics = chosen_metrics(loaded, choice)
    flow = flow_of(members, choice)
    # Of the discharged alone the outcomes would tell how many there are.
    outcomes_told = choice.visit is not OutcomeVisit.DISCHARGE or told(flow, Step.DISCHARGED)
    rows = outcome_rows(loaded, members, metrics)
    return Audit(
        choice=choice,
        flow=flow,
        completeness=completeness_of(loaded, members, choice, metrics, outcomes_told=outcomes_told),
        timeliness=timeliness_of(loaded, members, choice),
        outcomes=outcomes_of(loaded, members, choice, rows) if outcomes_told else (),
        lost=lost_of(loaded, members, choice, metrics, told=told(flow, Step.LOST)),
        returns=cohort_returns(loaded, members, choice),
        funnels=cohort_funnels(loaded, members, choice, rows) if outcomes_told else (),
    )
