from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Casebook

AS_OF = ("--as-of", "2026-11-27")


def test_an_audit_is_one_object_of_named_parts(casebook: Casebook, demo_built: Path) -> None:
    said = casebook("audit", "--db", demo_built, *AS_OF, "--metric", "pain_running", "--json")
    assert (said.code, said.err) == (0, "")
    found = said.report
    assert found["ok"] is True
    assert {"choice", "flow", "completeness", "timeliness", "outcomes", "lost", "against"} <= set(
        found
    )
    steps = {one["step"]: one["n"] for one in found["flow"]["steps"]}
    assert (steps["registered"], steps["started"], steps["lost"]) == (43, 40, 8)
    (pain,) = found["outcomes"]
    assert (pain["metric"], pain["on"], pain["important_change"]) == ("pain_running", "value", 2.0)
    splits = {one["split"]: one["groups"] for one in pain["splits"]}
    whole = splits["none"][0]
    parts = ("improved", "unchanged", "worsened", "cannot_say")
    assert sum(whole[one]["count"] for one in parts) == whole["measured"] == 39
    assert found["audience"].startswith("For the clinic's own eyes")
    assert set(whole["change"]) == {"n", "mean", "low", "high"}
    assert any("no group" in words for words in found["against"])


def test_an_audit_is_told_in_tables_with_what_argues_against_an_effect(
    casebook: Casebook, demo_built: Path
) -> None:
    said = casebook(
        "audit", "--db", demo_built, *AS_OF, "--metric", "hip_abductor_strength",
        "--metric", "pain_running", "--lost-after-days", "60", "--least-group", "3",
    )  # fmt: skip
    assert (said.code, said.err) == (0, "")
    for words in (
        "Audit as of 2026-11-27",
        "For the clinic's own eyes",
        "seen again after the start 40",
        "Hip abductor worse side",
        "the worse side gained",
        "at the baseline",
        "withheld: fewer than 3".capitalize(),
        "It does not tell that the programme did it",
    ):
        assert words in " ".join(said.out.split()), words
    divided = casebook(
        "audit", "--db", demo_built, *AS_OF, "--metric", "pain_running", "--split",
        "adherence_third", "--region", "knee", "--region", "foot",
    )  # fmt: skip
    assert "left out: other complaint, or none" in divided.out
    assert "no change" in divided.out
    assert "third of adherence" in divided.out


def test_a_casebook_without_anybody_is_audited_calmly(casebook: Casebook, empty: Path) -> None:
    said = casebook("audit", "--db", empty)
    assert said.code == 0
    assert "Nobody of this cohort was measured." in said.out
    assert "No outcome can be told." in said.out


@pytest.mark.parametrize(
    ("options", "code", "expected"),
    [
        (("--metric", "pain_runing"), 1, "Did you mean 'pain_running'?"),
        (("--from", "2026-03-01", "--to", "2026-02-01"), 1, "lies before the first"),
        (("--least-group", "1"), 1, "from 2 to"),
        (("--least-group", "2", "--purpose", "audit"), 1, "from 3 to"),
        (("--clinician", "OWL"), 1, "EIDER, GANNET, TERN"),
        (("--from", "1.3.2026"), 2, "expected YYYY-MM-DD"),
        (("--kind", "magic"), 2, "performance"),
    ],
)
def test_a_choice_that_cannot_be_taken_is_refused_in_words(
    casebook: Casebook, demo_built: Path, options: tuple[str, ...], code: int, expected: str
) -> None:
    said = casebook("audit", "--db", demo_built, *AS_OF, *options)
    assert said.code == code
    assert expected in " ".join(said.err.split())
    assert said.out == ""
