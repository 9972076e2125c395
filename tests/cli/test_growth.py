from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Casebook

SLEEP = Path(__file__).parents[1] / "published" / "data" / "sleepstudy.csv"
COLUMNS = ("--subject", "Subject", "--time", "Days", "--value", "Reaction")


def test_a_growth_model_is_one_object_with_the_keys_that_scripts_know(casebook: Casebook) -> None:
    said = casebook("growth", SLEEP, *COLUMNS, "--sem", "20", "--json")
    assert said.code == 0, said.err
    found = json.loads(said.out)
    assert found["fixed"]["Days"] == {
        "estimate": pytest.approx(10.4673, abs=1e-4),
        "se": pytest.approx(1.5458, abs=1e-4),
    }
    assert set(found["random"]) == {"var_intercept", "var_slope", "cov"}
    assert found["loglik_reml"] == pytest.approx(-871.814, abs=1e-3)
    assert (found["n_subjects"], found["n_rows"], found["converged"]) == (18, 180, True)
    assert found["model"]["random"] == "intercept_and_slope"
    assert found["error_share"] == pytest.approx(400 / 654.941, rel=1e-3)


def test_a_growth_model_is_told_in_words_that_claim_no_cause(casebook: Casebook) -> None:
    said = casebook("growth", SLEEP, *COLUMNS)
    assert said.code == 0
    assert "a level and a slope of its own for each subject" in said.out
    assert "180 rows of 18 subjects" in said.out
    assert "does not show what made them do so" in " ".join(said.out.split())


def test_what_the_data_do_not_support_is_said(casebook: Casebook, tmp_path: Path) -> None:
    file = tmp_path / "short.csv"
    rows = ["who,week,force"] + [f"R{i},{w},{100 + i * i + w}" for i in range(9) for w in (0, 6)]
    file.write_text("\n".join([*rows, "R0,12,"]), "utf-8")
    said = casebook("growth", file, "--subject", "who", "--time", "week", "--value", "force")
    assert said.code == 0, said.err
    told = " ".join(said.out.split())
    assert "too few measurements a subject" in told
    assert "1 row has a blank value and is left out" in told


@pytest.mark.parametrize(
    ("lines", "more", "expected"),
    [
        (["s,t,v", "A,0,1", "A,x,2"], (), "row 3"),
        (["s,t,v", "A,0,1", ",1,2"], (), "every row needs one"),
        (["s,t,v", "A,0,1", "B,0,2", "C,0,4"], (), "cannot tell a slope"),
        (["s,t,v", "A,0,", "B,0,"], (), "no value in any row"),
        (["s,t,v", "A,0,1"], ("--by", "plan"), "no column 'plan'"),
        (["s,t,v", "A,0,1"], ("--sem", "0"), "above 0"),
    ],
)
def test_a_table_that_cannot_be_taken_is_refused_in_words(
    casebook: Casebook, tmp_path: Path, lines: list[str], more: tuple[str, ...], expected: str
) -> None:
    file = tmp_path / "long.csv"
    file.write_text("\n".join(lines), "utf-8")
    said = casebook("growth", file, "--subject", "s", "--time", "t", "--value", "v", *more)
    assert said.code == 1
    assert expected in " ".join(said.err.split())
    assert "Traceback" not in said.err
