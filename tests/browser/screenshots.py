"""Photographs of every page: `python -m tests.browser.screenshots --into FOLDER`.

Each page is taken 1280 and 400 pixels wide, light and dark, on a demo casebook built for the
occasion. `--readme` also renews the two pictures that stand in README.md.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Literal

from playwright.sync_api import BrowserContext, Page

from tests.browser.running import chromium, running_app, settle

PICTURES = Path(__file__).resolve().parents[2] / "seed_demo" / "pictures"
TALLEST = 5000
# A caseload's first rows say enough; a runner's page goes down to the charts.
README_TALLEST = {"caseload": 900, "runner": 1800}
WIDTHS = {"wide": (1280, 900), "narrow": (400, 860)}
APPEARANCES: tuple[Literal["light", "dark"], ...] = ("light", "dark")


def casebook(*words: object) -> str:
    """What `casebook` says to these words."""
    command = [sys.executable, "-m", "casebook.cli", *(str(word) for word in words)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def pages_of(db: Path) -> dict[str, str]:
    """Page by name, and its address behind the app's own."""
    flags = json.loads(casebook("flags", "--db", db, "--json"))["flags"]
    # The picture shows what the product is for: a strong side that fell, where there is one.
    runner = next(
        (flag["runner"] for flag in flags if flag["kind"] == "better_side_fell"),
        flags[0]["runner"],
    )
    return {
        "caseload": "",
        "runner": f"runner?runner={runner}",
        "summary": f"summary?runner={runner}",
        "programme": f"programme?runner={runner}",
        "hypotheses": f"hypotheses?runner={runner}",
        "complaints": f"complaints?runner={runner}",
        "log": f"log?runner={runner}",
        "history": f"history?runner={runner}",
        "sets": "sets",
        "exercises": "exercises",
        "catalogue": "catalogue",
        "repeatability": "repeatability?metric=hip_abductor_strength",
        "plan": "plan?metric=hip_abductor_strength",
        "import": "import",
        "audit": "audit",
        "audit-report": "audit-report",
        "export": "export",
    }


def open_page(page: Page, address: str) -> None:
    """Open a page and wait until everything on it is drawn."""
    page.goto(address)
    page.get_by_test_id("stMain").get_by_role("heading").first.wait_for(timeout=60_000)
    settle(page)
    page.wait_for_timeout(1500)  # the charts' own drawing, which no attribute tells of


def whole(page: Page, across: int, *, at_most: int) -> None:
    """Make the window as tall as the page: it scrolls within a part of itself."""
    tall = int(page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight"))
    page.set_viewport_size({"width": across, "height": max(860, min(tall, at_most))})
    page.wait_for_timeout(1000)
    settle(page)


def photograph(
    browser: BrowserContext, address: str, pages: dict[str, str], into: Path
) -> list[Path]:
    """Every page, width and appearance as a picture."""
    taken = []
    for width, (across, down) in WIDTHS.items():
        for appearance in APPEARANCES:
            page = browser.new_page()
            page.emulate_media(color_scheme=appearance)
            for name, place in pages.items():
                page.set_viewport_size({"width": across, "height": down})
                open_page(page, f"{address}/{place}")
                whole(page, across, at_most=TALLEST)
                path = into / f"{name}-{width}-{appearance}.png"
                page.screenshot(path=path)
                taken.append(path)
            page.close()
    return taken


def renew_readme(browser: BrowserContext, address: str, pages: dict[str, str]) -> list[Path]:
    """The two pictures of README.md."""
    PICTURES.mkdir(exist_ok=True)
    page = browser.new_page()
    page.emulate_media(color_scheme="light")
    taken = []
    for name in ("caseload", "runner"):
        open_page(page, f"{address}/{pages[name]}")
        whole(page, 1280, at_most=README_TALLEST[name])
        path = PICTURES / f"{name}.png"
        page.screenshot(path=path)
        taken.append(path)
    page.close()
    return taken


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--into", type=Path, default=Path("screenshots"))
    parser.add_argument("--readme", action="store_true", help="renew README.md's two as well")
    chosen = parser.parse_args()
    chosen.into.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        db = Path(folder) / "demo.sqlite"
        casebook("demo", "--no-serve", "--db", db)
        pages = pages_of(db)
        with running_app(db) as address, chromium() as browser:
            taken = photograph(browser, address, pages, chosen.into)
            if chosen.readme:
                taken += renew_readme(browser, address, pages)
    for path in taken:
        print(path)


if __name__ == "__main__":
    main()
