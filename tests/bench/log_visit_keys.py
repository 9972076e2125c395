"""Key presses and server round trips of logging the standard visit in a real browser.

The standard visit is a review of a runner who was seen before: 25 metrics x 2 sides of the
starter catalogue (7 seen from behind, 7 from the side, 4 timed, 7 on the table), typed by
keyboard alone and saved. It is measured twice: with one reading a cell (a trial, or what was
averaged elsewhere), and with three trials a cell, as far as three are usual for the metric; a
grade is one digit.

The least that any form could need is the characters of the readings, one blank between trials
and one key to leave each cell, the last of which saves. A chord counts as two presses. A round
trip is a message that the page sends to its server, from the first key to the save; of a page
that hands over what was typed, cell by cell, none can need fewer than one a cell.

Bounds of the project: at most 1.05 times the least presses, and 1.1 round trips a cell.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, WebSocket, expect

from casebook.domain.measurement_sets import MeasurementSet
from casebook.domain.metrics import Metric, Scale
from casebook.domain.people import Runner, Sex, User
from casebook.domain.sides import Side
from casebook.domain.visits import Conditions, Visit, VisitKind, value_of_mean
from casebook.services.cataloguing import list_metrics
from casebook.services.keeping import create_casebook, open_casebook
from casebook.services.measurement_sets import order_sets, save_set
from casebook.services.recording import list_visits, record_visit
from casebook.services.registering import register_runner, register_user
from tests.browser.running import chromium, running_app, settle

SET = "Standard visit"
STANDARD = (
    "foot_inversion_at_contact", "rearfoot_eversion_peak", "lower_leg_angle_posterior",
    "knee_travel_to_midline", "contralateral_pelvic_drop", "trunk_side_lean",
    "arm_swing_crossing",
    "foot_ahead_of_body", "foot_angle_at_contact", "shank_angle_at_contact",
    "knee_flexion_at_contact", "knee_flexion_midstance", "ankle_dorsiflexion_peak",
    "hip_extension_toe_off",
    "contact_time", "flight_time", "step_length", "stride_length",
    "forefoot_varus", "big_toe_extension", "lunge_distance", "navicular_drop",
    "hip_abductor_strength", "heel_raise_count", "single_leg_squat_quality",
)  # fmt: skip
SIDES = (Side.LEFT, Side.RIGHT)
TRIALS = (1, 3)
MOST_TIMES_THE_LEAST = 1.05
MOST_TRIPS_A_CELL = 1.1
# As fast as a quick hand; a list of choices needs a moment to open, as it does for a person.
BETWEEN_KEYS_MS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class KeysNeeded:
    """What logging the standard visit took.

    Parameters
    ----------
    presses, least : int
        Keys pressed, and the fewest that any form could need.
    trips : int
        Messages from the page to its server.
    cells : int
    """

    trials: int
    presses: int
    least: int
    trips: int
    cells: int

    @property
    def fine(self) -> bool:
        """Within the project's bounds."""
        return (
            self.presses <= MOST_TIMES_THE_LEAST * self.least
            and self.trips <= MOST_TRIPS_A_CELL * self.cells
        )


