"""Is the store whole? Questions put to the database itself, each with its answer in words."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from sqlalchemy import Connection
from sqlalchemy.exc import DatabaseError

from casebook.storage import agreeing, guarding, migrating
from casebook.storage.refusals import refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """The answer to one question."""

    name: str
    ok: bool
    detail: str


# Sums are compared with a tolerance of 1e-9 of the mean's size, so that the order of adding does
# not count; that is far below any reading's resolution.
# name, SQL that counts what is wrong, what is counted in words.
COUNTS: tuple[tuple[str, str, str], ...] = (
    (
        "one_clinic",
        "SELECT abs(count(*) - 1) FROM clinic",
        "clinics more or fewer than the one whose casebook it is",
    ),
    (
        "runners_have_clinic",
        """SELECT count(*) FROM runner
            WHERE clinic_id <> coalesce((SELECT min(id) FROM clinic), -1)""",
        "runners of another clinic, whom no page shows",
    ),
    (
        "trials_agree",
        """SELECT count(*) FROM (
            SELECT v.id FROM value v JOIN trial t ON t.value_id = v.id
            GROUP BY v.id, v.n_trials, v.mean, v.sd
            HAVING count(*) <> v.n_trials
                OR v.mean IS NULL
                OR abs(avg(t.reading) - v.mean) > 1e-9 * (1 + abs(v.mean))
                OR (count(*) > 1 AND (v.sd IS NULL OR abs(
                    sum((t.reading - v.mean) * (t.reading - v.mean)) / (count(*) - 1) - v.sd * v.sd
                ) > 1e-9 * (1 + v.sd * v.sd + v.mean * v.mean)))
        ) AS wrong""",
        "values whose n, mean or SD does not agree with their trials",
    ),
    (
        "values_have_visits",
        """SELECT count(*) FROM value v
            LEFT JOIN visit ON visit.id = v.visit_id
            LEFT JOIN metric m ON m.id = v.metric_id
            WHERE visit.id IS NULL OR m.id IS NULL""",
        "values without a visit or a metric",
    ),
    (
        "trials_have_values",
        """SELECT count(*) FROM trial t LEFT JOIN value v ON v.id = t.value_id
            WHERE v.id IS NULL""",
        "trials without a value",
    ),
    (
        "sides_fit",
        """SELECT count(*) FROM value v JOIN metric m ON m.id = v.metric_id
            WHERE m.sided = (v.side = 'none')""",
        "values whose side does not fit their metric",
    ),
    (
        "targets_fit",
        """SELECT count(*) FROM target t JOIN metric m ON m.id = t.metric_id
            WHERE m.sided = (t.what = 'none')""",
        "targets whose side does not fit their metric",
    ),
    (
        "predictions_fit",
        """SELECT count(*) FROM hypothesis_link l JOIN metric m ON m.id = l.metric_id
            WHERE m.sided = (l.what = 'none')""",
        "predictions whose side does not fit their metric",
    ),
    (
        "hypotheses_fit",
        """SELECT count(*) FROM hypothesis h JOIN programme p ON p.id = h.programme_id
            WHERE h.runner_id <> p.runner_id""",
        "hypotheses on another runner's programme",
    ),
    (
        "programmes_fit",
        """SELECT count(*) FROM programme p JOIN injury i ON i.id = p.injury_id
            WHERE i.runner_id <> p.runner_id""",
        "programmes for another runner's injury",
    ),
    (
        "saves_fit",
        """SELECT count(*) FROM value v JOIN visit ON visit.id = v.visit_id
            WHERE v.saved_in > visit.revision""",
        "values saved in a revision that their visit has not reached",
    ),
)


def findings(connection: Connection, *, expected_head: str = "") -> Iterator[Finding]:
    """Put every question, in a fixed order; one that cannot be answered counts as wrong.

    Parameters
    ----------
    expected_head : str
        Hash of an entry of the history that was noted down outside; empty asks nothing.
    """
    yield _asked(connection, "schema", _schema)
    if connection.dialect.name == "sqlite":
        yield _asked(connection, "file", _file)
        yield _asked(connection, "references", _references)
    for name, query, words in COUNTS:
        yield _asked(connection, name, partial(_counted, query=query, words=words))
    yield _asked(connection, "history_guarded", guarding.guards_answer)
    replay = agreeing.Replay()

    def chained(within: Connection) -> Answer:
        nonlocal replay
        replay = agreeing.replayed(within)
        return agreeing.chain_answer(replay)

    yield _asked(connection, "history_chain", chained)
    if expected_head:
        yield _asked(
            connection,
            "history_head",
            partial(agreeing.head_answer, expected=expected_head),
        )
    yield _asked(connection, "history_agrees", partial(agreeing.agreement_answer, replay=replay))


Answer = tuple[bool, str]


def _asked(connection: Connection, name: str, question: Callable[[Connection], Answer]) -> Finding:
    try:
        with connection.begin_nested():
            ok, detail = question(connection)
    except DatabaseError as error:
        ok, detail = False, f"cannot be read: {refusal(error)}"
    except (LookupError, ValueError, TypeError) as error:
        # A cell that was altered to what the program never writes: no choice, list or date.
        ok, detail = False, f"cannot be read, for a cell holds what it can't: {error}"
    return Finding(name=name, ok=ok, detail=detail)


def _schema(connection: Connection) -> Answer:
    stored, newest = migrating.revision_of(connection), migrating.head()
    return stored == newest, f"revision '{stored}', this program's is '{newest}'"


def _file(connection: Connection) -> Answer:
    lines = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
    return lines == ["ok"], "; ".join(lines)


def _references(connection: Connection) -> Answer:
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    tables = ", ".join(sorted({str(row[0]) for row in orphans}))
    return not orphans, f"{len(orphans)} rows refer to nothing" + (
        f" (in {tables})" if tables else ""
    )


def _counted(connection: Connection, *, query: str, words: str) -> Answer:
    count = int(connection.exec_driver_sql(query).scalar_one())
    return count == 0, f"{count} {words}"
