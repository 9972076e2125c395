"""Logging a visit: nothing typed is lost, nothing stored is changed, nothing odd is dropped."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.people import User
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason, VisitKind, value_of_mean
from casebook.services.drafting import drop_draft, keep_typed, list_drafts
from casebook.services.keeping import Casebook
from casebook.services.recording import find_visit, list_visits, record_visit
from casebook.services.registering import register_user
from tests.app.conftest import CONDITIONS, DROP, NEW, STRENGTH, WORSE, at_page, visit_of, words

pytestmark = pytest.mark.usefixtures("clinic_file")
TODAY = date(2026, 4, 6)


def key(app: AppTest, runner: str, *parts: str) -> str:
    name: str = app.session_state["casebook_drafts"][runner].name(*parts)
    return name


def cell(app: AppTest, metric: str, side: str, text: str, runner: str = WORSE) -> None:
    # A typed cell draws its row and the count only; the test then looks at the whole page.
    app.text_input(key=key(app, runner, metric, side)).set_value(text).run()
    app.run()


@pytest.fixture
def sheet(app: AppTest) -> AppTest:
    """The sheet of the worse runner's visit of 6 April."""
    at_page(app, "log_visit", runner=WORSE)
    return app.text_input(key=key(app, WORSE, "visited_on")).set_value("6.4.2026").run()


def save(app: AppTest) -> AppTest:
    return app.button(key="save_visit").click().run()


def test_conditions_come_from_the_last_visit_but_pain_is_asked_anew(sheet: AppTest) -> None:
    assert sheet.text_input(key=key(sheet, WORSE, "speed_km_h")).value == "11"
    assert sheet.text_input(key=key(sheet, WORSE, "footwear")).value == "own shoes"
    assert sheet.selectbox(key=key(sheet, WORSE, "kind")).value == VisitKind.REVIEW
    assert sheet.text_input(key=key(sheet, WORSE, "pain_today")).value == ""


def test_the_previous_value_and_the_change_so_far_stand_beside_the_cell(sheet: AppTest) -> None:
    assert "was 220 N" in words(sheet)
    cell(sheet, STRENGTH, "right", "231 229 230")
    assert "**230 N** of 3. was 220 N · **+10.0 N so far, MDC 14.0 N: within error**" in words(
        sheet
    )
    # Of a visit at another speed no call is made where the metric is sensitive to it.
    cell(sheet, DROP, "right", "9 n=7")
    assert "MDC 2.8°: beyond error" in words(sheet)
    sheet.text_input(key=key(sheet, WORSE, "speed_km_h")).set_value("13").run()
    assert "MDC 2.8°: not like for like" in words(sheet)
    assert "not like for like with the last visit: speed" in words(sheet)


def test_a_visit_is_saved_with_all_that_was_typed_and_shown_at_once(
    sheet: AppTest, clinic: Casebook
) -> None:
    cell(sheet, STRENGTH, "left", "300 302 298")
    cell(sheet, STRENGTH, "right", "210,5 n=3")
    cell(sheet, DROP, "left", "painful")
    cell(sheet, "cadence", "none", "172 173 171")
    sheet.text_input(key=key(sheet, WORSE, "pain_today")).set_value("3,0").run()
    sheet.text_input(key=key(sheet, WORSE, "note")).set_value("windy").run()
    save(sheet)
    assert not sheet.exception
    said = words(sheet)
    assert sheet.title[0].value.replace("\\", "") == WORSE
    assert "The visit of 6 Apr 2026 is saved, 4 values in one go" in said
    assert "open flag" in said
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert stored.recorded_by == "AB"
    assert stored.visit.note == "windy"
    assert stored.visit.conditions == replace(CONDITIONS, pain_today=3.0)
    values = {(value.metric, value.side): value for value in stored.visit.values}
    assert values[STRENGTH, Side.LEFT].trials == (300.0, 302.0, 298.0)
    assert values[STRENGTH, Side.RIGHT] == value_of_mean(STRENGTH, Side.RIGHT, 210.5, 3)
    assert values[DROP, Side.LEFT].missing_reason is MissingReason.PAINFUL
    assert (DROP, Side.RIGHT) not in values


def test_what_cannot_be_read_is_named_at_its_cell_and_nothing_is_saved(
    sheet: AppTest, clinic: Casebook
) -> None:
    cell(sheet, STRENGTH, "left", "300 30x")
    cell(sheet, STRENGTH, "right", "290")
    assert "Unit 'x' given" in words(sheet)
    save(sheet)
    assert "Nothing was saved: mend the fields" in words(sheet)
    assert len(list_visits(clinic, WORSE)) == 3
    assert sheet.text_input(key=key(sheet, WORSE, STRENGTH, "left")).value == "300 30x"


