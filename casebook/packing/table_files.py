"""Rows into CSV and Parquet as they come, a block at a time."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

# Files are cut by this and not by the frames that came, so that they never depend on those.
ROWS_A_BLOCK: Final = 65_536
# RFC 4180: comma, lines end in CR LF, text in quotes; a missing value is nothing at all.
CSV_FORM: Final = pa_csv.WriteOptions(
    include_header=True, delimiter=",", eol="\r\n", null_string="", quoting_style="needed",
    quoting_header="none", batch_size=8192,
)  # fmt: skip


class TableFiles:
    """The files of one table while they are written.

    Parameters
    ----------
    schema : pyarrow.Schema
    csv, parquet : Path or None
        Where; None leaves a format out.
    """

    def __init__(self, schema: pa.Schema, *, csv: Path | None, parquet: Path | None) -> None:
        self.schema = schema
        self.rows = 0
        self._waiting: list[pa.Table] = []
        self._n_waiting = 0
        self._csv = pa_csv.CSVWriter(csv, schema, write_options=CSV_FORM) if csv else None
        self._parquet = (
            pq.ParquetWriter(parquet, schema, compression="zstd", version="2.6")
            if parquet
            else None
        )

    def add(self, rows: pa.Table) -> None:
        """Take rows; what fills a block is written."""
        self.rows += rows.num_rows
        self._waiting.append(rows)
        self._n_waiting += rows.num_rows
        if self._n_waiting >= ROWS_A_BLOCK:
            waiting = pa.concat_tables(self._waiting)
            whole = self._n_waiting - self._n_waiting % ROWS_A_BLOCK
            for start in range(0, whole, ROWS_A_BLOCK):
                self._write(waiting.slice(start, ROWS_A_BLOCK))
            rest = waiting.slice(whole)
            self._waiting, self._n_waiting = [rest], rest.num_rows

    def close(self) -> None:
        """Write what waits, and the ends of the files."""
        if self._n_waiting:
            self._write(pa.concat_tables(self._waiting))
        self._waiting, self._n_waiting = [], 0
        self.abandon()

    def abandon(self) -> None:
        """Close the files as they are."""
        writers = [one for one in (self._csv, self._parquet) if one is not None]
        self._csv = self._parquet = None
        for writer in writers:
            writer.close()

    def _write(self, block: pa.Table) -> None:
        block = block.combine_chunks()
        if self._csv is not None:
            self._csv.write_table(block)
        if self._parquet is not None:
            self._parquet.write_table(block, row_group_size=ROWS_A_BLOCK)
