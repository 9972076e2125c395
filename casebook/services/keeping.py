"""Making, opening and checking a casebook."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import platformdirs
from sqlalchemy import Connection, Engine

from casebook.domain.errors import StoreUnavailable
from casebook.services import clock
from casebook.services.cataloguing import load_starter_catalogue
from casebook.services.checking_files import file_findings
from casebook.services.exercising import load_starter_exercises
from casebook.services.measurement_sets import load_starter_sets
from casebook.services.opened import Casebook
from casebook.storage import adopting, checks, clinics, migrating
from casebook.storage.database import address, make_engine, shown, sqlite_path
from casebook.storage.session import connected, reading, writing

URL_VARIABLE = "CASEBOOK_DATABASE_URL"
__all__ = [
    "Casebook",
    "CheckPart",
    "CheckReport",
    "check_casebook",
    "create_casebook",
    "default_path",
    "get_clinic_name",
    "open_casebook",
    "resolve_url",
]
HISTORY_TABLE = "history"
MAKE_ONE = "Make one with 'casebook init'."


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPart:
    """One thing that was checked."""

    name: str
    ok: bool
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """What a check of the whole casebook found."""

    ok: bool
    parts: tuple[CheckPart, ...]


def default_path() -> Path:
    """The casebook's file in the user's own data folder."""
    return Path(platformdirs.user_data_dir("casebook", appauthor=False)) / "casebook.sqlite"


def resolve_url(db: str | None) -> str:
    """The address to use: `db`, else the environment, else the user's data folder.

    Parameters
    ----------
    db : str or None
        Path or URL as given with --db.

    Raises
    ------
    StoreUnavailable
        For an address that is none.
    """
    for given in (db, os.environ.get(URL_VARIABLE)):
        if given and given.strip():
            return address(given)
    return address(default_path())


def create_casebook(url: str, *, clinic_name: str = "Clinic") -> Casebook:
    """Make a casebook, or bring one that stands up to date; doing it again changes nothing.

    Migrates to the newest tables (what stood in a casebook from before the history is adopted
    into it in the same step), adds the clinic, the starter catalogue, the starter's exercises
    and, to a clinic that never had any, the starter's measurement sets.

    Parameters
    ----------
    url : str
        Path or URL.
    clinic_name : str
        Name of the clinic when there is none yet.

    Raises
    ------
    StoreUnavailable
        When the place cannot be written, holds something else, or a newer casebook.
    """
    url = address(url)
    _prepare_folder(url)
    engine = make_engine(url)
    try:
        with migrating.making_alone(engine):
            keeps_no_history = _refuse_what_is_no_casebook(engine)
            migrating.upgrade(engine, afterwards=_adopt if keeps_no_history else None)
            with writing(engine) as unit:
                clinic_id = clinics.find_clinic(unit)
                if clinic_id is None:
                    clinic_id = clinics.add_clinic(unit, name=clinic_name, at=clock.now())
                unit.commit()
            casebook = Casebook(url=url, engine=engine, clinic_id=clinic_id)
            load_starter_catalogue(casebook)
            load_starter_sets(casebook)
            load_starter_exercises(casebook)
    except BaseException:
        engine.dispose()
        raise
    return casebook


def _prepare_folder(url: str) -> None:
    path = sqlite_path(url)
    if path is None:
        return
    if path == default_path().resolve():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreUnavailable(
                f"The folder {path.parent} cannot be made ({error.strerror}). "
                "Name another place with --db."
            ) from error
    if not path.parent.is_dir():
        raise StoreUnavailable(
            f"The folder {path.parent} does not exist. Make it first, or name another place "
            "with --db."
        )
    if path.is_dir():
        raise StoreUnavailable(f"{path} is a folder; give the path of a file.")


def _adopt(connection: Connection) -> None:
    adopting.adopt(connection, at=clock.now())


def _refuse_what_is_no_casebook(engine: Engine) -> bool:
    """Refuse other programs' tables and newer casebooks; is it one from before the history?"""
    with connected(engine) as connection:
        revision = migrating.revision_of(connection)
        tables = migrating.table_names(connection)
    if revision is None and tables - {migrating.VERSION_TABLE}:
        raise StoreUnavailable(
            f"{shown(_address_of(engine))} holds tables that are no casebook's. Name another "
            "place with --db."
        )
    _refuse_newer(revision, engine)
    return revision is not None and HISTORY_TABLE not in tables


def _address_of(engine: Engine) -> str:
    return engine.url.render_as_string(hide_password=False)


def _refuse_newer(revision: str | None, engine: Engine) -> None:
    if revision is not None and revision not in migrating.known_revisions():
        raise StoreUnavailable(
            f"The casebook {shown(_address_of(engine))} was made by a newer version of casebook "
            f"(revision '{revision}'). Install that version, or open another casebook."
        )


def open_casebook(url: str) -> Casebook:
    """Open a casebook that stands.

    Raises
    ------
    StoreUnavailable
        When there is none, it is no casebook, or of an older or newer version.
    """
    url = address(url)
    path = sqlite_path(url)
    # Looking first: connecting would make an empty file.
    if path is not None and not path.exists():
        raise StoreUnavailable(f"There is no casebook at {path}. {MAKE_ONE}")
    if path is not None and path.is_dir():
        raise StoreUnavailable(f"{path} is a folder; give the path of a file.")
    engine = make_engine(url)
    try:
        clinic_id = _clinic_of(engine)
    except BaseException:
        engine.dispose()
        raise
    return Casebook(url=url, engine=engine, clinic_id=clinic_id)


def _clinic_of(engine: Engine) -> int:
    with connected(engine) as connection:
        revision = migrating.revision_of(connection)
    place = shown(_address_of(engine))
    if revision is None:
        raise StoreUnavailable(f"{place} holds no casebook. {MAKE_ONE}")
    _refuse_newer(revision, engine)
    if revision != migrating.head():
        raise StoreUnavailable(
            f"The casebook {place} is of an older version (revision '{revision}'). Keep a copy "
            "of it, then bring it up to date with 'casebook init'."
        )
    with reading(engine) as unit:
        clinic_id = clinics.find_clinic(unit)
    if clinic_id is None:
        raise StoreUnavailable(
            f"The casebook {place} was not finished. Finish it with 'casebook init'."
        )
    return clinic_id


def get_clinic_name(casebook: Casebook) -> str:
    """Name of the clinic that the casebook belongs to."""
    with reading(casebook.engine) as unit:
        return clinics.clinic_name(unit, casebook.clinic_id)


def check_casebook(casebook: Casebook, *, expected_head: str = "") -> CheckReport:
    """Check that the store is whole: schema, file, references, sums and rules.

    Reads everything and changes nothing.
    """
    with connected(casebook.engine) as connection:
        parts = tuple(
            CheckPart(name=finding.name, ok=finding.ok, detail=finding.detail)
            for finding in (
                *checks.findings(connection, expected_head=expected_head),
                *file_findings(casebook.url, connection),
            )
        )
    return CheckReport(ok=all(part.ok for part in parts), parts=parts)
