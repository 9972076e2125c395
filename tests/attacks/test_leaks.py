"""Nothing that somebody typed, and nothing that names anybody, stands in any byte of an export.

Every text column of every table is read from the tables' own metadata and filled with a mark of
its own that would be a live formula in a spreadsheet, so that a column that is added tomorrow is
searched for, too.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from itertools import count
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow.parquet as pq
import pytest
from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    DateTime,
    Enum,
    Float,
    Integer,
    String,
    Table,
    func,
    insert,
    select,
    text,
    update,
)
from sqlalchemy.orm import Session

from casebook.domain.exporting import ExportSettings
from casebook.domain.people import Purpose
from casebook.services.exporting_audit import export_audit
from casebook.services.exporting_keys import fresh_key
from casebook.services.keeping import Casebook, open_casebook
from casebook.storage.session import writing
from casebook.storage.tables import MetricRow, Row, UtcDateTime, ValueRow
from tests.exportable import AT, SINCE, UNTIL, add_cohort

AS_OF = UNTIL + timedelta(days=7)
MARK = re.compile(rb"(?i)zq\d{5}x")
# What a workbook and a packed file say of their making, whenever it was.
FIXED_DAY = b"1980-01-01"
DAY = re.compile(rb"(?:19|20)\d\d-[01]\d-[0-3]\d")
# Columns that cannot hold a mark, and why; what they do hold is looked for all the same.
UNMARKED = {
    ("metric", "key"): "the starter's keys leave on purpose",
    ("metric", "sensitive_to"): "a closed list",
    ("history", "hash"): "seals the entry",
    ("history", "previous"): "seals the entry",
    ("clinic", "export_secret"): "hexadecimal digits",
    ("attachment", "kind"): "a closed list",
    ("import_run", "undo_reason"): "only of an import that was undone",
    ("hypothesis", "reason"): "only of a later version",
}
GIVEN: dict[tuple[str, str], Any] = {
    ("attachment", "kind"): "png",
    ("attachment", "sha256"): "0" * 64,
    # The log of exports is read when the next one is made.
    ("export_run", "files"): {"a": "a"},
    ("export_run", "n_rows"): {"a": "a"},
    ("export_run", "risk"): {"a": "a"},
    ("export_run", "key_fingerprint"): "0" * 64,
    ("hypothesis", "reason"): "",
    ("hypothesis", "sureness_pct"): 50,
    ("hypothesis_link", "role"): "still",
    ("import_run", "undo_reason"): "",
    ("visit_save", "revision"): 2,
}


def _mark(number: int, length: int | None) -> str:
    mark = f"=Zq{number:05d}x()"
    return mark.ljust(64, "0") if length == 64 else mark


def _a_row(session: Session, table: Table) -> dict[str, Any]:
    """A row for a table that has none, made from what its columns ask for."""
    return {
        column.name: _content(session, table, column)
        for column in table.columns
        if (table.name, column.name) in GIVEN
        or (not column.nullable and column.server_default is None and not _counted(column))
    }


def _counted(column: Column[Any]) -> bool:
    return (
        bool(column.primary_key) and not column.foreign_keys and column.autoincrement is not False
    )


def _content(session: Session, table: Table, column: Column[Any]) -> Any:
    given = GIVEN.get((table.name, column.name))
    if given is not None:
        return given
    for key in column.foreign_keys:
        return session.scalar(select(func.min(key.column)))
    kind = column.type
    if isinstance(kind, Enum):
        return next(iter(kind.enum_class))  # type: ignore[arg-type]
    plain: dict[type, Any] = {
        Boolean: True, Integer: 1, Float: 1.0, Date: SINCE, JSON: ["a"], String: "a",
        UtcDateTime: AT, DateTime: AT,
    }  # fmt: skip
    return next(content for known, content in plain.items() if isinstance(kind, known))


def _texts(table: Table) -> Iterator[Column[Any]]:
    for column in table.columns:
        if isinstance(column.type, String | JSON) and not isinstance(column.type, Enum):
            yield column


def _marked(number: count[int], column: Column[Any], content: Any) -> Any:
    if isinstance(column.type, JSON):
        marks = [_mark(next(number), None) for _ in range(max(2, len(content)))]
        return marks if isinstance(content, list) else dict(zip(marks, marks, strict=True))
    length = column.type.length if isinstance(column.type, String) else None
    return _mark(next(number), length)


def _mark_everything(casebook: Casebook) -> list[bytes]:
    """A mark into every text of every row; returns what stands in the columns without one."""
    number, others = count(1), []
    with writing(casebook.engine) as unit:
        for name in unit.scalars(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")):
            unit.execute(text(f"DROP TRIGGER {name}"))
        for table in Row.metadata.sorted_tables:
            if unit.scalar(select(func.count()).select_from(table)) == 0:
                unit.execute(insert(table).values(**_a_row(unit, table)))
        for table in Row.metadata.sorted_tables:
            keys = list(table.primary_key.columns)
            for column in _texts(table):
                for *key, content in unit.execute(select(*keys, column)).all():
                    if (table.name, column.name) in UNMARKED:
                        others.append(str(content).encode())
                        continue
                    where = [own == one for own, one in zip(keys, key, strict=True)]
                    fresh = _marked(number, column, content)
                    unit.execute(update(table).where(*where).values({column: fresh}))
        unit.commit()
        # The marks are in: every text of every table, but for those named above.
        for table in Row.metadata.sorted_tables:
            for column in _texts(table):
                marked = MARK.search(str(unit.scalars(select(column)).first()).encode())
                assert bool(marked) != ((table.name, column.name) in UNMARKED), column
    return [one for one in others if len(one) == 64]


def _everything(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Every file as it lies there, and what is packed or squeezed in it."""
    for path in sorted(folder.rglob("*")):
        yield "a file's name", path.name.encode()
        if path.is_dir():
            continue
        content = path.read_bytes()
        yield path.name, content
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(io.BytesIO(content)) as packed:
                for member in packed.infolist():
                    yield f"{path.name}:{member.filename}", packed.read(member)
                    yield f"{path.name}: told of {member.filename}", repr(member).encode()
        if path.suffix == ".parquet":
            table = pq.read_table(path)
            yield f"{path.name} read", str(table.to_pylist()).encode()
            yield f"{path.name} schema", str(table.schema).encode()


