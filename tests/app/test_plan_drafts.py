"""A half-typed programme or hypothesis outlives a reload, and counts nowhere until it is stored."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.components.v2.component_manager import BidiComponentManager
from streamlit.testing.v1 import AppTest

from casebook.domain.history import Subject
from casebook.domain.hypotheses import HypothesisKind, Role
from casebook.domain.plan_drafts import DraftKind
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Aim, Block, Programme, TargetDirection, TargetOn
from casebook.domain.sides import InjurySide
from casebook.services.amending_records import strike_out_record
from casebook.services.drafting import TypedDraft, list_drafts
from casebook.services.hypothesising import list_hypotheses
from casebook.services.keeping import Casebook
from casebook.services.prescribing import (
    StoredPrescription,
    change_prescription,
    list_prescriptions,
    prescribe,
)
from tests.app.conftest import MAIN, STEADY, STRENGTH, WORSE, at_page, words
from tests.app.test_programme import typed
from tests.shifted_clock import set_today

STARTS, TODAY = date(2026, 4, 1), date(2026, 3, 20)


@pytest.fixture(autouse=True)
def in_march(clinic_file: object, monkeypatch: pytest.MonkeyPatch) -> None:
    set_today(monkeypatch, TODAY)


@pytest.fixture
def stored(clinic: Casebook) -> StoredPrescription:
    raises = Block(
        position=1,
        aim=Aim.STRENGTH,
        exercise="Leg raise",
        side=InjurySide.BOTH,
        sets=3,
        repetitions=10,
    )
    programme = Programme(runner=STEADY, title="Hips", started_on=STARTS, blocks=(raises,))
    return prescribe(clinic, Prescription(programme=programme), by="AB")


def reloaded(components: BidiComponentManager, page: str, **query: str) -> AppTest:
    """A session that knows nothing but the address, as after a reload."""
    app = AppTest.from_file(MAIN, default_timeout=30)
    app._bidi_component_manager = components
    return at_page(app, page, **query)


def only_draft(clinic: Casebook) -> TypedDraft:
    (draft,) = list_drafts(clinic)
    return draft


def test_a_half_typed_programme_is_there_after_a_reload_and_gone_from_the_drafts_once_stored(
    app: AppTest, clinic: Casebook, components: BidiComponentManager
) -> None:
    at_page(app, "programme", runner=WORSE, do="new")
    assert list_drafts(clinic) == ()
    name = f"programme_new_{WORSE}"
    fill = typed(app, name)
    fill("title", "Half a title")
    app.selectbox(key=f"adding_{name}").select("In my own words").run()
    app.button(key=f"do_add_{name}").click().run()
    fill("block_1_exercise", "Single-leg calf raise")
    fill("block_1_aim", Aim.MOBILITY)
    fill("block_1_sets", "4,5")
    app.button(key=f"do_target_{name}").click().run()
    fill("target_2_metric", STRENGTH)
    fill("target_2_what_3", TargetOn.RIGHT)
    fill("target_2_way_2", TargetDirection.UP)
    draft = only_draft(clinic)
    assert draft.kind is DraftKind.PROGRAMME
    assert app.query_params["draft"] == draft.key
    assert list_prescriptions(clinic, WORSE) == ()

    again = reloaded(components, "programme", runner=WORSE, do="new", draft=draft.key)
    assert not again.exception
    boxes = {box.key: box.value for box in [*again.text_input, *again.selectbox]}
    assert boxes[f"{name}_title"] == "Half a title"
    # What can't be read is there again as it was typed, with what is wrong with it.
    assert boxes[f"{name}_block_1_sets"] == "4,5"
    assert boxes[f"{name}_block_1_aim"] is Aim.MOBILITY
    assert boxes[f"{name}_target_2_way_2"] is TargetDirection.UP
    fill = typed(again, name)
    fill("block_1_sets", "4")
    fill("target_2_amount", "60")
    fill("target_2_due", "20.4.2026")
    again.button(key=f"do_store_{name}").click().run()
    assert "The programme 'Half a title' is stored." in words(again)
    (kept,) = list_prescriptions(clinic, WORSE)
    (block,) = kept.prescription.programme.blocks
    assert (block.exercise, block.aim, block.sets) == ("Single-leg calf raise", Aim.MOBILITY, 4)
    assert kept.prescription.programme.targets[0].amount == 60
    assert list_drafts(clinic) == ()


def test_drafts_of_plans_are_listed_gone_on_with_and_discarded(
    app: AppTest,
    clinic: Casebook,
    components: BidiComponentManager,
    stored: StoredPrescription,
) -> None:
    at_page(app, "programme", runner=STEADY)
    app.button(key="copy").click().run()
    copy = only_draft(clinic)
    listed = words(reloaded(components, "log_visit"))
    assert f"**{STEADY}**, a new programme 'Hips (2)': not stored, last typed by AB on" in listed
    assert "unfinished visit" not in listed
    elsewhere = reloaded(components, "programme", runner=STEADY)
    elsewhere.button(key=f"resume_{copy.key}").click().run()
    box = elsewhere.text_input(key=f"programme_new_{STEADY}_title")
    assert box.value == "Hips (2)"
    assert elsewhere.text_input(key=f"programme_new_{STEADY}_block_1_repetitions").value == "10"
    elsewhere = reloaded(components, "programme", runner=STEADY)
    elsewhere.button(key=f"drop_{copy.key}").click().run()
    assert list_drafts(clinic) == ()
    assert "not stored, last typed" not in words(elsewhere)
    assert len(list_prescriptions(clinic, STEADY)) == 1


def test_a_change_taken_up_again_does_not_undo_what_somebody_stored_meanwhile(
    app: AppTest,
    clinic: Casebook,
    components: BidiComponentManager,
    stored: StoredPrescription,
) -> None:
    at_page(app, "programme", runner=STEADY, do="change")
    name = f"programme_{stored.programme_id}"
    typed(app, name)("block_1_sets", "5")
    draft = only_draft(clinic)
    prescription = stored.prescription
    programme = prescription.programme
    theirs = Programme(
        runner=STEADY, title="Hips and calves", started_on=STARTS, blocks=programme.blocks
    )
    change_prescription(
        clinic,
        stored.programme_id,
        Prescription(programme=theirs, block_details=prescription.block_details),
        expected_version=1,
        reason="calves, too",
        by="AB",
    )
    again = reloaded(components, "programme", runner=STEADY, do="change", draft=draft.key)
    assert "sets from 3 to 5" in words(again)
    typed(again, name)("reason", "three were easy")
    again.button(key=f"do_store_{name}").click().run()
    assert not again.exception
    (kept,) = list_prescriptions(clinic, STEADY)
    assert (kept.prescription.version, kept.prescription.programme.title) == (2, "Hips and calves")
    assert only_draft(clinic).content["box:reason"] == "three were easy"


def test_a_draft_of_a_programme_that_was_struck_out_is_said_to_be_of_none(
    app: AppTest, clinic: Casebook, stored: StoredPrescription
) -> None:
    at_page(app, "programme", runner=STEADY, do="change")
    typed(app, f"programme_{stored.programme_id}")("block_1_sets", "5")
    place = (Subject.PROGRAMME, stored.programme_id)
    strike_out_record(clinic, STEADY, place, reason="the wrong runner", by="AB")
    draft = only_draft(clinic)
    at_page(app, "programme", runner=STEADY, programme=str(stored.programme_id))
    assert not app.exception
    said = words(app)
    assert "The programme that was to be changed is not there any more." in said
    assert "a change of a programme 'Hips': not stored" in said
    app.button(key=f"drop_{draft.key}").click().run()
    assert list_drafts(clinic) == ()
    write = str(stored.programme_id)
    at_page(app, "hypotheses", runner=STEADY, write=write)
    assert not app.exception


def test_a_half_typed_hypothesis_is_there_after_a_reload_and_is_no_hypothesis(
    app: AppTest,
    clinic: Casebook,
    components: BidiComponentManager,
    stored: StoredPrescription,
) -> None:
    write = str(stored.programme_id)
    at_page(app, "hypotheses", runner=STEADY, write=write)
    name = f"hypothesis_{stored.programme_id}_0"
    fill = typed(app, name)
    fill("kind", HypothesisKind.STRENGTH)
    fill("driver", "weak right hip")
    fill("link_1_metric", STRENGTH)
    app.button(key=f"do_link_{name}").click().run()
    fill("link_2_role", Role.STILL)
    draft = only_draft(clinic)
    assert draft.kind is DraftKind.HYPOTHESIS
    assert list_hypotheses(clinic, STEADY) == ()
    again = reloaded(components, "hypotheses", runner=STEADY, write=write, draft=draft.key)
    boxes = {box.key: box.value for box in [*again.text_input, *again.selectbox]}
    assert boxes[f"{name}_driver"] == "weak right hip"
    assert boxes[f"{name}_link_1_metric"] == STRENGTH
    assert boxes[f"{name}_link_2_role"] is Role.STILL
    again.button(key=f"do_drop_{name}").click().run()
    assert not again.exception
    assert list_drafts(clinic) == ()
