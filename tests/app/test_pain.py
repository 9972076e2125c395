"""Pain beyond the limits as the pages tell it, and what is said where no flag is open."""

from __future__ import annotations

from datetime import timedelta

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.cautions import PAIN_SOURCES
from casebook.domain.injuries import Injury, Pathology, Region
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import AdherenceWeek, Programme
from casebook.domain.sides import InjurySide
from casebook.services import clock
from casebook.services.adhering import record_week
from casebook.services.flagging import acknowledge_flag
from casebook.services.keeping import Casebook
from casebook.services.prescribing import list_injuries_of, prescribe
from casebook.services.registering import record_injury
from casebook.services.reviewing import review_runner
from tests.app.conftest import STEADY, WORSE, at_page, links, words

pytestmark = pytest.mark.usefixtures("clinic_file")


def test_pain_with_a_bone_stress_injury_comes_first_and_its_sources_are_told_once(
    app: AppTest, clinic: Casebook
) -> None:
    start = clock.today() - timedelta(weeks=6)
    record_injury(
        clinic,
        Injury(
            runner=STEADY,
            region=Region.LOWER_LEG,
            pathology=Pathology.BONE_STRESS,
            side=InjurySide.LEFT,
            onset_on=start,
        ),
    )
    ((injury_id, _),) = list_injuries_of(clinic, STEADY)
    programme = Programme(runner=STEADY, title="Back to running", started_on=start)
    stored = prescribe(clinic, Prescription(programme=programme), injury_id=injury_id, by="AB")
    for at in (0, 2):
        week = AdherenceWeek(
            week_start=start + timedelta(weeks=at),
            sessions_planned=3,
            sessions_done=3,
            pain_during=2.0,
        )
        record_week(clinic, stored.programme_id, week, by="AB")
    said = words(app.run())
    assert links(app)[0] == STEADY
    assert "**1 to consider for referral**" in said
    assert "no pain is the limit there. Ease off; consider referral" in said
    assert "2 recent flags, not acknowledged" in said
    said = words(at_page(app, "injuries", runner=STEADY))
    assert not app.exception
    assert said.count("no pain is the limit there") == 4  # two cards, two lines of the time line
    assert said.count(PAIN_SOURCES) == 1


def test_what_worsened_and_was_acknowledged_is_not_told_in_green(
    app: AppTest, clinic: Casebook
) -> None:
    for flag in review_runner(clinic, WORSE).open_flags:
        place = (flag.visit_date, flag.session, flag.metric, flag.kind)
        acknowledge_flag(clinic, WORSE, *place, reason="seen", by="AB")
    at_page(app, "runner", runner=WORSE)
    assert any("No open flag at the latest visit" in one.value for one in app.info)
    assert not any("No open flag" in one.value for one in app.success)
    at_page(app, "runner", runner=STEADY)
    assert any("No open flag" in one.value for one in app.success)
