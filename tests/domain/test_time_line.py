"""The time line: everything once, in the order of time."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from casebook.domain.hypotheses import amended
from casebook.domain.injuries import Course
from casebook.domain.injury_course import Complaint
from casebook.domain.running_load import Run, load_weeks
from casebook.domain.time_line import EventKind, time_line
from tests.builders import a_visit, an_injury
from tests.domain.test_hypotheses import HYPOTHESIS
from tests.domain.test_prescriptions import FULL, PLAIN

ONSET = date(2026, 1, 12)


def test_everything_stands_on_it_in_the_order_of_time() -> None:
    complaint = Complaint(
        injury=an_injury(returned_on=date(2026, 2, 1)), fully_back_on=date(2026, 6, 20)
    )
    events = time_line(
        complaints=[complaint], visits=[a_visit()], programmes=[FULL.programme],
        hypotheses=[HYPOTHESIS],
    )  # fmt: skip
    assert [(event.on, event.kind) for event in events] == [
        (date(2026, 1, 12), EventKind.ONSET),
        (date(2026, 2, 1), EventKind.FIRST_RUN),
        (date(2026, 3, 2), EventKind.VISIT),
        (date(2026, 3, 2), EventKind.HYPOTHESIS),
        (date(2026, 3, 2), EventKind.PROGRAMME_START),
        (date(2026, 5, 25), EventKind.PROGRAMME_END),
        (date(2026, 6, 1), EventKind.TARGET_DUE),
        (date(2026, 6, 20), EventKind.FULLY_BACK),
    ]
    assert events[0].until == date(2026, 6, 20)
    assert events[0].words == (
        "Complaint began, left knee: tendinopathy (open); first complaint on record"
    )


def test_what_has_not_come_yet_does_not_stand_on_it() -> None:
    running = replace(PLAIN.programme, targets=())
    events = time_line(complaints=[Complaint(injury=an_injury())], programmes=[running])
    assert [event.kind for event in events] == [EventKind.ONSET, EventKind.PROGRAMME_START]
    assert all(event.until is None for event in events)
    assert time_line() == ()


@pytest.mark.parametrize(
    ("returned_on", "last"), [(date(2026, 2, 1), date(2026, 2, 1)), (None, ONSET)]
)
def test_what_resolved_on_an_unknown_day_lasts_as_far_as_is_known(
    returned_on: date | None, last: date
) -> None:
    resolved = an_injury(course=Course.RESOLVED, returned_on=returned_on)
    onset = time_line(complaints=[Complaint(injury=resolved)])[0]
    assert (onset.until, onset.end_known) == (last, False)
    assert onset.words.endswith("; resolved on a day that is not on record")


def test_each_version_of_a_hypothesis_is_an_event() -> None:
    later = amended(
        HYPOTHESIS, written_on=date(2026, 4, 1), written_by="ab", reason="seen", sureness_pct=40
    )
    words = [event.words for event in time_line(hypotheses=[later, HYPOTHESIS])]
    assert words == [
        "Working hypothesis written (mobility): Too little rocker",
        "Working hypothesis written, version 2 (mobility): Too little rocker",
    ]


def test_only_a_run_well_beyond_the_recent_ones_is_an_event() -> None:
    runs = [
        Run(on=ONSET + timedelta(weeks=week), distance_km=km)
        for week, km in enumerate((10.0, 11.0, 15.0))
    ]
    (event,) = time_line(weeks=load_weeks(runs))
    assert (
        event.words == "In the week a run of 15.0 km, 36 % beyond the longest of the 30 days before"
    )
    assert event.kind is EventKind.LONG_RUN
