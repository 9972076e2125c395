"""Do the triggers stand by which the database refuses to change the history, and no other?"""

from __future__ import annotations

from sqlalchemy import Connection, text

HISTORY = "history"
REFUSAL = "the history of a casebook is only ever added to"
# As the migration made them; a trigger more or less, another text or a switched-off one is wrong.
SQLITE = {
    name: f"CREATE TRIGGER {name} BEFORE {act} ON history "
    f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
    for name, act in (("history_stands", "UPDATE"), ("history_stays", "DELETE"))
}
# Each row before it is updated or deleted (1 + 2 + 8 + 16 in pg_trigger.tgtype), and the whole
# before it is truncated (2 + 32).
POSTGRESQL = {"history_stands": 27, "history_stays": 34}
FUNCTION = f"BEGIN RAISE EXCEPTION '{REFUSAL}'; END"


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
    return [
        *(f"trigger {name} is missing" for name in SQLITE if name not in stand),
        *(
            f"trigger {name} is not as it was made"
            for name, sql in SQLITE.items()
            if stand.get(name, sql) != sql
        ),
        *(_strange(name, table) for name, table, _ in rows if name not in SQLITE),
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
    stand = {name for table, name, *_ in rows if table == HISTORY}
    wrong = [f"trigger {name} is missing" for name in POSTGRESQL if name not in stand]
    for table, name, kind, enabled, plain, function, source in rows:
        if table != HISTORY or name not in POSTGRESQL:
            wrong.append(_strange(name, table))
            continue
        if _letter(enabled) not in {"O", "A"}:
            wrong.append(f"trigger {name} is switched off")
        if not plain or kind != POSTGRESQL[name] or function != "casebook_history_stands":
            wrong.append(f"trigger {name} is not as it was made")
        if " ".join(str(source).split()) != FUNCTION:
            wrong.append(f"the function of trigger {name} is not as it was made")
    return wrong


def _letter(flag: str | bytes) -> str:
    return flag.decode() if isinstance(flag, bytes) else flag
