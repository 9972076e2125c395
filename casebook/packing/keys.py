"""Keys and links of a package's rows, while they pass."""

from __future__ import annotations

from collections import defaultdict
from typing import Final, NoReturn

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from casebook.domain.errors import InputRefused, Problem
from casebook.domain.packages import Link, Package, Table
from casebook.packing.rows import FIRST_ROW

# The unit separator stands in no text that may leave, so that two keys never join alike.
BETWEEN: Final = "\x1f"
ODD: Final = np.uint64(0x9E3779B97F4A7C15)  # 2^64 over the golden ratio: spreads the bits


class KeyBook:
    """What was given so far, as far as later rows are held to it.

    The keys of a table that others link to are remembered as they are. Of the other tables, of
    which there can be millions of rows, a key is 64 bits: 8 bytes a row, and among 5 million
    rows two different keys share one with a probability below 1e-6.
    """

    def __init__(self, package: Package) -> None:
        self._known: dict[str, set[str]] = {
            link.table: set() for table in package.tables for link in table.links
        }
        self._hashes: dict[str, list[NDArray[np.uint64]]] = defaultdict(list)

    def take(self, table: Table, rows: pa.Table, *, before: int) -> None:
        """Remember the keys of some rows and resolve their links.

        Raises
        ------
        InputRefused
            For a key that stands twice, or a link to a row that was not given before.
        """
        if table.name in self._known:
            self._remember(table, rows, before)
        elif table.key:
            self._hashes[table.name].append(_hashed(rows, table.key))
        for link in table.links:
            self._resolve(table, link, rows, before)

    def finish(self) -> None:
        """Look for keys that stand twice in the tables that nothing links to.

        Raises
        ------
        InputRefused
            Names the table and the rows.
        """
        for name, parts in self._hashes.items():
            ordered = np.concatenate(parts)
            ordered.sort()
            twice = ordered[1:][ordered[1:] == ordered[:-1]]
            if twice.size:
                first, second = np.flatnonzero(np.concatenate(parts) == twice[0])[:2] + FIRST_ROW
                _refuse(
                    "key_twice", name, int(second), "", "",
                    f"Its key stands already in row {first}.",
                )  # fmt: skip
            parts.clear()

    def _remember(self, table: Table, rows: pa.Table, before: int) -> None:
        known = self._known[table.name]
        for at, key in enumerate(_joined(rows, table.key).to_pylist()):
            if key in known:
                said = key.replace(BETWEEN, ", ")
                _refuse(
                    "key_twice", table.name, before + at + FIRST_ROW, ", ".join(table.key), said,
                    f"The key '{said}' stands already in a row before.",
                )  # fmt: skip
            known.add(key)

    def _resolve(self, table: Table, link: Link, rows: pa.Table, before: int) -> None:
        columns = ", ".join(link.fields)
        given = [pc.is_valid(rows[name]) for name in link.fields]
        some, every = given[0], given[0]
        for one in given[1:]:
            some, every = pc.or_(some, one), pc.and_(every, one)
        partly = pc.index(pc.xor(some, every), True).as_py()
        if partly >= 0:
            _refuse(
                "link_in_part", table.name, before + partly + FIRST_ROW, columns, "",
                f"A link to '{link.table}' fills all of its fields or none.",
            )  # fmt: skip
        keys = _joined(rows, link.fields)
        known = self._known[link.table]
        for key in pc.unique(keys).to_pylist():
            if key is not None and key not in known:
                at = pc.index(keys, key).as_py()
                said = key.replace(BETWEEN, ", ")
                _refuse(
                    "link_to_nothing", table.name, before + at + FIRST_ROW, columns, said,
                    f"No row of '{link.table}' with the key '{said}' was given before it.",
                )  # fmt: skip


def _joined(rows: pa.Table, names: tuple[str, ...]) -> pa.ChunkedArray:
    """The fields of a key as one text; missing where one of them is."""
    texts = [pc.cast(rows[name], pa.string()) for name in names]
    if len(texts) == 1:
        return texts[0]
    return pc.binary_join_element_wise(*texts, BETWEEN)


def _hashed(rows: pa.Table, names: tuple[str, ...]) -> NDArray[np.uint64]:
    total = np.zeros(rows.num_rows, dtype=np.uint64)
    for name in names:
        coded = rows[name].combine_chunks().dictionary_encode()
        words = np.array(pc.cast(coded.dictionary, pa.string()).to_pylist(), dtype=object)
        one = pd.util.hash_array(words, categorize=False)
        codes = coded.indices.to_numpy(zero_copy_only=False)
        total = (total ^ one[codes]) * ODD
    return total


def _refuse(code: str, table: str, row: int, column: str, value: str, message: str) -> NoReturn:
    problem = Problem(code=code, message=message, file=table, row=row, column=column, value=value)
    raise InputRefused((problem,))
