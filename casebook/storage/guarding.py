"""Do the triggers stand that keep history, hypotheses and exports from changes, and no other?"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, text


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """Tables that are only ever added to, and what their triggers say.

    Parameters
    ----------
    tables : tuple of str
        Their triggers' names begin with the table's.
    """

    tables: tuple[str, ...]
    function: str
    refusal: str

    def sqlite(self) -> dict[str, str]:
        """The triggers as the migration made them, by name."""
        return {
            f"{table}_{name}": f"CREATE TRIGGER {table}_{name} BEFORE {act} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{self.refusal}'); END"
            for table in self.tables
            for name, act in (("stands", "UPDATE"), ("stays", "DELETE"))
        }

    @property
    def body(self) -> str:
        """The function's text on a server."""
        return f"BEGIN RAISE EXCEPTION '{self.refusal}'; END"


GUARDS = (
    Guard(
        tables=("history",),
        function="casebook_history_stands",
        refusal="the history of a casebook is only ever added to",
    ),
    Guard(
        tables=("hypothesis", "hypothesis_link"),
        function="casebook_hypothesis_stands",
        refusal="a working hypothesis is only ever added to",
    ),
    Guard(
        tables=("export_run",),
        function="casebook_export_run_stands",
        refusal="the log of exports is only ever added to",
    ),
)
# Each row before it is updated or deleted (1 + 2 + 8 + 16 in pg_trigger.tgtype), and the whole
# before it is truncated (2 + 32).
POSTGRESQL = {"stands": 27, "stays": 34}


def guards_answer(connection: Connection) -> tuple[bool, str]:
    """Whether the history is guarded, and what is wrong with its guards."""
    wrong = (
        _wrong_on_sqlite(connection)
        if connection.dialect.name == "sqlite"
        else _wrong_on_postgresql(connection)
    )
    if wrong:
        return False, "; ".join(wrong)
    return True, "the database refuses to change or remove an entry"


def _wrong_on_sqlite(connection: Connection) -> list[str]:
    rows = connection.execute(
        text("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
    ).all()
    stand = {name: " ".join(str(sql).split()) for name, _, sql in rows}
    made = {name: sql for guard in GUARDS for name, sql in guard.sqlite().items()}
    return [
        *(f"trigger {name} is missing" for name in made if name not in stand),
        *(
            f"trigger {name} is not as it was made"
            for name, sql in made.items()
            if stand.get(name, sql) != sql
        ),
        *(_strange(name, table) for name, table, _ in rows if name not in made),
    ]


def _strange(name: str, table: str) -> str:
    """On whatever table: one on values could change what is stored, or write to the history."""
    return f"trigger {name} on the table {table} is not this program's"


def _wrong_on_postgresql(connection: Connection) -> list[str]:
    rows = connection.execute(
        text(
            """SELECT c.relname, t.tgname, t.tgtype, t.tgenabled,
                t.tgqual IS NULL AND t.tgattr = ''::int2vector, f.proname, f.prosrc
            FROM pg_trigger t JOIN pg_proc f ON f.oid = t.tgfoid
            JOIN pg_class c ON c.oid = t.tgrelid
            JOIN pg_class h ON h.oid = 'history'::regclass AND h.relnamespace = c.relnamespace
            WHERE NOT t.tgisinternal ORDER BY c.relname, t.tgname"""
        )
    ).all()
    made = {
        (table, f"{table}_{name}"): (guard, kind)
        for guard in GUARDS
        for table in guard.tables
        for name, kind in POSTGRESQL.items()
    }
    stand = {(table, name) for table, name, *_ in rows}
    wrong = [f"trigger {place[1]} is missing" for place in made if place not in stand]
    for table, name, kind, enabled, plain, function, source in rows:
        if (table, name) not in made:
            wrong.append(_strange(name, table))
            continue
        guard, expected = made[table, name]
        if _letter(enabled) not in {"O", "A"}:
            wrong.append(f"trigger {name} is switched off")
        if not plain or kind != expected or function != guard.function:
            wrong.append(f"trigger {name} is not as it was made")
        if " ".join(str(source).split()) != guard.body:
            wrong.append(f"the function of trigger {name} is not as it was made")
    return wrong


def _letter(flag: str | bytes) -> str:
    return flag.decode() if isinstance(flag, bytes) else flag
