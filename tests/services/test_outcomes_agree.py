"""What is told of a programme, of its targets and on paper: one measurement, one answer."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from casebook.domain.injuries import Course, Pathology
from casebook.domain.metrics import AppliesTo, Condition, ErrorFigure, ErrorOrigin
from casebook.domain.people import Runner, Sex
from casebook.domain.prescriptions import Prescription
from casebook.domain.programmes import Aim, Block, Programme, Target, TargetDirection, TargetOn
from casebook.domain.sides import Side
from casebook.domain.summaries import Points, Reader, Text
from casebook.domain.target_outcomes import TargetCall
from casebook.domain.verdicts import Call, What
from casebook.domain.visits import VisitKind, value_of_trials
from casebook.services.cataloguing import adopt_figure, get_metric, save_metric
from casebook.services.injury_course import runner_course
from casebook.services.norming import clinic_norms
from casebook.services.opened import Casebook
from casebook.services.outcomes import programme_effect
from casebook.services.prescribing import list_prescriptions, prescribe
from casebook.services.recording import record_visit
from casebook.services.registering import record_injury, register_runner
from casebook.services.summarising import summarise
from casebook.services.targeting import list_targets
from tests.builders import BEND, QUALITY, STEPS, a_visit, an_injury

START = date(2026, 3, 2)
DUE = date(2026, 5, 1)
END = date(2026, 5, 30)


def a_figure(metric: str, **parts: float) -> ErrorFigure:
    return ErrorFigure(
        metric=metric, applies_to=AppliesTo.SIDE_VALUE, origin=ErrorOrigin.OWN,
        source="invented for this test", **parts,
    )  # fmt: skip


def logged(casebook: Casebook, day: date, steps: float, grade: float, **more: object) -> None:
    """Steps (neither more nor fewer are better), a grade (lower is better) and an angle."""
    values = (
        value_of_trials(STEPS, Side.NONE, [steps - 1, steps, steps + 1]),
        value_of_trials(QUALITY, Side.LEFT, [grade]),
        value_of_trials(BEND, Side.LEFT, [30.0 if "conditions" in more else 20.0]),
    )
    made = a_visit(visited_on=day, kind=VisitKind.REVIEW, values=values)
    if "conditions" in more:
        made = replace(made, conditions=replace(made.conditions, speed_km_h=16.0))
    record_visit(casebook, made, by="kim")


@pytest.fixture
def told(sqlite_clinic: Casebook) -> Casebook:
    """One runner whose steps went up and whose grade came down, as was aimed at."""
    angle = get_metric(sqlite_clinic, BEND)
    save_metric(
        sqlite_clinic,
        replace(angle.metric, sensitive_to=(Condition.SPEED,)),
        expected_revision=angle.revision,
        reason="it depends on the speed",
        by="kim",
    )
    adopt_figure(sqlite_clinic, a_figure(STEPS, between_sd=1.0, within_sd=2.0))
    adopt_figure(sqlite_clinic, a_figure(QUALITY, grade_step=1))
    for day, steps, grade in (
        (date(2026, 2, 2), 165.0, 2.0),
        (date(2026, 2, 16), 165.0, 2.0),
        (START, 165.0, 2.0),
        (date(2026, 4, 6), 175.0, 1.0),
        (date(2026, 5, 4), 178.0, 0.0),
    ):
        logged(sqlite_clinic, day, steps, grade)
    # At another speed: no comparison for the angle, for which no error is known either.
    logged(sqlite_clinic, date(2026, 5, 18), 178.0, 0.0, conditions=True)
    prescribe(
        sqlite_clinic,
        Prescription(
            programme=Programme(
                runner="T-001", title="Cues", started_on=START, ended_on=END,
                blocks=(
                    Block(position=1, aim=Aim.GAIT_RETRAINING, exercise="steps",
                          sessions_per_week=3.0),
                ),
                targets=(
                    Target(metric=STEPS, what=TargetOn.NONE, direction=TargetDirection.UP,
                           amount=8.0, due_on=DUE),
                    Target(metric=QUALITY, what=TargetOn.LEFT, direction=TargetDirection.DOWN,
                           amount=2.0, due_on=DUE),
                    Target(metric=BEND, what=TargetOn.LEFT, direction=TargetDirection.UP,
                           amount=5.0, due_on=DUE),
                ),
            )
        ),
        by="kim",
    )  # fmt: skip
    return sqlite_clinic


def test_a_target_that_was_met_is_not_said_to_be_untold_by_the_paragraph(told: Casebook) -> None:
    targets = {one.target.metric: one.outcome for one in list_targets(told, "T-001", today=END)}
    effect = programme_effect(told, 1).effect
    by_metric = {(one.metric, one.what): one for one in effect.effects}
    steps, grade = by_metric[STEPS, What.NONE], by_metric[QUALITY, What.LEFT]
    assert targets[STEPS].call is targets[QUALITY].call is TargetCall.MET
    assert (steps.call, steps.aimed) == (Call.IMPROVED, True)
    assert grade.call is Call.IMPROVED
    assert grade.change is not None
    assert grade.change.within == targets[QUALITY].error
    assert (effect.targeted.improved, effect.targeted.not_told) == (2, 1)


def test_a_visit_that_was_not_alike_is_left_out_also_where_no_error_is_known(
    told: Casebook,
) -> None:
    effects = programme_effect(told, 1).effect.effects
    [bend] = [one for one in effects if (one.metric, one.what) == (BEND, What.LEFT)]
    assert bend.change is not None
    assert bend.change.change == pytest.approx(0.0)
    assert bend.phases[1].visits == 2


def test_what_a_programme_that_still_runs_changed_is_not_counted_for_the_next_one_too(
    told: Casebook,
) -> None:
    """The steps had gone up to 178 when the second began; nothing came after that."""
    for day in (date(2026, 5, 25), date(2026, 7, 6)):
        logged(told, day, 178.0, 0.0)
    [first] = list_prescriptions(told, "T-001")
    second = replace(
        first.prescription.programme, title="More", started_on=date(2026, 5, 25), ended_on=None,
        targets=(
            Target(metric=STEPS, what=TargetOn.NONE, direction=TargetDirection.UP, amount=8.0,
                   due_on=date(2026, 7, 1)),
        ),
    )  # fmt: skip
    stored = prescribe(told, Prescription(programme=second), by="kim")
    effect = programme_effect(told, stored.programme_id).effect
    [steps] = [one for one in effect.effects if one.targeted]
    assert (steps.call, steps.phases[0].visits) == (Call.UNCHANGED, 1)
    outcomes = list_targets(told, "T-001", today=date(2026, 8, 1))
    [outcome] = [one.outcome for one in outcomes if one.title == "More"]
    assert (outcome.call, outcome.moved) == (TargetCall.NOT_MET, 0.0)
    assert effect.overlapping == ("Cues",)


def test_two_complaints_of_no_named_kind_are_not_said_to_be_one_kind_for_sure(
    sqlite_clinic: Casebook,
) -> None:
    for onset in (date(2026, 1, 5), date(2026, 4, 6)):
        record_injury(
            sqlite_clinic,
            an_injury(
                pathology=Pathology.NON_SPECIFIC, onset_on=onset,
                returned_on=onset + timedelta(days=14), fully_back_on=onset + timedelta(days=20),
                course=Course.RESOLVED,
            ),
            by="kim",
        )  # fmt: skip
    first, second = runner_course(sqlite_clinic, "T-001").complaints
    assert second.succession_words.startswith("recurrence: same place and kind, after full")
    assert second.succession_words.endswith("so that it may be another (71 days after it)")
    assert first.succession_words == "first complaint on record"


def test_the_summary_says_the_same_sentences_as_the_page(told: Casebook) -> None:
    for number in range(12):
        code = f"T-1{number:02}"
        register_runner(told, Runner(code=code, sex=Sex.MALE, birth_year=1990), by="kim")
        values = (value_of_trials(STEPS, Side.NONE, [170.0 + number] * 3),)
        record_visit(told, a_visit(runner=code, values=values), by="kim")
    page = programme_effect(told, 1, norms=clinic_norms(told)).paragraph
    assert "is expected by itself, since extreme readings" in page
    made = summarise(told, "T-001", reader=Reader.REFERRER, today=END)
    said: list[str] = []
    for part in (part for one in made.sections for part in one.parts):
        said += [part.words] if isinstance(part, Text) else []
        said += part.items if isinstance(part, Points) else []
    # The sheet sets them one below the other; not a word differs.
    assert _only_words(page) in _only_words(" ".join(said))


def _only_words(text: str) -> str:
    return " ".join(re.findall(r"[\w.]*\w", text.lower()))
