"""The description of a package in words: what one who opens it needs to read the tables."""

from __future__ import annotations

from collections.abc import Iterable

from casebook.domain.packages import Field, FileFormat, Link, Package, Table


def allowed_words(field: Field) -> str:
    """Which values a field has, in words; empty where its type says all.

    >>> from casebook.domain.packages import FieldType
    >>> text = FieldType.STRING
    >>> allowed_words(Field(name="side", type=text, words="Side.", allowed=("left", "right")))
    'left; right'
    >>> allowed_words(Field(name="share", type=FieldType.NUMBER, words="Share.", low=0, high=1))
    'from 0 to 1'
    """
    if field.allowed:
        return "; ".join(field.allowed)
    if field.pattern:
        return f"matches {field.pattern}"
    if field.low is not None and field.high is not None:
        return f"from {field.low:g} to {field.high:g}"
    if field.low is not None:
        return f"at least {field.low:g}"
    return f"at most {field.high:g}" if field.high is not None else ""


def dictionary(package: Package, formats: Iterable[FileFormat]) -> str:
    """The data dictionary as Markdown.

    Every table with what one of its rows is, its key, its links, and each field with its type,
    unit, values, whether it can be missing, and what it says.
    """
    written = set(formats)
    parts = [f"# {package.title}", package.words]
    if package.licence:
        parts.append(f"Licence: {package.licence}")
    parts.append(_how_to_read(written))
    parts.extend(part for table in package.tables for part in _table(table))
    return "\n\n".join(parts) + "\n"


def _how_to_read(formats: set[FileFormat]) -> str:
    sentences = [
        "Every table stands in `data/` as CSV (UTF-8, comma, lines end in CR LF, decimal point)."
    ]
    if FileFormat.PARQUET in formats:
        sentences.append("The same rows stand beside it as Parquet.")
    if FileFormat.XLSX in formats:
        sentences.append(
            "`tables.xlsx` holds them once more, a sheet a table; a table too long for a sheet "
            "goes on in a next one with a number."
        )
    sentences.append(
        "A missing value is an empty cell; 0 is a number and never stands for missing. Units are "
        "UCUM codes. `datapackage.json` says the same for programs, and `manifest.json` holds "
        "the SHA-256 of every file."
    )
    return " ".join(sentences)


def _table(table: Table) -> list[str]:
    parts = [f"## {table.name}", table.words]
    if table.key:
        parts.append(f"A row is named by {_listed(table.key)}.")
    if table.links:
        parts.append("\n".join(f"- {_link(link)}" for link in table.links))
    head = "| Field | Type | Unit | Values | Can be missing | What it says |\n" + "|---" * 6 + "|"
    rows = [
        f"| `{field.name}` | {field.type.value} | {_cell(field.unit)} | "
        f"{_cell(allowed_words(field))} | {'no' if table.is_required(field) else 'yes'} | "
        f"{_cell(field.words)} |"
        for field in table.fields
    ]
    return [*parts, "\n".join([head, *rows])]


def _link(link: Link) -> str:
    return f"{_listed(link.fields)} names a row of `{link.table}` by {_listed(link.its_fields)}."


def _listed(names: Iterable[str]) -> str:
    return " and ".join(f"`{name}`" for name in names)


def _cell(text: str) -> str:
    """A text that does not break a row of a Markdown table."""
    return " ".join(text.replace("|", "\\|").split())
