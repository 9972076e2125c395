"""Registering runners, users, injuries and consents."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem
from casebook.domain.injuries import Injury
from casebook.domain.people import Consent, Identity, Runner, User, clean_code
from casebook.intake.nearest import nearest
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.storage import history, people
from casebook.storage.session import reading, writing

EARLIEST_BIRTH = 1900


def register_runner(
    casebook: Casebook, runner: Runner, identity: Identity | None = None, *, by: str = ""
) -> None:
    """Store a new runner, with the direct identifiers when they are given.

    Parameters
    ----------
    by : str
        Code of whoever registers; empty where it is not known.

    Raises
    ------
    InputRefused
        For an unusable code, a birth year or size that cannot be, or identifiers that belong
        to another code or contradict the birth year.
    Conflict
        When the code is taken.
    """
    runner = replace(runner, code=clean_code(runner.code))
    problems = (*runner_problems(runner, clock.today()), *_identity_problems(runner, identity))
    if problems:
        raise InputRefused(problems)
    if runner.registered_on is None:
        runner = replace(runner, registered_on=clock.today())
    with writing(casebook.engine) as unit:
        if people.find_runner(unit, casebook.clinic_id, runner.code) is not None:
            raise Conflict(
                f"A runner '{runner.code}' is registered already. Give the new runner another "
                "code, or open the one that stands. Nothing was stored."
            )
        told = people.add_runner(unit, casebook.clinic_id, runner, identity)
        history.append(unit, told, by=by, at=clock.now())
        unit.commit()


def runner_problems(runner: Runner, today: date) -> tuple[Problem, ...]:
    """What is wrong with a runner's data."""
    checks = (
        ("birth_year", runner.birth_year, EARLIEST_BIRTH, today.year, "a year"),
        ("height_cm", runner.height_cm, 50, 260, "centimetres"),
        ("mass_kg", runner.mass_kg, 10, 350, "kilograms"),
    )
    wrong = [
        Problem(
            code=f"{column}_out_of_range",
            column=column,
            value=str(given),
            message=f"runner '{runner.code}': {column} is {given}; expected {low} to {high} "
            f"({unit}), or leave it out.",
        )
        for column, given, low, high, unit in checks
        if given is not None and not low <= given <= high
    ]
    if runner.registered_on is not None and runner.registered_on > today:
        wrong.append(_future("registered_on", runner.registered_on, today))
    return tuple(wrong)


def _identity_problems(runner: Runner, identity: Identity | None) -> tuple[Problem, ...]:
    # The message names no identifier: it may end in a log.
    if identity is None:
        return ()
    problems = []
    if identity.runner.strip() != runner.code:
        problems.append(
            Problem(
                code="identity_of_another",
                column="runner",
                value=identity.runner,
                message=f"the identifiers are those of '{identity.runner}', not of "
                f"'{runner.code}'; give both the same code.",
            )
        )
    born = identity.birth_date
    if born is not None and born > clock.today():
        problems.append(
            Problem(
                code="birth_in_future",
                column="birth_date",
                message=f"runner '{runner.code}': the birth date lies in the future.",
            )
        )
    if born is not None and runner.birth_year not in {None, born.year}:
        problems.append(
            Problem(
                code="birth_year_differs",
                column="birth_year",
                value=str(runner.birth_year),
                message=f"runner '{runner.code}': birth_year is {runner.birth_year}, but the "
                "birth date says another year; correct one of them.",
            )
        )
    return tuple(problems)


def refuse_days(
    first_day: tuple[str, date], last_day: tuple[str, date | None], *, code: str, first: str
) -> None:
    """Refuse a first or last day in the future, and a last day before the first."""
    today = clock.today()
    (_, begun), (column, ended) = first_day, last_day
    problems = [
        _future(name, day, today)
        for name, day in (first_day, last_day)
        if day is not None and day > today
    ]
    if ended is not None and ended < begun:
        problems.append(
            Problem(
                code=code,
                column=column,
                value=ended.isoformat(),
                message=f"{column} is {ended}, before {first} on {begun}.",
            )
        )
    if problems:
        raise InputRefused(tuple(problems))


def _future(column: str, given: date, today: date) -> Problem:
    return Problem(
        code="date_in_future",
        column=column,
        value=given.isoformat(),
        message=f"{column} is {given}, which lies in the future (today is {today}).",
    )