def test_a_number_beyond_the_plausible_range_is_asked_about_and_then_kept(
    sheet: AppTest, clinic: Casebook
) -> None:
    cell(sheet, STRENGTH, "left", "1900")
    assert "1900 N lies outside the plausible 10 to 800 N" in words(sheet)
    save(sheet)
    assert find_visit(clinic, WORSE, TODAY) is None
    sure = next(box for box in sheet.checkbox if "1900" in box.label)
    sure.check().run()
    sheet.run()
    save(sheet)
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert [value.mean for value in stored.visit.values] == [1900.0]


def test_a_confirmation_holds_for_that_number_only(sheet: AppTest) -> None:
    cell(sheet, STRENGTH, "left", "1900")
    next(box for box in sheet.checkbox if "1900" in box.label).check().run()
    sheet.run()
    cell(sheet, STRENGTH, "left", "1901")
    save(sheet)
    assert "Nothing was saved" in words(sheet)


def test_what_was_typed_survives_a_look_at_another_page(sheet: AppTest) -> None:
    cell(sheet, STRENGTH, "left", "305")
    sheet.switch_page("screens/caseload.py").run()
    at_page(sheet, "log_visit", runner=WORSE)
    assert sheet.text_input(key=key(sheet, WORSE, STRENGTH, "left")).value == "305"
    assert sheet.text_input(key=key(sheet, WORSE, "visited_on")).value == "6.4.2026"


def test_a_draft_open_in_two_windows_loses_no_cell_and_outlives_a_save_in_the_other(
    sheet: AppTest, clinic: Casebook
) -> None:
    cell(sheet, STRENGTH, "left", "305")
    (draft,) = list_drafts(clinic)
    assert draft.content["head:visited_on"] == "6.4.2026"
    # Another window throws the draft away, or saves it; this one types on.
    drop_draft(clinic, draft.key)
    cell(sheet, STRENGTH, "right", "222")
    (again,) = list_drafts(clinic)
    assert again.content["runner"] == WORSE
    assert {f"cell:{STRENGTH}:left", f"cell:{STRENGTH}:right"} < set(again.content)
    # Another window types, too.
    keep_typed(clinic, again.key, {f"cell:{DROP}:left": "4.2"}, owner="AB")
    sheet.run()
    assert sheet.text_input(key=key(sheet, WORSE, DROP, "left")).value == "4.2"
    save(sheet)
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert len(stored.visit.values) == 3


def test_a_draft_that_cannot_be_kept_says_so_and_is_saved_all_the_same(
    sheet: AppTest, clinic: Casebook
) -> None:
    with clinic.engine.begin() as connection:
        connection.exec_driver_sql(
            "CREATE TRIGGER full BEFORE INSERT ON draft BEGIN SELECT RAISE(ABORT, 'full'); END"
        )
    cell(sheet, STRENGTH, "left", "305")
    assert "stands on this page only, and is not kept" in words(sheet)
    save(sheet)
    assert find_visit(clinic, WORSE, TODAY) is not None


def test_one_runners_entries_never_show_at_another(sheet: AppTest) -> None:
    cell(sheet, STRENGTH, "left", "305")
    sheet.selectbox(key="log_runner").set_value(NEW).run()
    assert sheet.text_input(key=key(sheet, NEW, STRENGTH, "left")).value == ""
    sheet.selectbox(key="log_runner").set_value(WORSE).run()
    assert sheet.text_input(key=key(sheet, WORSE, STRENGTH, "left")).value == "305"


def test_a_stored_visit_is_added_to_without_and_changed_only_with_a_reason(
    app: AppTest, clinic: Casebook
) -> None:
    before = find_visit(clinic, WORSE, date(2026, 3, 9))
    assert before is not None
    at_page(app, "log_visit", runner=WORSE)
    app.text_input(key=key(app, WORSE, "visited_on")).set_value("09/03/2026").run()
    assert "A visit of 9 Mar 2026 is already stored (review, 5 values, by AB)" in words(app)
    # Nothing was typed, so that nothing is kept for a look at a stored visit.
    assert list_drafts(clinic) == ()
    app.multiselect(key=key(app, WORSE, "also")).set_value(["step_length"]).run()
    cell(app, "step_length", "left", "98 99")
    assert "To be saved: **1 added**" in words(app)
    save(app)
    after = find_visit(clinic, WORSE, date(2026, 3, 9))
    assert after is not None
    assert set(before.visit.values) < set(after.visit.values)
    assert after.revision == before.revision + 1
    assert list_drafts(clinic) == ()

    at_page(app, "log_visit", runner=WORSE)
    app.text_input(key=key(app, WORSE, "visited_on")).set_value("09/03/2026").run()
    assert app.text_input(key=key(app, WORSE, STRENGTH, "right")).value == "216 218 220 222 224"
    cell(app, STRENGTH, "right", "230 n=2")
    cell(app, DROP, "left", "")
    app.text_input(key=key(app, WORSE, "speed_km_h")).set_value("12").run()
    assert "stored: 216 218 220 222 224" in words(app)
    assert "**1 changed, 1 struck out, 1 of the head changed**" in words(app)
    save(app)
    assert "Nothing was saved. Why is what was stored changed?" in words(app)
    assert find_visit(clinic, WORSE, date(2026, 3, 9)) == after
    app.text_input(key=key(app, WORSE, "reason")).set_value("read from the wrong line").run()
    app.run()
    save(app)
    assert "3 fields amended" in words(app)
    amended = find_visit(clinic, WORSE, date(2026, 3, 9))
    assert amended is not None
    values = {(value.metric, value.side): value for value in amended.visit.values}
    assert values[STRENGTH, Side.RIGHT] == value_of_mean(STRENGTH, Side.RIGHT, 230.0, 2)
    assert (DROP, Side.LEFT) not in values
    assert amended.visit.conditions == replace(before.visit.conditions, speed_km_h=12.0)


