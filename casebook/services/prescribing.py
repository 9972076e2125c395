"""Programmes: prescribed, changed with every version kept, copied, and what is still empty."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem
from casebook.domain.injuries import Injury
from casebook.domain.people import clean_by
from casebook.domain.prescriptions import Prescription, copied, numbered_title
from casebook.domain.programme_versions import VersionChange, changes_between, dose_changed
from casebook.domain.programmes import TargetOn
from casebook.domain.reporting_items import ItemState, coverage_words, item_states
from casebook.intake.nearest import hint
from casebook.services import clock
from casebook.services.amending import asked_reason
from casebook.services.opened import Casebook
from casebook.services.registering import get_runner_row
from casebook.services.visit_words import NOTHING_STORED
from casebook.storage import cases, exercises, history, people, prescriptions
from casebook.storage.session import Unit, reading, writing

KEEP: Final = -1
"""For a complaint that is to stay what it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredPrescription:
    """A programme as it stands, its version and what each version changed told with it."""

    programme_id: int
    runner: str
    injury_id: int | None
    prescription: Prescription


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeVersion:
    """One version of a programme, without its weeks.

    Parameters
    ----------
    at : datetime or None
        Aware UTC; None where the history does not tell of it.
    changes : tuple of VersionChange
        Against the version before; empty for the first.
    """

    number: int
    at: datetime | None
    by: str
    reason: str
    prescription: Prescription
    changes: tuple[VersionChange, ...]

    @property
    def dose_changed(self) -> bool:
        """True where this version changed the dose, or put an exercise in or took one out."""
        return dose_changed(self.changes)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportingGaps:
    """Every published reporting item, and those that are still empty."""

    states: tuple[ItemState, ...]
    words: str

    @property
    def empty(self) -> tuple[ItemState, ...]:
        """Those that are not filled in yet."""
        return tuple(state for state in self.states if not state.filled)


def list_prescriptions(casebook: Casebook, runner: str) -> tuple[StoredPrescription, ...]:
    """A runner's programmes by start.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        kept = prescriptions.programmes_of(unit, runner_id)
        told = prescriptions.versions_of(unit, runner_id, known.code) if kept else {}
    return tuple(_stored(one, told.get(one.programme_id, ())) for one in kept)


def find_last_prescription(casebook: Casebook, runner: str) -> StoredPrescription | None:
    """The runner's programme that started last, to be copied; None without any."""
    found = list_prescriptions(casebook, runner)
    return found[-1] if found else None


def get_prescription(casebook: Casebook, programme_id: int) -> StoredPrescription:
    """One programme.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        return _read(unit, get_kept(unit, casebook, programme_id))


def get_kept(
    unit: Unit, casebook: Casebook, programme_id: int, *, to_write: bool = False
) -> prescriptions.KeptProgramme:
    """A programme within a unit of work.

    Raises
    ------
    NotFound
    """
    kept = prescriptions.find_programme(unit, casebook.clinic_id, programme_id, to_write=to_write)
    if kept is None:
        raise NotFound(
            f"There is no programme with the number {programme_id}. {NOTHING_STORED} Look at "
            "the runner's programmes; it may have been struck out."
        )
    return kept


def list_versions(casebook: Casebook, programme_id: int) -> tuple[ProgrammeVersion, ...]:
    """Every version of a programme, oldest first.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        kept = get_kept(unit, casebook, programme_id)
        told = prescriptions.versions_of(unit, kept.runner_id, kept.runner)
    return _versions(kept, told.get(programme_id, ()))


def reporting_gaps(prescription: Prescription) -> ReportingGaps:
    """Which published reporting items are filled in and which are still empty."""
    return ReportingGaps(states=item_states(prescription), words=coverage_words(prescription))


