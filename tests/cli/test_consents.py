"""`casebook consent`: listed, recorded, withdrawn, and heeded by the next export."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Casebook


def test_a_withdrawal_is_stored_and_heeded_by_the_next_export(
    casebook: Casebook, demo: Path, tmp_path: Path
) -> None:
    preview = ("export", "--for", "audit", "-o", tmp_path / "x", "--by", "KM", "--preview")
    assert "33 of 33 runners whose consent" in casebook(*preview, "--db", demo).out
    told = casebook("consent", "SKV-03", "--db", demo, "--json").report
    assert told["consents"][0]["withdrawn_on"] is None
    assert told["exports"] == []
    ask = ("consent", "SKV-03", "--for", "audit", "--by", "KM", "--db", demo)
    early = casebook(*ask, "--withdrawn", "2026-04-07")
    assert early.code == 1
    assert "before" in early.err
    done = casebook(*ask, "--withdrawn", "2026-05-01")
    assert (done.code, done.err) == (0, "")
    assert "audit: given on 2026-04-08, withdrawn on 2026-05-01" in done.out
    assert "32 of 32 runners whose consent" in casebook(*preview, "--db", demo).out
    again = casebook(*ask, "--withdrawn", "2026-05-02")
    assert again.code == 1
    assert "has no consent to audit that stands" in " ".join(again.err.split())
    assert "by KM" in casebook("history", "SKV-03", "--db", demo).out
    assert casebook("check", "--db", demo).code == 0


def test_a_consent_is_recorded_and_half_a_request_is_refused(
    casebook: Casebook, demo: Path
) -> None:
    ask = ("consent", "SKV-03", "--db", demo)
    assert casebook(*ask, "--for", "research").code == 2
    assert casebook(*ask, "--given", "2026-05-01").code == 2
    done = casebook(*ask, "--for", "research", "--given", "2026-05-01", "--by", "KM")
    assert "research: given on 2026-05-01, not withdrawn" in done.out
    assert casebook("consent", "NOBODY", "--db", demo).code == 1