def test_a_new_visit_that_another_saved_first_is_not_lost_and_asks_what_to_keep(
    sheet: AppTest, clinic: Casebook
) -> None:
    cell(sheet, STRENGTH, "left", "305")
    cell(sheet, DROP, "left", "painful")
    register_user(clinic, User(code="CD"))
    record_visit(clinic, visit_of(WORSE, TODAY, VisitKind.REVIEW, 250.0, 4.0), by="CD")
    # The sheet was opened before the other's save and has not been read again.
    save(sheet)
    assert not sheet.exception
    said = words(sheet)
    assert "already stored (review, 5 values, by CD)" in said
    assert "**CD** saved this visit" in said
    save(sheet)
    assert "choose theirs or yours for each field" in words(sheet)
    choices = {radio.label: radio for radio in sheet.radio}
    assert len(choices) == 2
    choices["Hip abductor strength, left"].set_value("yours").run()
    sheet.run()
    {radio.label: radio for radio in sheet.radio}["Pelvic drop on the other side, left"].set_value(
        "theirs"
    ).run()
    sheet.run()
    save(sheet)
    assert "Why is what was stored changed?" in words(sheet)
    sheet.text_input(key=key(sheet, WORSE, "reason")).set_value("mine was read twice").run()
    sheet.run()
    save(sheet)
    assert "1 field amended" in words(sheet)
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert (stored.recorded_by, stored.last_saved_by) == ("CD", "AB")
    values = {(value.metric, value.side): value for value in stored.visit.values}
    assert values[STRENGTH, Side.LEFT].mean == 305.0
    assert values[DROP, Side.LEFT].mean == pytest.approx(4.0)
    assert len(values) == 5


def test_a_second_session_of_the_day_stands_beside_the_first(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "log_visit", runner=WORSE)
    app.text_input(key=key(app, WORSE, "visited_on")).set_value("09/03/2026").run()
    app.selectbox(key=key(app, WORSE, "session", "2026-03-09")).set_value(2).run()
    cell(app, STRENGTH, "left", "303")
    save(app)
    stored = find_visit(clinic, WORSE, date(2026, 3, 9), 2)
    assert stored is not None
    assert [value.mean for value in stored.visit.values] == [303.0]


def test_a_new_runner_is_offered_the_whole_catalogue(app: AppTest) -> None:
    at_page(app, "log_visit", runner=NEW)
    assert app.selectbox(key=key(app, NEW, "kind")).value == VisitKind.BASELINE
    assert app.text_input(key=key(app, NEW, "navicular_drop", "left")).value == ""
    assert "The first visit of this runner" in words(app)


def test_nobody_saves_without_a_name(app: AppTest, clinic: Casebook) -> None:
    register_user(clinic, User(code="CD"))
    at_page(app, "log_visit", runner=WORSE)
    cell(app, STRENGTH, "left", "305")
    save(app)
    assert "Say first who you are" in words(app)
    app.selectbox(key="who_log").set_value("CD").run()
    save(app)
    stored = list_visits(clinic, WORSE)[-1]
    assert stored.recorded_by == "CD"


