"""Consent on the runner's page: recorded and withdrawn, told to the history, heeded by exports."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from casebook.domain.people import Consent, Purpose
from casebook.services import clock
from casebook.services.keeping import Casebook, check_casebook
from casebook.services.registering import list_consents, record_consent
from casebook.services.telling_history import runner_history
from tests.app.conftest import WORSE, at_page, words

GIVEN = date(2026, 3, 1)


def _store(app: AppTest) -> str:
    form = [one for one in app.button if str(one.key).startswith("FormSubmitter:consent_")]
    form[0].click()
    app.run()
    assert not app.exception
    return words(app)


def test_a_consent_is_recorded_by_who_does_it(clinic: Casebook, app: AppTest) -> None:
    assert "No consent is recorded" in words(at_page(app, "runner", runner=WORSE))
    assert "Say what the consent is to" in _store(app)
    next(one for one in app.selectbox if one.label == "To what").set_value(Purpose.RESEARCH)
    assert "Consent recorded." in _store(app)
    (stored,) = list_consents(clinic, WORSE)
    assert (stored.purpose, stored.given_on, stored.withdrawn_on) == (
        Purpose.RESEARCH, clock.today(), None,
    )  # fmt: skip
    assert runner_history(clinic, WORSE)[0].by == "AB"
    assert check_casebook(clinic).ok


@pytest.mark.parametrize(
    ("typed", "said"),
    [("28 feb 2026", "Nothing was stored"), ("2 mar 2026", "Withdrawal recorded")],
)
def test_it_is_withdrawn_but_on_no_day_before_it(
    clinic: Casebook, app: AppTest, typed: str, said: str
) -> None:
    record_consent(clinic, Consent(runner=WORSE, purpose=Purpose.AUDIT, given_on=GIVEN), by="AB")
    at_page(app, "runner", runner=WORSE)
    way = next(one for one in app.selectbox if one.label == "What happened")
    way.set_value("Withdraw the consent to audit of 1 Mar 2026")
    app.run()
    next(one for one in app.text_input if one.label == "Withdrawn on").set_value(typed)
    now = _store(app)
    assert said in now
    # Whom to tell: asked only once something was withdrawn.
    assert ("This runner was in no export." in now) == ("recorded" in said)
    (stored,) = list_consents(clinic, WORSE)
    assert stored.withdrawn_on == (None if "Nothing" in said else date(2026, 3, 2))
