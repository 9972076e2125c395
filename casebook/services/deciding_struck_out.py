"""What was struck out by hand and stands in the files again: asked, never stored in silence.

What an undone import took back is no such thing: the same files may be imported again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from casebook.domain.decisions import Asks, Choice, Decision, Question, Shown
from casebook.domain.history import Act, Entry, metric_and_side, numbers_told
from casebook.domain.metrics import Metric
from casebook.domain.sides import Side
from casebook.intake.asking import (
    content_words,
    place_words,
    read_words,
    value_title,
    visit_about,
    visit_title,
)
from casebook.intake.assembling import Assembled
from casebook.intake.context import Context
from casebook.intake.visit_rows import SIDE_NAMES
from casebook.services.importing_plan import OUT, VisitPlan, Whole
from casebook.storage import history

CHOICES = (Choice.KEEP, Choice.TAKE)
CODE = "struck_out"
WHERE = "struck out by hand"
MOST_NAMED = 6
REVISION = "revision"
DONE: Mapping[Act, str] = {Act.UNDONE: "undone", Act.AMENDED: "taken out by an amendment"}

Place = tuple[str, Side]
Content = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Removal:
    """What was taken out of a visit by hand: what it was, when, by whom and why in words."""

    content: Content
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gone:
    """A visit that was struck out by hand, with the values that it had."""

    visit_id: int
    values: Mapping[Place, Removal]
    words: str


@dataclass(slots=True, kw_only=True)
class StruckOut:
    """What was struck out of some runners' records by hand, the last time each.

    Parameters
    ----------
    visits : dict
        By runner's id, day (`date.toordinal`) and session.
    values : dict
        By the visit's id, then by metric and side.
    trials : dict
        The same, where only some trials of a value were taken out: their readings by number.
    """

    visits: dict[tuple[int, int, int], Gone] = field(default_factory=dict)
    values: dict[int, dict[Place, Removal]] = field(default_factory=lambda: defaultdict(dict))
    trials: dict[int, dict[Place, dict[int, Removal]]] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(dict))
    )

    def of_visit(self, visit_id: int, place: tuple[int, int, int]) -> dict[Place, Removal]:
        """Values struck out of a visit; of a new one (-1), before it was struck out itself."""
        gone = self.visits.get(place)
        if gone is None:
            return self.values.get(visit_id, {})
        before = self.values.get(gone.visit_id, {})
        if visit_id < 0:
            return {key: one for key, one in before.items() if key not in gone.values}
        return {**before, **gone.values, **self.values.get(visit_id, {})}


def struck_out(session: Session, runner_ids: Iterable[int]) -> StruckOut:
    """Read from the history what was struck out or undone by hand."""
    found = StruckOut()
    for entry in history.removals_by_hand(session, runner_ids):
        _note(found, entry)
    return found


def _note(found: StruckOut, entry: Entry) -> None:
    fields = entry.fields
    words = _words(entry)
    removed: dict[Place, Removal] = {}
    for name, (was, now) in fields.items():
        place = metric_and_side(name)
        if place is None or was is None:
            continue
        if now is None:
            removed[place] = Removal(content=was, words=words)
        elif "trials" in was and "trials" in now:
            left = set(numbers_told(now))
            for number, reading in zip(numbers_told(was), was["trials"], strict=True):
                if number not in left:
                    found.trials[entry.subject_id][place][number] = Removal(
                        content={"trials": [reading]}, words=words
                    )
    if fields.get(REVISION, (0, 0))[1] is not None:
        found.values[entry.subject_id].update(removed)
        return
    day = date.fromisoformat(fields["visited_on"][0]).toordinal()
    key = (int(fields["runner_id"][0]), day, int(fields["session"][0]))
    found.visits[key] = Gone(visit_id=entry.subject_id, values=removed, words=words)


def _words(entry: Entry) -> str:
    who = f" by {entry.by}" if entry.by else ""
    done = DONE.get(entry.act, "struck out")
    return f'{done} on {entry.at:%Y-%m-%d}{who}: "{entry.reason}"'


def keeps_visit_out(
    context: Context, assembled: Assembled, index: int, gone: Gone, reasons: dict[int, list[str]]
) -> bool:
    """Whether a visit that was struck out is not stored again; asks."""
    rows = assembled.rows
    row = int(assembled.visits.first_row[index])
    decision = None
    if context.asked.idle:
        context.asked.count += 1
    else:
        about = visit_about(context, rows, row)
        question = Question(
            kind=Asks.STRUCK_OUT,
            about=about,
            title=f"{visit_title(about)}: the whole visit",
            shown=(
                Shown(where=WHERE, what=f"{_listed(context, gone.values)}; {gone.words}"),
                Shown(
                    where=place_words(context, rows, row),
                    what=_given_words(context, assembled, index),
                ),
            ),
            choices=CHOICES,
        )
        decision = context.asked.ask(question)
    if decision is None:
        message = (
            f"this visit was {gone.words}; it is not stored again unless you decide so. Decide, or "
            "take its rows out of the file."
        )
        context.problems.add_rows(
            int(rows.file[row]),
            rows.line[row : row + 1],
            "visit_date",
            lambda _: (date.fromordinal(int(rows.day[row])).isoformat(), CODE, message),
        )
    elif decision.choice is Choice.TAKE:
        reasons.setdefault(index, []).append(decision.reason)
        return False
    return True


def _listed(context: Context, values: Mapping[Place, Removal]) -> str:
    metrics = {metric.key: metric for metric in context.metrics}
    return _first_few(
        [
            f"{value_title(metrics[key], side.value)}: {content_words(metrics[key], one.content)}"
            for (key, side), one in values.items()
            if key in metrics
        ]
    )


def _given_words(context: Context, assembled: Assembled, index: int) -> str:
    values = assembled.values
    first, last = np.searchsorted(values.visit, [index, index + 1]).tolist()
    return _first_few(
        [
            f"{value_title(*_metric_and_side(context, assembled, value))}: "
            f"{_read(context, assembled, value)}"
            for value in range(first, last)
        ]
    )


def _first_few(parts: list[str]) -> str:
    if not parts:
        return "no values"
    more = f"; and {len(parts) - MOST_NAMED} more" if len(parts) > MOST_NAMED else ""
    return "; ".join(parts[:MOST_NAMED]) + more


def _metric_and_side(context: Context, assembled: Assembled, value: int) -> tuple[Metric, str]:
    values = assembled.values
    return context.metrics[int(values.metric[value])], SIDE_NAMES[int(values.side[value])]


def _own_readings(assembled: Assembled, value: int) -> Whole:
    values = assembled.values
    low, high = np.searchsorted(values.trial_value, [value, value + 1]).tolist()
    return values.trial_reading[low:high] if high > low else values.reading[value : value + 1]


def _read(context: Context, assembled: Assembled, value: int) -> str:
    metric, _ = _metric_and_side(context, assembled, value)
    own = _own_readings(assembled, value).tolist()
    return ", ".join(read_words(metric, assembled.readings, one) for one in own)


def leave_visits_out(assembled: Assembled, plan: VisitPlan) -> None:
    """Leave out all that the files say of the visits that are kept out."""
    values = assembled.values
    out = plan.out_visits[values.visit]
    plan.kept[out] = OUT
    plan.new_trial[out[values.trial_value]] = False
    plan.left_out[values.reading[out]] = True
    plan.left_out[values.trial_reading[out[values.trial_value]]] = True


def ask_struck_out(
    context: Context, assembled: Assembled, plan: VisitPlan, ids: list[int], found: StruckOut
) -> None:
    """Ask about values and trials that were struck out and would be stored again.

    Parameters
    ----------
    ids : list of int, shape (n_visits,)
        The runner's id of each visit; -1 of one who is not registered.
    """
    values, visits = assembled.values, assembled.visits
    for index, runner_id in enumerate(ids):
        visit_id = int(plan.visit_id[index])
        place = (runner_id, int(visits.day[index]), int(visits.session[index]))
        if plan.out_visits[index] or not (place in found.visits or visit_id in found.values
                                          or visit_id in found.trials):  # fmt: skip
            continue
        whole = found.of_visit(visit_id, place)
        trials = found.trials.get(visit_id, {})
        first, last = np.searchsorted(values.visit, [index, index + 1]).tolist()
        for value in range(first, last):
            metric, side = _metric_and_side(context, assembled, value)
            key = (metric.key, Side(side))
            if plan.kept[value] == -1 and key in whole:
                _settle_value(context, assembled, plan, value, whole[key])
            elif plan.kept[value] >= 0 and key in trials:
                _settle_trials(context, assembled, plan, value, trials[key])


def _settle_value(
    context: Context, assembled: Assembled, plan: VisitPlan, value: int, removal: Removal
) -> None:
    metric, _ = _metric_and_side(context, assembled, value)
    own = _own_readings(assembled, value)
    was = f"{content_words(metric, removal.content)}; {removal.words}"
    decision = _decide(context, assembled, value, (own, was, removal.words), ())
    if decision is not None and decision.choice is Choice.TAKE:
        plan.reasons.setdefault(int(assembled.values.visit[value]), []).append(decision.reason)
        return
    values = assembled.values
    low, high = np.searchsorted(values.trial_value, [value, value + 1]).tolist()
    plan.kept[value] = OUT
    plan.new_trial[low:high] = False
    plan.left_out[own] = True


def _settle_trials(
    context: Context,
    assembled: Assembled,
    plan: VisitPlan,
    value: int,
    removed: Mapping[int, Removal],
) -> None:
    values = assembled.values
    metric, _ = _metric_and_side(context, assembled, value)
    low, high = np.searchsorted(values.trial_value, [value, value + 1]).tolist()
    for at in range(low, high):
        number = int(values.trial_number[at])
        if not plan.new_trial[at] or number not in removed:
            continue
        own, removal = values.trial_reading[at : at + 1], removed[number]
        was = f"{content_words(metric, removal.content)}; {removal.words}"
        decision = _decide(context, assembled, value, (own, was, removal.words), (number,))
        if decision is not None and decision.choice is Choice.TAKE:
            plan.reasons.setdefault(int(values.visit[value]), []).append(decision.reason)
            continue
        plan.new_trial[at] = False
        plan.left_out[own] = True


def _decide(
    context: Context,
    assembled: Assembled,
    value: int,
    said: tuple[Whole, str, str],
    trial: tuple[int, ...],
) -> Decision | None:
    """What is decided on a value or one trial; where nothing is, the readings are refused."""
    own, was, when = said
    metric, side = _metric_and_side(context, assembled, value)
    row = int(assembled.readings.row[own[0]])
    decision = None
    if context.asked.idle:
        context.asked.count += 1
    else:
        about = visit_about(context, assembled.rows, row)
        given = [read_words(metric, assembled.readings, one) for one in own.tolist()]
        decision = context.asked.ask(
            Question(
                kind=Asks.STRUCK_OUT,
                about=(*about, metric.key, side, *(str(number) for number in trial)),
                title=f"{visit_title(about)}: {value_title(metric, side, *trial)}",
                shown=(
                    Shown(where=WHERE, what=was),
                    Shown(where=place_words(context, assembled.rows, row), what=", ".join(given)),
                ),
                choices=CHOICES,
            )
        )
    if decision is None:
        numbered = f", trial {trial[0]}," if trial else ""
        message = (
            f"{metric.key} {side}{numbered} of this visit was {when}; it is not stored again "
            "unless you decide so. Decide, or take it out of the file."
        )
        assembled.tell_readings(context, own, CODE, lambda _: message)
    return decision