def measure(trials: Sequence[int] = TRIALS) -> tuple[KeysNeeded, ...]:
    """Log the standard visit once for each number of trials a cell."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "keys.sqlite"
        metrics = _furnish(place)
        os.environ["CASEBOOK_DATABASE_URL"] = str(place)
        with running_app(place) as address, chromium() as browser:
            return tuple(_log(browser, address, place, metrics, number) for number in trials)


def _furnish(place: Path) -> dict[str, Metric]:
    casebook = create_casebook(str(place))
    register_user(casebook, User(code="AB"))
    found = {metric.key: metric for metric in list_metrics(casebook)}
    metrics = {key: found[key] for key in STANDARD}
    save_set(casebook, MeasurementSet(name=SET, metrics=STANDARD), by="AB", read=None)
    order_sets(casebook, [SET], by="AB")
    for number in TRIALS:
        register_runner(casebook, Runner(code=f"B-{number}", sex=Sex.FEMALE, birth_year=1990))
        record_visit(
            casebook,
            Visit(
                runner=f"B-{number}",
                visited_on=date(2026, 1, 5),
                kind=VisitKind.BASELINE,
                conditions=Conditions(speed_km_h=10.0, frames_per_s=120.0),
                next_due_on=date(2026, 2, 5),
                values=tuple(
                    value_of_mean(key, side, float(_reading(metric)), 7)
                    for key, metric in metrics.items()
                    for side in SIDES
                    if metric.scale is not Scale.GRADE
                ),
            ),
            by="AB",
        )
    casebook.close()
    return metrics


def _reading(metric: Metric) -> str:
    """A number in the middle of the plausible range, as one would read it."""
    return f"{(metric.plausible_low + metric.plausible_high) / 2:.0f}"


def _typed(metric: Metric, trials: int) -> str:
    if metric.scale is Scale.GRADE:
        return "1"
    return " ".join([_reading(metric)] * min(trials, metric.usual_trials))


def _log(
    browser: BrowserContext, address: str, place: Path, metrics: dict[str, Metric], trials: int
) -> KeysNeeded:
    page = browser.new_page()
    sent: list[int] = []
    page.on("websocket", lambda socket: _count(socket, sent))
    page.goto(f"{address}/log?runner=B-{trials}&who=AB")
    expect(page.get_by_role("heading", name="Log a visit")).to_be_visible(timeout=60_000)
    page.locator("html[data-log-keys]").wait_for(state="attached", timeout=30_000)
    settle(page)
    _read_everything(page)
    before = len(sent)
    texts = [_typed(metric, trials) for metric in metrics.values() for _ in SIDES]
    page.keyboard.press("Control+ArrowDown")
    presses = 2
    for number, text in enumerate(texts, start=1):
        page.keyboard.type(text, delay=BETWEEN_KEYS_MS)
        page.wait_for_timeout(BETWEEN_KEYS_MS)
        last = number == len(texts)
        page.keyboard.press("Control+Enter" if last else "Enter")
        presses += len(text) + (2 if last else 1)
    expect(page.get_by_text("50 values in one go").first).to_be_visible(timeout=60_000)
    trips = len(sent) - before
    page.close()
    _look(place, f"B-{trials}", metrics, trials)
    least = sum(len(text) + 1 for text in texts)
    return KeysNeeded(trials=trials, presses=presses, least=least, trips=trips, cells=len(texts))


def _read_everything(page: Page) -> None:
    """The clinic's standard set, which this runner's first visit was not read by in full."""
    page.get_by_label("Measurement set", exact=True).click()
    page.keyboard.type(SET)
    page.wait_for_timeout(300)
    page.keyboard.press("Enter")
    expect(page.locator(".st-key-row_single_leg_squat_quality")).to_be_visible(timeout=30_000)
    settle(page)
    page.keyboard.press("Escape")


def _count(socket: WebSocket, sent: list[int]) -> None:
    socket.on("framesent", lambda _: sent.append(1))


def _look(place: Path, runner: str, metrics: dict[str, Metric], trials: int) -> None:
    """What was typed is what is stored, or the keys were pressed in vain."""
    casebook = open_casebook(str(place))
    stored = list_visits(casebook, runner)[-1].visit
    casebook.close()
    found = {(value.metric, value.side): value for value in stored.values}
    for key, metric in metrics.items():
        wanted = tuple(float(word) for word in _typed(metric, trials).split())
        for side in SIDES:
            if found[key, side].trials != wanted:
                raise RuntimeError(f"{key} {side}: typed {wanted}, stored {found[key, side]}")


def main() -> int:
    """Print the measure; 1 when a bound is broken."""
    taken = measure()
    for one in taken:
        print(
            f"Logging {one.cells} cells with {one.trials} reading(s) each: {one.presses} key "
            f"presses, {one.presses / one.least:.3f} times the least possible ({one.least}; bound "
            f"{MOST_TIMES_THE_LEAST}); {one.trips} round trips, {one.trips / one.cells:.2f} a cell "
            f"(bound {MOST_TRIPS_A_CELL}).{'' if one.fine else '  OVER THE BOUND'}"
        )
    return 0 if all(one.fine for one in taken) else 1


if __name__ == "__main__":
    sys.exit(main())