@pytest.fixture(scope="module")
def casebook(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    path = tmp_path_factory.mktemp("marked") / "casebook.sqlite"
    path.write_bytes(sqlite_template.read_bytes())
    opened = open_casebook(str(path))
    add_cohort(opened, 40, metrics=2)
    yield opened
    opened.close()


def test_no_byte_of_any_file_holds_what_was_typed_or_who_or_when(
    casebook: Casebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with writing(casebook.engine) as unit:  # a metric of the clinic's own that was measured
        own = unit.scalars(select(MetricRow).where(MetricRow.sided)).first()
        assert own is not None
        copied = {
            name: getattr(own, name)
            for name in (column.key for column in MetricRow.__mapper__.column_attrs)
            if name != "id"
        }
        mine = MetricRow(**{**copied, "key": "zq99997x", "starter": False})
        unit.add(mine)
        unit.flush()
        unit.execute(
            insert(ValueRow).values(visit_id=1, metric_id=mine.id, side="left", n_trials=1, mean=1)
        )
        unit.commit()
    others = _mark_everything(casebook)
    for name in ("LOGNAME", "USER", "HOSTNAME"):
        monkeypatch.setenv(name, "Zq99999x")
    report = export_audit(
        casebook,
        ExportSettings(purpose=Purpose.AUDIT, as_of=AS_OF, k=4, clinicians=True),
        tmp_path / "Zq99998x",
        key=fresh_key(),
        by="Zq99996x",
    )
    found = list(_everything(report.folder))
    assert len(found) > 60
    for place, content in found:
        assert not MARK.search(content), (place, MARK.findall(content)[:3])
        assert not [one for one in others if one in content], place
        assert set(DAY.findall(content)) <= {AS_OF.isoformat().encode(), FIXED_DAY}, place
    assert report.n_rows["values"] > 100  # and it is not empty


def test_nothing_in_the_workbook_is_a_formula(casebook: Casebook, tmp_path: Path) -> None:
    settings = ExportSettings(purpose=Purpose.AUDIT, as_of=AS_OF, k=4)
    report = export_audit(casebook, settings, tmp_path / "out", key=fresh_key(), by="KM")
    book = openpyxl.load_workbook(report.folder / "tables.xlsx")
    kinds = {
        cell.data_type for sheet in book.worksheets for row in sheet.iter_rows() for cell in row
    }
    book.close()
    assert "f" not in kinds
    assert {"s", "n"} <= kinds
