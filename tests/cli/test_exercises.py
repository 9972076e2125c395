"""`casebook exercises`: the clinic's list, listed, added to, changed and hidden."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.cli.conftest import Casebook


def test_exercises_are_listed_added_changed_emptied_and_hidden(
    casebook: Casebook, empty: Path, tmp_path: Path
) -> None:
    def run(*words: object) -> list[dict[str, Any]]:
        said = casebook("exercises", *words, "--by", "KM", "--db", empty, "--json")
        assert said.code == 0, said.err
        return list(said.report["exercises"])

    starter = run()
    assert len(starter) > 15
    assert all(one["active"] and one["starter"] for one in starter)
    new = ("wall_sit", "--name", "Wall sit", "--aim", "strength", "--how", "Sit.", "--not-sided")
    (made,) = run(*new, "--hold", "30", "--dose-source", "our own use", "--metric", "cadence")
    assert (made["hold_s"], made["sided"], made["metrics"]) == (30.0, False, ["cadence"])
    (changed,) = run("wall_sit", "--clear", "hold_s", "--sets", "3", "--hide")
    assert (changed["hold_s"], changed["sets"], changed["active"]) == (None, 3, False)
    table = tmp_path / "ours.csv"
    table.write_text("key,repetitions\nwall_sit,4\n", encoding="utf-8")
    assert run("--from", table)[-1]["repetitions"] == 4
    assert run("wall_sit", "--show")[0]["active"]
    told = casebook("exercises", "wall_sit", "--db", empty).out
    assert "Wall sit" in told
    assert "our own use" in told
    assert "bridge_single_leg" in casebook("exercises", "--db", empty).out


def test_what_is_no_exercise_is_refused_and_nothing_is_stored(
    casebook: Casebook, empty: Path
) -> None:
    before = casebook("exercises", "--db", empty, "--json").report
    for code, words, said in (
        (1, ("bridge_singel_leg", "--hide"), "Did you mean bridge_single_leg or"),
        (1, ("bridge_single_leg", "--dose-source", ""), "since a dose is given"),
        (1, ("bridge_single_leg", "--metric", "cadense"), "Did you mean cadence?"),
        (1, ("wall_sit",), "no exercise 'wall_sit'"),
        (1, ("--from", "not-there.csv"), "not-there.csv: there is no such file"),
        (2, ("--hide",), "name the exercise"),
        (2, ("bridge_single_leg", "--aim", "fun"), "takes one of strength"),
        (2, ("bridge_single_leg", "--clear", "how"), "--clear takes one of"),
        (2, ("bridge_single_leg", "--from", "x.csv"), "either an exercise or a file"),
    ):
        refused = casebook("exercises", *words, "--db", empty)
        assert (refused.code, refused.out) == (code, ""), words
        assert said in " ".join(refused.err.replace("│", " ").split()), refused.err
    assert casebook("exercises", "--db", empty, "--json").report == before
