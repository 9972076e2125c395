"""Mappings that a clinic settled for files of one shape."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import select

from casebook.storage.capture_tables import ImportMappingRow
from casebook.storage.session import Unit


def contents_by_shape(unit: Unit, clinic_id: int, shapes: Collection[str]) -> dict[str, str]:
    """The text of the mapping of each of these shapes that has one."""
    rows = unit.execute(
        select(ImportMappingRow.shape, ImportMappingRow.content).where(
            ImportMappingRow.clinic_id == clinic_id, ImportMappingRow.shape.in_(shapes)
        )
    )
    return {shape: content for shape, content in rows}  # noqa: C416


def keep_mapping(
    unit: Unit, clinic_id: int, *, shape: str, name: str, content: str, at: datetime, by: str
) -> None:
    """Keep a mapping for files of a shape, in place of the one before."""
    row = unit.scalars(
        select(ImportMappingRow).where(
            ImportMappingRow.clinic_id == clinic_id, ImportMappingRow.shape == shape
        )
    ).one_or_none()
    if row is None:
        row = ImportMappingRow(clinic_id=clinic_id, shape=shape)
        unit.add(row)
    row.name, row.content, row.saved_at, row.saved_by = name, content, at, by
