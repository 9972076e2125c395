"""An audit in a browser: filtered, read, printed, and exported for independent readers."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest
from frictionless import validate
from openpyxl import load_workbook
from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from tests.browser.running import choose, drawn, settle

pytestmark = pytest.mark.browser

HIP = "Hip abductor strength"


def words(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def press(page: Page, one: Locator) -> None:
    """Press a button by keyboard."""
    one.focus()
    page.keyboard.press("Enter")
    settle(page)


def saved(page: Page, button: str, folder: Path) -> Path:
    with page.expect_download() as waiting:
        page.get_by_role("button", name=button).click()
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    settle(page)
    return path


def test_an_audit_is_filtered_read_printed_and_exported(
    page: Page, app_address: str, tmp_path: Path
) -> None:
    page.goto(f"{app_address}/audit?who=TERN")
    drawn(page, "Audit")
    cohort, outcome = _filter_and_read(page)
    _print_the_same(page, cohort, outcome, tmp_path)
    _export(page, tmp_path)


def _filter_and_read(page: Page) -> tuple[str, list[str]]:
    """The cohort in a sentence, and what the table says of hip strength."""
    page.get_by_text("Which runners, and what of them").click()
    kinds = page.get_by_role("combobox", name="Programme")
    expect(kinds).to_be_visible()
    settle(page)
    choose(page, kinds, "for an injury")
    told = page.locator(".st-key-audit_cohort")
    expect(told).to_contain_text("with a first programme for an injury:")
    choose(page, page.get_by_role("combobox", name="Metrics"), HIP)
    press(page, page.get_by_role("radio", name="What changed"))
    rows = page.locator("[class*='st-key-audit_table_numbers_outcomes'] tbody tr")
    expect(rows).to_have_count(1)
    cohort = words(told.locator("p").first.inner_text())
    assert re.match(r"\d+ runners registered by", cohort)
    cells = [words(cell) for cell in rows.first.locator("td").all_inner_texts()]
    assert cells[0] == HIP
    assert re.fullmatch(r"\d+(: \d+ %)? \(\d+ to \d+\)", cells[2])
    return cohort, cells


def _print_the_same(page: Page, cohort: str, outcome: list[str], folder: Path) -> None:
    press(page, page.get_by_role("link", name="Report to print"))
    sheet = page.locator(".st-key-sheet")
    expect(sheet).to_contain_text(cohort)
    settle(page)
    pdf = PdfReader(saved(page, "Download as PDF", folder))
    read = words(" ".join(one.extract_text() for one in pdf.pages))
    assert cohort in read
    assert " ".join(outcome[1:5]) in read
    assert pdf.metadata is not None
    assert not pdf.metadata.author


def _export(page: Page, folder: Path) -> None:
    page.get_by_role("link", name="Export", exact=True).click()
    make = page.get_by_role("button", name="Make the files and log it")
    expect(make).to_be_visible()
    settle(page)
    told = page.get_by_test_id("stMain").get_by_text(re.compile(r"of \d+ registered")).first
    runners = int(words(told.inner_text()).split()[0])
    press(page, make)
    expect(page.get_by_text(re.compile(r"Export \d+ is made and logged"))).to_be_visible()
    log = page.locator(".st-key-export_log tbody tr")
    expect(log.first).to_contain_text(str(runners))
    settle(page)
    with zipfile.ZipFile(saved(page, "Download the tables", folder)) as packed:
        packed.extractall(folder / "tables")
    _read_independently(folder / "tables", runners)
    assert saved(page, "Download the key", folder).stat().st_size > 0


def _read_independently(folder: Path, runners: int) -> None:
    """Three readers find the same runners, and a validator of its own finds nothing wrong."""
    (csv,) = folder.rglob("runners.csv")
    (parquet,) = folder.rglob("runners.parquet")
    (book,) = folder.rglob("*.xlsx")
    frame = pd.read_csv(csv)
    codes = set(frame["runner"])
    assert len(frame) == len(codes) == runners
    assert set(pq.read_table(parquet)["runner"].to_pylist()) == codes
    sheet = load_workbook(book, read_only=True)["runners"]
    assert {row[0] for row in sheet.iter_rows(min_row=2, values_only=True)} == codes
    (package,) = folder.rglob("datapackage.json")
    report = validate(str(package))
    assert report.valid, report.to_summary()
