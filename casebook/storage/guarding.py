"""Do the triggers stand by which the database refuses to change the history and hypotheses?"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, text


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """Tables that are only ever added to, and what their triggers say.

    Parameters
    ----------
    named : tuple of (str, str)
        Each table with what its triggers' names begin with.
    """

    named: tuple[tuple[str, str], ...]
    function: str
    refusal: str

    def sqlite(self, table: str, prefix: str) -> dict[str, str]:
        """The triggers of a table as the migration made them, by name."""
        return {
            f"{prefix}_{name}": f"CREATE TRIGGER {prefix}_{name} BEFORE {act} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{self.refusal}'); END"
            for name, act in (("stands", "UPDATE"), ("stays", "DELETE"))
        }

    @property
    def body(self) -> str:
        """The function's text on a server."""
        return f"BEGIN RAISE EXCEPTION '{self.refusal}'; END"


GUARDS = (
    Guard(
        named=(("history", "history"),),
        function="casebook_history_stands",
        refusal="the history of a casebook is only ever added to",
    ),
    Guard(
        named=(("hypothesis", "hypothesis"), ("hypothesis_link", "hypothesis_link")),
        function="casebook_hypothesis_stands",
        refusal="a working hypothesis is only ever added to",
    ),
)
# Each row before it is updated or deleted (1 + 2 + 8 + 16 in pg_trigger.tgtype), and the whole
# before it is truncated (2 + 32).
POSTGRESQL = {"stands": 27, "stays": 34}


def guards_answer(connection: Connection) -> tuple[bool, str]:
    """Whether the history is guarded, and what is wrong with its guards."""
    find = _wrong_on_sqlite if connection.dialect.name == "sqlite" else _wrong_on_postgresql
    wrong = [
        words
        for guard in GUARDS
        for table, prefix in guard.named
        for words in find(connection, guard, table, prefix)
    ]
    if wrong:
        return False, "; ".join(wrong)
    return True, "the database refuses to change or remove an entry"


def _wrong_on_sqlite(connection: Connection, guard: Guard, table: str, prefix: str) -> list[str]:
    rows = connection.execute(
        text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :table"),
        {"table": table},
    )
    stand = {name: " ".join(str(sql).split()) for name, sql in rows}
    made = guard.sqlite(table, prefix)
    # A trigger more or less, or another text, is wrong.
    return [
        *(f"trigger {name} is missing" for name in made if name not in stand),
        *(
            f"trigger {name} is not as it was made"
            for name, sql in made.items()
            if stand.get(name, sql) != sql
        ),
        *(f"trigger {name} is not this program's" for name in stand if name not in made),
    ]


def _wrong_on_postgresql(
    connection: Connection, guard: Guard, table: str, prefix: str
) -> list[str]:
    rows = connection.execute(
        text(
            """SELECT t.tgname, t.tgtype, t.tgenabled,
                t.tgqual IS NULL AND t.tgattr = ''::int2vector, f.proname, f.prosrc
            FROM pg_trigger t JOIN pg_proc f ON f.oid = t.tgfoid
            WHERE t.tgrelid = to_regclass(:table) AND NOT t.tgisinternal"""
        ),
        {"table": table},
    ).all()
    made = {f"{prefix}_{name}": kind for name, kind in POSTGRESQL.items()}
    wrong = [f"trigger {name} is missing" for name in made if name not in {r[0] for r in rows}]
    for name, kind, enabled, plain, function, source in rows:
        if name not in made:
            wrong.append(f"trigger {name} is not this program's")
            continue
        if _letter(enabled) not in {"O", "A"}:
            wrong.append(f"trigger {name} is switched off")
        if not plain or kind != made[name] or function != guard.function:
            wrong.append(f"trigger {name} is not as it was made")
        if " ".join(str(source).split()) != guard.body:
            wrong.append(f"the function of trigger {name} is not as it was made")
    return wrong


def _letter(flag: str | bytes) -> str:
    return flag.decode() if isinstance(flag, bytes) else flag
