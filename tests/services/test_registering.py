"""Registering runners, users, injuries and consents, on SQLite and on PostgreSQL."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from casebook.domain.errors import Conflict, InputRefused, NotFound
from casebook.domain.injuries import Course, Injury, Region
from casebook.domain.people import Consent, Identity, Purpose, Role, Runner, User
from casebook.services import clock
from casebook.services.keeping import Casebook
from casebook.services.registering import (
    find_identity,
    get_runner,
    list_consents,
    list_injuries,
    list_runners,
    list_users,
    record_consent,
    record_injury,
    register_runner,
    register_user,
)
from casebook.storage.session import reading
from casebook.storage.tables import RunnerRow
from tests.builders import a_consent, a_runner, an_injury

TOMORROW = clock.today() + timedelta(days=1)


def _revision(casebook: Casebook) -> int:
    with reading(casebook.engine) as unit:
        return unit.scalars(select(RunnerRow.revision).where(RunnerRow.code == "T-001")).one()


@pytest.mark.parametrize("code", ["R \"1\" 'x'", "läufer 7", "🏃‍♀️".replace("\u200d", ""), "a;b,c"])
def test_a_code_may_hold_quotes_letters_of_any_script_and_signs(
    casebook: Casebook, code: str
) -> None:
    register_runner(casebook, a_runner(code=f" {code} "))
    assert get_runner(casebook, code).code == code
    assert [runner.code for runner in list_runners(casebook)] == [code]


def test_a_runner_is_read_back_as_registered(casebook: Casebook) -> None:
    runner = a_runner(height_cm=171.5, mass_kg=62.0, registered_on=date(2025, 2, 3))
    identity = Identity(
        runner="T-001", given_name="Zoé", family_name="Invented", birth_date=date(1990, 4, 5)
    )
    register_runner(casebook, runner, identity)
    assert get_runner(casebook, "T-001") == runner
    assert find_identity(casebook, "T-001") == identity


def test_a_runner_without_identifiers_has_none_stored(clinic: Casebook) -> None:
    assert find_identity(clinic, "T-001") is None
    assert get_runner(clinic, "T-001").registered_on == clock.today()


def test_runners_are_listed_by_code_alike_on_every_database(casebook: Casebook) -> None:
    codes = ["b-2", "B-1", "a-3", "Ä-4", "A-5", "_6"]
    for code in codes:
        register_runner(casebook, a_runner(code=code))
    assert [runner.code for runner in list_runners(casebook)] == sorted(codes)


def test_a_taken_code_is_refused_and_the_first_runner_stays(clinic: Casebook) -> None:
    with pytest.raises(Conflict, match="'T-001' is registered already"):
        register_runner(clinic, a_runner(discipline="another"))
    assert get_runner(clinic, "T-001").discipline == a_runner().discipline


@pytest.mark.parametrize(
    ("runner", "identity", "code"),
    [
        (a_runner(code=" "), None, "code_empty"),
        (a_runner(code="x" * 65), None, "code_too_long"),
        (a_runner(code="a\nb"), None, "code_unprintable"),
        (a_runner(birth_year=1870), None, "birth_year_out_of_range"),
        (a_runner(birth_year=clock.today().year + 1), None, "birth_year_out_of_range"),
        (a_runner(height_cm=17.0), None, "height_cm_out_of_range"),
        (a_runner(mass_kg=float("nan")), None, "mass_kg_out_of_range"),
        (a_runner(registered_on=TOMORROW), None, "date_in_future"),
        (a_runner(discipline="x" * 101), None, "text_too_long"),
        (a_runner(), Identity(runner="T-002"), "identity_of_another"),
        (
            a_runner(),
            Identity(runner="T-001", birth_date=date(1991, 1, 1)),
            "birth_year_differs",
        ),
        (
            a_runner(birth_year=None),
            Identity(runner="T-001", birth_date=TOMORROW),
            "birth_in_future",
        ),
        (a_runner(), Identity(runner="T-001", given_name="x" * 201), "text_too_long"),
    ],
)
def test_a_runner_is_refused_with_nothing_stored(
    casebook: Casebook, runner: Runner, identity: Identity | None, code: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        register_runner(casebook, runner, identity)
    assert [problem.code for problem in refused.value.problems] == [code]
    assert list_runners(casebook) == ()


def test_a_refusal_never_names_an_identifier(casebook: Casebook) -> None:
    identity = Identity(runner="T-001", family_name="Secretname", birth_date=date(1991, 7, 8))
    with pytest.raises(InputRefused) as refused:
        register_runner(casebook, a_runner(), identity)
    assert "Secretname" not in f"{refused.value}{refused.value.problems}"
    assert "1991" not in f"{refused.value}{refused.value.problems}"


def test_an_unknown_runner_is_told(casebook: Casebook) -> None:
    for ask in (get_runner, find_identity, list_injuries, list_consents):
        with pytest.raises(NotFound, match="no runner 'X-1'"):
            ask(casebook, "X-1")


def test_users_are_listed_by_code_and_a_taken_code_is_refused(casebook: Casebook) -> None:
    ann = User(code="AB", display_name="Ann B.", role=Role.LEAD)
    ben = User(code="AA", active=False)
    register_user(casebook, ann)
    register_user(casebook, ben)
    with pytest.raises(Conflict, match="'AB' is registered already"):
        register_user(casebook, replace(ann, display_name="Other"))
    assert list_users(casebook) == (ben, ann)


def test_injuries_are_kept_by_onset_and_make_the_runner_be_judged_anew(clinic: Casebook) -> None:
    later = an_injury(region=Region.FOOT, onset_on=date(2026, 2, 1), course=Course.IMPROVING)
    earlier = an_injury(returned_on=date(2026, 2, 20), course=Course.RESOLVED)
    record_injury(clinic, later)
    record_injury(clinic, earlier)
    assert list_injuries(clinic, "T-001") == (earlier, later)
    assert _revision(clinic) == 3


def test_the_same_injury_twice_is_refused(clinic: Casebook) -> None:
    record_injury(clinic, an_injury())
    with pytest.raises(Conflict, match="already an injury"):
        record_injury(clinic, an_injury(course=Course.RESOLVED))
    assert list_injuries(clinic, "T-001") == (an_injury(),)
    assert _revision(clinic) == 2


@pytest.mark.parametrize(
    ("injury", "code"),
    [
        (an_injury(onset_on=TOMORROW), "date_in_future"),
        (an_injury(returned_on=TOMORROW), "date_in_future"),
        (an_injury(returned_on=date(2026, 1, 11)), "return_before_onset"),
    ],
)
def test_an_injury_with_impossible_days_is_refused(
    clinic: Casebook, injury: Injury, code: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        record_injury(clinic, injury)
    assert [problem.code for problem in refused.value.problems] == [code]
    assert list_injuries(clinic, "T-001") == ()


def test_a_consent_can_be_withdrawn_once_and_stays_on_record(clinic: Casebook) -> None:
    record_consent(clinic, a_consent())
    record_consent(clinic, a_consent(purpose=Purpose.RESEARCH))
    withdrawn = a_consent(withdrawn_on=date(2026, 4, 1))
    record_consent(clinic, withdrawn)
    assert list_consents(clinic, "T-001") == (withdrawn, a_consent(purpose=Purpose.RESEARCH))
    with pytest.raises(Conflict, match="withdrawn on 2026-04-01 stands already"):
        record_consent(clinic, a_consent(withdrawn_on=date(2026, 4, 2)))
    assert list_consents(clinic, "T-001")[0] == withdrawn
    assert _revision(clinic) == 4


@pytest.mark.parametrize(
    ("consent", "code"),
    [
        (a_consent(given_on=TOMORROW), "date_in_future"),
        (a_consent(withdrawn_on=date(2026, 1, 19)), "withdrawn_before_given"),
    ],
)
def test_a_consent_with_impossible_days_is_refused(
    clinic: Casebook, consent: Consent, code: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        record_consent(clinic, consent)
    assert [problem.code for problem in refused.value.problems] == [code]
    assert list_consents(clinic, "T-001") == ()
