"""Programmes: written with targets and doses, changed with a reason, kept to, and held up."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import (
    AdherenceWeek,
    Aim,
    Block,
    Programme,
    Target,
    TargetDirection,
    TargetOn,
)
from casebook.services.adhering import record_week
from casebook.services.cautioning import list_pain_flags
from casebook.services.keeping import Casebook
from casebook.services.prescribing import (
    StoredPrescription,
    get_prescription,
    list_prescriptions,
    prescribe,
)
from tests.app.conftest import STRENGTH, WORSE, at_page, words
from tests.shifted_clock import set_today

STARTS, DUE, LATER = date(2026, 2, 10), date(2026, 3, 9), date(2026, 3, 20)


@pytest.fixture(autouse=True)
def in_march(clinic_file: object, monkeypatch: pytest.MonkeyPatch) -> None:
    set_today(monkeypatch, LATER)


@pytest.fixture
def stored(clinic: Casebook) -> StoredPrescription:
    return prescribe(
        clinic,
        Prescription(
            programme=Programme(
                runner=WORSE,
                title="Hips",
                started_on=STARTS,
                blocks=(
                    Block(
                        position=1,
                        aim=Aim.STRENGTH,
                        exercise="Side-lying leg raise",
                        sets=3,
                        repetitions=10,
                        sessions_per_week=3,
                    ),
                ),
                targets=(target(TargetOn.RIGHT, 60.0), target(TargetOn.LEFT, 1.0)),
            )
        ),
        by="AB",
    )


def target(what: TargetOn, amount: float) -> Target:
    return Target(
        metric=STRENGTH, what=what, direction=TargetDirection.UP, amount=amount, due_on=DUE
    )


def typed(app: AppTest, name: str) -> Callable[[str, object], None]:
    """Types into the boxes of one form by the last part of their keys."""

    def type_in(part: str, content: object) -> None:
        key = f"{name}_{part}"
        boxes = [*app.text_input, *app.text_area, *app.selectbox]
        next(box for box in boxes if box.key == key).set_value(content).run()

    return type_in


def test_a_programme_is_written_with_an_exercise_of_the_list_and_a_target_that_cannot_be_seen(
    app: AppTest, clinic: Casebook
) -> None:
    at_page(app, "programme", runner=WORSE, do="new")
    name = f"programme_new_{WORSE}"
    fill = typed(app, name)
    app.button(key=f"do_store_{name}").click().run()
    assert "Title: it is blank" in words(app)
    fill("title", "Hips first")
    listed = app.selectbox(key=f"adding_{name}").options
    if "Fill it with the starter list" in [button.label for button in app.button]:
        app.button(key=f"do_starter_{name}").click().run()
        listed = app.selectbox(key=f"adding_{name}").options
    hips = next(one for one in listed if "hip" in one.lower() and "strength" in one)
    app.selectbox(key=f"adding_{name}").select(hips).run()
    app.button(key=f"do_add_{name}").click().run()
    fill("block_1_tempo", "3-0")
    assert "expected three or four numbers of seconds" in words(app)
    fill("block_1_tempo", "3-0-1")
    fill("block_1_sets", "4")
    app.button(key=f"do_target_{name}").click().run()
    fill("target_2_metric", STRENGTH)
    fill("target_2_what_3", TargetOn.RIGHT)
    fill("target_2_way_2", TargetDirection.UP)
    fill("target_2_amount", "3")
    fill("target_2_due", "20.4.2026")
    assert "You would not be able to see this" in words(app)
    fill("target_2_amount", "60")
    assert "You would not be able to see this" not in words(app)
    app.button(key=f"do_store_{name}").click().run()
    assert not app.exception
    assert "The programme 'Hips first' is stored." in words(app)
    (kept,) = list_prescriptions(clinic, WORSE)
    (block,) = kept.prescription.programme.blocks
    assert (block.sets, str(kept.prescription.detail_of(block).tempo)) == (4, "3-0-1-0")
    assert kept.prescription.detail_of(block).exercise_key
    assert kept.prescription.programme.targets[0].amount == 60
    assert kept.injury_id is not None


def test_a_change_asks_a_reason_and_the_version_tells_that_the_dose_changed(
    app: AppTest, clinic: Casebook, stored: StoredPrescription
) -> None:
    at_page(app, "programme", runner=WORSE, do="change")
    name = f"programme_{stored.programme_id}"
    fill = typed(app, name)
    fill("block_1_sets", "5")
    assert "sets from 3 to 5" in words(app)
    app.button(key=f"do_store_{name}").click().run()
    assert get_prescription(clinic, stored.programme_id).prescription.version == 1
    fill("reason", "three were easy")
    app.button(key=f"do_store_{name}").click().run()
    said = words(app)
    assert "Stored as version 2" in said
    assert "the dose changed" in said
    assert "Why: three were easy" in said
    assert get_prescription(clinic, stored.programme_id).prescription.programme.blocks[0].sets == 5


def test_what_was_typed_is_there_again_after_another_page_was_looked_at(
    app: AppTest, stored: StoredPrescription
) -> None:
    at_page(app, "programme", runner=WORSE, do="new")
    typed(app, f"programme_new_{WORSE}")("title", "Half a title")
    at_page(app, "injuries", runner=WORSE)
    at_page(app, "programme", runner=WORSE, do="new")
    assert app.text_input(key=f"programme_new_{WORSE}_title").value == "Half a title"
    app.button(key=f"do_drop_programme_new_{WORSE}").click().run()
    assert "Half a title" not in words(app)
    app.button(key="copy").click().run()
    assert app.text_input(key=f"programme_new_{WORSE}_title").value == "Hips (2)"
    assert app.text_input(key=f"programme_new_{WORSE}_started_on").value == "20 Mar 2026"
    said = words(app)
    assert "1. Side-lying leg raise, both sides (strength): 3 × 10, 3 sessions a week" in said
    assert "In the same days: 'Hips'. What changes beside each of them can't be told apart." in said


def test_a_week_is_entered_by_typing_one_row_and_high_pain_raises_a_flag_that_is_acknowledged(
    app: AppTest, clinic: Casebook, stored: StoredPrescription
) -> None:
    at_page(app, "programme", runner=WORSE)
    row = f"week_{stored.programme_id}"
    assert app.text_input(key=f"{row}_planned").value == "3"
    app.button(key=f"store_{row}").click().run()
    assert "Sessions done: it is blank; type a number, 0 where none was done." in words(app)
    for part, text in (("done", "2"), ("during", "7"), ("after", "3"), ("comment", "sore")):
        app.text_input(key=f"{row}_{part}").set_value(text).run()
    # What was typed outlives another page that is looked at before it is stored.
    at_page(app, "injuries", runner=WORSE)
    at_page(app, "programme", runner=WORSE)
    assert [app.text_input(key=f"{row}_{part}").value for part in ("done", "during")] == ["2", "7"]
    assert app.text_input(key=f"{row}_planned").value == "3"
    app.button(key=f"store_{row}").click().run()
    assert "2 of 3** planned sessions done (67 %)" in words(app)
    (week,) = get_prescription(clinic, stored.programme_id).prescription.programme.adherence
    assert week == AdherenceWeek(
        week_start=date(2026, 2, 9),
        sessions_planned=3,
        sessions_done=2,
        pain_during=7.0,
        pain_morning_after=3.0,
        comment="sore",
    )
    boxes = [app.text_input(key=f"{row}_{part}").value for part in ("start", "done", "comment")]
    assert boxes == ["16 Feb 2026", "", ""]
    said = words(at_page(app, "runner", runner=WORSE))
    assert "Pain during the sessions was 7 of 10" in said
    key = f"pain_{stored.programme_id}_2026-02-09_during_too_high"
    app.text_area(key=f"{key}_reason").set_value("halved the load")
    app.button(key=f"FormSubmitter:form_{key}-Acknowledge as AB").click().run()
    said = words(app)
    assert "The flag is acknowledged" in said
    assert "Pain during the sessions was 7 of 10" not in said


def test_pain_of_long_ago_is_no_advice_for_today(
    app: AppTest, clinic: Casebook, stored: StoredPrescription, monkeypatch: pytest.MonkeyPatch
) -> None:
    week = AdherenceWeek(
        week_start=date(2026, 2, 9), sessions_planned=3, sessions_done=3, pain_during=7.0
    )
    record_week(clinic, stored.programme_id, week, by="AB")
    assert "Think of easing off" in words(at_page(app, "runner", runner=WORSE))
    set_today(monkeypatch, date(2026, 4, 7))
    said = words(at_page(app, "runner", runner=WORSE))
    assert "Think of easing off" not in said
    assert "1 earlier flag of pain in a programme's weeks, the latest in the week of 9 Feb" in said
    assert "Pain during the sessions was 7 of 10" in words(at_page(app, "injuries", runner=WORSE))


def test_weeks_of_pain_in_a_row_stand_on_one_card_and_each_can_be_seen_alone(
    app: AppTest, clinic: Casebook, stored: StoredPrescription
) -> None:
    for day in (9, 16, 23):
        week = AdherenceWeek(
            week_start=date(2026, 2, day), sessions_planned=3, sessions_done=3, pain_during=7.0
        )
        record_week(clinic, stored.programme_id, week, by="AB")
    said = words(at_page(app, "injuries", runner=WORSE))
    assert said.count("in 3 weeks in a row (those of 9 Feb 2026 to 23 Feb 2026)") >= 1
    key = f"pain_{stored.programme_id}_2026-02-09_during_too_high"
    app.selectbox(key=f"{key}_week").select(date(2026, 2, 9)).run()
    alone = f"{key}_2026-02-09_alone"
    app.text_area(key=f"{alone}_reason").set_value("first week")
    app.button(key=f"FormSubmitter:form_{alone}-Acknowledge as AB").click().run()
    assert "in 2 weeks in a row (those of 16 Feb 2026 to 23 Feb 2026)" in words(app)
    key = f"pain_{stored.programme_id}_2026-02-16_during_too_high"
    app.text_area(key=f"{key}_reason").set_value("halved the load")
    app.button(key=f"FormSubmitter:form_{key}-Acknowledge as AB").click().run()
    assert "The flags of 2 weeks are acknowledged" in words(app)
    assert list_pain_flags(clinic, WORSE) == ()
    seen = list_pain_flags(clinic, WORSE, include_seen=True)
    assert [one.seen.reason for one in seen if one.seen] == [
        "first week", "halved the load", "halved the load",
    ]  # fmt: skip


def test_the_page_says_what_became_of_targets_what_changed_and_what_is_still_empty(
    app: AppTest, clinic: Casebook, stored: StoredPrescription
) -> None:
    record_week(
        clinic,
        stored.programme_id,
        AdherenceWeek(week_start=date(2026, 2, 9), sessions_planned=3, sessions_done=1),
        by="AB",
    )
    said = words(at_page(app, "programme", runner=WORSE))
    assert not app.exception
    assert "**Not met** · Hip abductor strength (right): 60.0 N up by 9 Mar 2026" in said
    assert "**Can't be said** · Hip abductor strength (left): 1.0 N up" in said
    assert "You would not be able to see this" in said
    assert "Of 2 targeted measures, **1 worsened beyond error" in said
    assert "Only 33 % of the planned sessions were done" in said
    assert "None of this says why it changed." in said
    assert "1 of 3 planned sessions done" in said
    assert "CERT" in said
    assert "how keeping to it is encouraged" in said
    assert "caused" not in said
    measures = app.table[1].value
    assert list(measures["Measure"]) == [
        "Hip abductor strength, left",
        "Hip abductor strength, right",
    ]


def test_the_answer_comes_first_with_the_charts_and_the_week_is_one_link_away(
    app: AppTest, clinic: Casebook
) -> None:
    programme = Programme(
        runner=WORSE,
        title="Even hips",
        started_on=STARTS,
        targets=(
            Target(
                metric=STRENGTH,
                what=TargetOn.ASYMMETRY,
                direction=TargetDirection.TOWARDS_ZERO,
                amount=5.0,
                due_on=DUE,
            ),
        ),
    )
    stored = prescribe(clinic, Prescription(programme=programme), by="AB")
    week = AdherenceWeek(week_start=date(2026, 3, 16), sessions_planned=3, sessions_done=2)
    record_week(clinic, stored.programme_id, week, by="AB")
    at_page(app, "programme", runner=WORSE)
    assert not app.exception
    headings = [one.value for one in app.subheader]
    assert headings[:5] == [
        "Did it reduce the asymmetry?",
        "Targets",
        "Kept to",
        "Before, during and after",
        "The measures side by side",
    ]
    assert "**Hip abductor strength: worsened beyond error, from" in words(app)
    assert "(#enter-a-week)" in words(app)
    charts = [json.loads(chart.proto.spec) for chart in app.get("vega_lite_chart")]
    sides, asymmetry, bars = charts
    for chart in (sides, asymmetry):
        assert {"before", "during"} <= {
            row.get("words") for layer in chart["layer"] for row in layer["data"]["values"]
        }
    # The weeks stand on the time of the charts above, which reaches to the last of them.
    ends = [
        layer["encoding"]["x"]["scale"]["domain"]
        for chart in charts
        for layer in chart["layer"]
        if "domain" in layer["encoding"].get("x", {}).get("scale", {})
    ]
    assert all(end == ends[0] for end in ends)
    last = ends[0][1]
    assert date(last["year"], last["month"], last["date"]) > date(2026, 3, 22)
    assert bars["layer"][0]["data"]["values"][0]["Sessions"] == "2 of 3"
    # What it was not meant to change is drawn beside it on demand.
    shown = app.multiselect(key=f"programme_courses_{stored.programme_id}")
    assert shown.value == [STRENGTH]
    shown.select("cadence").run()
    assert len(app.get("vega_lite_chart")) == len(charts) + 2
