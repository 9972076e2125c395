"""`casebook record` and `casebook import-record`: a runner out of one casebook, into another."""

from __future__ import annotations

import re
from pathlib import Path

from tests.cli.conftest import Casebook


def test_a_runner_goes_from_one_casebook_into_another_and_back_out_of_it(
    casebook: Casebook, demo: Path, empty: Path, tmp_path: Path
) -> None:
    out = casebook("record", "SKV-01", "-o", tmp_path / "both", "--db", demo)
    assert (out.code, out.err) == (0, "")
    assert "keep no copy longer than you need it" in out.out
    again = casebook("record", "SKV-01", "-o", tmp_path / "both", "--db", demo)
    assert again.code == 1
    assert "stands already and is not replaced" in again.err
    bundle = tmp_path / "both" / "record.fhir.json"
    stored = casebook("import-record", bundle, "--by", "KM", "--db", empty)
    assert (stored.code, stored.err) == (0, "")
    assert "Stored: runner SKV-01 with 9 visits and 375 values, as import 1." in stored.out
    assert re.search(r"Not taken over: \d+ entries of the other casebook's history", stored.out)
    assert casebook("check", "--db", empty).code == 0
    assert casebook("review", "SKV-01", "--db", empty).code == 0
    twice = casebook("import-record", bundle, "--db", empty, "--json")
    assert (twice.code, twice.out) == (1, "")
    assert "'SKV-01' is registered already" in twice.err
    stays = casebook("undo-import", "1", "--reason", "a trial", "--db", empty)
    assert stays.code == 1
    assert "working hypothesis along, which nobody takes back" in " ".join(stays.err.split())


def test_an_imported_record_without_predictions_is_undone_and_imported_again(
    casebook: Casebook, demo: Path, empty: Path, tmp_path: Path
) -> None:
    bundle = tmp_path / "r.json"
    assert casebook("record", "SKV-25", "-o", bundle, "--db", demo).code == 0
    assert casebook("import-record", bundle, "--db", empty).code == 0
    assert casebook("undo-import", "1", "--reason", "a trial", "--db", empty).code == 0
    told = casebook("import-record", bundle, "--db", empty, "--json").report
    assert (told["runner"], told["run_id"]) == ("SKV-25", 2)


def test_a_form_alone_is_written_and_what_is_no_record_is_refused(
    casebook: Casebook, demo: Path, empty: Path, tmp_path: Path
) -> None:
    alone = casebook("record", "SKV-02", "-o", tmp_path / "r.json", "--db", demo)
    assert alone.code == 0
    text = casebook("record", "SKV-02", "-o", tmp_path / "t", "--as", "text", "--db", demo)
    assert text.code == 0
    assert not (tmp_path / "t" / "record.fhir.json").exists()
    wrong = ("record", "SKV-02", "-o", tmp_path / "t.json", "--as", "text", "--db", demo)
    assert casebook(*wrong).code == 2
    nobody = casebook("record", "SKV-99", "-o", tmp_path / "n", "--db", demo)
    assert nobody.code == 1
    assert "There is no runner 'SKV-99'" in nobody.err
    foreign = tmp_path / "foreign.json"
    foreign.write_text('{"resourceType": "Bundle", "type": "collection", "entry": []}')
    refused = casebook("import-record", foreign, "--db", empty)
    assert refused.code == 1
    assert "foreign.json: field meta.tag" in refused.err
    missing = casebook("import-record", tmp_path / "none.json", "--db", empty)
    assert missing.code == 1
    assert "it cannot be read" in missing.err
