"""What differs from what is stored: put to the user, and done as they decided."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from casebook.domain.decisions import Asks, Choice, Question, Shown
from casebook.domain.history import Change
from casebook.domain.sides import Side
from casebook.domain.visits import (
    MissingReason,
    Value,
    as_kept,
    missing_value,
    numbers_with_gaps,
    value_of_mean,
    value_of_trials,
)
from casebook.intake.asking import (
    CONDITION_WORDS,
    condition_words,
    content_words,
    place_words,
    read_words,
    value_title,
    visit_about,
    visit_title,
)
from casebook.intake.assembling import Assembled
from casebook.intake.context import Context
from casebook.intake.visit_rows import REASON_NAMES, SIDE_NAMES
from casebook.services.amending import BESIDE_THE_NUMBERS
from casebook.services.importing_history import Retaken, StoredContents, WrittenVisits
from casebook.services.importing_plan import VisitPlan, Whole
from casebook.storage import acknowledging, bulk, record_fields

STORED = "stored"
CHOICES = (Choice.KEEP, Choice.TAKE, Choice.LEAVE_OUT)


def ask_condition(
    context: Context, assembled: Assembled, row: int, name: str, stored: Any, given: Any
) -> Question:
    """The question whether a condition of a stored visit gives way to the file's."""
    about = visit_about(context, assembled.rows, row)
    return Question(
        kind=Asks.CONDITION,
        about=(*about, name),
        title=f"{visit_title(about)}: {CONDITION_WORDS[name]}",
        shown=(
            Shown(where=STORED, what=condition_words(name, stored)),
            Shown(
                where=place_words(context, assembled.rows, row), what=condition_words(name, given)
            ),
        ),
        choices=CHOICES,
    )


def settle_stored(context: Context, assembled: Assembled, plan: VisitPlan) -> None:
    """Ask about values that differ from the stored ones, and plan what was decided.

    What was not decided remains among the plan's conflicts.
    """
    if not plan.conflicts:
        return
    readings, values = assembled.readings, assembled.values
    contents = StoredContents(plan.stored, plan.stored_trials)
    value_of_reading = np.full(len(readings.row), -1, dtype=np.int64)
    value_of_reading[values.reading] = np.arange(len(values.reading))
    value_of_reading[values.trial_reading] = values.trial_value
    undecided: list[tuple[Whole, list[str]]] = []
    differing = np.unique(value_of_reading[np.concatenate([which for which, _ in plan.conflicts])])
    decided = np.zeros(len(values.visit), dtype=bool)
    for value in differing.tolist():
        if context.asked.idle:
            context.asked.count += 1
            continue
        decided[value] = _settle(context, assembled, plan, contents, value)
    for which, said in plan.conflicts:
        left = np.flatnonzero(~decided[value_of_reading[which]])
        if len(left):
            undecided.append((which[left], [said[i] for i in left.tolist()]))
    plan.conflicts = undecided