def list_runners(casebook: Casebook) -> tuple[Runner, ...]:
    """All runners, by code."""
    with reading(casebook.engine) as unit:
        return people.runners(unit, casebook.clinic_id)


def get_runner(casebook: Casebook, code: str) -> Runner:
    """A runner by code.

    Raises
    ------
    NotFound
        When there is none with that code.
    """
    with reading(casebook.engine) as unit:
        _, runner = get_runner_row(unit, casebook, code)
    return runner


def get_runner_row(unit: Session, casebook: Casebook, code: str) -> tuple[int, Runner]:
    """Id and value of a runner, within a unit of work.

    Raises
    ------
    NotFound
    """
    found = people.find_runner(unit, casebook.clinic_id, code.strip())
    if found is None:
        near = nearest(code.strip(), people.runner_ids(unit, casebook.clinic_id))
        hint = f" Did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
        raise NotFound(
            f"There is no runner '{code.strip()}' in this casebook.{hint} Register the runner "
            "first, or check the code."
        )
    return found


def find_identity(casebook: Casebook, code: str) -> Identity | None:
    """A runner's direct identifiers, where they were given."""
    with reading(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, code)
        return people.find_identity(unit, runner_id, runner.code)


def register_user(casebook: Casebook, user: User, *, by: str = "") -> None:
    """Store a new user of the casebook.

    Raises
    ------
    InputRefused, Conflict
    """
    user = replace(user, code=clean_code(user.code, column="user"))
    with writing(casebook.engine) as unit:
        if any(one.code == user.code for one in people.users(unit, casebook.clinic_id)):
            raise Conflict(
                f"A user '{user.code}' is registered already; give another code. Nothing was "
                "stored."
            )
        told = people.add_user(unit, casebook.clinic_id, user)
        history.append(unit, [told], by=by, at=clock.now())
        unit.commit()


def list_users(casebook: Casebook) -> tuple[User, ...]:
    """All users, by code."""
    with reading(casebook.engine) as unit:
        return people.users(unit, casebook.clinic_id)


def record_injury(casebook: Casebook, injury: Injury, *, by: str = "") -> None:
    """Store a runner's complaint.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    InputRefused
        For an onset or return in the future, or a return before the onset.
    Conflict
        When this complaint (same region, pathology, side and onset) stands already.
    """
    refuse_days(
        ("onset_on", injury.onset_on),
        ("returned_on", injury.returned_on),
        code="return_before_onset",
        first="the onset",
    )
    with writing(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, injury.runner)
        told = people.add_injury(unit, runner_id, injury)
        people.bump_runner(unit, runner_id)
        history.append(unit, [told], by=by, at=clock.now())
        unit.commit()


def list_injuries(casebook: Casebook, code: str) -> tuple[Injury, ...]:
    """A runner's complaints, by onset."""
    with reading(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, code)
        return people.injuries(unit, runner_id, runner.code)


def record_consent(casebook: Casebook, consent: Consent, *, by: str = "") -> None:
    """Store a consent, or the withdrawal of one that stands.

    A consent already stored with the same purpose and day takes its `withdrawn_on` from the
    new one if it had none; anything else about it is never changed.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    InputRefused
        For a day in the future or a withdrawal before the consent.
    Conflict
        When it stands already and nothing is new, or it was withdrawn on another day.
    """
    refuse_days(
        ("given_on", consent.given_on),
        ("withdrawn_on", consent.withdrawn_on),
        code="withdrawn_before_given",
        first="the consent was given",
    )
    with writing(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, consent.runner)
        stored = people.find_consent(unit, runner_id, consent)
        if stored is None:
            told = people.add_consent(unit, runner_id, consent)
        elif stored.withdrawn_on is None and consent.withdrawn_on is not None:
            told = people.withdraw_consent(unit, runner_id, consent)
        else:
            ended = f", withdrawn on {stored.withdrawn_on}" if stored.withdrawn_on else ""
            raise Conflict(
                f"Consent of '{consent.runner}' to {consent.purpose} given on "
                f"{consent.given_on}{ended} stands already. Nothing was stored."
            )
        people.bump_runner(unit, runner_id)
        history.append(unit, [told], by=by, at=clock.now())
        unit.commit()


def list_consents(casebook: Casebook, code: str) -> tuple[Consent, ...]:
    """A runner's consents, by day."""
    with reading(casebook.engine) as unit:
        runner_id, runner = get_runner_row(unit, casebook, code)
        return people.consents(unit, runner_id, runner.code)
