"""A package of tables as it leaves the building: what is described before a row is written.

The description is the promise (`casebook/packing` holds every row to it), and the same value
becomes `datapackage.json`, the dictionary in words and the sheets' headings.

Text leaves in closed lists only: a field of text names its allowed values, or the pattern that
each value matches whole (a pseudonym). So no name and no live formula can travel in one.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final, NoReturn

from casebook.domain.errors import refuse

# A spreadsheet may take a text that starts so for a formula; the wide forms are typed in Japan.
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
NAME = re.compile(r"[a-z][a-z0-9_]{0,27}")
PACKAGE_NAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,59}")


class FieldType(StrEnum):
    """What a field holds, as Table Schema names it."""

    STRING = "string"
    INTEGER = "integer"
    NUMBER = "number"
    BOOLEAN = "boolean"


class FileFormat(StrEnum):
    """A format that tables are written in; the value is the file's ending."""

    CSV = "csv"
    PARQUET = "parquet"
    XLSX = "xlsx"


ALL_FORMATS: Final = frozenset(FileFormat)


def is_formula(text: str) -> bool:
    """Whether a spreadsheet could take a text for a formula.

    >>> is_formula("=1+1"), is_formula("R-0042")
    (True, False)
    """
    return text.startswith(FORMULA_STARTS)


