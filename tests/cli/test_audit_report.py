"""`casebook audit --report`: the audit as one file, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from pypdf import PdfReader

from tests.cli.conftest import Casebook

DAY = ("--as-of", "2026-11-27")


def test_a_report_is_written_as_a_pdf_and_as_a_page_beside_the_audit(
    casebook: Casebook, demo_built: Path, tmp_path: Path
) -> None:
    pdf, page = tmp_path / "a.pdf", tmp_path / "a.html"
    asked = ("audit", *DAY, "--db", demo_built, "--course")
    said = casebook(*asked, "pain_running", "--report", pdf)
    assert (said.code, said.err) == (0, "")
    assert said.out.endswith(f"Written: {pdf} ({pdf.stat().st_size} bytes).\n")
    read = "".join(one.extract_text() for one in PdfReader(pdf).pages)
    assert "Predicted mean course: Pain during running" in read
    said = casebook(*asked, "hip_abductor_strength:worse_side", "--report", page, "--json")
    assert said.report["report"] == str(page)
    assert "Hip abductor strength, side that was worse" in page.read_text(encoding="utf-8")


def test_what_cannot_be_written_is_refused_and_leaves_nothing(
    casebook: Casebook, demo_built: Path, tmp_path: Path
) -> None:
    there = tmp_path / "there.pdf"
    there.write_bytes(b"older")
    for place, course, code, words in (
        (tmp_path / "a.docx", "pain_running", 1, "expected a name that ends in .pdf or .html"),
        (there, "pain_running", 1, "is there already and is not replaced"),
        (tmp_path / "b.pdf", "no_metric", 1, "there is no metric 'no_metric'"),
        (tmp_path / "b.pdf", "step_width:worse_side", 1, "step_width has no worse side"),
        (tmp_path / "b.pdf", "step_width:left", 2, "asks for 'left' of a metric"),
    ):
        said = casebook("audit", "--db", demo_built, "--report", place, "--course", course)
        assert (said.code, said.out) == (code, "")
        assert words in " ".join(said.err.split())
    said = casebook("audit", "--db", demo_built, "--course", "step_width")
    assert (said.code, said.out) == (2, "")
    assert "stands in a report" in said.err
    assert [path.name for path in tmp_path.iterdir()] == ["there.pdf"]
    assert there.read_bytes() == b"older"
