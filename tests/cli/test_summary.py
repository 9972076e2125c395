"""`casebook summary`: one file, whole or not at all, for one of two readers."""

from __future__ import annotations

from pathlib import Path

from pypdf import PdfReader

from tests.cli.conftest import Casebook


def test_a_summary_is_written_as_a_pdf_and_as_a_page(
    casebook: Casebook, demo_built: Path, tmp_path: Path
) -> None:
    pdf, page = tmp_path / "a.pdf", tmp_path / "a.html"
    said = casebook("summary", "SKV-01", "--for", "referrer", "-o", pdf, "--db", demo_built)
    assert (said.code, said.err) == (0, "")
    assert said.out == f"Written: {pdf} ({pdf.stat().st_size} bytes).\n"
    assert "MDC95" in "".join(one.extract_text() for one in PdfReader(pdf).pages)
    assert (
        casebook("summary", "SKV-01", "--for", "runner", "-o", page, "--db", demo_built).code == 0
    )
    assert "by more than measuring alone" in page.read_text(encoding="utf-8")


def test_what_cannot_be_written_is_refused_and_leaves_nothing(
    casebook: Casebook, demo_built: Path, tmp_path: Path
) -> None:
    there = tmp_path / "there.pdf"
    there.write_bytes(b"older")
    refusals = {
        (tmp_path / "a.docx", "SKV-01"): "expected a name that ends in .pdf or .html",
        (there, "SKV-01"): "is there already and is not replaced",
        (tmp_path / "no folder" / "a.pdf", "SKV-01"): "could not be written",
        (tmp_path / "b.pdf", "SKV-00"): "SKV-00",
    }
    for (place, code), words in refusals.items():
        said = casebook("summary", code, "--for", "runner", "-o", place, "--db", demo_built)
        assert (said.code, said.out) == (1, "")
        assert words in said.err
    assert there.read_bytes() == b"older"
    assert [one.name for one in tmp_path.iterdir()] == ["there.pdf"]


def test_a_reader_that_does_not_exist_is_wrong_usage(casebook: Casebook, tmp_path: Path) -> None:
    said = casebook("summary", "SKV-01", "--for", "insurer", "-o", tmp_path / "a.pdf")
    assert said.code == 2
    assert "runner" in said.err
    assert "referrer" in said.err