def unfit_text(text: str) -> str:
    """Why a text may not stand in a cell; empty where it may.

    >>> unfit_text("@home")
    'a spreadsheet could take it for a formula'
    >>> unfit_text("left")
    ''
    """
    if not text:
        return "it is empty, which means missing"
    if is_formula(text):
        return "a spreadsheet could take it for a formula"
    if text != text.strip() or not text.isprintable():
        return "it has spaces at an end or signs that cannot be seen"
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A column of a table.

    Parameters
    ----------
    name : str
        Lower case, digits and '_', at most 28 signs; the heading in every format.
    type : FieldType
    words : str
        What it says, for the dictionary; one sentence.
    unit : str
        UCUM code of a number; empty where it has none or another column tells it.
    allowed : tuple of str
        The closed list of a text's values, in their natural order.
    pattern : str
        Regular expression that each value of a text matches whole, instead of `allowed`. The
        readers of a package anchor it in ways of their own, so '^' and '$' are not taken.
    low, high : float or None
        A number's least and largest value, both included; None for no limit.
    required : bool
        True where it is never missing. The fields of a table's key always are.

    Raises
    ------
    InputRefused
        For a description that contradicts itself.
    """

    name: str
    type: FieldType
    words: str
    unit: str = ""
    allowed: tuple[str, ...] = ()
    pattern: str = ""
    low: float | None = None
    high: float | None = None
    required: bool = False

    def __post_init__(self) -> None:
        _named(NAME, self.name, "field")
        if not self.words.strip():
            _contradicts(self.name, "it has no words for the dictionary")
        if self.type is FieldType.STRING:
            self._check_text()
        elif self.allowed or self.pattern:
            _contradicts(self.name, "a list or a pattern of values is for text")
        self._check_number()

    def _check_text(self) -> None:
        if bool(self.allowed) == bool(self.pattern):
            _contradicts(self.name, "a text needs the list of its values or their pattern")
        if twice := _twice(self.allowed):
            _contradicts(self.name, f"'{twice}' is allowed twice")
        for text in self.allowed:
            if why := unfit_text(text):
                _contradicts(self.name, f"'{text}' cannot be allowed: {why}")
        if self.pattern:
            if set("^$") & set(self.pattern):
                _contradicts(self.name, "its pattern has '^' or '$'")
            try:
                re.compile(self.pattern)
            except re.error as error:
                _contradicts(self.name, f"its pattern cannot be read ({error})")

    def _check_number(self) -> None:
        numeric = self.type in {FieldType.INTEGER, FieldType.NUMBER}
        if not numeric and (self.unit or self.low is not None or self.high is not None):
            _contradicts(self.name, "a unit and limits are for numbers")
        if self.low is not None and self.high is not None and self.low > self.high:
            _contradicts(self.name, f"its least value {self.low} is above {self.high}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Fields of a table that name a row of another by the fields of its key.

    A row either fills all of the fields, and then that row stands in the package, or none.
    """

    fields: tuple[str, ...]
    table: str
    its_fields: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A tidy table: what a row is, its columns, what names a row and which rows it names.

    Parameters
    ----------
    name : str
        Lower case, digits and '_', at most 28 signs.
    words : str
        What one row is, for the dictionary.
    fields : tuple of Field
        In the order of the columns.
    key : tuple of str
        The fields that together name a row; empty where nothing does.
    links : tuple of Link

    Raises
    ------
    InputRefused
        For a key or a link that names no field, for a name that stands twice, and where no
        field is always there.
    """

    name: str
    words: str
    fields: tuple[Field, ...]
    key: tuple[str, ...] = ()
    links: tuple[Link, ...] = ()

    def __post_init__(self) -> None:
        _named(NAME, self.name, "table")
        if not self.fields or not self.words.strip():
            _contradicts(self.name, "it has no fields, or no words for the dictionary")
        if not any(map(self.is_required, self.fields)):
            _contradicts(self.name, "no field is always there, so a row could be a blank line")
        if twice := _twice(self.names):
            _contradicts(self.name, f"the field '{twice}' stands in it twice")
        for name in (*self.key, *(name for link in self.links for name in link.fields)):
            if name not in self.names:
                _contradicts(self.name, f"its key or a link names '{name}', which is no field")

    @property
    def names(self) -> tuple[str, ...]:
        """The columns, in their order."""
        return tuple(field.name for field in self.fields)

    def field(self, name: str) -> Field:
        """The field of a name that stands in the table."""
        return self.fields[self.names.index(name)]

    def is_required(self, field: Field) -> bool:
        """Whether a field is never missing, for its own sake or as part of the key."""
        return field.required or field.name in self.key


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """Tables that leave together.

    Parameters
    ----------
    name : str
        Lower case, digits, '.', '_' and '-'.
    title, words : str
        For people.
    tables : tuple of Table
        A table stands after those that it links to.
    licence : str
        In words; empty where nothing is said of it.

    Raises
    ------
    InputRefused
        For a link that leads to no key of a table before it, and for a name that stands twice.
    """

    name: str
    title: str
    words: str
    tables: tuple[Table, ...]
    licence: str = ""

    def __post_init__(self) -> None:
        _named(PACKAGE_NAME, self.name, "package")
        if not self.tables:
            _contradicts(self.name, "it has no tables")
        if twice := _twice(table.name for table in self.tables):
            _contradicts(self.name, f"the table '{twice}' stands in it twice")
        before: dict[str, Table] = {}
        for table in self.tables:
            before[table.name] = table
            for link in table.links:
                self._check_link(table, link, before.get(link.table))

    def _check_link(self, table: Table, link: Link, target: Table | None) -> None:
        if target is None:
            _contradicts(table.name, f"a link leads to '{link.table}', which is no table before it")
        if link.its_fields != target.key or len(link.fields) != len(target.key):
            _contradicts(
                table.name,
                f"a link to '{link.table}' names {link.its_fields}, whose key is {target.key}",
            )
        for own, its in zip(link.fields, link.its_fields, strict=True):
            if table.field(own).type is not target.field(its).type:
                _contradicts(table.name, f"'{own}' and '{its}' of '{link.table}' differ in type")

    def table(self, name: str) -> Table:
        """A table by its name.

        Raises
        ------
        InputRefused
            Where the package has no such table.
        """
        for table in self.tables:
            if table.name == name:
                return table
        known = ", ".join(table.name for table in self.tables)
        raise refuse(
            "unknown_table", f"The package has no table '{name}'; it has: {known}.", value=name
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PackedFile:
    """A file as it was written.

    Parameters
    ----------
    name : str
        Its place in the package, with '/' ("data/visits.csv").
    format : str
        Its ending ("csv", "parquet", "xlsx", "json", "md", "txt").
    sha256 : str
        In hexadecimal digits.
    bytes : int
    rows : int or None
        Rows of its tables, headings not counted; None for a file that is no table.
    """

    name: str
    format: str
    sha256: str
    bytes: int
    rows: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """Every file of a package but the manifest itself, by name, and what the export says of itself.

    Parameters
    ----------
    name : str
        Of the package.
    files : tuple of PackedFile
        In the order of their names.
    extra : mapping of str to what JSON holds
        Settings, what was withheld, the key's fingerprint: whatever is the same each time.
    """

    name: str
    files: tuple[PackedFile, ...]
    extra: Mapping[str, Any] = field(default_factory=dict)

    def written(self) -> bytes:
        """The content of `manifest.json`: names sorted, UTF-8, nothing that differs each time."""
        return canonical_json(
            {
                "name": self.name,
                "files": [
                    {
                        "path": file.name,
                        "format": file.format,
                        "sha256": file.sha256,
                        "bytes": file.bytes,
                        "rows": file.rows,
                    }
                    for file in self.files
                ],
                "extra": self.extra,
            }
        )

    @property
    def sha256(self) -> str:
        """Checksum of `manifest.json`, which stands for the whole package."""
        return hashlib.sha256(self.written()).hexdigest()


def canonical_json(value: object) -> bytes:
    r"""A value as JSON that is the same each time: names sorted, UTF-8, a line feed at the end.

    Raises
    ------
    InputRefused
        For what JSON does not hold, a number that is none among it.

    >>> canonical_json({"b": 1, "a": "é"}).decode()
    '{\n "a": "é",\n "b": 1\n}\n'
    """
    try:
        text = json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise refuse(
            "not_json",
            f"What is said about a package must be text, whole or finite numbers, lists and names "
            f"({error}).",
        ) from error
    return text.encode("utf-8") + b"\n"


def _named(pattern: re.Pattern[str], name: str, what: str) -> None:
    if not pattern.fullmatch(name):
        raise refuse(
            "bad_name",
            f"'{name}' cannot be the name of a {what}: small letters, digits and '_', beginning "
            "with a letter.",
            value=name,
        )


def _contradicts(name: str, why: str) -> NoReturn:
    raise refuse("description_contradicts", f"The description of '{name}' fails: {why}.")


def _twice(names: Iterable[str]) -> str:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            return name
        seen.add(name)
    return ""
