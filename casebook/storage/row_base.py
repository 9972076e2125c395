"""What every row class has in common: naming, instants, enumerations, bounds.

House rules: every foreign key is RESTRICT (an Alembic batch migration on SQLite would
otherwise delete children in silence); enumerations are short text with a CHECK on their
values; instants are aware UTC; numbers that must be finite are held within bounds, which
also keeps NaN and infinity out on PostgreSQL.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from enum import StrEnum

from sqlalchemy import Date, DateTime, Dialect, Enum, MetaData, TypeDecorator
from sqlalchemy.orm import DeclarativeBase

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class UtcDateTime(TypeDecorator[datetime]):
    """Aware UTC instants in and out, on databases with and without time zones."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant without a time zone cannot be stored")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        del dialect
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def coded(kind: type[StrEnum], name: str) -> Enum:
    """A column of one of an enumeration's values, checked by the database."""
    return Enum(
        kind,
        name=name,
        native_enum=False,
        create_constraint=True,
        length=40,
        values_callable=lambda members: [member.value for member in members],
    )


def within(column: str, low: float, high: float) -> str:
    """SQL for 'low <= column <= high'; NaN and infinity fail it."""
    return f"{column} BETWEEN {low:.0f} AND {high:.0f}"


class Row(DeclarativeBase):
    """Base of all row classes."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {datetime: UtcDateTime(), date: Date()}
