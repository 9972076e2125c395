"""A loaded cohort as it was known on a day: what happened later is taken off its runners.

Visits, consents and programmes carry their days and are left out where they are counted. The
adherence and the complaint of a runner are chosen from several records, so they are chosen anew.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from casebook.domain.audit import AuditChoice
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import day_number
from casebook.services.cohort_runners import RUNNERS, adherence_of, complaint_columns


def as_known(loaded: LoadedCohort, choice: AuditChoice) -> LoadedCohort:
    """The cohort as an audit on the day of the choice would have found it.

    Parameters
    ----------
    loaded : LoadedCohort
    choice : AuditChoice
        Its day alone matters here.

    Returns
    -------
    LoadedCohort
        Adherence is that of the weeks that were over by then; a complaint that had not begun is
        not known, nor that it is for a programme that had not.
    """
    as_of = day_number(choice.as_of)
    runners, size = loaded.runners, len(loaded.runners)
    columns: dict[str, np.ndarray] = {}
    over = loaded.weeks["last_day"].to_numpy() <= as_of
    if not over.all():
        columns["adherence"] = adherence_of(loaded.weeks[over], size)
    begun = ~(runners["start_day"].to_numpy() > as_of)
    later = loaded.complaints["onset_day"].to_numpy() > as_of
    if len(loaded.complaints) and (later.any() or not begun.all()):
        columns |= complaint_columns(loaded.complaints[~later], begun)
    if not columns:
        return loaded
    kept = {name: column.astype(RUNNERS[name]) for name, column in columns.items()}
    return replace(loaded, runners=runners.assign(**kept))
