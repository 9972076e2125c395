"""The history on the command line: shown, amended, struck out, undone, checked."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest

from tests.cli.conftest import Casebook

TIDY = """runner,visit_date,kind,speed_km_h,metric,side,trial,value
R-01,2025-04-03,baseline,10,knee_flexion_midstance,left,1,38.2
R-01,2025-04-03,baseline,10,knee_flexion_midstance,left,2,39.0
R-01,2025-04-03,baseline,10,cadence,none,1,172
"""
VISIT = ("R-01", "--visit", "2025-04-03")


@pytest.fixture
def filled(casebook: Casebook, empty: Path, tmp_path: Path) -> Path:
    (tmp_path / "visits.csv").write_text(TIDY, encoding="utf-8")
    assert casebook("import", tmp_path / "visits.csv", "--db", empty).code == 0
    return empty


def test_a_visit_is_amended_struck_out_and_put_back(casebook: Casebook, filled: Path) -> None:
    said = casebook(
        "amend", *VISIT, "--value", "knee_flexion_midstance:left=37.5, 38", "--set",
        "speed_km_h=11", "--set", "note=", "--reason", "misread", "--by", "KM", "--db", filled,
    )  # fmt: skip
    assert (said.code, said.err) == (0, "")
    why = ("--reason", "metronome", "--by", "KM", "--db", filled)
    assert casebook("strike-out", *VISIT, "--value", "cadence", *why).code == 0
    told = casebook("history", *VISIT, "--db", filled).out
    struck, amended = told.index("KM: values struck out"), told.index("KM: visit amended")
    assert struck < amended < told.index("visit recorded, visit of 2025-04-03")
    assert "38.2, 39° -> 37.5, 38°" in told
    assert "speed: 10 km/h -> 11 km/h" in told
    number = casebook("history", "R-01", "--db", filled, "--json").report["entries"][0]["number"]
    assert casebook("undo", number, *why).code == 0
    entries = casebook("history", "R-01", "--db", filled, "--json").report["entries"]
    assert entries[0]["fields"] == [{"field": "Cadence", "was": "nothing", "is": "172 steps/min"}]
    assert casebook("check", "--db", filled).code == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("amend", *VISIT, "--value", "cadence=170"), "Say why"),
        (("amend", *VISIT, "--value", "cadence=fast"), "is no value of cadence"),
        (("amend", *VISIT, "--value", "cadence 170"), "has no '='"),
        (("amend", *VISIT, "--set", "speed_km_h=fast"), "expected a number"),
        (("amend", *VISIT, "--set", "speed=10"), "nothing of a visit"),
        (("amend", *VISIT, "--set", "speed_km_h=11", "--revision", "7"), "after you opened it"),
        (("amend", "R-01", "--record", "knee"), "names no record"),
        (("strike-out", *VISIT, "--value", "cadence:up"), "expected left or right"),
        (("strike-out", "R-01", "--visit", "2025-04-04", "--whole"), "no visit of 'R-01'"),
        (("undo", "99999"), "no entry 99999"),
    ],
)
def test_a_refusal_says_what_to_do(
    casebook: Casebook, filled: Path, words: tuple[str, ...], told: str
) -> None:
    reason = () if "cadence=170" in words else ("--reason", "slip")
    said = casebook(*words, *reason, "--db", filled)
    assert said.code == 1
    assert told in said.err


def test_another_record_is_amended(casebook: Casebook, filled: Path) -> None:
    why = ("--reason", "asked again", "--db", filled)
    assert casebook("amend", "R-01", "--record", "runner:1", "--set", "sex=female", *why).code == 0
    told = casebook("history", "R-01", "--db", filled).out
    assert "sex: not recorded -> female" in told


def test_a_finding_is_amended_by_the_number_that_the_history_shows(
    casebook: Casebook, filled: Path, tmp_path: Path
) -> None:
    file = tmp_path / "findings.csv"
    file.write_text(
        "runner,visit_date,finding,present\nR-01,2025-04-03,night_pain,yes\n", encoding="utf-8"
    )
    assert casebook("import", file, "--db", filled).code == 0
    shown = re.search(r"finding:\d+", casebook("history", "R-01", "--db", filled).out)
    assert shown is not None
    why = ("--reason", "asked again", "--db", filled)
    said = casebook("amend", "R-01", "--record", shown[0], "--set", "present=no", *why)
    assert (said.code, said.out) == (0, "Amended.\n")
    assert "found: yes -> no" in casebook("history", "R-01", "--db", filled).out
    assert casebook("strike-out", "R-01", "--record", shown[0], *why).code == 0
    assert casebook("check", "--db", filled).code == 0


def test_the_head_noted_down_tells_of_a_tail_that_was_cut_off(
    casebook: Casebook, filled: Path
) -> None:
    head = casebook("history", "--head", "--db", filled, "--json").report
    assert casebook("check", "--expect-head", head["hash"], "--db", filled).code == 0
    with sqlite3.connect(filled) as careless:
        careless.execute("DROP TRIGGER history_stays")
        careless.execute("DELETE FROM history WHERE number = ?", (head["number"],))
    careless.close()
    said = casebook("check", "--expect-head", head["hash"], "--db", filled)
    assert said.code == 1
    assert "no entry has the hash" in said.err
    assert "trigger history_stays is missing" in said.err
