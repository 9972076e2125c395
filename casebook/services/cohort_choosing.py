"""Who of a clinic an audit is about, how far each came, and which visit tells the outcome."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from casebook.domain.audit import AuditChoice, Excluded, OutcomeVisit
from casebook.domain.injuries import Pathology, Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.visits import VisitKind
from casebook.services import clock
from casebook.services.cohort import LoadedCohort
from casebook.statistics.codes import NOTHING, Codes, Flags, Floats, Whole, code_of

# Registered only after the day of the audit: not counted at all.
NOT_YET = -2


@dataclass(frozen=True, slots=True, kw_only=True)
class Members:
    """Runners and visits that an audit is about; arrays over the cohort's runners or visits.

    Parameters
    ----------
    as_of : float
        Day since 1970.
    excluded : ndarray of int8, shape (runners,)
        Code of the first `Excluded` that applies; -1 in the cohort, -2 not registered yet.
    included, baseline, started, reviewed : ndarray of bool, shape (runners,)
        Each within the one before: seen at the baseline; first programme begun; seen after the
        baseline.
    discharged, lost, in_care : ndarray of bool, shape (runners,)
        These divide those who were included. Discharged: a discharge visit was held. Lost: since
        the latest visit, or the day that it planned the next one for, more than the choice's
        days have gone.
    outcome_visit : ndarray of int, shape (runners,)
        The visit that tells the outcome of a reviewed runner, -1 where there is none.
    counted : ndarray of bool, shape (visits,)
        Held by the day of the audit, and no repeat measurement.
    """

    as_of: float
    excluded: Codes
    included: Flags
    baseline: Flags
    started: Flags
    reviewed: Flags
    discharged: Flags
    lost: Flags
    in_care: Flags
    outcome_visit: Whole
    counted: Flags


def choose(loaded: LoadedCohort, choice: AuditChoice) -> Members:
    """Who is in the audit.

    Parameters
    ----------
    loaded : LoadedCohort
    choice : AuditChoice
        What happened after `as_of` is not seen: a later programme or visit. Only a consent that
        was withdrawn by today does not count, though it stood on that day.

    Returns
    -------
    Members
    """
    runners, visits = loaded.runners, loaded.visits
    as_of = day_number(choice.as_of)
    begun = runners["start_day"].to_numpy() <= as_of
    excluded = _excluded(loaded, choice, as_of, begun)
    included = excluded == NOTHING
    held = visits["day"].to_numpy() <= as_of
    counted = held & visits["counts"].to_numpy()
    baseline = included & (runners["baseline_first_day"].to_numpy() <= as_of)
    started = baseline & begun
    later = counted & visits["later"].to_numpy()
    of_runner = visits["runner"].to_numpy()
    reviewed = started & _any(of_runner[later], included.size)
    discharge = visits["kind"].to_numpy() == code_of(VisitKind.DISCHARGE)
    discharged = included & _any(of_runner[counted & discharge], included.size)
    silent = as_of - _last_contact(loaded, held) > choice.lost_after_days
    lost = included & ~discharged & silent
    return Members(
        as_of=as_of,
        excluded=excluded,
        included=included,
        baseline=baseline,
        started=started,
        reviewed=reviewed,
        discharged=discharged,
        lost=lost,
        in_care=included & ~discharged & ~lost,
        outcome_visit=_outcome_visits(of_runner, later, discharge, reviewed, choice.visit),
        counted=counted,
    )


def day_number(day: date) -> float:
    """Days since 1970."""
    return float((day - date(1970, 1, 1)).days)


def _excluded(loaded: LoadedCohort, choice: AuditChoice, as_of: float, begun: Flags) -> Codes:
    runners = loaded.runners
    start = np.where(begun, runners["start_day"].to_numpy(), np.nan)
    by_start = choice.started_from is not None or choice.started_to is not None
    outside = np.zeros(begun.size, dtype=np.bool_)
    if choice.started_from is not None:
        outside |= start < day_number(choice.started_from)
    if choice.started_to is not None:
        outside |= start > day_number(choice.started_to)
    clinicians = [at for at, one in enumerate(loaded.clinicians) if one in choice.clinicians]
    other_complaint = _none_of(
        runners["region"].to_numpy(), list(Region), choice.regions
    ) | _none_of(runners["pathology"].to_numpy(), list(Pathology), choice.pathologies)
    applies = {
        Excluded.NO_CONSENT: ~_consented(loaded, choice.purpose, as_of),
        Excluded.NO_PROGRAMME: ~begun & (by_start or bool(choice.kinds)),
        Excluded.STARTED_OUTSIDE: outside,
        Excluded.OTHER_KIND: _none_of(
            runners["kind"].to_numpy(), list(ProgrammeKind), choice.kinds
        ),
        Excluded.OTHER_COMPLAINT: other_complaint,
        Excluded.OTHER_CLINICIAN: ~np.isin(runners["clinician"].to_numpy(), clinicians)
        & bool(choice.clinicians),
    }
    known = np.fmin(runners["registered_day"].to_numpy(), runners["first_visit_day"].to_numpy())
    conditions = [known > as_of, *(applies[one] for one in Excluded)]
    codes = [NOT_YET, *(code_of(one) for one in Excluded)]
    return np.select(conditions, codes, NOTHING).astype(np.int8)


def _none_of(codes: Codes, enum: list[str], chosen: tuple[str, ...]) -> Flags:
    """True where something was chosen and it is none of that."""
    if not chosen:
        return np.zeros(codes.size, dtype=np.bool_)
    return ~np.isin(codes, [enum.index(one) for one in chosen])


def _consented(loaded: LoadedCohort, purpose: Purpose | None, as_of: float) -> Flags:
    if purpose is None:
        return np.ones(len(loaded.runners), dtype=np.bool_)
    consents = loaded.consents
    # As in an export: who withdrew since is no longer told of to others, whatever day it is of.
    ended = consents["withdrawn_day"].to_numpy() <= max(as_of, day_number(clock.today()))
    stands = (
        (consents["purpose"].to_numpy() == code_of(purpose))
        & (consents["given_day"].to_numpy() <= as_of)
        & ~ended
    )
    return _any(consents["runner"].to_numpy()[stands], len(loaded.runners))


def _last_contact(loaded: LoadedCohort, held: Flags) -> Floats:
    """The latest visit or the day planned at it; without one, the day of registration."""
    visits = loaded.visits
    contact = loaded.runners["registered_day"].to_numpy().copy()
    rows = np.flatnonzero(held)
    # By runner and day: the last one put in a place stays there.
    contact[visits["runner"].to_numpy()[rows]] = np.fmax(
        visits["day"].to_numpy()[rows], visits["due_day"].to_numpy()[rows]
    )
    return contact


def _outcome_visits(
    of_runner: Whole, later: Flags, discharge: Flags, reviewed: Flags, wanted: OutcomeVisit
) -> Whole:
    rows = np.flatnonzero(later & discharge if wanted is OutcomeVisit.DISCHARGE else later)
    if wanted is not OutcomeVisit.LATEST:
        rows = rows[::-1]
    visit = np.full(reviewed.size, NOTHING, dtype=np.int64)
    visit[of_runner[rows]] = rows
    return np.where(reviewed, visit, NOTHING)


def _any(runners: Whole, size: int) -> Flags:
    found = np.zeros(size, dtype=np.bool_)
    found[runners] = True
    return found
