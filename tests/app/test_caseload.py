"""Caseload: who is due, who has a flag, what it says; finding and adding a runner."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.cautions import Finding
from casebook.domain.injuries import Pathology, Region
from casebook.domain.people import Runner
from casebook.domain.sides import InjurySide
from casebook.services.cautioning import record_findings
from casebook.services.keeping import Casebook
from casebook.services.registering import get_runner, list_injuries, register_runner
from casebook.services.reviewing import review_runner
from tests.app.conftest import NEW, STEADY, WORSE, links, words

pytestmark = pytest.mark.usefixtures("clinic_file")


def test_a_flagged_runner_stands_first_with_the_flag_in_words(app: AppTest) -> None:
    app.run()
    assert not app.exception
    assert links(app) == [WORSE, STEADY, NEW]
    said = words(app)
    assert "3 runners · **1 with an open flag** · **2 overdue**" in said
    assert (
        "**Hip abductor strength**: asymmetry larger than at its best  \n:gray[1 more open flag]"
        in said
    )
    assert "Asymmetry 30.8% (left larger), larger than the 2.7% (left larger) at the best" in said
    assert "9 Apr 2026, overdue by" in said
    assert "never replace it" in said


def test_findings_that_call_for_a_referral_stand_before_any_number(
    app: AppTest, clinic: Casebook
) -> None:
    day = review_runner(clinic, STEADY).visits[-1].visited_on
    record_findings(clinic, STEADY, day, 1, {Finding.NUMBNESS: True}, by="AB")
    app.run()
    assert links(app) == [STEADY, WORSE, NEW]
    said = words(app)
    assert "**1 to consider for referral**" in said
    assert "consider referral, follow local pathways" in said
    app.segmented_control(key="caseload_show").set_value("With a flag").run()
    assert links(app) == [STEADY, WORSE]


def test_the_filters_leave_the_runners_they_name(app: AppTest) -> None:
    app.run()
    app.segmented_control(key="caseload_show").set_value("With a flag").run()
    assert links(app) == [WORSE]
    app.segmented_control(key="caseload_show").set_value("Overdue").run()
    assert links(app) == [WORSE, STEADY]


def test_the_search_looks_at_code_discipline_and_complaint(app: AppTest) -> None:
    app.run()
    app.text_input(key="caseload_search").set_value("knee MARATHON").run()
    assert links(app) == [WORSE]
    assert "1 of 3 runners · **1 with an open flag**" in words(app)
    app.text_input(key="caseload_search").set_value("nobody").run()
    assert links(app) == []
    assert "No runner fits the search" in words(app)


def test_a_page_number_beyond_the_found_runners_is_mended(app: AppTest, clinic: Casebook) -> None:
    for number in range(40):
        register_runner(clinic, Runner(code=f"Z-{number:02}"))
    app.run()
    app.number_input(key="caseload_page").set_value(2).run()
    assert len(links(app)) == 43 - 25
    assert "Runners 26 to 43 of 43" in words(app)
    assert app.button(key="caseload_to_further").disabled
    app.button(key="caseload_to_earlier").click().run()
    assert len(links(app)) == 25
    assert app.number_input(key="caseload_page").value == 1
    app.text_input(key="caseload_search").set_value("Z-").run()
    app.number_input(key="caseload_page").set_value(2).run()
    app.text_input(key="caseload_search").set_value("Z-1").run()
    assert len(links(app)) == 10
    assert not app.exception


def test_a_runner_is_added_with_a_complaint_and_opened(app: AppTest, clinic: Casebook) -> None:
    app.run()
    app.text_input(key="runner_code").set_value("Ö'x\"🏃")
    app.text_input(key="runner_born").set_value("1988")
    app.toggle(key="runner_injured").set_value(True).run()
    app.selectbox(key="injury_region").set_value(Region.ANKLE)
    app.button(key="runner_add").click().run()
    assert "Nothing was stored" in words(app)
    assert "Side: not chosen yet" in words(app)
    assert "Kind: not chosen yet" in words(app)
    assert "Region: not chosen yet" not in words(app)
    app.selectbox(key="injury_side").set_value(InjurySide.LEFT)
    app.selectbox(key="injury_pathology").set_value(Pathology.NON_SPECIFIC)
    app.text_input(key="injury_onset_on").set_value("3.2.2026")
    app.button(key="runner_add").click().run()
    assert not app.exception
    assert get_runner(clinic, "Ö'x\"🏃").birth_year == 1988
    (injury,) = list_injuries(clinic, "Ö'x\"🏃")
    assert (injury.region, injury.side) == (Region.ANKLE, InjurySide.LEFT)
    assert injury.onset_on == date(2026, 2, 3)
    said = words(app)
    assert "Runner Ö'x\"🏃 is registered" in said
    assert "No visit is stored yet" in said


def test_a_code_that_is_taken_is_refused_in_words(app: AppTest) -> None:
    app.run()
    app.text_input(key="runner_code").set_value(STEADY)
    app.button(key="runner_add").click().run()
    assert f"A runner '{STEADY}' is registered already" in words(app)
    assert not app.exception


def test_a_birth_year_that_cannot_be_is_refused_in_words(app: AppTest) -> None:
    app.run()
    app.text_input(key="runner_code").set_value("R-x")
    app.text_input(key="runner_born").set_value("1700")
    app.button(key="runner_add").click().run()
    assert "birth year is 1700" in words(app)
