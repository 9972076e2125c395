"""Returns, clinicians and the model of one metric, told beside an audit at a terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook.cli.audit_models_shown import model_object, show_model
from casebook.domain.audit import AuditChoice
from casebook.services.cohort_models import cohort_model
from tests.cli.conftest import Casebook
from tests.services.grown_cohorts import grown_cohort
from tests.services.test_cohort_models import CHOICE

DAY = ("--as-of", "2026-11-27")


def words(text: str) -> str:
    return " ".join(text.split())


def test_a_growth_model_is_a_part_of_the_audits_object(
    casebook: Casebook, demo_built: Path
) -> None:
    said = casebook(
        "audit", *DAY, "--db", demo_built, "--growth", "hop_distance", "--on", "asymmetry", "--json"
    )
    assert said.code == 0, said.err
    found = said.report["growth"]
    assert (found["kind"], found["metric"], found["on"]) == ("growth", "hop_distance", "asymmetry")
    assert found["check"] == "agrees"
    assert {term["name"] for term in found["terms"]} >= {"Intercept", "time"}
    assert {"estimate", "se", "low", "high", "unit", "words"} <= set(found["terms"][0])
    assert found["residuals"][0].keys() == {"fitted", "residual", "expected"}
    returned = said.report["returns"][0]
    assert max(n for _, n in returned["at_risk"] if n is not None) <= returned["n"]
    assert all(day >= returned["begins"] for day, _ in returned["at_risk"])
    assert all(point["total"] >= 5 for one in said.report["funnels"] for point in one["points"])


def test_for_a_person_a_model_stands_below_the_audit_in_words(
    casebook: Casebook, demo_built: Path
) -> None:
    said = casebook(
        "audit", *DAY, "--db", demo_built, "--metric", "pain_running", "--growth", "pain_running"
    )
    assert said.code == 0, said.err
    told = words(said.out)
    for part in (
        "running again",
        "At risk, all: day",
        "no ranking and no measure of skill",
        "change in a week",
        "SD known measurement error",
        "It does not show what made them do so",
    ):
        assert part in told, part


@pytest.mark.parametrize(
    ("more", "code", "expected"),
    [
        (("--growth", "pain_runing"), 1, "Did you mean 'pain_running'"),
        (("--growth", "cadence", "--on", "worse_side"), 1, "cadence has no worse side"),
        (("--on", "worse_side"), 2, "--on says what of --growth"),
        (("--growth", "cadence", "--on", "left"), 2, "left"),
    ],
)
def test_a_model_of_what_is_not_there_is_refused_in_words(
    casebook: Casebook, demo_built: Path, more: tuple[str, ...], code: int, expected: str
) -> None:
    said = casebook("audit", *DAY, "--db", demo_built, *more)
    assert said.code == code
    assert expected in words(said.err)
    assert said.out == ""


def test_grades_and_what_cannot_be_told_are_shown_too(capsys: pytest.CaptureFixture[str]) -> None:
    grades = cohort_model(grown_cohort(), CHOICE, "test_grade", None)
    show_model(grades)
    told = words(capsys.readouterr().out)
    assert "odds of a higher grade, for each grade more at the baseline" in told
    assert "2, for performance" in told
    found = model_object(grades)
    assert found["kind"] == "grades"
    assert sum(one["n"] for group in found["groups"] for one in group["grades"]) == 200
    choice = AuditChoice(as_of=CHOICE.as_of, least_group=1000)
    none = cohort_model(grown_cohort(), choice, "test_pain", None)
    show_model(none)
    assert "nothing is told of so few" in words(capsys.readouterr().out)
    assert model_object(none)["kind"] == "none"
