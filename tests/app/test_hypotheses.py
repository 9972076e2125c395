"""Hypotheses, complaints and cautions on their pages: written, frozen, scored, acknowledged."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.cautions import CautionAction, Finding
from casebook.domain.hypotheses import HypothesisKind, Link, Role
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Programme, Target, TargetDirection, TargetOn
from casebook.services.cautioning import findings_of, list_cautions
from casebook.services.hypothesising import list_hypotheses, write_hypothesis
from casebook.services.keeping import Casebook
from casebook.services.prescribing import StoredPrescription, prescribe
from casebook.services.registering import list_injuries
from casebook.services.running import list_runs
from tests.app.conftest import DROP, STEADY, STRENGTH, WORSE, at_page, words
from tests.app.test_programme import typed
from tests.shifted_clock import set_today

BEFORE, STARTS, DUE, LATER = (
    date(2026, 1, 30),
    date(2026, 2, 1),
    date(2026, 3, 9),
    date(2026, 3, 20),
)


@pytest.fixture(autouse=True)
def in_january(clinic_file: object, monkeypatch: pytest.MonkeyPatch) -> None:
    set_today(monkeypatch, BEFORE)


def programme(clinic: Casebook, runner: str, starts: date = STARTS) -> StoredPrescription:
    wanted = Target(
        metric=STRENGTH,
        what=TargetOn.RIGHT,
        direction=TargetDirection.UP,
        amount=40.0,
        due_on=DUE,
    )
    return prescribe(
        clinic,
        Prescription(
            programme=Programme(runner=runner, title="Hips", started_on=starts, targets=(wanted,))
        ),
        by="AB",
    )


def driver(metric: str = STRENGTH, **more: object) -> Link:
    given = {
        "position": 1,
        "role": Role.DRIVER,
        "metric": metric,
        "on": TargetOn.RIGHT,
        "direction": TargetDirection.DOWN,
        "amount": 40.0,
        "due_on": DUE,
    }
    return Link(**(given | more))  # type: ignore[arg-type]


def test_a_hypothesis_is_written_from_the_targets_and_scored_after_each_review(
    app: AppTest, clinic: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored = programme(clinic, WORSE)
    at_page(app, "hypotheses", runner=WORSE)
    app.button(key="do_write_hypothesis").click().run()
    assert "Frozen when the programme starts (1 Feb 2026)" in words(app)
    name = f"hypothesis_{stored.programme_id}_0"
    fill = typed(app, name)
    fill("kind", HypothesisKind.STRENGTH)
    fill("driver", "weak right hip")
    assert app.selectbox(key=f"{name}_link_1_metric").value == STRENGTH
    app.button(key=f"do_link_{name}").click().run()
    fill("link_2_role", Role.STILL)
    fill("link_2_metric", DROP)
    fill("link_2_on_3", TargetOn.LEFT)
    app.button(key=f"do_store_{name}").click().run()
    assert "type a number from 1 to 99" in words(app)
    fill("sure", "70")
    app.button(key=f"do_store_{name}").click().run()
    assert "None of its predictions is on the driver" in words(app)
    fill("link_1_role", Role.DRIVER)
    app.button(key=f"do_store_{name}").click().run()
    said = words(app)
    assert not app.exception
    assert "version 1 of 'weak right hip'" in said
    assert "70 % sure" in said
    set_today(monkeypatch, LATER)
    said = words(at_page(app, "hypotheses", runner=WORSE))
    assert "frozen since the programme started on 1 Feb 2026" in said
    assert "moved the other way, beyond error" in said
    assert "no change beyond error was seen, which does not show that it stayed still" in said
    assert "Stated sureness 70 %; not all of it was seen as predicted" in said
    assert "- 9 Feb 2026: " in said
    assert "**this one counts**" in said
    assert "does not show why" in said
    assert "caused" not in said
    app.segmented_control(key="hypotheses_view").set_value("Over a year").run()
    said = words(app)
    assert "**1 hypothesis** fell due" in said
    assert "With fewer than 10, this says little yet." in said
    assert list(app.table[0].value["Held"]) == ["0 of 1 (0 %)"]


def test_what_is_written_after_the_start_is_shown_and_never_scored(
    app: AppTest, clinic: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored = programme(clinic, STEADY, BEFORE - timedelta(days=3))
    write_hypothesis(
        clinic,
        stored.programme_id,
        kind=HypothesisKind.CONTROL,
        driver="late thought",
        links=(driver(),),
        sureness_pct=60,
        by="AB",
    )
    set_today(monkeypatch, LATER)
    said = words(at_page(app, "hypotheses", runner=STEADY))
    assert "never scored as a prediction" in said
    assert "down by 40.0 N" in said


def test_a_new_version_needs_a_reason_and_leaves_the_first_as_it_was(
    app: AppTest, clinic: Casebook
) -> None:
    stored = programme(clinic, WORSE)
    write_hypothesis(
        clinic,
        stored.programme_id,
        kind=HypothesisKind.CONTROL,
        driver="first thought",
        links=(driver(),),
        sureness_pct=60,
        by="AB",
    )
    at_page(app, "hypotheses", runner=WORSE)
    app.button(key=f"do_amend_{stored.programme_id}.1").click().run()
    name = f"hypothesis_{stored.programme_id}_1"
    fill = typed(app, name)
    fill("sure", "45")
    app.button(key=f"do_store_{name}").click().run()
    assert [len(one.versions) for one in list_hypotheses(clinic, WORSE)] == [1]
    fill("reason", "the films say otherwise")
    app.button(key=f"do_store_{name}").click().run()
    said = words(app)
    assert "**Version 1** · 30 Jan 2026 · by AB · 60 % sure" in said
    assert "Why this version: the films say otherwise" in said
    (kept,) = list_hypotheses(clinic, WORSE)
    assert [one.sureness_pct for one in kept.versions] == [60, 45]


def test_findings_bring_up_a_prompt_on_the_runner_s_page_until_it_is_acknowledged(
    app: AppTest, clinic: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_today(monkeypatch, LATER)
    at_page(app, "injuries", runner=WORSE)
    name = f"findings_{WORSE}_2026-03-09_1_0_"
    send = f"FormSubmitter:{name}-Store the findings as AB"
    app.button(key=send).click().run()
    assert "nothing was stored" in words(app)
    app.pills(key=f"{name}_present").set_value([Finding.BONE_TENDERNESS, Finding.NIGHT_PAIN])
    app.checkbox(key=f"{name}_others").check()
    app.button(key=send).click().run()
    assert findings_of(clinic, WORSE, date(2026, 3, 9))[Finding.FEVER] is False
    said = words(at_page(app, "runner", runner=WORSE))
    assert "A bone stress injury cannot be ruled out: consider referral, follow local" in said
    assert "Entered: tender on the bone; pain at night." in said
    key = "caution_bone_tenderness_night_pain_2026-03-09_1"
    acknowledge = f"FormSubmitter:form_{key}-Acknowledge as AB"
    app.text_area(key=f"{key}_reason").set_value("picture asked for")
    app.button(key=acknowledge).click().run()
    assert "Say what was done." in words(app)
    app.radio(key=f"{key}_action").set_value(CautionAction.REFERRED)
    app.text_area(key=f"{key}_reason").set_value("picture asked for")
    app.button(key=acknowledge).click().run()
    assert "The prompt is acknowledged" in words(app)
    assert list_cautions(clinic, WORSE) == ()
    said = words(at_page(app, "injuries", runner=WORSE))
    assert "referred; picture asked for (AB," in said


def test_a_complaint_s_days_are_entered_with_a_reason_and_counted_in_the_consensus_bins(
    app: AppTest, clinic: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_today(monkeypatch, LATER)
    said = words(at_page(app, "injuries", runner=WORSE))
    assert "up to 59 days lost so far (no day of full return is on record)" in said
    name = next(one.key for one in app.text_input if str(one.key).endswith("_back"))[:-5]
    app.text_input(key=f"{name}_back").set_value("10.2.2026")
    app.text_input(key=f"{name}_missed").set_value("3")
    app.text_input(key=f"{name}_days").set_value("12")
    app.text_input(key=f"{name}_reason").set_value("asked today")
    app.button(key=f"FormSubmitter:{name}-Store as AB").click().run()
    said = words(app)
    assert "20 days lost (8 to 28)" in said
    assert "counts as a running-related injury" in said
    assert [one.fully_back_on for one in list_injuries(clinic, WORSE)] == [date(2026, 2, 10)]
    app.text_input(key=f"run_{WORSE}_0_km").set_value("12,5")
    app.button(key=f"FormSubmitter:run_{WORSE}_0-Store the run").click().run()
    assert [run.distance_km for run in list_runs(clinic, WORSE)] == [12.5]
    said = words(app)
    assert "Longest run of the last 30 days: **12.5 km**" in said
    assert "**10 Feb 2026** Fully back: right knee" in said
