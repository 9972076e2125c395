"""The page History: what was amended or struck out, by whom and why; undone with a reason."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.cautions import Finding
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Programme, Target, TargetDirection, TargetOn
from casebook.domain.sides import Side
from casebook.domain.visits import value_of_trials
from casebook.services.amending import VisitChange, amend_visit
from casebook.services.cautioning import findings_of, record_findings
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.prescribing import prescribe
from casebook.services.recording import find_visit
from casebook.services.registering import get_runner, list_injuries
from tests.app.conftest import DROP, STRENGTH, WORSE, at_page, links, words

DAY = date(2026, 3, 9)


@pytest.fixture
def amended(clinic: Casebook) -> Casebook:
    change = VisitChange(
        values=[value_of_trials(STRENGTH, Side.RIGHT, [250.0, 251.5])],
        removed=[(DROP, Side.LEFT)],
        details={"speed_km_h": 12.5},
    )
    amend_visit(
        clinic, WORSE, DAY, 1, change, expected_revision=1, reason="misread *twice*", by="AB"
    )
    return clinic


def button(app: AppTest, label: str) -> None:
    next(one for one in app.button if one.label.startswith(label)).click()
    app.run()


def reason(app: AppTest, key: str, text: str) -> None:
    next(one for one in app.text_area if str(one.key) == f"{key}_reason").set_value(text)


def test_an_amendment_stands_there_in_plain_words(amended: Casebook, app: AppTest) -> None:
    assert "History" in links(at_page(app, "runner", runner=WORSE))
    said = words(at_page(app, "history", runner=WORSE, visit=f"{DAY}.1"))
    assert "Visit amended** · visit of 9 Mar 2026" in said
    assert "by AB" in said
    assert "Why: misread *twice*" in said
    assert "Hip abductor strength" in said
    assert "right: was 216, 218, 220, 222, 224 N, is now **250, 251.5 N**" in said
    assert "speed: was 11 km/h, is now **12.5 km/h**" in said
    assert "is now **nothing**" in said
    assert "runner recorded" not in said.lower()
    assert not app.exception


def test_days_read_as_on_every_page_and_an_amount_has_its_unit(
    clinic: Casebook, app: AppTest
) -> None:
    targets = (
        Target(
            metric=STRENGTH,
            what=TargetOn.ASYMMETRY,
            direction=TargetDirection.TOWARDS_ZERO,
            amount=15.0,
            due_on=date(2026, 6, 1),
        ),
        Target(
            metric=STRENGTH,
            what=TargetOn.RIGHT,
            direction=TargetDirection.UP,
            amount=40.0,
            due_on=date(2026, 6, 1),
        ),
    )
    planned = Programme(runner=WORSE, title="Hips", started_on=date(2026, 3, 10), targets=targets)
    prescribe(clinic, Prescription(programme=planned), by="AB")
    said = words(at_page(app, "history", runner=WORSE))
    assert "- due on: 1 Jun 2026" in said
    assert "- amount: 15 %" in said
    assert "- amount: 40 N" in said
    assert "- on: right minus left" in said


def test_an_entry_is_undone_with_a_reason(amended: Casebook, app: AppTest) -> None:
    at_page(app, "history", runner=WORSE, visit=f"{DAY}.1")
    number = next(str(one.key) for one in app.text_area if str(one.key).startswith("undo_"))
    number = number.removeprefix("undo_").removesuffix("_reason")
    button(app, "Undo as AB")
    assert "Give a reason" in words(app)
    reason(app, f"undo_{number}", "it was right")
    button(app, "Undo as AB")
    assert f"Entry {number} is undone" in words(app)
    stored = find_visit(amended, WORSE, DAY)
    assert stored is not None
    assert len(stored.visit.values) == 5
    assert stored.visit.conditions.speed_km_h == 11.0


def test_a_visit_is_struck_out_and_comes_back(clinic: Casebook, app: AppTest) -> None:
    at_page(app, "history", runner=WORSE, visit=f"{DAY}.1")
    key = next(str(one.key) for one in app.text_area if str(one.key).startswith("strike_"))
    reason(app, key.removesuffix("_reason"), "another runner's")
    button(app, "Strike out as AB")
    assert find_visit(clinic, WORSE, DAY) is None
    assert "This visit is struck out" in words(app)
    undo = next(str(one.key) for one in app.text_area if str(one.key).startswith("undo_"))
    reason(app, undo.removesuffix("_reason"), "it was hers")
    button(app, "Undo as AB")
    assert find_visit(clinic, WORSE, DAY) is not None
    assert check_casebook(clinic).ok


def test_what_is_known_of_the_runner_is_amended(clinic: Casebook, app: AppTest) -> None:
    at_page(app, "history", runner=WORSE)
    key = next(str(one.key) for one in app.text_area if str(one.key).startswith("record_"))
    key = key.removesuffix("_reason")
    mass = next(one for one in app.text_input if one.key == f"{key}_mass_kg")
    mass.set_value("61,5")
    reason(app, key, "weighed")
    button(app, "Save the amendment")
    assert get_runner(clinic, WORSE).mass_kg == 61.5
    assert "mass: was nothing, is now **61.5 kg**" in words(app)
    what = next(one for one in app.selectbox if one.label == "What")
    what.select_index(1).run()
    key = next(str(one.key) for one in app.text_area if "_injury_" in str(one.key))
    reason(app, key.removesuffix("_reason"), "typed for another")
    button(app, "Strike it out")
    assert list_injuries(clinic, WORSE) == ()
    assert not app.exception


def test_a_finding_is_amended_beside_the_other_records(clinic: Casebook, app: AppTest) -> None:
    record_findings(clinic, WORSE, DAY, 1, {Finding.NUMBNESS: True}, by="AB")
    at_page(app, "history", runner=WORSE)
    app.session_state["casebook_user"] = "AB"
    what = app.selectbox(key=f"amend_what_{WORSE}")
    named = "finding at a visit: numbness or tingling, 9 Mar 2026"
    what.select_index(what.options.index(named)).run()
    present = next(one for one in app.selectbox if str(one.key).endswith("_present"))
    assert (present.value, list(present.options)) == (True, ["yes", "no"])
    present.select_index(1)
    reason(app, str(present.key).removesuffix("_present"), "the other leg")
    button(app, "Save the amendment")
    assert not app.exception
    assert findings_of(clinic, WORSE, DAY) == {Finding.NUMBNESS: False}
