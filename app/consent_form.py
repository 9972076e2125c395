"""What a runner agreed to beyond their own care: shown, recorded and withdrawn.

Exports ask for it as of today, so that a withdrawal stored here holds from the next one on.
"""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from app import sidebar, state
from app.choices import choose_knowingly
from app.messages import calmly, day_words, plain
from app.typed_boxes import Boxes
from app.words import code_words
from casebook.domain.people import Consent, Purpose
from casebook.services import clock
from casebook.services.exporting_audit import exports_of_runner
from casebook.services.keeping import Casebook
from casebook.services.registering import list_consents, record_consent

GIVE = "Record a consent"
NEXT_ONE = "A withdrawal holds from the next export on."


def show_consents(casebook: Casebook, runner: str) -> None:
    """What stands, a form to withdraw it and one to record another."""
    with st.expander("Consent to audit and research", icon=":material/approval_delegation:"):
        known = list_consents(casebook, runner)
        if known:
            st.markdown("\n".join(f"- {_words(one)}" for one in known))
        else:
            st.markdown("No consent is recorded: exports leave this runner out.")
        if not state.who():
            sidebar.choose_user(casebook, place=f"consent_{runner}")
        _ask(casebook, runner, [one for one in known if one.withdrawn_on is None])
        st.caption(NEXT_ONE)
        if any(one.withdrawn_on for one in known):
            _left_before(casebook, runner)


def _left_before(casebook: Casebook, runner: str) -> None:
    """Whom to tell of a withdrawal: a file that left can't be called back."""
    held = exports_of_runner(casebook, runner)
    if not held:
        st.markdown("This runner was in no export.")
        return
    st.markdown(
        "This runner was in these exports, which can't be called back from here; tell whoever "
        "received them:\n"
        + "\n".join(
            f"- number {one.number}, of {day_words(one.at.date())}, for {plain(one.purpose)}, "
            f"by {plain(one.by)}"
            for one in held
        )
    )


def _words(consent: Consent) -> str:
    ended = consent.withdrawn_on
    until = f", withdrawn on {day_words(ended)}" if ended else ", not withdrawn"
    return f"{code_words(consent.purpose)}: given on {day_words(consent.given_on)}{until}"


def _withdraw_words(consent: Consent) -> str:
    return f"Withdraw the consent to {code_words(consent.purpose)} of {day_words(consent.given_on)}"


def _ask(casebook: Casebook, runner: str, standing: Sequence[Consent]) -> None:
    name = f"consent_{runner}"
    ways = {GIVE: None, **{_withdraw_words(one): one for one in standing}}
    way = st.selectbox("What happened", list(ways), key=f"{name}_way") or GIVE
    ending = ways.get(way)
    boxes, by, today = Boxes(), state.who(), clock.today()
    # Keys of what is stored: after a save the boxes begin anew.
    key = f"{name}_{len(standing)}_{list(ways).index(way)}"
    with st.form(key, border=False):
        left, right = st.columns(2)
        purpose = (
            choose_knowingly(left, "To what", list(Purpose), code_words, key=f"{key}_purpose")
            if ending is None
            else ending.purpose
        )
        day = boxes.day(
            right if ending is None else left,
            "Given on" if ending is None else "Withdrawn on",
            key=f"{key}_day",
            start=today,
            earliest=None if ending is None else ending.given_on,
            latest=today,
        ).value
        sent = st.form_submit_button(f"Store as {by}" if by else "Store")
    if not sent or boxes.refuse():
        return
    if not by:
        st.error("Say first who you are, so that the history can tell who did it.")
        return
    if purpose is None or day is None:
        st.error("Nothing was stored. Say what the consent is to, and on which day.")
        return
    consent = (
        Consent(runner=runner, purpose=purpose, given_on=day)
        if ending is None
        else Consent(
            runner=runner, purpose=ending.purpose, given_on=ending.given_on, withdrawn_on=day
        )
    )
    with calmly():
        record_consent(casebook, consent, by=by)
        state.leave_notice(
            "Consent recorded." if ending is None else "Withdrawal recorded; the history keeps it."
        )
        st.rerun()
