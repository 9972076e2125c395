"""`casebook plan-measurement`: an object with a curve and an answer, or a refusal that helps."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.cli.conftest import Casebook, Said

# z(0.975) + z(0.8), from tables of the normal distribution.
SEEN = 1.959964 + 0.841621
PARTS = ("--between-sd", 1, "--within-sd", 2)


@pytest.fixture
def plan(casebook: Casebook, empty: Path):
    """Plan in a casebook with the starter catalogue."""

    def command(metric: str, *words: object) -> Said:
        return casebook("plan-measurement", "--metric", metric, *words, "--db", empty)

    return command


def test_the_catalogues_figure_gives_a_curve_for_its_own_number_of_trials(plan):
    said = plan("knee_flexion_midstance", "--json")
    assert said.code == 0
    assert said.err == ""
    report = said.report
    assert {"metric", "what", "unit", "error", "curve", "answer", "notes", "caution"} <= set(report)
    assert report["error"]["origin"] == "published"
    assert "Dingenen 2018" in report["error"]["source"]
    assert [(point["visits"], point["trials"]) for point in report["curve"]] == [
        (1, 7), (2, 7), (3, 7),
    ]  # fmt: skip
    # Dingenen 2018: an SDD of 3.8 degrees, which is z * sqrt 2 * SEM; so many times more is seen.
    assert report["curve"][0]["detectable"] == pytest.approx(3.8 * SEEN / 1.959964, abs=1e-3)
    assert any("Fewer than 7 trials cannot be told" in note for note in report["notes"])
    assert any("more trials are given no credit" in note for note in report["notes"])


def test_the_spread_of_single_trials_tells_what_fewer_do(plan):
    report = plan("knee_flexion_midstance", "--within-sd", 2, "--json").report
    sees = {p["trials"]: p["detectable"] for p in report["curve"] if p["visits"] == 1}
    assert set(sees) == {1, 2, 3, 4, 5, 6, 7}
    sem = 3.8 / (1.959964 * math.sqrt(2))
    one = math.sqrt(sem**2 + 4 * (1 - 1 / 7))
    assert sees[1] == pytest.approx(SEEN * math.sqrt(2) * one, abs=1e-3)
    assert not any("cannot be told" in note for note in report["notes"])


def test_given_numbers_answer_for_each_number_of_visits(plan):
    report = plan("step_width", *PARTS, "--change", -4.5, "--json").report
    assert report["error"]["origin"] == "given"
    assert report["change"] == 4.5
    answer = report["answer"]
    assert [needed["trials"] for needed in answer["per_phase"]] == [14, 3, 2]
    assert [needed["reachable"] for needed in answer["per_phase"]] == [True] * 3
    assert answer["words"] == (
        "To see a change of 4.5 cm beyond measurement error with a probability of 80 %: "
        "14 trials a visit with 1 visit before and 1 after; "
        "3 trials a visit with 2 visits before and 2 after; "
        "2 trials a visit with 3 visits before and 3 after."
    )


def test_what_more_trials_cannot_reach_is_said(plan):
    answer = plan("step_width", *PARTS, "--change", 1.5, "--json").report["answer"]
    assert [needed["trials"] for needed in answer["per_phase"]] == [None] * 3
    assert "not reachable by more trials" in answer["words"]
    assert "no less than 4.0 cm or 2.8 cm or 2.3 cm" in answer["words"]
    # By hand: 2 (2.8016 / 1.5)^2 (1 + 4/7) = 10.96 for the usual seven trials.
    assert answer["trials"] == 7
    assert answer["visits_needed"] == 11
    assert answer["words"].endswith("With 7 trials a visit it takes 11 visits in each phase.")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (4.1, "57 trials a visit with 1 visit before and 1 after (more than is practical)"),
        (3.0, "with 1 visit before and as many after it is not reachable by more trials"),
        (30.0, "1 trial a visit with 1 visit before and 1 after"),
    ],
)
def test_the_answer_is_in_plain_words(plan, change: float, words: str):
    assert words in plan("step_width", *PARTS, "--change", change).out


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (4.9, "7 trials a visit with 2 visits before and 2 after (fewer cannot be told)"),
        (1.0, "not reachable by more trials as far as is known: means of 7 trials see 5.4°"),
    ],
)
def test_the_answer_by_a_figure_for_seven_trials_says_what_it_cannot_tell(
    plan, change: float, words: str
):
    assert words in plan("knee_flexion_midstance", "--change", change).out


def test_for_a_person_a_table_a_source_and_a_caution_are_printed(plan):
    said = plan("knee_flexion_midstance")
    assert said.code == 0
    for words in ("Dingenen 2018", "trials a visit", "1 + 1 visits", "5.4°", "never replace it"):
        assert words in said.out
    assert "numbers given" in plan("step_width", *PARTS).out


def test_a_higher_probability_asks_for_more(plan):
    trials = [
        plan("step_width", *PARTS, "--change", 5, "--probability", p, "--json").report["answer"][
            "per_phase"
        ][0]["trials"]
        for p in (0.5, 0.8, 0.9)
    ]
    assert trials == sorted(set(trials))


def test_the_asymmetry_has_its_own_figure_where_there_is_one(plan):
    report = plan("lunge_distance", "--asymmetry", "--json").report
    assert report["what"] == "asymmetry"
    assert "Chisholm" in report["error"]["source"]
    # Chisholm 2012: 1.5 cm, level not reported, read as 90 % (z 1.644854).
    assert report["error"]["sem"] == pytest.approx(1.5 / (1.644854 * math.sqrt(2)), abs=1e-3)


def test_the_asymmetry_has_else_the_error_of_both_sides(plan):
    side = plan("knee_flexion_midstance", "--json").report
    both = plan("knee_flexion_midstance", "--asymmetry", "--json").report
    assert both["curve"][0]["detectable"] == pytest.approx(
        math.sqrt(2) * side["curve"][0]["detectable"]
    )
    assert any("independent of one another" in note for note in both["notes"])


def test_an_asymmetry_in_percent_needs_a_typical_value(plan):
    words = ("contact_time", "--asymmetry", "--between-sd", 4, "--within-sd", 20)
    said = plan(*words)
    assert (said.code, said.out) == (1, "")
    assert "typical value of one side, in ms" in said.err
    report = plan(*words, "--typical", 200, "--json").report
    assert report["unit"] == "%"
    assert report["error"]["between_sd"] == pytest.approx(100 * math.sqrt(2) * 4 / 200)


def test_a_durations_error_is_not_below_what_the_frame_rate_allows(plan):
    # Bennett 1948: 1000 / 60 / sqrt 6 = 6.804 ms; where no frame rate is given, the catalogue's
    # resolution of 33.3 ms over sqrt 12.
    words = ("contact_time", "--between-sd", 0, "--within-sd", 1, "--json")
    report = plan(*words, "--frames-per-s", 60).report
    assert report["error"]["floor"] == pytest.approx(6.804138, abs=1e-6)
    assert report["curve"][0]["detectable"] == pytest.approx(SEEN * math.sqrt(2) * 6.804138, 1e-5)
    assert plan(*words).report["error"]["floor"] == pytest.approx(33.3 / math.sqrt(12))


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["step_width"], "no error figure: measure your own"),
        (["no_such_metric"], "no metric 'no_such_metric'"),
        (["arm_swing_crossing"], "is a grade"),
        (["cadence", "--asymmetry", *PARTS], "has no asymmetry form"),
        (["step_width", *PARTS, "--change", "0"], "other than 0"),
        (["step_width", *PARTS, "--change", "nan"], "other than 0"),
        (["step_width", *PARTS, "--probability", "1"], "below 1, such as"),
        (["step_width", "--between-sd", "-1", "--within-sd", "2"], "between-session SD is -1"),
        (["step_width", "--between-sd", "inf", "--within-sd", "2"], "number zero or more"),
        (["step_width", "--sem", "0", "--sem-trials", "3"], "SEM is 0; expected a number above"),
        (["step_width", "--sem", "1"], "give both"),
        (["step_width", "--sem", "1", "--sem-trials", "3", "--between-sd", "1"], "not both"),
        (["step_width", "--between-sd", "1"], "no error figure"),
        (["knee_flexion_midstance", "--between-sd", "1"], "one alone does not fit"),
        (
            ["heel_raise_count", "--between-sd", "0", "--within-sd", "0", "--typical", "0"],
            "typical",
        ),
    ],
    ids=lambda x: x if isinstance(x, str) else " ".join(str(word) for word in x),
)
def test_what_cannot_be_planned_is_refused_in_words(plan, words: list[object], expected: str):
    said = plan(*words, "--json")
    assert said.code == 1
    assert said.out == ""
    assert expected in said.err


def test_a_sem_given_for_the_plan_replaces_the_catalogues(plan):
    report = plan("knee_flexion_midstance", "--sem", 1, "--sem-trials", 3, "--json").report
    assert report["error"]["origin"] == "given"
    assert report["curve"][0] == {
        "visits": 1, "trials": 3, "detectable": pytest.approx(SEEN * math.sqrt(2), abs=1e-4),
    }  # fmt: skip


def test_without_a_metric_it_is_wrong_usage(casebook: Casebook, empty: Path):
    said = casebook("plan-measurement", "--db", empty)
    assert said.code == 2
    assert "--metric" in said.err
