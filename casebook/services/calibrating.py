"""How often predictions held over a time, and how well their sureness was stated."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from casebook.domain.errors import refuse
from casebook.domain.hypotheses import KINDS, HypothesisKind
from casebook.services import clock
from casebook.services.hypothesising import ScoredHypothesis, score_all
from casebook.services.opened import Casebook
from casebook.statistics.calibration import Calibration, calibration_of, calibration_words
from casebook.statistics.hypotheses import Tally, forecast_of, tally_of
from casebook.storage import hypotheses
from casebook.storage.session import reading

A_YEAR = timedelta(days=365)
NONE_DUE = "No hypothesis fell due in this time."
NONE_TOLD = (
    "Of no hypothesis that fell due in this time could it be told whether it held: a prediction "
    "can't be told, or an asymmetry closed only because the better side fell."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationReport:
    """Hypotheses that fell due in a time.

    Parameters
    ----------
    since, until : date
        First and last day on which the last prediction of a hypothesis fell due.
    hypotheses : int
        How many fell due; those written after their programme's start are none.
    tally : Tally
        Of all that fell due, those that can't be told among them.
    calibrations : tuple of Calibration
        First of all that could be told, then by kind where there are several.
    words : tuple of str
        One paragraph for each of them.
    by_kind : mapping of HypothesisKind to Tally
    """

    since: date
    until: date
    hypotheses: int
    tally: Tally
    calibrations: tuple[Calibration, ...]
    words: tuple[str, ...]
    by_kind: dict[HypothesisKind, Tally]


def calibrate(
    casebook: Casebook, *, since: date | None = None, until: date | None = None, by: str = ""
) -> CalibrationReport:
    """How often the clinic's predictions held, and how well their sureness was stated.

    Parameters
    ----------
    since, until : date or None
        The year up to today where they are not given; a day in the future is taken as today.
    by : str
        Only those that this user wrote; '' for all.

    Raises
    ------
    InputRefused
        For a time that ends before it begins.
    """
    today = clock.today()
    last = min(until or today, today)
    first = since or last - A_YEAR
    if first > last:
        raise refuse(
            "since_after_until",
            f"The time begins on {first} and ends on {last}; expected its beginning first.",
            column="since",
            value=first,
        )
    with reading(casebook.engine) as unit:
        every = hypotheses.hypotheses_of(unit, casebook.clinic_id)
        scored = score_all(unit, every, today=today)
    due = [one for one in scored if _fell_due(one, first, last, by)]
    forecasts = [
        forecast
        for one in due
        if one.stored.counts is not None
        and (forecast := forecast_of(one.stored.counts, [link.score for link in one.links]))
    ]
    calibrations = calibration_of(forecasts)
    tally = tally_of([one.outcome for one in due])
    left_out = len(due) - len(forecasts) - tally.hollow
    return CalibrationReport(
        since=first,
        until=last,
        hypotheses=len(due),
        tally=tally,
        calibrations=calibrations,
        words=tuple(_words(found, left_out, tally.hollow) for found in calibrations)
        or (NONE_TOLD if due else NONE_DUE,),
        by_kind={
            kind: tally_of([one.outcome for one in due if _kind(one) is kind])
            for kind in HypothesisKind
            if any(_kind(one) is kind for one in due)
        },
    )


def _words(found: Calibration, left_out: int, hollow: int) -> str:
    if not found.kind:
        return calibration_words(found, left_out=left_out, hollow=hollow)
    return f"{KINDS[HypothesisKind(found.kind)].capitalize()}: {calibration_words(found)}"


def _kind(scored: ScoredHypothesis) -> HypothesisKind | None:
    return None if scored.stored.counts is None else scored.stored.counts.kind


def _fell_due(scored: ScoredHypothesis, first: date, last: date, by: str) -> bool:
    counts = scored.stored.counts
    if counts is None or (by and counts.written_by != by):
        return False
    return first <= max(link.due_on for link in counts.links) <= last
