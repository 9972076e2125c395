"""What a database refuses, said in the casebook's own words. One place, both databases.

SQLite names CHECK constraints but not UNIQUE ones (it lists their columns); PostgreSQL names
both. Both therefore come down to a table and, for a CHECK, the rule's name.
"""

from __future__ import annotations

import errno
import re
import sqlite3

from psycopg import Error as PostgresError
from sqlalchemy import CheckConstraint, Enum, Table
from sqlalchemy.exc import DBAPIError, SQLAlchemyError, StatementError

from casebook.domain.errors import CasebookError, Conflict, InputRefused, Problem, StoreUnavailable
from casebook.storage.tables import Row

NOTHING_STORED = "Nothing was stored."

# What a row's natural key says in words, for the sentence on a second one.
NATURAL_KEYS = {
    "clinic": "a clinic with this code",
    "clinic_user": "a user with this code",
    "runner": "a runner with this code",
    "runner_identity": "an identity of this runner",
    "consent": "a consent of this runner to this purpose given on this day",
    "injury": "an injury of this runner with this region, pathology, side and onset",
    "visit": "a visit of this runner on this day and session",
    "visit_save": "this save of the visit",
    "metric": "a metric with this key",
    "error_figure": "an error figure of this origin in force for this metric",
    "value": "a value of this metric and side at this visit",
    "trial": "this trial number of this value",
    "programme": "a programme of this runner with this title and start",
    "programme_block": "a block at this position of the programme",
    "target": "a target on this metric and side in the programme",
    "adherence": "this week of the programme",
    "flag_acknowledgement": "an acknowledgement of this flag",
    "attachment": "this very file at this visit",
    "exercise": "an exercise with this key",
    "hypothesis": "this version of the working hypothesis",
    "hypothesis_link": "a prediction on the same thing in this working hypothesis",
    "run": "this run of the runner on this day",
    "visit_finding": "this finding at this visit",
    "caution_acknowledgement": "an acknowledgement of this caution",
    "pain_acknowledgement": "an acknowledgement of this week's pain",
}

BUSY = (
    "The casebook is being written by somebody else and did not become free in time. "
    f"{NOTHING_STORED} Try again in a moment."
)
FULL = (
    f"The disk that holds the casebook is full. {NOTHING_STORED} The casebook itself is whole. "
    "Free some space and save again."
)
READ_ONLY = (
    "The casebook may not be written here (its file, folder or server is read-only). "
    f"{NOTHING_STORED} Ask for permission to write, or name another place with --db."
)
NOT_A_CASEBOOK = (
    "The file is not a casebook (not an SQLite database), or it is encrypted or damaged. "
    "Name the right file with --db, or make a new one with 'casebook init'."
)
DAMAGED = (
    "The casebook's file is damaged. Do not write to it: keep a copy and restore the last backup."
)
CANNOT_OPEN = (
    "The casebook's file cannot be opened: its folder is missing or may not be entered. "
    "Check the path given with --db."
)
INPUT_OUTPUT = (
    f"The disk that holds the casebook could not be read or written. {NOTHING_STORED} "
    "Check that it is connected, writable and not full."
)
UNREACHABLE = (
    "The database server cannot be reached or refused the connection. Check that it runs, and "
    "the host, port, name and password in the database URL."
)


def refusal(error: SQLAlchemyError) -> CasebookError | SQLAlchemyError:
    """The casebook's own error for a database error; a bug's error comes back as it is."""
    if not isinstance(error, StatementError):
        return _of_the_pool(error)
    cause = error.orig
    if isinstance(cause, CasebookError):
        return cause
    if isinstance(cause, sqlite3.Error):
        return _of_sqlite(cause) or error
    if isinstance(cause, PostgresError):
        return _of_postgresql(cause) or error
    if isinstance(cause, OSError) and cause.errno == errno.ENOSPC:
        return StoreUnavailable(FULL)
    if isinstance(error, DBAPIError) and error.connection_invalidated:
        return StoreUnavailable(UNREACHABLE)
    return error


def _of_the_pool(error: SQLAlchemyError) -> CasebookError | SQLAlchemyError:
    # A pool out of connections is load, not a bug.
    return StoreUnavailable(BUSY) if type(error).__name__ == "TimeoutError" else error


def of_sqlite_code(name: str) -> CasebookError | None:
    """The refusal for an SQLite result code that is no constraint, such as SQLITE_FULL."""
    for prefix, sentence in (
        ("SQLITE_BUSY", BUSY),
        ("SQLITE_LOCKED", BUSY),
        ("SQLITE_FULL", FULL),
        ("SQLITE_READONLY", READ_ONLY),
        ("SQLITE_PERM", READ_ONLY),
        ("SQLITE_NOTADB", NOT_A_CASEBOOK),
        ("SQLITE_CORRUPT", DAMAGED),
        ("SQLITE_CANTOPEN", CANNOT_OPEN),
        ("SQLITE_IOERR", INPUT_OUTPUT),
    ):
        if name.startswith(prefix):
            return StoreUnavailable(sentence)
    return None


