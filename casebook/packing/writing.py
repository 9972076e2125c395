"""A whole package into a folder: all of it or nothing, and the same bytes each time."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import pandas as pd

from casebook.domain.errors import refuse
from casebook.domain.packages import ALL_FORMATS, FileFormat, Manifest, Package, PackedFile
from casebook.packing.describing import data_package, file_of
from casebook.packing.folder import FolderInTheMaking, check_place, disk_trouble
from casebook.packing.keys import KeyBook
from casebook.packing.rows import rows_of, schema_of
from casebook.packing.table_files import TableFiles
from casebook.packing.wording import dictionary
from casebook.packing.workbook import write_workbook

__all__ = ["PackageWriter", "Packed", "check_place"]

WORKBOOK: Final = "tables.xlsx"
DESCRIPTION: Final = "datapackage.json"
DICTIONARY: Final = "dictionary.md"
MANIFEST: Final = "manifest.json"
OWN: Final = frozenset({WORKBOOK, DESCRIPTION, DICTIONARY, MANIFEST})
TEXT_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}\.(txt|md|json)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """A package that stands in its place."""

    folder: Path
    manifest: Manifest


class PackageWriter:
    """Writes a package while its rows come; used with `with`.

    Parameters
    ----------
    folder : Path
        Where; it is not there yet, or empty.
    package : Package
        What every row is held to.
    formats : collection of FileFormat
        CSV is always among them, for it is what the package describes.

    Raises
    ------
    Conflict
        Where something stands in the place.
    InputRefused
        For formats without CSV.
    StoreUnavailable
        Where the place cannot be written.
    """

    def __init__(
        self, folder: Path, package: Package, formats: Iterable[FileFormat] = ALL_FORMATS
    ) -> None:
        self.package = package
        self.formats = frozenset(formats)
        if FileFormat.CSV not in self.formats:
            raise refuse(
                "csv_left_out",
                "A package describes its CSV files, so CSV cannot be left out; "
                f"given: {', '.join(sorted(self.formats)) or 'none'}.",
            )
        self._place = FolderInTheMaking(folder)
        self._keys = KeyBook(package)
        self._tables: dict[str, TableFiles] = {}
        self._packed = False
        try:
            self._open()
        except BaseException:
            self._give_up()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if not self._packed:
            self._give_up()

    def add(self, table: str, frame: pd.DataFrame) -> None:
        """Take more rows of a table, in their order.

        Raises
        ------
        InputRefused
            For an unknown table, and for what contradicts the description: columns, types,
            values, a key that stands twice, a link to a row that was not given before. Names
            the table, the row, the column and the value.
        StoreUnavailable
            Where the disk refuses.
        """
        described = self.package.table(table)
        files = self._tables[table]
        rows = rows_of(described, frame, before=files.rows)
        self._keys.take(described, rows, before=files.rows)
        with disk_trouble(self._place.folder):
            files.add(rows)

    def finish(
        self,
        *,
        texts: Mapping[str, str] | None = None,
        extra: Mapping[str, Any] | None = None,
        before_naming: Callable[[Manifest], None] | None = None,
    ) -> Packed:
        """Write the rest and give the folder its name.

        Parameters
        ----------
        texts : mapping of str to str
            Further files by name ("README.txt").
        extra : mapping of str to what JSON holds
            Goes into the manifest.
        before_naming : callable or None
            Told the manifest when all is written and nothing stands in the folder yet; when it
            raises, nothing will.

        Raises
        ------
        InputRefused
            For a key that stands twice, a name that no text can have, or `extra` that is no JSON.
        Conflict, StoreUnavailable
            Where something came to stand in the place meanwhile, or the disk refuses.
        """
        texts = dict(texts or {})
        for name in texts:
            if not TEXT_NAME.fullmatch(name) or name in OWN:
                raise refuse(
                    "bad_file_name",
                    f"'{name}' cannot be a text of the package: letters, digits, '_' and '-', "
                    f"ending in .txt, .md or .json, and none of {', '.join(sorted(OWN))}.",
                    value=name,
                )
        self._keys.finish()
        with disk_trouble(self._place.folder):
            files = self._write_tables()
            described = data_package(self.package, self.formats, files)
            words = {
                DESCRIPTION: json.dumps(described, indent=2, ensure_ascii=False) + "\n",
                DICTIONARY: dictionary(self.package, self.formats),
            } | texts
            for name, text in words.items():
                (self._place.path / name).write_bytes(text.encode("utf-8"))
                files[name] = self._measured(name)
            manifest = Manifest(
                name=self.package.name,
                files=tuple(files[name] for name in sorted(files)),
                extra=dict(extra or {}),
            )
            (self._place.path / MANIFEST).write_bytes(manifest.written())
        if before_naming is not None:
            before_naming(manifest)
        self._place.give_name()
        self._packed = True
        return Packed(folder=self._place.folder, manifest=manifest)

    def _open(self) -> None:
        with disk_trouble(self._place.folder):
            (self._place.path / "data").mkdir()
            for table in self.package.tables:
                self._tables[table.name] = TableFiles(
                    schema_of(table),
                    csv=self._place.path / file_of(table, FileFormat.CSV),
                    # The workbook is made from it, so it is there for a while in any case.
                    parquet=self._place.path / file_of(table, FileFormat.PARQUET)
                    if self.formats != {FileFormat.CSV}
                    else None,
                )

    def _write_tables(self) -> dict[str, PackedFile]:
        rows = {}
        for name, written in self._tables.items():
            written.close()
            rows[name] = written.rows
        parquet = {
            table.name: self._place.path / file_of(table, FileFormat.PARQUET)
            for table in self.package.tables
        }
        files = {}
        if FileFormat.XLSX in self.formats:
            total = write_workbook(self._place.path / WORKBOOK, self.package, parquet)
            files[WORKBOOK] = self._measured(WORKBOOK, total)
        if FileFormat.PARQUET not in self.formats:
            for path in parquet.values():
                path.unlink(missing_ok=True)
        for table in self.package.tables:
            for form in self.formats - {FileFormat.XLSX}:
                name = file_of(table, form)
                files[name] = self._measured(name, rows[table.name])
        return files

    def _measured(self, name: str, rows: int | None = None) -> PackedFile:
        path = self._place.path / name
        with path.open("rb") as opened:
            sha256 = hashlib.file_digest(opened, "sha256").hexdigest()
        return PackedFile(
            name=name,
            format=name.rpartition(".")[2],
            sha256=sha256,
            bytes=path.stat().st_size,
            rows=rows,
        )

    def _give_up(self) -> None:
        for table in self._tables.values():
            # A full disk refuses the ends of the files, too; they go in any case.
            with suppress(OSError):
                table.abandon()
        self._place.remove()
