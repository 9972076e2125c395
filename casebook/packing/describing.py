"""The description of a package for programs: Frictionless Tabular Data Package, version 1."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from casebook.domain.packages import (
    Field,
    FieldType,
    FileFormat,
    Link,
    Package,
    PackedFile,
    Table,
)

# What stands in a cell that has no value.
MISSING = ""
DIALECT = {
    "delimiter": ",",
    "lineTerminator": "\r\n",
    "quoteChar": '"',
    "doubleQuote": True,
    "skipInitialSpace": False,
    "header": True,
}


def file_of(table: Table, form: FileFormat) -> str:
    """Where a table stands in the package, in one of the formats of a file a table."""
    return f"data/{table.name}.{form.value}"


def data_package(
    package: Package, formats: Iterable[FileFormat], files: Mapping[str, PackedFile]
) -> dict[str, Any]:
    """The content of `datapackage.json`.

    The CSV files are its resources; where the same rows stand in other formats is said by a
    property of our own, `copies`, as is the UCUM code of a field, `unit`.
    """
    written = set(formats)
    said: dict[str, Any] = {
        "profile": "tabular-data-package",
        "name": package.name,
        "title": package.title,
        "description": package.words,
    }
    if package.licence:
        said["licenses"] = [{"title": package.licence, "path": "dictionary.md"}]
    said["resources"] = [_resource(table, written, files) for table in package.tables]
    return said


def _resource(
    table: Table, formats: set[FileFormat], files: Mapping[str, PackedFile]
) -> dict[str, Any]:
    file = files[file_of(table, FileFormat.CSV)]
    copies = []
    if FileFormat.PARQUET in formats:
        copies.append(file_of(table, FileFormat.PARQUET))
    if FileFormat.XLSX in formats:
        copies.append("tables.xlsx")
    schema: dict[str, Any] = {
        "fields": [_field(table, field) for field in table.fields],
        "missingValues": [MISSING],
    }
    if table.key:
        schema["primaryKey"] = list(table.key)
    if table.links:
        schema["foreignKeys"] = [_link(table, link) for link in table.links]
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "path": file.name,
        "description": table.words,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": file.bytes,
        "hash": f"sha256:{file.sha256}",
        "dialect": DIALECT,
        "schema": schema,
        "copies": copies,
    }


def _field(table: Table, field: Field) -> dict[str, Any]:
    said: dict[str, Any] = {
        "name": field.name,
        "type": field.type.value,
        "description": field.words,
    }
    if field.unit:
        said["unit"] = field.unit
    limits: dict[str, Any] = {}
    if table.is_required(field):
        limits["required"] = True
    if field.allowed:
        limits["enum"] = list(field.allowed)
    if field.pattern:
        # Readers anchor it, some without a group of their own.
        limits["pattern"] = f"({field.pattern})" if "|" in field.pattern else field.pattern
    whole = field.type is FieldType.INTEGER
    for name, limit in (("minimum", field.low), ("maximum", field.high)):
        if limit is not None:
            limits[name] = int(limit) if whole else limit
    return said | ({"constraints": limits} if limits else {})


def _link(table: Table, link: Link) -> dict[str, Any]:
    # The standard writes a table's link to itself as one to ''.
    target = "" if link.table == table.name else link.table
    return {
        "fields": list(link.fields),
        "reference": {"resource": target, "fields": list(link.its_fields)},
    }
