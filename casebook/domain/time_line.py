"""Everything that happened to one runner, in the order of time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from casebook.domain.hypotheses import KINDS, Hypothesis
from casebook.domain.injuries import Course
from casebook.domain.injury_course import SUBSEQUENT_WORDS, Complaint, succession
from casebook.domain.programmes import Programme
from casebook.domain.running_load import LoadWeek
from casebook.domain.visits import Visit
from casebook.domain.wording import VISIT_KINDS, complaint_words, number_words

# A longest run farther beyond the longest of the 30 days before is put on the line. The band
# of 10 % is that of Frandsen et al. (2025, Br J Sports Med 59:1203-1210; read in its abstract).
BEYOND_PCT = 10.0
END_NOT_KNOWN = "resolved on a day that is not on record"


class EventKind(StrEnum):
    """What kind of thing stands on the time line; those of one day stand in this order."""

    ONSET = "onset"
    VISIT = "visit"
    CAUTION = "caution"
    HYPOTHESIS = "hypothesis"
    PROGRAMME_START = "programme_start"
    PROGRAMME_END = "programme_end"
    TARGET_DUE = "target_due"
    FIRST_RUN = "first_run"
    LONG_RUN = "long_run"
    PAIN = "pain"
    FULLY_BACK = "fully_back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One thing on the time line.

    Parameters
    ----------
    until : date or None
        Last day of what lasts and has ended; None for what is of one day or still goes on.
    end_known : bool
        False where it has ended on a day that is not on record; `until` is then the last day
        on which it is known to have lasted.
    """

    on: date
    kind: EventKind
    words: str
    until: date | None = None
    end_known: bool = True


def time_line(
    *,
    complaints: Sequence[Complaint] = (),
    visits: Sequence[Visit] = (),
    programmes: Sequence[Programme] = (),
    hypotheses: Sequence[Hypothesis] = (),
    weeks: Sequence[LoadWeek] = (),
) -> tuple[Event, ...]:
    """Everything on record of one runner as events, earliest first.

    Parameters
    ----------
    complaints, visits, programmes : sequences
    hypotheses : sequence of Hypothesis
        Every version.
    weeks : sequence of LoadWeek
        Only a week whose longest run went more than 10 % beyond the longest of the 30 days
        before stands on the line.
    """
    events = [
        *_of_complaints(complaints),
        *_of_visits(visits),
        *_of_programmes(programmes),
        *_of_hypotheses(hypotheses),
        *_of_weeks(weeks),
    ]
    order = list(EventKind)
    return tuple(sorted(events, key=lambda event: (event.on, order.index(event.kind))))


def _of_complaints(complaints: Sequence[Complaint]) -> Iterator[Event]:
    for complaint in complaints:
        injury, name = complaint.injury, complaint_words(complaint.injury)
        kind = SUBSEQUENT_WORDS[succession(injury, complaints).kind]
        unknown = complaint.fully_back_on is None and injury.course is Course.RESOLVED
        yield Event(
            on=injury.onset_on,
            kind=EventKind.ONSET,
            words=f"Complaint began, {name}; {kind}{f'; {END_NOT_KNOWN}' if unknown else ''}",
            # A first run is no full return, and the complaint lasted until then.
            until=(injury.returned_on or injury.onset_on) if unknown else complaint.fully_back_on,
            end_known=not unknown,
        )
        for day, event, words in (
            (injury.returned_on, EventKind.FIRST_RUN, "First run again"),
            (complaint.fully_back_on, EventKind.FULLY_BACK, "Fully back"),
        ):
            if day is not None:
                yield Event(on=day, kind=event, words=f"{words}: {name}")


def _of_visits(visits: Sequence[Visit]) -> Iterator[Event]:
    for visit in visits:
        kind = VISIT_KINDS[visit.kind]
        yield Event(on=visit.visited_on, kind=EventKind.VISIT, words=f"Visit: {kind}")


def _of_programmes(programmes: Sequence[Programme]) -> Iterator[Event]:
    for programme in programmes:
        yield Event(
            on=programme.started_on,
            kind=EventKind.PROGRAMME_START,
            words=f"Start of programme '{programme.title}'",
            until=programme.ended_on,
        )
        if programme.ended_on is not None:
            yield Event(
                on=programme.ended_on,
                kind=EventKind.PROGRAMME_END,
                words=f"End of programme '{programme.title}'",
            )
        for due in sorted({target.due_on for target in programme.targets}):
            yield Event(
                on=due, kind=EventKind.TARGET_DUE, words=f"Target of '{programme.title}' due"
            )


def _of_hypotheses(hypotheses: Sequence[Hypothesis]) -> Iterator[Event]:
    for one in hypotheses:
        version = "" if one.version == 1 else f", version {one.version}"
        yield Event(
            on=one.written_on,
            kind=EventKind.HYPOTHESIS,
            words=f"Working hypothesis written{version} ({KINDS[one.kind]}): {one.driver}",
        )


def _of_weeks(weeks: Sequence[LoadWeek]) -> Iterator[Event]:
    for week in weeks:
        beyond = week.beyond_recent_pct
        if beyond is not None and round(beyond, 6) > BEYOND_PCT:
            yield Event(
                on=week.week_start,
                kind=EventKind.LONG_RUN,
                words=f"In the week a run of {number_words(week.longest_km, 'km')}, "
                f"{beyond:.0f} % beyond the longest of the 30 days before",
            )
