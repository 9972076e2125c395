"""Pictures and documents of a visit on the runner's page: shown, added, changed, struck out."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from casebook.services.attaching import (
    GivenFile,
    attach_files,
    folder_of,
    list_attachments,
)
from casebook.services.keeping import Casebook, check_casebook
from tests.app.conftest import NEW, STEADY, at_page, words
from tests.pictures import a_jpeg, a_pdf, a_png

pytestmark = pytest.mark.usefixtures("clinic_file")
DAY = date(2026, 3, 9)
PLACE = f"{STEADY}_{DAY}_1"


def opened(app: AppTest) -> AppTest:
    return at_page(app, "runner", runner=STEADY)


def attached(clinic: Casebook) -> tuple[str, ...]:
    given = [
        GivenFile(name="side.jpg", content=a_jpeg(), caption="Midstance, left"),
        GivenFile(name="letter.pdf", content=a_pdf()),
    ]
    report = attach_files(clinic, STEADY, DAY, given, by="AB")
    return tuple(f"{one.attachment_id}_{one.sha256[:12]}" for one in report.attached)


def test_good_files_are_attached_and_each_bad_one_is_told(app: AppTest, clinic: Casebook) -> None:
    opened(app)
    assert "Nothing is attached to this visit" in words(app)
    app.text_input(key=f"attach_caption_{PLACE}").set_value("midstance")
    app.file_uploader(key=f"uploads_{PLACE}").set_value(
        [
            ("still.png", a_png(), "image/png"),
            ("really a film.png", b"moov" * 30, "image/png"),
        ]
    )
    _press(app, "Attach")
    assert not app.exception
    said = words(app)
    assert "1 file attached." in said
    assert "really a film.png: its content is of no kind that is taken" in said
    assert "still.png: What the camera or program wrote beside the picture" in said
    assert "**midstance**" in said
    (one,) = list_attachments(clinic, STEADY, DAY)
    assert (one.name, one.kind, one.caption, one.added_by) == (
        "still.png",
        "png",
        "midstance",
        "AB",
    )
    assert "Pictures and documents (1)" in [box.label for box in app.expander]
    # What was told is told once.
    assert "really a film" not in words(app.run())


def test_pictures_are_shown_small_and_documents_by_name(app: AppTest, clinic: Casebook) -> None:
    attached(clinic)
    said = words(opened(app))
    assert len(app.get("image")) == 1
    assert "**Midstance, left**" in said
    assert "letter.pdf" in said
    saved = [one.proto.label for one in app.get("download_button")]
    assert saved.count("Save") == 2
    assert app.selectbox(key=f"attachments_visit_{STEADY}").options[0] == "9 Mar 2026: 2 files"


def test_a_caption_is_amended_and_a_file_struck_out_with_a_reason_only(
    app: AppTest, clinic: Casebook
) -> None:
    picture, _ = attached(clinic)
    opened(app)
    app.button(key=f"strike_{picture}").click().run()
    assert "must be given" in words(app)
    assert len(list_attachments(clinic, STEADY)) == 2
    app.text_input(key=f"caption_{picture}").set_value("Midstance, right")
    app.text_input(key=f"reason_{picture}").set_value("wrong side")
    app.button(key=f"amend_{picture}").click().run()
    assert "**Midstance, right**" in words(app)
    app.text_input(key=f"reason_{picture}").set_value("another runner's")
    app.button(key=f"strike_{picture}").click().run()
    assert not app.exception
    assert [one.name for one in list_attachments(clinic, STEADY)] == ["letter.pdf"]
    assert check_casebook(clinic).ok


def test_a_file_that_is_missing_is_told_in_its_place_and_the_page_stands(
    app: AppTest, clinic: Casebook
) -> None:
    attached(clinic)
    for path in folder_of(clinic).rglob("*"):
        if path.is_file():
            path.unlink()
    said = words(opened(app))
    assert "is missing. Restore it from a backup" in said
    assert "**Midstance, left**" in said
    assert "cannot be opened" not in said


def test_a_runner_without_a_visit_is_offered_none(app: AppTest) -> None:
    at_page(app, "runner", runner=NEW)
    assert not app.file_uploader


def _press(app: AppTest, label: str) -> None:
    (button,) = [one for one in app.button if one.label == label]
    button.click().run()
