"""What the invented clinicians supposed before each programme, and how far things had come then.

Whether a supposition is true is settled by the stories alone (`stories.py`): the side that
should gain does or doesn't, the pain falls or doesn't. The dates are those of the diary.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random
from typing import Final

from seed_demo.cases import LOWER_IS_BETTER, Case, Cell, Table, weak_side
from seed_demo.people_tables import NO_COMPLAINT
from seed_demo.plan_tables import Plan
from seed_demo.quantities import QUANTITIES
from seed_demo.stories import Course
from seed_demo.truth_table import was_measured

LESS_IS_SOUGHT: Final = LOWER_IS_BETTER | {"foot_angle_at_contact"}
KINDS: Final = {"strength": "strength", "mobility": "mobility", "gait_retraining": "technique"}
LESS_PAIN: Final = 3
QUICKER_STEPS: Final = 10
# Lost runners were to come back about then.
USUAL_SPAN: Final = timedelta(days=98)
BEFORE_THE_LAST: Final = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Prediction:
    """What one quantity should do."""

    role: str
    metric: str
    what: str
    direction: str
    amount: float | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposition:
    """One hypothesis of one runner; all of its predictions fall due on one day."""

    plan: Plan
    number: int
    kind: str
    driver: str
    sureness_pct: int
    due_on: date
    predictions: tuple[Prediction, ...]


def draw_suppositions(plans: Iterable[Plan], seed: int) -> tuple[Supposition, ...]:
    """One for each programme, and a rival one for every second runner."""
    found = []
    for plan in plans:
        chance = Random(f"{seed}/{plan.runner}/hypothesis")
        due = _due(plan)
        found.append(
            Supposition(
                plan=plan,
                number=1,
                kind=KINDS[plan.theme.exercises[0].aim],
                driver=plan.theme.rationale.rstrip("."),
                sureness_pct=chance.randrange(50, 95, 5),
                due_on=due,
                predictions=tuple(_main(plan)),
            )
        )
        if plan.case.character.number % 2 == 0:
            found.append(
                Supposition(
                    plan=plan,
                    number=2,
                    kind="technique",
                    driver="The steps are long and slow",
                    sureness_pct=chance.randrange(20, 60, 5),
                    due_on=due,
                    predictions=tuple(_rival(plan)),
                )
            )
    return tuple(found)


def _due(plan: Plan) -> date:
    if plan.case.character.course is Course.LOST:
        return plan.started_on + USUAL_SPAN
    return plan.case.visits[-1].on - BEFORE_THE_LAST


def _main(plan: Plan) -> Iterator[Prediction]:
    weak, theme = weak_side(plan.case), plan.theme
    direction = "down" if plan.metric in LESS_IS_SOUGHT else "up"
    yield Prediction(
        "driver", plan.metric, weak or "left", direction, theme.amount, "what the exercises load"
    )
    if weak:
        amount = 15 if QUANTITIES[plan.metric].usual > 20 else theme.amount
        yield Prediction(
            "change", plan.metric, "asymmetry", "towards_zero", amount, "the other side stays"
        )
    yield from _pain(plan.case)
    still = "hip_abductor_strength" if plan.metric == "lunge_distance" else "lunge_distance"
    yield Prediction("still", still, weak or "left", "", None, "nothing in it is aimed at this")


def _rival(plan: Plan) -> Iterator[Prediction]:
    yield Prediction("driver", "cadence", "none", "up", QUICKER_STEPS, "steps to a beat")
    yield from _pain(plan.case)


def _pain(case: Case) -> Iterator[Prediction]:
    if case.character.number not in NO_COMPLAINT:
        yield Prediction(
            "consequence", "pain_running", "none", "down", LESS_PAIN, "less load on it"
        )


def hypotheses(suppositions: Iterable[Supposition]) -> Table:
    """A row a prediction."""
    rows: list[Sequence[Cell]] = [
        [
            one.plan.runner,
            one.plan.theme.title,
            one.number,
            one.kind,
            one.driver,
            "a slower race"
            if one.plan.case.character.number in NO_COMPLAINT
            else "pain when running",
            one.sureness_pct,
            one.plan.started_on,
            one.plan.case.visits[0].conditions["assessor"],
            position,
            prediction.role,
            prediction.metric,
            prediction.what,
            prediction.direction,
            prediction.amount,
            one.due_on,
            prediction.why,
        ]
        for one in suppositions
        for position, prediction in enumerate(one.predictions, start=1)
    ]
    head = (
        "runner",
        "programme",
        "number",
        "kind",
        "driver",
        "leads_to",
        "sureness_pct",
        "written_on",
        "written_by",
        "position",
        "role",
        "metric",
        "what",
        "direction",
        "amount",
        "due_on",
        "why",
    )
    return head, rows


def truth_of_predictions(suppositions: Iterable[Supposition]) -> Table:
    """Seen when, and how far the true changes had come by then; a row a prediction."""
    rows: list[Sequence[Cell]] = []
    for one in suppositions:
        seen = next((visit for visit in one.plan.case.visits if visit.on >= one.due_on), None)
        for position, prediction in enumerate(one.predictions, start=1):
            measured = seen is not None and was_measured(
                one.plan.case, seen, prediction.metric, prediction.what
            )
            rows.append(
                [
                    one.plan.runner,
                    one.plan.theme.title,
                    one.number,
                    position,
                    seen.on if seen is not None else None,
                    seen.progress if seen is not None else None,
                    "yes" if measured else "no",
                ]
            )
    head = ("runner", "programme", "number", "position", "seen_on", "progress", "measured")
    return head, rows
