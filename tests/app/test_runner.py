"""Runner: flags with what they rest on, verdicts, courses; linked to by its address."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from app import state
from app.courses_shown import AS_VISITS
from casebook.domain.people import Runner
from casebook.domain.sides import Side
from casebook.domain.verdicts import What
from casebook.domain.visits import MissingReason, Visit, VisitKind, missing_value, value_of_trials
from casebook.services.flagging import acknowledge_flag, list_flags
from casebook.services.keeping import Casebook
from casebook.services.recording import list_visits, record_visit
from casebook.services.registering import register_runner
from casebook.services.reviewing import review_runner
from casebook.services.striking_out import strike_out_values
from tests.app.conftest import (
    CONDITIONS,
    NEW,
    STEADY,
    STRENGTH,
    WORSE,
    at_page,
    trials,
    visit_of,
    words,
)

pytestmark = pytest.mark.usefixtures("clinic_file")


def test_a_flag_is_read_with_numbers_error_and_chance(app: AppTest) -> None:
    said = words(at_page(app, "runner", runner=WORSE))
    assert not app.exception
    assert re.search(r"(?m)^[1-9] open flags?$", said)
    assert "Asymmetry larger than at baseline" in said
    assert "asymmetry up from 3.4% (left larger) to 30.8% (left larger)" in said
    assert "Error figure: your own measurements: own repeat measurements" in said
    assert "clinic (from the sides, taken as independent)" in said
    assert "in fewer than 1 % of comparisons, if the error figure is right" in said
    assert "Compared with the mean of 1 baseline visit; conditions: like for like" in said
    assert "in a runner who has not changed at all: the 2 comparisons of the latest visit" in said
    assert "those of the 2 visits tested since the baseline" in said
    assert "up to 0.05 at the latest visit and 0.1 in all" in said
    assert "Symptoms without an error figure and missed targets are not counted" in said
    assert "never replace it" in said


def test_the_verdict_table_says_what_changed_and_against_which_error(app: AppTest) -> None:
    at_page(app, "runner", runner=WORSE)
    table = app.table[0].value
    assert list(table.columns) == [
        "Metric",
        "What",
        "Verdict",
        "Change",
        "MDC",
        "Baseline",
        "Now",
        "Which side moved",
        "Like for like",
        "Error figure",
    ]
    right = table[table["What"] == "▶ right"].iloc[0]
    assert (right["Baseline"], right["Now"]) == ("290 N", "220 N")
    assert right["Change"].replace("\\", "") == "−70.0 N"
    assert "worsened beyond error" in right["Verdict"]
    asymmetry = table[table["What"] == "right − left"].iloc[0]
    assert asymmetry["Which side moved"] == "right"
    figures = [table["Error figure"][row].replace("\\", "") for row in table.index]
    assert figures == ["own [1]", "own [2]"]
    assert "[2] your own measurements: own repeat measurements" in words(app)
    app.segmented_control(key=f"verdicts_{WORSE}").set_value("All").run()
    assert len(app.table[0].value) == 7


def test_the_flagged_metric_is_drawn_first_with_both_sides_and_its_asymmetry(app: AppTest) -> None:
    at_page(app, "runner", runner=WORSE)
    assert app.multiselect(key=f"courses_{WORSE}").value == ["hip_abductor_strength"]
    charts = [json.loads(chart.proto.spec) for chart in app.get("vega_lite_chart")]
    assert len(charts) == 2
    domains = [
        layer["encoding"]["color"]["scale"]["domain"]
        for layer in charts[0]["layer"]
        if "scale" in layer["encoding"].get("color", {})
    ]
    assert ["Left", "Right"] in domains


def test_a_steady_runner_has_no_flag_and_it_is_said(app: AppTest) -> None:
    said = words(at_page(app, "runner", runner=STEADY))
    assert "No open flag at the latest visit (9 Mar 2026)" in said
    assert "**0** worsened beyond error" in said


def test_a_flag_is_acknowledged_by_a_named_user_with_a_reason(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "runner", runner=WORSE)
    key = "acknowledge_hip_abductor_strength_asymmetry_above_baseline"
    app.button(key=f"FormSubmitter:{key}-Acknowledge as AB").click().run()
    assert "acknowledged with a reason" in words(app)
    app.text_area(key=f"{key}_reason").set_value("strength block started")
    app.button(key=f"FormSubmitter:{key}-Acknowledge as AB").click().run()
    said = words(app)
    assert "acknowledged by AB on" in said
    assert "strength block started" in said
    kept = [flag for flag in list_flags(clinic, all_visits=True).flags if flag.acknowledged]
    assert [(flag.runner, flag.acknowledged_by) for flag in kept] == [(WORSE, "AB")]
    assert kept[0] not in review_runner(clinic, WORSE).open_flags


def test_a_saved_visit_is_seen_at_once(app: AppTest, clinic: Casebook) -> None:
    said = words(at_page(app, "runner", runner=STEADY))
    assert "3 visits, the latest on 9 Mar 2026" in said
    record_visit(clinic, visit_of(STEADY, date(2026, 4, 6), VisitKind.REVIEW, 200.0, 4.2), by="AB")
    said = words(app.run())
    assert "4 visits, the latest on 6 Apr 2026" in said
    assert re.search(r"(?m)^[1-9] open flags?$", said)


def test_a_runner_without_visits_is_asked_for_the_first(app: AppTest) -> None:
    assert "No visit is stored yet" in words(at_page(app, "runner", runner=NEW))


def test_everything_held_on_a_runner_can_be_had_with_a_caution(app: AppTest) -> None:
    for runner in (WORSE, NEW):
        said = words(at_page(app, "runner", runner=runner))
        assert not app.exception
        assert "Hand it to that person only, and keep no copy longer than you need it" in said
        assert app.get("download_button")[-1].proto.label == "Download the whole record"


def test_a_code_that_nobody_has_is_answered_calmly(app: AppTest) -> None:
    said = words(at_page(app, "runner", runner="R-nobody"))
    assert "There is no runner 'R-nobody'" in said
    assert not app.exception


def test_without_a_code_one_is_asked_for(app: AppTest) -> None:
    at_page(app, "runner")
    app.selectbox(key="runner_runner").set_value(STEADY).run()
    assert app.title[0].value.replace("\\", "") == STEADY
    assert app.query_params["runner"] == STEADY


def side_fell(clinic: Casebook) -> None:
    """A runner whose better side, the left, falls to the level of the right."""
    register_runner(clinic, Runner(code="R-fell"))
    days = (date(2026, 1, 12), date(2026, 2, 9), date(2026, 2, 16), date(2026, 3, 9))
    kinds = (VisitKind.BASELINE, VisitKind.REPEAT, VisitKind.REPEAT, VisitKind.REVIEW)
    for day, kind, left in zip(days, kinds, (300.0, 300.0, 300.0, 250.0), strict=True):
        record_visit(
            clinic,
            Visit(
                runner="R-fell",
                visited_on=day,
                kind=kind,
                conditions=CONDITIONS,
                values=(
                    value_of_trials(STRENGTH, Side.LEFT, trials(left, 2.0)),
                    value_of_trials(STRENGTH, Side.RIGHT, trials(250.0, 2.0)),
                ),
            ),
            by="AB",
        )


def test_a_better_side_that_fell_is_told_with_that_side_s_own_numbers(
    app: AppTest, clinic: Casebook
) -> None:
    side_fell(clinic)
    said = words(at_page(app, "runner", runner="R-fell"))
    assert "Asymmetry reads smaller only because the better side fell" in said
    # SEM of a mean of five: sqrt(4**2 + 6**2 / 5); 1.96 sqrt(2) times that is 13.4.
    assert "The left side went from 300 N to 250 N, more than its MDC of 13.4 N." in said
    assert "from the sides" not in said.split("more than its MDC of 13.4 N.")[1].split("\n")[0]


def test_repeat_visits_are_not_counted_among_those_that_were_tested(
    app: AppTest, clinic: Casebook
) -> None:
    side_fell(clinic)
    said = words(at_page(app, "runner", runner="R-fell"))
    assert "those of the 1 visit tested since the baseline" in said


def test_an_mdc_that_is_a_lower_bound_reads_as_one(app: AppTest) -> None:
    at_page(app, "runner", runner=WORSE)
    app.segmented_control(key=f"verdicts_{WORSE}").set_value("All").run()
    table = app.table[0].value
    cadence = table[table["Metric"] == "Cadence"].iloc[0]
    assert cadence["MDC"].startswith("at least ")
    assert '"At least" stands where only the error within a session is known' in words(app)
    assert "Of 6 verdicts with a known error about 5 %, that is 0.3" in words(app)


def test_a_number_that_is_struck_out_leaves_what_the_clinic_is_compared_with_at_once(
    clinic: Casebook,
) -> None:
    def runners() -> int:
        return len(state.clinic_baselines(clinic).groups[STRENGTH, What.RIGHT].runners)

    assert runners() == 2
    first = list_visits(clinic, WORSE)[0]
    strike_out_values(
        clinic,
        WORSE,
        first.visit.visited_on,
        removed=[(STRENGTH, Side.RIGHT)],
        expected_revision=first.revision,
        reason="another runner's",
        by="AB",
    )
    assert runners() == 1


def test_a_row_of_the_table_is_unfolded_to_its_why(app: AppTest) -> None:
    at_page(app, "runner", runner=WORSE)
    app.selectbox(key="why_row").set_value((STRENGTH, What.RIGHT)).run()
    said = words(app)
    assert not app.exception
    assert "It went down by 70.0 N, which is more than the MDC of 13.4 N" in said
    assert "MDC95 = 1.96" in said
    assert "What would change it." in said


def test_the_course_is_drawn_smoothed_or_by_visits_and_said_in_one_sentence(app: AppTest) -> None:
    said = words(at_page(app, "runner", runner=WORSE))
    assert "The course of right − left (a rise is toward the right being larger):" in said
    assert "Over 3 visits in 56 days" in said

    def smoothed() -> list[bool]:
        specs = [json.loads(chart.proto.spec) for chart in app.get("vega_lite_chart")]
        return [
            any("Smoothed" in row for layer in spec["layer"] for row in layer["data"]["values"])
            for spec in specs
        ]

    assert smoothed() == [True, True]
    assert "Beyond the thin lines: further from the baseline than measurement error alone" in said
    app.segmented_control(key="courses_drawn").set_value(AS_VISITS).run()
    assert smoothed() == [False, False]


def test_an_acknowledgement_that_is_carried_on_is_shown_with_the_visit_it_was_made_at(
    app: AppTest, clinic: Casebook
) -> None:
    flag = next(one for one in review_runner(clinic, WORSE).open_flags)
    acknowledge_flag(
        clinic, WORSE, flag.visit_date, flag.session, flag.metric, flag.kind, reason="seen", by="AB"
    )
    record_visit(clinic, visit_of(WORSE, date(2026, 4, 6), VisitKind.REVIEW, 220.0, 4.2), by="AB")
    said = words(at_page(app, "runner", runner=WORSE))
    assert "seen; carried on from the visit of 9 Mar 2026, not worse beyond error since" in said


def test_what_was_painful_at_the_latest_visit_is_not_passed_over(
    app: AppTest, clinic: Casebook
) -> None:
    record_visit(
        clinic,
        Visit(
            runner=WORSE,
            visited_on=date(2026, 4, 6),
            kind=VisitKind.REVIEW,
            conditions=replace(CONDITIONS, pain_today=5.0),
            note="limped in",
            values=(
                missing_value(STRENGTH, Side.RIGHT, MissingReason.PAINFUL),
                value_of_trials(STRENGTH, Side.LEFT, [300.0, 302.0, 298.0]),
            ),
        ),
        by="AB",
    )
    at_page(app, "runner", runner=WORSE)
    said = words(app)
    assert (
        "**▶ right** **at the latest visit: painful**; before: 290 N → 220 N (9 Mar 2026)" in said
    )
    app.segmented_control(key=f"verdicts_{WORSE}").set_value("All").run()
    table = app.table[0].value.map(lambda one: str(one).replace("\\", ""))
    mine = table[table["Metric"] == "Hip abductor strength"].set_index("What")
    assert mine["Verdict"]["▶ right"].startswith("**at the latest visit: painful**")
    assert "last 220 N (9 Mar 2026)" in mine["Now"]["▶ right"]
    assert "at the latest visit: right painful" in mine["Verdict"]["right − left"]
    assert "at the latest visit" not in mine["Verdict"]["◀ left"]
    assert "**pain 5.0**, assessor AB, 11 km/h" in said
    assert "limped in" in said


def test_a_flag_of_an_asymmetry_says_which_side_moved(app: AppTest) -> None:
    at_page(app, "runner", runner=WORSE)
    assert "the right side fell (−70.0 N)" in words(app).replace("The right", "the right")


def test_where_nothing_was_compared_no_number_of_false_flags_is_given(
    app: AppTest, clinic: Casebook
) -> None:
    for runner in (WORSE, STEADY):
        record_visit(
            clinic,
            Visit(
                runner=runner,
                visited_on=date(2026, 4, 6),
                kind=VisitKind.REVIEW,
                values=(value_of_trials("cadence", Side.NONE, [171.0]),),
            ),
            by="AB",
        )
    at_page(app, "runner", runner=WORSE)
    said = words(app)
    assert "Nothing was compared at the latest visit" in said
    assert "0 comparisons" not in said
    at_page(app, "runner", runner=STEADY)
    assert "No flag could be raised at the latest visit (6 Apr 2026)" in words(app)
    assert not app.success, "a tick would reassure for nothing"
