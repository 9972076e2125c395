"""Runners, users, injuries and consents: what is asked of the store about people."""

from __future__ import annotations

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from casebook.domain.history import Act, Change, Subject
from casebook.domain.injuries import Injury
from casebook.domain.people import Consent, Identity, Runner, User
from casebook.storage import record_fields, translation
from casebook.storage.tables import ConsentRow, IdentityRow, InjuryRow, RunnerRow, UserRow


def find_runner(session: Session, clinic_id: int, code: str) -> tuple[int, Runner] | None:
    """Id and value of the runner with a code."""
    row = session.scalar(
        select(RunnerRow).where(RunnerRow.clinic_id == clinic_id, RunnerRow.code == code)
    )
    return None if row is None else (row.id, translation.runner_value(row))


def runners(session: Session, clinic_id: int) -> tuple[Runner, ...]:
    """All runners, by code."""
    # Sorted here: a server sorts by its own locale, a file by code point.
    rows = session.scalars(select(RunnerRow).where(RunnerRow.clinic_id == clinic_id))
    return tuple(translation.runner_value(row) for row in sorted(rows, key=lambda row: row.code))


def runner_ids(session: Session, clinic_id: int) -> dict[str, int]:
    """Id by code of every runner."""
    rows = session.execute(
        select(RunnerRow.code, RunnerRow.id).where(RunnerRow.clinic_id == clinic_id)
    )
    return {code: runner_id for code, runner_id in rows}  # noqa: C416


def add_runner(
    session: Session, clinic_id: int, runner: Runner, identity: Identity | None
) -> list[Change]:
    """Add a runner and, where given, the identifiers; returns what the history is told."""
    row = translation.runner_row(runner, clinic_id=clinic_id)
    session.add(row)
    session.flush()
    told = [record_fields.recorded(row)]
    if identity is not None:
        identifiers = translation.identity_row(identity, runner_id=row.id)
        session.add(identifiers)
        session.flush()
        told.append(record_fields.recorded(identifiers))
    return told


def bump_runner(session: Session, runner_id: int) -> None:
    """Count that something about a runner was stored, so that judgements are made anew."""
    session.execute(
        update(RunnerRow)
        .where(RunnerRow.id == runner_id)
        .values(revision=RunnerRow.revision + 1)
        .execution_options(synchronize_session=False)
    )


def find_identity(session: Session, runner_id: int, code: str) -> Identity | None:
    """A runner's direct identifiers."""
    row = session.get(IdentityRow, runner_id)
    return None if row is None else translation.identity_value(row, runner=code)


def users(session: Session, clinic_id: int) -> tuple[User, ...]:
    """All users, by code."""
    rows = session.scalars(select(UserRow).where(UserRow.clinic_id == clinic_id))
    return tuple(translation.user_value(row) for row in sorted(rows, key=lambda row: row.code))


def find_user(session: Session, clinic_id: int, code: str) -> int | None:
    """Id of the active user with a code."""
    return session.scalar(
        select(UserRow.id).where(
            UserRow.clinic_id == clinic_id, UserRow.code == code, UserRow.active
        )
    )


def add_user(session: Session, clinic_id: int, user: User) -> Change:
    """Add a user; returns what the history is told."""
    row = translation.user_row(user, clinic_id=clinic_id)
    session.add(row)
    session.flush()
    return record_fields.recorded(row)


def injuries(session: Session, runner_id: int, code: str) -> tuple[Injury, ...]:
    """A runner's complaints, by onset."""
    rows = session.scalars(
        select(InjuryRow)
        .where(InjuryRow.runner_id == runner_id)
        .order_by(InjuryRow.onset_on, InjuryRow.id)
    )
    return tuple(translation.injury_value(row, runner=code) for row in rows)


def injuries_by_id(session: Session, runner_id: int, code: str) -> tuple[tuple[int, Injury], ...]:
    """A runner's complaints with their ids, by onset."""
    rows = session.scalars(
        select(InjuryRow)
        .where(InjuryRow.runner_id == runner_id)
        .order_by(InjuryRow.onset_on, InjuryRow.id)
    )
    return tuple((row.id, translation.injury_value(row, runner=code)) for row in rows)


def add_injury(session: Session, runner_id: int, injury: Injury) -> Change:
    """Add a complaint; returns what the history is told."""
    row = translation.injury_row(injury, runner_id=runner_id)
    session.add(row)
    session.flush()
    return record_fields.recorded(row)


def consents(session: Session, runner_id: int, code: str) -> tuple[Consent, ...]:
    """A runner's consents, by day."""
    rows = session.scalars(
        select(ConsentRow)
        .where(ConsentRow.runner_id == runner_id)
        .order_by(ConsentRow.given_on, ConsentRow.purpose)
    )
    return tuple(translation.consent_value(row, runner=code) for row in rows)


def find_consent(session: Session, runner_id: int, consent: Consent) -> Consent | None:
    """The stored consent of the same purpose and day."""
    row = session.scalar(
        select(ConsentRow).where(
            ConsentRow.runner_id == runner_id,
            ConsentRow.purpose == consent.purpose,
            ConsentRow.given_on == consent.given_on,
        )
    )
    return None if row is None else translation.consent_value(row, runner=consent.runner)


def add_consent(session: Session, runner_id: int, consent: Consent) -> Change:
    """Add a consent; returns what the history is told."""
    row = translation.consent_row(consent, runner_id=runner_id)
    session.add(row)
    session.flush()
    return record_fields.recorded(row)


def withdraw_consent(session: Session, runner_id: int, consent: Consent) -> Change:
    """Write the withdrawal of a stored consent; returns what the history is told."""
    row = session.scalars(
        select(ConsentRow).where(
            ConsentRow.runner_id == runner_id,
            ConsentRow.purpose == consent.purpose,
            ConsentRow.given_on == consent.given_on,
        )
    ).one()
    before = record_fields.row_fields(row)
    row.withdrawn_on = consent.withdrawn_on
    session.flush()
    return record_fields.change(
        Subject.CONSENT,
        row.id,
        before,
        record_fields.row_fields(row),
        act=Act.ADDED,
        runner_id=runner_id,
    )
