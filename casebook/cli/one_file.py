"""A PDF or a page that a command makes: looked at before the work, written whole or not at all."""

from __future__ import annotations

from pathlib import Path

from casebook.domain.errors import refuse

ENDINGS = (".pdf", ".html")


def check_place(into: Path, *, what: str) -> None:
    """Refuse a name without an ending that says what to make, and a file that is there already.

    Parameters
    ----------
    into : Path
    what : str
        What is made; the codes of its refusals begin with it.
    """
    if into.suffix.lower() not in ENDINGS:
        raise refuse(
            f"{what}_ending",
            f"the file is to be '{into.name}'; expected a name that ends in .pdf or .html.",
            value=into.name,
        )
    if into.exists():
        raise refuse(
            f"{what}_exists",
            f"'{into}' is there already and is not replaced; give another name, or remove it.",
            value=str(into),
        )


def is_pdf(into: Path) -> bool:
    """Whether its name asks for a PDF, not for a page."""
    return into.suffix.lower() == ".pdf"


def write_whole(into: Path, content: bytes, *, what: str) -> None:
    """All of it or nothing, and never over a file that somebody else made meanwhile."""
    made = False
    try:
        with into.open("xb") as file:
            made = True
            file.write(content)
    except OSError as problem:
        if made:
            into.unlink(missing_ok=True)
        raise refuse(
            f"{what}_not_written",
            f"'{into}' could not be written ({problem.strerror}); give another place.",
            value=str(into),
        ) from problem