def list_injuries_of(casebook: Casebook, runner: str) -> tuple[tuple[int, Injury], ...]:
    """A runner's complaints with their ids, by onset.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        return people.injuries_by_id(unit, runner_id, known.code)


def prescribe(
    casebook: Casebook, prescription: Prescription, *, injury_id: int | None = None, by: str
) -> StoredPrescription:
    """Store a new programme for the runner that it names.

    Raises
    ------
    NotFound
        For a runner or complaint that does not exist.
    InputRefused
        For targets on an unknown metric or on a side that it does not have, two targets on the
        same thing, two blocks at one position, or an exercise that is not in the list.
    Conflict
        When the runner has a programme of the same title and start.
    """
    by = clean_by(by)
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, prescription.programme.runner)
        _check_injury(unit, runner_id, known.code, injury_id)
        metric_ids = _checked(unit, prescription)
        programme_id, told = prescriptions.add_programme(
            unit, runner_id, injury_id, prescription, metric_ids
        )
        people.bump_runner(unit, runner_id)
        history.append(unit, told, by=by, at=clock.now())
        stored = _read(unit, get_kept(unit, casebook, programme_id))
        unit.commit()
    return stored


def change_prescription(
    casebook: Casebook,
    programme_id: int,
    wanted: Prescription,
    *,
    expected_version: int,
    reason: str,
    by: str,
    injury_id: int | None = KEEP,
) -> StoredPrescription:
    """Make a programme what is wanted; what it was stays as an earlier version.

    Parameters
    ----------
    wanted : Prescription
        Its weeks of adherence are not looked at: those stay as they are.
    expected_version : int
        The version that was read.
    injury_id : int or None
        The complaint that it is for; `KEEP` leaves it.

    Raises
    ------
    NotFound, InputRefused
        As `prescribe`, and without a reason.
    Conflict
        When somebody else has changed it since `expected_version`.
    """
    by = clean_by(by)
    reason = asked_reason(reason)
    with writing(casebook.engine) as unit:
        kept = get_kept(unit, casebook, programme_id, to_write=True)
        stored = _read(unit, kept)
        _refuse_moved(stored, wanted, expected_version)
        if injury_id == KEEP:
            injury_id = kept.injury_id
        _check_injury(unit, kept.runner_id, kept.runner, injury_id)
        metric_ids = _checked(unit, wanted, before=stored.prescription)
        told = prescriptions.write_programme(
            unit, kept, wanted, injury_id, metric_ids, reason=reason
        )
        if not told:
            return stored
        people.bump_runner(unit, kept.runner_id)
        history.append(unit, told, by=by, at=clock.now())
        stored = _read(unit, get_kept(unit, casebook, programme_id))
        unit.commit()
    return stored


def copy_prescription(casebook: Casebook, programme_id: int, *, started_on: date) -> Prescription:
    """A new programme like a stored one, to be changed and then prescribed; nothing is stored.

    Its title gets a number, so that it does not read like another of the runner's.

    Raises
    ------
    NotFound
    """
    stored = get_prescription(casebook, programme_id)
    copy = copied(stored.prescription, started_on=started_on)
    taken = {
        one.prescription.programme.title for one in list_prescriptions(casebook, stored.runner)
    }
    title = numbered_title(copy.programme.title, taken)
    return replace(copy, programme=replace(copy.programme, title=title))


def _read(unit: Unit, kept: prescriptions.KeptProgramme) -> StoredPrescription:
    told = prescriptions.versions_of(unit, kept.runner_id, kept.runner)
    return _stored(kept, told.get(kept.programme_id, ()))


def _stored(
    kept: prescriptions.KeptProgramme, told: tuple[prescriptions.ToldVersion, ...]
) -> StoredPrescription:
    versions = _versions(kept, told)
    return StoredPrescription(
        programme_id=kept.programme_id,
        runner=kept.runner,
        injury_id=kept.injury_id,
        prescription=replace(
            kept.prescription,
            version=versions[-1].number,
            changes=tuple(change.words for one in versions for change in one.changes),
        ),
    )


def _versions(
    kept: prescriptions.KeptProgramme, told: tuple[prescriptions.ToldVersion, ...]
) -> tuple[ProgrammeVersion, ...]:
    if not told:
        # Where the history was left behind, what stands is all there is.
        told_of = prescriptions.prescribed_only(kept.prescription)
        return (
            ProgrammeVersion(number=1, at=None, by="", reason="", prescription=told_of, changes=()),
        )
    found: list[ProgrammeVersion] = []
    for number, one in enumerate(told, start=1):
        prescription = replace(one.prescription, version=number)
        changes = changes_between(found[-1].prescription, prescription) if found else ()
        found.append(
            ProgrammeVersion(
                number=number,
                at=one.at,
                by=one.by,
                reason=one.reason,
                prescription=prescription,
                changes=changes,
            )
        )
    return tuple(found)


def _refuse_moved(stored: StoredPrescription, wanted: Prescription, expected: int) -> None:
    now = stored.prescription
    if now.version == expected:
        return
    differing = changes_between(now, wanted)
    told = "; ".join(change.words for change in differing[:5]) or "nothing that you changed"
    raise Conflict(
        f"Somebody else changed the programme '{now.programme.title}' after you opened it: it is "
        f"at version {now.version}, you had {expected}. Yours against what stands: {told} "
        f"{NOTHING_STORED} Look at it again, then change it."
    )


def _check_injury(unit: Unit, runner_id: int, code: str, injury_id: int | None) -> None:
    known = dict(people.injuries_by_id(unit, runner_id, code))
    if injury_id is not None and injury_id not in known:
        raise NotFound(
            f"'{code}' has no complaint with the number {injury_id}. {NOTHING_STORED} Choose "
            "one of the runner's, or none."
        )


def _checked(
    unit: Unit, prescription: Prescription, *, before: Prescription | None = None
) -> dict[str, int]:
    """Ids of the metrics that targets are on; refuses what does not fit the store."""
    metrics = {metric.key: (key, metric) for key, metric in cases.metrics_by_id(unit).items()}
    listed = {one.key for one in exercises.exercises(unit)}
    kept = set() if before is None else {one.exercise_key for one in before.block_details}
    problems = []
    positions = [block.position for block in prescription.programme.blocks]
    problems += [
        _problem("position_twice", "position", position, f"two blocks stand at {position}; number "
                 "them 1, 2, ...")
        for position in sorted({one for one in positions if positions.count(one) > 1})
    ]  # fmt: skip
    problems += [
        _problem("exercise_blank", "exercise", "", f"block {block.position} names no exercise.")
        for block in prescription.programme.blocks
        if not block.exercise.strip()
    ]
    problems += [
        _problem(
            "unknown_exercise", "exercise_key", key,
            f"the list has no exercise '{key}'.{hint(key, listed)} Choose one of the list, or "
            "leave it blank for one in your own words.",
        )
        for key in sorted({one.exercise_key for one in prescription.block_details} - kept)
        if key and key not in listed
    ]  # fmt: skip
    places = [(target.metric, target.what) for target in prescription.programme.targets]
    for at, (key, what) in enumerate(places):
        if key not in metrics:
            problems.append(
                _problem("unknown_metric", "metric", key,
                         f"the catalogue has no metric '{key}'.{hint(key, metrics)}")
            )  # fmt: skip
            continue
        metric = metrics[key][1]
        if metric.sided == (what is TargetOn.NONE):
            expected = "left, right or asymmetry" if metric.sided else "none"
            problems.append(
                _problem("what_not_taken", "what", what.value,
                         f"the target on {key} is set on '{what}'; expected {expected}.")
            )  # fmt: skip
        if (key, what) in places[:at]:
            problems.append(
                _problem("target_twice", "metric", key,
                         f"two targets on {key} ({what}); keep one of them.")
            )  # fmt: skip
    if problems:
        raise InputRefused(tuple(problems))
    return {key: metrics[key][0] for key, _ in places}


def _problem(code: str, column: str, value: object, message: str) -> Problem:
    return Problem(code=code, column=column, value=str(value), message=message)