def test_an_empty_visit_is_refused_in_words(sheet: AppTest, clinic: Casebook) -> None:
    save(sheet)
    assert "Nothing was entered, so nothing was saved" in words(sheet)
    assert find_visit(clinic, WORSE, TODAY) is None
    # Why nothing could be measured is a finding too.
    cell(sheet, STRENGTH, "left", "painful")
    save(sheet)
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert len(stored.visit.values) == 1


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("speed_km_h", "9,5 km", "'9,5 km' is not a number"),
        ("speed_km_h", "95", "'95' is not within 0.5 to 45 km/h"),
        ("pain_today", "15", "'15' is not within 0 to 10"),
        ("visited_on", "26/11/2099", "Thursday 26 Nov 2099 lies after"),
        ("visited_on", "31.12.1989", "lies before Monday 1 Jan 1990"),
        ("visited_on", "11/25/2026", "a day that does not exist"),
        ("visited_on", "", "It is blank; type the day of the visit"),
        ("next_due_on", "1.4.2026", "lies before Monday 6 Apr 2026"),
        ("next_due_on", "in May", "'in May' is not read as a date"),
    ],
)
def test_a_date_or_condition_that_cannot_be_read_is_told_and_blocks_the_save(
    sheet: AppTest, clinic: Casebook, name: str, typed: str, told: str
) -> None:
    cell(sheet, STRENGTH, "left", "305")
    sheet.text_input(key=key(sheet, WORSE, name)).set_value(typed).run()
    assert told in words(sheet)
    save(sheet)
    assert "Nothing was saved" in words(sheet)
    assert len(list_visits(clinic, WORSE)) == 3
    assert sheet.text_input(key=key(sheet, WORSE, name)).value == typed


def test_a_decimal_comma_in_a_condition_is_a_decimal_sign(sheet: AppTest, clinic: Casebook) -> None:
    cell(sheet, STRENGTH, "left", "305")
    sheet.text_input(key=key(sheet, WORSE, "speed_km_h")).set_value("9,5").run()
    sheet.text_input(key=key(sheet, WORSE, "pain_today")).set_value("1,5").run()
    save(sheet)
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert stored.visit.conditions.speed_km_h == 9.5
    assert stored.visit.conditions.pain_today == 1.5


def test_the_date_is_told_back_so_that_it_cannot_be_read_two_ways(sheet: AppTest) -> None:
    assert "Monday 6 Apr 2026" in words(sheet)


def test_the_assessor_is_who_is_here_and_the_last_one_is_named(
    app: AppTest, clinic: Casebook
) -> None:
    register_user(clinic, User(code="CD"))
    at_page(app, "log_visit", runner=WORSE)
    app.selectbox(key="who_log").set_value("CD").run()
    assert app.text_input(key=key(app, WORSE, "assessor")).value == "CD"
    assert "last time: AB" in words(app)


def test_sides_that_fit_the_last_visit_better_crossed_over_are_asked_about(
    sheet: AppTest, clinic: Casebook
) -> None:
    # Last time left 300 N and right 220 N.
    cell(sheet, STRENGTH, "left", "222")
    cell(sheet, STRENGTH, "right", "299")
    said = words(sheet)
    assert "Left and right look swapped** against the visit of 9 Mar 2026" in said
    assert "(left 300 N, right 220 N)" in said
    save(sheet)
    assert find_visit(clinic, WORSE, TODAY) is None
    next(box for box in sheet.checkbox if "Left is left" in box.label).check().run()
    sheet.run()
    save(sheet)
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert [(v.side, v.mean) for v in stored.visit.values] == [
        (Side.LEFT, 222.0),
        (Side.RIGHT, 299.0),
    ]


def test_sides_that_stayed_as_they_were_are_not_asked_about(sheet: AppTest) -> None:
    cell(sheet, STRENGTH, "left", "296")
    cell(sheet, STRENGTH, "right", "224")
    cell(sheet, DROP, "left", "4.2")
    cell(sheet, DROP, "right", "4.0")
    assert "look swapped" not in words(sheet)


def test_the_next_visit_is_suggested_as_far_ahead_as_last_time(
    sheet: AppTest, clinic: Casebook
) -> None:
    # The last visit, of 9 March, planned the next for 9 April: 31 days ahead.
    assert sheet.text_input(key=key(sheet, WORSE, "next_due_on")).value == "7 May 2026"
    assert "Thursday 7 May 2026, as far ahead as last time" in words(sheet)
    cell(sheet, STRENGTH, "left", "305")
    save(sheet)
    stored = find_visit(clinic, WORSE, TODAY)
    assert stored is not None
    assert stored.visit.next_due_on == date(2026, 5, 7)


def test_no_next_visit_is_planned_only_when_that_was_said(app: AppTest, clinic: Casebook) -> None:
    at_page(app, "log_visit", runner=NEW)
    cell(app, STRENGTH, "left", "305", runner=NEW)
    save(app)
    assert "Say when, or tick 'No review planned'" in words(app)
    assert list_visits(clinic, NEW) == ()
    app.checkbox(key=key(app, NEW, "no_review")).check().run()
    save(app)
    assert [one.visit.next_due_on for one in list_visits(clinic, NEW)] == [None]
