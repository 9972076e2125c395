"""`casebook repeatability`, as somebody types it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Casebook

PUBLISHED = Path(__file__).parents[1] / "published" / "data"
LONG = """runner,day,who,try,side,value
a,1,AB,1,left,10.1
a,1,AB,2,left,10.9
a,1,AB,1,right,11.2
a,1,AB,2,right,11.8
a,2,AB,1,left,10.6
a,2,AB,2,left,11.2
a,2,AB,1,right,12.4
a,2,AB,2,right,11.6
b,1,AB,1,left,14.1
b,1,AB,2,left,14.6
b,1,AB,1,right,13.1
b,1,AB,2,right,13.9
b,2,AB,1,left,13.2
b,2,AB,2,left,13.0
b,2,AB,1,right,12.9
b,2,AB,2,right,12.0
c,1,AB,1,left,8.4
c,1,AB,2,left,8.2
c,1,AB,1,right,9.9
c,1,AB,2,right,9.1
c,2,AB,1,left,8.9
c,2,AB,2,left,8.8
c,2,AB,1,right,9.6
c,2,AB,2,right,9.7
"""
COLUMNS = ("--subject", "runner", "--session", "day", "--value", "value")


def written(folder: Path, text: str, name: str = "repeats.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


# Shrout & Fleiss 1979: rounded values as published (from memory).
def test_a_wide_table_gives_the_published_iccs(casebook: Casebook) -> None:
    said = casebook(
        "repeatability", PUBLISHED / "icc_shrout_fleiss_1979.csv", "--wide", "--subject", "target",
        "--json",
    )  # fmt: skip
    assert (said.code, said.err) == (0, "")
    report = said.report
    assert (report["n_subjects"], report["n_sessions"]) == (6, 4)
    rounded = {form: round(one["estimate"], 2) for form, one in report["icc"].items()}
    assert rounded == {
        "ICC(1,1)": 0.17, "ICC(2,1)": 0.29, "ICC(3,1)": 0.71,
        "ICC(1,k)": 0.44, "ICC(2,k)": 0.62, "ICC(3,k)": 0.91,
    }  # fmt: skip
    assert report["bland_altman"] is None


# Bland & Altman 1986, large minus mini meter: -2.1 and 38.8 in print.
def test_limits_are_second_minus_first_unless_asked_otherwise(casebook: Casebook) -> None:
    words = (
        "repeatability", PUBLISHED / "pefr_bland_altman_1986.csv", "--wide",
        "--session", "mini1", "--session", "wright1", "--json",
    )  # fmt: skip
    usual = casebook(*words).report["bland_altman"]
    turned = casebook(*words, "--first-minus-second").report["bland_altman"]
    assert round(usual["bias"], 1) == -2.1
    assert round(usual["sd"], 1) == 38.8
    assert turned["bias"] == -usual["bias"]
    for key in ("lower", "upper", "bias_low", "bias_high", "pair_lower_low"):
        assert isinstance(usual[key], float)


def test_every_agreed_key_is_there(casebook: Casebook) -> None:
    report = casebook(
        "repeatability", PUBLISHED / "weir_2005.csv", "--wide", "--session", "A1", "--session",
        "A2", "--json",
    ).report  # fmt: skip
    for sem in ("sem_agreement", "sem_consistency", "sem_one_way"):
        assert set(report[sem]) == {"estimate", "low", "high"}
    for level in ("mdc90", "mdc95"):
        assert {"agreement", "consistency", "consistency_low"} <= set(report[level])
    assert report["mdc95"]["consistency"] == pytest.approx(20.9463475410)
    assert report["mdc90"]["consistency"] == pytest.approx(17.5787289950)
    assert report["variance_components"]["negative"] == ["occasion"]
    assert any("below zero" in warning for warning in report["warnings"])
    assert report["growing_error"]["grows"] is False


def test_a_long_table_with_trials_sides_and_raters_gives_every_part(
    casebook: Casebook, tmp_path: Path
) -> None:
    said = casebook(
        "repeatability", written(tmp_path, LONG), *COLUMNS, "--rater", "who", "--trial", "try",
        "--side", "side", "--json",
    )  # fmt: skip
    assert said.err == ""
    report = said.report
    assert report["n_subjects"] == 3
    assert report["nested"]["within_sd"]["estimate"] > 0
    assert set(report["sides"]) == {"left", "right"}
    asymmetry = report["asymmetry"]
    assert asymmetry["form"] == "difference"
    assert asymmetry["nested"]["between_sd"]["estimate"] >= 0
    assert -1 <= asymmetry["error_correlation"] <= 1
    assert asymmetry["error_covariance"] is not None


def test_a_table_of_one_side_is_said_to_be_one(casebook: Casebook, tmp_path: Path) -> None:
    left = "\n".join(line for line in LONG.splitlines() if "right" not in line)
    words = ("repeatability", written(tmp_path, left), *COLUMNS, "--trial", "try", "--side", "side")
    report = casebook(*words, "--json").report
    assert report["asymmetry"] is None
    assert "Only the left side was measured." in report["notes"]


def test_a_semicolon_table_with_decimal_commas_gives_the_same(
    casebook: Casebook, tmp_path: Path
) -> None:
    comma = written(tmp_path, LONG.replace(",", ";").replace(".", ","), "comma.csv")
    words = (*COLUMNS, "--trial", "try", "--side", "side", "--json")
    one = casebook("repeatability", comma, *words).report
    other = casebook("repeatability", written(tmp_path, LONG), *words).report
    assert one == other


def test_words_for_a_person_hold_the_numbers_the_warnings_and_the_caution(
    casebook: Casebook, tmp_path: Path
) -> None:
    path = written(tmp_path, LONG)
    said = casebook("repeatability", path, *COLUMNS, "--trial", "try", "--side", "side")
    plain = " ".join(said.out.split())
    for words in (
        "ICC(2,1)",
        "MDC95, agreement",
        "SD between sessions",
        "Asymmetry, right minus",
        "Few limbs (6)",
        "never replace it",
        "Limits of agreement (2 minus 1)",
    ):
        assert words in plain
    assert "nan" not in plain


def test_grades_are_told_with_their_kappa(casebook: Casebook, tmp_path: Path) -> None:
    path = written(tmp_path, "s,one,two\na,0,1\nb,2,2\nc,1,1\nd,2,1\ne,0,0\n")
    report = casebook("repeatability", path, "--wide", "--grades", "--json").report
    kappa = report["kappa"]
    assert kappa["quadratic"]["low"] < kappa["quadratic"]["estimate"] <= 1
    assert (kappa["pairs"], kappa["step95"]) == (5, 1)
    shown = casebook("repeatability", path, "--wide", "--grades").out
    assert "Kappa, quadratic weights" in shown
    assert "differ by 1 or less" in shown


def test_one_session_is_no_error_but_explained(casebook: Casebook, tmp_path: Path) -> None:
    path = written(tmp_path, "s,one\na,1.5\nb,2.5\n")
    said = casebook("repeatability", path, "--wide", "--json")
    assert said.code == 0
    assert said.report["icc"]["ICC(1,1)"]["estimate"] is None
    assert "Only one session" in said.report["warnings"][0]
    assert "–" in casebook("repeatability", path, "--wide").out


def test_blank_cells_are_missing_and_sessions_are_put_in_order(
    casebook: Casebook, tmp_path: Path
) -> None:
    text = "who,day,x\na,10,3\na,2,4\nb,10,5\nb,2,7\nc,2,9\nc,10,\nd,2,1\nd,10,2\n"
    words = ("--subject", "who", "--session", "day", "--value", "x", "--json")
    report = casebook("repeatability", written(tmp_path, text), *words).report
    assert report["occasions"] == ["2", "10"]
    assert report["method"] == "reml"
    assert "1 cell is blank and taken as missing." in report["notes"]


def test_days_of_each_subject_s_own_are_numbered(casebook: Casebook, tmp_path: Path) -> None:
    text = (
        "who,day,x\na,2026-03-09,3\na,2026-03-02,4\nb,2026-04-01,5\nb,2026-04-03,7\n"
        "c,2026-05-01,9\nc,2026-05-04,8\n"
    )
    words = ("--subject", "who", "--session", "day", "--value", "x", "--json")
    report = casebook("repeatability", written(tmp_path, text), *words).report
    assert report["occasions"] == ["1", "2"]
    assert report["bland_altman"]["bias"] == pytest.approx((-1 + 2 - 1) / 3)
    shared = text.replace("2026-04-01", "2026-03-02").replace("2026-04-03", "2026-03-09")
    shared = shared.replace("2026-05-01", "2026-03-02").replace("2026-05-04", "2026-03-09")
    report = casebook("repeatability", written(tmp_path, shared), *words).report
    assert report["occasions"] == ["2026-03-02", "2026-03-09"]


@pytest.mark.parametrize(
    ("text", "words", "expected"),
    [
        ("who,day,x\na,1,3\na,1,4\n", (), ["row 3", "row 2 already", "--trial"]),
        ("who,day,x\na,1,3\na,2,abc\n", (), ["row 3, column x", "'abc' is not a number"]),
        ("who,day,x\n,1,3\na,2,4\n", (), ["row 2, column who", "subject is not given"]),
        ("who,day,x\na,,3\na,2,4\n", (), ["row 2, column day", "session is not given"]),
        ("who,day,x\na,1,3\na,2\n", (), ["row 3"]),
        ("who,day,x\na,1,\n", (), ["holds no value"]),
        ("who,day,y\na,1,2\n", (), ["no column 'x' (--value)", "who, day, y"]),
        ("who,day,x,s\na,1,3,up\n", ("--side", "s"), ["row 2, column s", "left or right"]),
        ("who,day,x,s\na,1,3,\n", ("--side", "s"), ["row 2, column s", "side is not given"]),
        ("who,day,x\na,1,1.5\na,2,1\n", ("--grades",), ["row 2, column x", "'1.5' is no grade"]),
        ("who,day,x\na,1,inf\n", (), ["row 2, column x", "no number that can be kept"]),
        ("", (), ["file is empty"]),
    ],
)
def test_a_bad_table_is_refused_with_its_place(
    text: str, words: tuple[str, ...], expected: list[str], casebook: Casebook, tmp_path: Path
) -> None:
    path = written(tmp_path, text)
    said = casebook(
        "repeatability", path, "--subject", "who", "--session", "day", "--value", "x", *words,
        "--json",
    )  # fmt: skip
    assert said.code == 1
    assert said.out == ""
    assert "repeats.csv" in said.err
    for part in expected:
        assert part in said.err


@pytest.mark.parametrize(
    ("text", "words", "expected"),
    [
        ("who,a,b\nx,1,2\nx,3,4\n", (), ["row 2, column who", "'x' has 2 rows"]),
        ("who,a,b\n,1,2\n", (), ["row 2, column who", "subject is not given"]),
        ("who,a,b\nx,1,two\n", (), ["row 2, column b", "'two' is not a number"]),
        ("who,a,b\nx,1,2\n", ("--trial", "a"), ["a wide table has no trial column"]),
        ("who,a,b\nx,1,2\n", ("--session", "c"), ["no column 'c'"]),
        ("who\nx\n", (), ["holds no column of values"]),
    ],
)
def test_a_bad_wide_table_is_refused_with_its_place(
    text: str, words: tuple[str, ...], expected: list[str], casebook: Casebook, tmp_path: Path
) -> None:
    said = casebook("repeatability", written(tmp_path, text), "--wide", *words)
    assert (said.code, said.out) == (1, "")
    for part in expected:
        assert part in said.err


def test_columns_that_are_not_named_are_asked_for(casebook: Casebook, tmp_path: Path) -> None:
    path = written(tmp_path, LONG)
    said = casebook("repeatability", path, "--session", "day", "--value", "value")
    assert said.code == 1
    assert "--subject" in said.err
    assert "runner, day, who" in said.err
    several = casebook("repeatability", path, *COLUMNS, "--session", "who")
    assert (several.code, "--wide" in several.err) == (1, True)


def test_wrong_usage_ends_with_two(casebook: Casebook) -> None:
    assert casebook("repeatability").code == 2
    assert casebook("repeatability", "x.csv", "--adopt", "side_value").code == 2


def test_a_missing_file_is_told(casebook: Casebook, tmp_path: Path) -> None:
    said = casebook("repeatability", tmp_path / "none.csv", "--wide")
    assert (said.code, "no such file" in said.err) == (1, True)


# The casebook's own repeat measurements


def test_the_demo_s_repeat_study_is_told_and_adopted(casebook: Casebook, demo: Path) -> None:
    words = ("repeatability", "--metric", "hop_distance", "--db", demo)
    said = casebook(*words, "--adopt", "side_value", "--adopt", "asymmetry", "--json")
    assert said.err == ""
    report = said.report
    assert report["metric"] == "hop_distance"
    assert report["n_subjects"] == 10
    side, asymmetry = report["adopted"]
    assert (side["origin"], side["applies_to"]) == ("own", "side_value")
    assert side["between_sd"] == pytest.approx(report["nested"]["between_sd"]["estimate"])
    assert asymmetry["within_sd"] == pytest.approx(
        report["asymmetry"]["nested"]["within_sd"]["estimate"]
    )
    assert "10 runners, 2 sessions" in side["source"]
    shown = casebook(*words, "--adopt", "side_value").out
    assert "Adopted as the clinic's own error figure" in " ".join(shown.split())


def test_a_file_is_adopted_for_a_metric_of_its_scale(
    casebook: Casebook, empty: Path, tmp_path: Path
) -> None:
    path = written(tmp_path, LONG)
    words = ("repeatability", path, *COLUMNS, "--trial", "try", "--side", "side", "--db", empty)
    said = casebook(*words, "--metric", "hop_distance", "--adopt", "asymmetry", "--json")
    assert said.code == 0
    assert said.report["asymmetry"]["form"] == "percent"
    assert "repeats.csv" in said.report["adopted"][0]["source"]
    graded = casebook(*words, "--metric", "forefoot_compensation")
    assert (graded.code, "give --grades" in graded.err) == (1, True)
    plain = casebook(*words, "--metric", "hop_distance", "--grades")
    assert (plain.code, "leave --grades out" in plain.err) == (1, True)


def test_a_metric_that_was_never_repeated_is_told(casebook: Casebook, empty: Path) -> None:
    said = casebook("repeatability", "--metric", "cadence", "--db", empty)
    assert (said.code, "No repeat measurement" in said.err) == (1, True)
    unknown = casebook("repeatability", "--metric", "cadense", "--db", empty)
    assert (unknown.code, "no metric 'cadense'" in unknown.err) == (1, True)


def test_nothing_is_adopted_when_one_of_two_figures_is_refused(
    casebook: Casebook, demo: Path
) -> None:
    words = ("repeatability", "--metric", "cadence", "--db", demo)
    said = casebook(*words, "--adopt", "side_value", "--adopt", "asymmetry")
    assert (said.code, "no left and right" in said.err) == (1, True)
    from casebook.services.cataloguing import list_figures
    from casebook.services.keeping import open_casebook

    opened = open_casebook(str(demo))
    sources = [figure.source for figure in list_figures(opened, "cadence", include_retired=True)]
    opened.close()
    assert not any("adopted" in source for source in sources)