def _of_sqlite(cause: sqlite3.Error) -> CasebookError | None:
    name = getattr(cause, "sqlite_errorname", "") or ""
    if not name.startswith("SQLITE_CONSTRAINT"):
        return of_sqlite_code(name)
    text = str(cause)
    after = text.partition("failed: ")[2]
    if name.endswith(("_UNIQUE", "_PRIMARYKEY", "_ROWID")):
        # A unique index that is partial is named as such; the rest lists table.column, ...
        index = re.search(r"index '(\w+)'", text)
        return _duplicate(_table_of_index(index[1]) if index else after.partition(".")[0])
    if name.endswith("_CHECK"):
        return _broken_rule(after)
    if name.endswith("_NOTNULL"):
        table, _, column = after.partition(".")
        return _empty(table, column)
    if name.endswith("_FOREIGNKEY"):
        return _orphan()
    return _other_constraint(text)


def _of_postgresql(cause: PostgresError) -> CasebookError | None:
    state = cause.sqlstate or ""
    diagnosis = cause.diag
    table = diagnosis.table_name or ""
    by_state: dict[str, CasebookError] = {
        "23505": _duplicate(table),
        "23514": _broken_rule(diagnosis.constraint_name or ""),
        "23502": _empty(table, diagnosis.column_name or ""),
        "23503": _orphan(),
        "23001": _orphan(),
        "55P03": StoreUnavailable(BUSY),
        "40001": StoreUnavailable(BUSY),
        "40P01": StoreUnavailable(BUSY),
        "53100": StoreUnavailable(FULL),
        "25006": StoreUnavailable(READ_ONLY),
        "42501": StoreUnavailable(READ_ONLY),
    }
    if state in by_state:
        return by_state[state]
    by_class: dict[str, CasebookError] = {
        "08": StoreUnavailable(UNREACHABLE),
        "28": StoreUnavailable(UNREACHABLE),
        "3D": StoreUnavailable(UNREACHABLE),
        "57": StoreUnavailable(UNREACHABLE),
        "53": StoreUnavailable(BUSY),
        "22": _not_taken(str(cause)),
        "XX": StoreUnavailable(DAMAGED),
    }
    if state:
        return by_class.get(state[:2])
    # Without a state the driver itself refused: a text with NUL, or no connection at all.
    if type(cause).__name__ == "DataError":
        return _not_taken(str(cause))
    return StoreUnavailable(UNREACHABLE) if type(cause).__name__ == "OperationalError" else None


def _table_of_index(name: str) -> str:
    return next(
        (
            table.name
            for table in Row.metadata.sorted_tables
            if any(index.name == name for index in table.indexes)
        ),
        name,
    )


def _duplicate(table: str) -> Conflict:
    what = NATURAL_KEYS.get(table, f"such a row in '{table}'")
    return Conflict(f"There is already {what}. {NOTHING_STORED} Look at the stored one first.")


def rule_text(name: str) -> str:
    """What the database's rule of that name asks: its SQL, or its list of values."""
    for table in Row.metadata.sorted_tables:
        for rule in table.constraints:
            if isinstance(rule, CheckConstraint) and str(rule.name) == name:
                return _listed_values(table, name) or str(rule.sqltext)
    return name


def _listed_values(table: Table, rule: str) -> str:
    for column in table.columns:
        if isinstance(column.type, Enum) and rule == f"ck_{table.name}_{column.type.name}":
            return f"{column.name} is one of {', '.join(column.type.enums)}"
    return ""


def _broken_rule(name: str) -> InputRefused:
    return _refused("rule_broken", f"The store keeps only rows where {rule_text(name)}", name)


def _empty(table: str, column: str) -> InputRefused:
    return _refused("empty", f"'{column}' of a {table} must be given", column)


def _orphan() -> InputRefused:
    return _refused(
        "orphan",
        "Something it refers to is not stored (or something stored still refers to it)",
        "",
    )


def _other_constraint(text: str) -> InputRefused:
    return _refused("constraint", f"A rule of the store does not hold ({text})", "")


def _not_taken(text: str) -> InputRefused:
    return _refused("not_taken", f"The store cannot keep a number or text given ({text})", "")


def _refused(code: str, sentence: str, column: str) -> InputRefused:
    return InputRefused(
        (Problem(code=code, message=f"{sentence}. {NOTHING_STORED}", column=column),)
    )
