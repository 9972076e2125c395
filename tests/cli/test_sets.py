"""`casebook sets`: what a clinic reads together, listed, made and changed."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Casebook


def test_sets_are_listed_made_changed_ordered_and_switched_off(
    casebook: Casebook, empty: Path
) -> None:
    def names(*words: object) -> list[tuple[str, bool]]:
        said = casebook("sets", *words, "--db", empty, "--json")
        assert (said.code, said.err) == (0, "")
        return [(one["name"], one["active"]) for one in said.report["sets"]]

    starter = names()
    assert [name for name, _ in starter] == ["First visit", "Short review", "Strength and range"]
    made = names("After a race", "--metric", "cadence", "--metric", "pain_after", "--first")
    assert made == [("After a race", True), *starter]
    assert names("after a RACE", "--off", "--rename", "Race")[0] == ("Race", False)
    told = casebook("sets", "--db", empty)
    assert "cadence, pain_after" in told.out


def test_what_is_no_set_is_refused_and_nothing_is_stored(casebook: Casebook, empty: Path) -> None:
    before = casebook("sets", "--db", empty, "--json").report
    mistyped = casebook("sets", "Shrot review", "--off", "--db", empty)
    assert mistyped.code == 1
    assert "There are: 'First visit', 'Short review'" in mistyped.err
    unknown = casebook("sets", "New", "--metric", "cadense", "--db", empty)
    assert unknown.code == 1
    assert "Did you mean 'cadence'" in unknown.err
    assert casebook("sets", "--off", "--db", empty).code == 2
    assert casebook("sets", "--db", empty, "--json").report == before
