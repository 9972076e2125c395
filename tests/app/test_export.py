"""The page Export: where nobody may leave it says why, and offers nothing to make."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from tests.app.conftest import at_page, words

pytestmark = pytest.mark.usefixtures("clinic_file")


def test_where_nobody_consented_there_is_no_risk_to_tell_and_nothing_to_make(app: AppTest) -> None:
    said = words(at_page(app, "export"))
    assert not app.exception
    assert "Nobody would leave. No runner's consent covers audit" in said
    assert "others; the largest probability" not in said
    assert "export_make" not in {button.key for button in app.button}
    assert "Nothing was exported yet" in said
