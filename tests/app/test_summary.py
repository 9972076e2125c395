"""Summary: the sheet stands on the page as it will lie on paper, and can be downloaded."""

from __future__ import annotations

import re

import pytest
from streamlit.testing.v1 import AppTest

from tests.app.conftest import NEW, WORSE, at_page, links

pytestmark = pytest.mark.usefixtures("clinic_file")


def sheet(app: AppTest) -> str:
    assert not app.exception
    return "\n".join(str(html.proto.body) for html in app.get("html"))


def test_the_sheet_says_what_changed_for_the_runner_and_then_for_the_referrer(
    app: AppTest,
) -> None:
    said = sheet(at_page(app, "summary", runner=WORSE))
    assert "right side: from 290 N at the start to 220 N on 9 Mar 2026" in said
    assert "Worse, by more than measuring alone usually makes it" in said
    assert "It does not tell why, it is no diagnosis" in said
    assert re.search(r'<img alt="Hip abductor strength\. Left and right \(N\): left 300 on', said)
    # A picture a panel, so that on a telephone they stand one below the other.
    first, second = re.findall(r'<div class="panels">(.*?)</div>', said)[0].split("<img alt=")[1:]
    assert second.startswith('""')
    assert first != second
    assert "MDC95" not in said
    app.segmented_control(key="summary_reader").set_value("referrer").run()
    assert "MDC95" in sheet(app)
    assert "Back to the runner" in links(app)
    assert len(app.get("download_button")) == 2


def test_a_runner_without_a_visit_has_a_sheet_and_an_unknown_one_is_told(app: AppTest) -> None:
    said = sheet(at_page(app, "summary", runner=NEW))
    assert "Nothing has been measured yet." in said
    assert "Only the start has been measured" not in said
    at_page(app, "summary", runner="nobody")
    assert "nobody" in app.info[0].value
    assert not app.exception
