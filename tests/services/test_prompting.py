"""Open flags of pain over a caseload: whom to consider for referral, and how recent."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from casebook.domain.cautions import ADVICE, PainReason
from casebook.domain.injuries import Pathology
from casebook.domain.people import User
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import AdherenceWeek, Programme
from casebook.services import clock
from casebook.services.adhering import record_week
from casebook.services.cautioning import acknowledge_pain
from casebook.services.flagging import ToLookAt, list_flags
from casebook.services.opened import Casebook
from casebook.services.pain_runs import RECENT_PAIN
from casebook.services.prescribing import list_injuries_of, prescribe
from casebook.services.registering import record_injury, register_runner, register_user
from casebook.services.reviewing import list_caseload
from tests.builders import a_runner, an_injury

START = date(2026, 3, 2)
SECOND = START + timedelta(weeks=1)


def painful(casebook: Casebook, runner: str, pathology: Pathology, pain: float) -> int:
    """A programme for a complaint with pain in two weeks in a row; returns its id."""
    record_injury(casebook, an_injury(runner=runner, pathology=pathology))
    ((injury_id, _),) = list_injuries_of(casebook, runner)
    programme = Programme(runner=runner, title="Easy running", started_on=START)
    stored = prescribe(casebook, Prescription(programme=programme), injury_id=injury_id, by="kim")
    for day in (START, SECOND):
        week = AdherenceWeek(week_start=day, sessions_planned=3, sessions_done=3, pain_during=pain)
        record_week(casebook, stored.programme_id, week, by="kim")
    return stored.programme_id


def test_pain_of_a_bone_stress_injury_is_on_the_caseload_while_it_is_recent_and_open(
    clinic: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    register_user(clinic, User(code="kim", display_name="Kim"))
    register_runner(clinic, a_runner(code="T-002"))
    bone = painful(clinic, "T-001", Pathology.BONE_STRESS, 2.0)
    painful(clinic, "T-002", Pathology.TENDINOPATHY, 7.0)
    last_day = SECOND + RECENT_PAIN
    first, second = list_caseload(clinic, today=last_day)
    assert (first.open_pain, first.pain_to_refer) == (2, True)
    assert ADVICE in first.worst_pain
    assert (second.open_pain, second.pain_to_refer) == (2, False)
    assert "above the usual limit of 5 in 2 weeks in a row" in second.worst_pain

    monkeypatch.setattr(clock, "today", lambda: last_day)
    assert [(one.open_prompts, one.open_pain_flags) for one in list_flags(clinic).to_look_at] == [
        (0, 2),
        (0, 2),
    ]
    acknowledge_pain(clinic, bone, [START, SECOND], PainReason.BONE, reason="sent on", by="kim")
    assert list_flags(clinic).to_look_at == (
        ToLookAt(runner="T-002", open_prompts=0, open_pain_flags=2),
    )
    first, second = list_caseload(clinic, today=last_day + timedelta(days=1))
    assert (first.open_pain, first.worst_pain, second.open_pain) == (0, "", 0)