def _settle(
    context: Context, assembled: Assembled, plan: VisitPlan, contents: StoredContents, value: int
) -> bool:
    """Whether a differing value was decided; the plan then says what becomes of it."""
    readings, values = assembled.readings, assembled.values
    low, high = np.searchsorted(values.trial_value, [value, value + 1]).tolist()
    trials = {
        int(values.trial_number[at]): float(readings.value[values.trial_reading[at]])
        for at in range(low, high)
    }
    own = values.trial_reading[low:high] if high > low else values.reading[value : value + 1]
    position = int(plan.kept[value])
    metric = context.metrics[int(values.metric[value])]
    side = SIDE_NAMES[int(values.side[value])]
    was = contents.content(position)
    before = contents.trials(position)
    # Numbered trials beside numbered trials: those that the file does not have stay.
    after = dict(sorted({**before, **trials}.items())) if trials else {}
    taken = as_kept(
        _value(metric.key, Side(side), assembled, value, after),
        record_fields.value_of(metric.key, Side(side), was),
    )
    row = int(readings.row[own[0]])
    about = visit_about(context, assembled.rows, row)
    numbered = bool(trials) and list(trials) != list(range(1, len(trials) + 1))
    given = "; ".join(
        (f"trial {values.trial_number[low + i]}: " if numbered else "")
        + read_words(metric, readings, one)
        for i, one in enumerate(own.tolist())
    )
    shown = [
        Shown(where=STORED, what=content_words(metric, was)),
        Shown(where=place_words(context, assembled.rows, row), what=given.replace("; ", ", ")),
    ]
    if before and set(before) - set(trials) and trials:
        together = content_words(metric, {"trials": list(after.values())})
        shown.append(Shown(where="would become, with the trials that stay", what=together))
    question = Question(
        kind=Asks.VALUE,
        about=(*about, metric.key, side),
        title=f"{visit_title(about)}: {value_title(metric, side)}",
        shown=tuple(shown),
        choices=CHOICES,
    )
    decision = context.asked.ask(question)
    if decision is None:
        return False
    # What is the same in both stays unchanged; the rest is taken, or left out.
    plan.new_trial[low:high] = False
    if decision.choice is Choice.TAKE:
        plan.retaken[value] = Retaken(was=was, value=taken, trials=after)
        plan.reasons.setdefault(int(values.visit[value]), []).append(decision.reason)
    else:
        plan.left_out[own[~plan.unchanged[own]]] = True
    return True


def _value(
    metric: str, side: Side, assembled: Assembled, value: int, trials: dict[int, float]
) -> Value:
    values = assembled.values
    reason, n = int(values.reason[value]), int(values.n[value])
    if reason >= 0:
        return missing_value(metric, side, MissingReason(REASON_NAMES[reason]))
    if n:
        return value_of_mean(metric, side, float(values.mean[value]), n)
    return replace(
        value_of_trials(metric, side, list(trials.values())),
        trial_numbers=numbers_with_gaps(tuple(trials)),
    )


def reopen_flags(
    session: Session, context: Context, assembled: Assembled, written: WrittenVisits
) -> list[Change]:
    """Take back the acknowledgements that rest on what gave way or was added; says what is told.

    As when a visit is amended by hand: where a condition gave way, every number of the visit
    was taken under another one.
    """
    touched = np.flatnonzero(written.touched)
    known = acknowledging.runners_with_any(session, written.runner_id[touched].tolist())
    if not known:
        return []
    changed = _changed_metrics(session, context, assembled, written)
    told: list[Change] = []
    for visit in touched.tolist():
        runner_id = int(written.runner_id[visit])
        if runner_id not in known:
            continue
        reason = written.reasons.get(visit, "")
        conditions = any(
            was not in {None, ""}
            for name, (was, _) in written.columns.get(visit, {}).items()
            if name not in BESIDE_THE_NUMBERS
        )
        day = date.fromordinal(int(assembled.visits.day[visit]))
        number = int(assembled.visits.session[visit])
        told += acknowledging.reopen(
            session,
            runner_id,
            (day, number),
            None if conditions else changed.get(visit, set()),
            reason=f"It rested on the visit of {day} (session {number}), which an import changed: "
            f"{reason}"
            if reason
            else acknowledging.added_to(day, number, through=" by an import"),
        )
    return told


def _changed_metrics(
    session: Session, context: Context, assembled: Assembled, written: WrittenVisits
) -> dict[int, set[int]]:
    """By visit, the ids of the metrics of which a value was added, grew or gave way."""
    values = assembled.values
    ids = bulk.metric_ids(session)
    changed = written.kept == -1
    changed[values.trial_value[written.new_trial]] = True
    changed[list(written.retaken)] = True
    metrics: dict[int, set[int]] = {}
    for value in np.flatnonzero(changed).tolist():
        key = context.metrics[int(values.metric[value])].key
        metrics.setdefault(int(values.visit[value]), set()).add(ids[key])
    return metrics
