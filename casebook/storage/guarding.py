"""Do the triggers stand by which the database itself refuses to change the history?"""

from __future__ import annotations

from sqlalchemy import Connection, text

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
        text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'history'")
    )
    stand = {name: " ".join(str(sql).split()) for name, sql in rows}
    return [
        *(f"trigger {name} is missing" for name in SQLITE if name not in stand),
        *(
            f"trigger {name} is not as it was made"
            for name, sql in SQLITE.items()
            if stand.get(name, sql) != sql
        ),
        *(f"trigger {name} is not this program's" for name in stand if name not in SQLITE),
    ]


def _wrong_on_postgresql(connection: Connection) -> list[str]:
    rows = connection.execute(
        text(
            """SELECT t.tgname, t.tgtype, t.tgenabled,
                t.tgqual IS NULL AND t.tgattr = ''::int2vector, f.proname, f.prosrc
            FROM pg_trigger t JOIN pg_proc f ON f.oid = t.tgfoid
            WHERE t.tgrelid = 'history'::regclass AND NOT t.tgisinternal"""
        )
    ).all()
    wrong = [
        f"trigger {name} is missing" for name in POSTGRESQL if name not in {r[0] for r in rows}
    ]
    for name, kind, enabled, plain, function, source in rows:
        if name not in POSTGRESQL:
            wrong.append(f"trigger {name} is not this program's")
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
