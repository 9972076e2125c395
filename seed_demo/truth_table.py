"""What is really so, written down so that tests can hold the product against it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from seed_demo.cases import Case, Cell, Table, weak_side
from seed_demo.diary import Seen
from seed_demo.measuring import Truth
from seed_demo.stories import Course

CONDITION_WORDS: Final = {
    "speed_km_h": "speed",
    "frames_per_s": "frame_rate",
    "view": "view",
    "footwear": "footwear",
}


def truth_table(cases: Iterable[Case]) -> Table:
    """What is really so, per runner and quantity seen both before and at the end."""
    rows: list[Sequence[Cell]] = []
    for case in cases:
        for truth in case.truths:
            rows.append(_truth_row(case, truth))
    head = (
        "runner",
        "runner_course",
        "metric",
        "course",
        "weak_side",
        "before_left",
        "before_right",
        "before_none",
        "now_left",
        "now_right",
        "now_none",
        "between_sd",
        "within_sd",
        "shared_sd",
        "trials",
        "baseline_visits",
        "last_visit",
        "conditions_changed",
        "lost_to_follow_up",
    )
    return head, rows


def truth_of_targets(targets: Table, cases: Iterable[Case]) -> Table:
    """Seen when, and how far the true changes had come by then; a row a target."""
    by_code = {case.character.code: case for case in cases}
    rows: list[Sequence[Cell]] = []
    for runner, programme, metric, what, *_, due_on in targets[1]:
        case = by_code[str(runner)]
        seen = next((visit for visit in case.visits if str(visit.on) >= str(due_on)), None)
        measured = seen is not None and was_measured(case, seen, str(metric), str(what))
        rows.append(
            [
                *(runner, programme, metric, what),
                seen.on if seen is not None else None,
                seen.progress if seen is not None else None,
                "yes" if measured else "no",
            ]
        )
    return ("runner", "programme", "metric", "what", "seen_on", "progress", "measured"), rows


def was_measured(case: Case, seen: Seen, metric: str, what: str) -> bool:
    """Whether a metric was read at a visit, on a side or, of an asymmetry, on both."""
    readings = case.readings[case.visits.index(seen)]
    sides = {"left", "right"} if what == "asymmetry" else {what}
    return sides <= {one.side for one in readings if one.quantity.key == metric and one.trials}


def _truth_row(case: Case, truth: Truth) -> list[Cell]:
    character, quantity, move = case.character, truth.quantity, truth.move
    course = move.course if move is not None else Course.STABLE
    told = move is not None and len(move.before) == 2 and course is not Course.WORSENED_LATE
    return [
        character.code,
        character.course.value,
        quantity.key,
        course.value,
        weak_side(case) if told and course is not Course.CONDITIONS_CHANGED else "",
        *_sides(truth.before),
        *_sides(truth.after),
        f"{quantity.error.between_sd:.4f}",
        f"{quantity.error.within_sd:.4f}",
        f"{quantity.error.shared_sd:.4f}",
        quantity.trials,
        character.baselines,
        case.visits[-1].on,
        ";".join(CONDITION_WORDS[name] for name, _ in character.changed),
        "yes" if character.course is Course.LOST else "no",
    ]


def _sides(values: tuple[float, ...]) -> list[Cell]:
    text = [f"{value:.3f}" for value in values]
    return [*text, ""] if len(text) == 2 else ["", "", *text]
