"""Attaching a still frame in a browser: chosen, attached, shown, and opened by keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.running import drawn, settle
from tests.pictures import DEVICE, a_jpeg

pytestmark = pytest.mark.browser


def test_a_still_frame_is_attached_shown_upright_and_saved_without_its_camera(
    page: Page, app_address: str, tmp_path: Path
) -> None:
    (tmp_path / "still.jpg").write_bytes(a_jpeg(orientation=6))
    (tmp_path / "film.png").write_bytes(b"moov" * 50)
    page.goto(f"{app_address}/runner?runner=SKV-07&who=TERN")
    main = drawn(page, "SKV-07")
    shelf = page.locator(".st-key-attachments_SKV-07")
    shelf.locator("summary").focus()
    page.keyboard.press("Enter")
    shelf.locator("input[type=file]").set_input_files(
        [tmp_path / "still.jpg", tmp_path / "film.png"]
    )
    for name in ("still.jpg", "film.png"):
        expect(shelf.get_by_text(name, exact=True)).to_be_visible()
    settle(page)
    shelf.get_by_label("What do they show? (optional)").fill("midstance")
    shelf.get_by_role("button", name="Attach", exact=True).focus()
    page.keyboard.press("Enter")
    expect(shelf).to_contain_text("1 file attached.")
    settle(page)
    expect(shelf).to_contain_text("film.png: its content is of no kind that is taken")
    small = shelf.get_by_role("img", name="midstance")
    expect(small).to_be_visible()
    # Taken lying on its side, it stands upright.
    assert small.evaluate("one => one.naturalHeight > one.naturalWidth")

    with page.expect_download() as saved:
        shelf.get_by_role("button", name="Save", exact=True).focus()
        page.keyboard.press("Enter")
    kept = Path(saved.value.path()).read_bytes()
    assert saved.value.suggested_filename == "still.jpg"
    assert DEVICE.encode() not in kept
    with Image.open(saved.value.path()) as picture:
        assert picture.size == (48, 32)
    settle(page)

    shelf.get_by_role("button", name="View", exact=True).focus()
    page.keyboard.press("Enter")
    large = page.get_by_role("dialog").get_by_role("img", name="midstance")
    expect(large).to_be_visible()
    assert large.evaluate("one => one.naturalHeight > one.naturalWidth")
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(main).to_have_count(1)
