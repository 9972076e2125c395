"""Flags as values: told in words, with who has acknowledged them, there or at an earlier visit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd

from casebook.domain.verdicts import Flag, FlagKind, Reason
from casebook.domain.wording import Rise, flag_words
from casebook.services.judging import JudgedRunners, number_or_none, rows_of
from casebook.statistics.codes import KINDS, NOTHING, WHATS, code_of
from casebook.statistics.flagging import raised_again
from casebook.storage.cases import Acknowledgement, AcknowledgementKey

# What a verdict says when the visit could be compared: a call, or a change with no way to call it.
SETTLING = (NOTHING, code_of(Reason.CROSSED_OVER), code_of(Reason.NO_BETTER_DIRECTION))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """An acknowledged flag as it stood at its visit."""

    acknowledgement: Acknowledgement
    visited_on: date
    rows: Sequence[Any]


def flags_told(
    found: JudgedRunners,
    codes: Mapping[int, str],
    acknowledged: Mapping[AcknowledgementKey, Acknowledgement],
) -> tuple[Flag, ...]:
    """Flags of the runners named as values: newest visit first, strongest first within it.

    A flag of the same metric and kind as one that was acknowledged at an earlier visit carries
    that acknowledgement on, unless it has become worse since (`raised_again`).
    """
    told: list[tuple[int, Flag]] = []
    settled = _last_settled(found)
    seen: dict[tuple[int, int, int], _Seen] = {}
    for rows in _by_flag(found, codes):
        row = rows[0]
        kind, day = KINDS[row.kind], row.visited_on.date()
        one = (row.runner, row.metric, row.kind)
        direct = acknowledged.get((int(row.visit), found.metric_ids[row.metric], kind))
        if direct is not None:
            seen[one] = _Seen(acknowledgement=direct, visited_on=day, rows=rows)
        before = seen.get(one)
        carried = before if before is None or not _worse(before.rows, rows) else None
        stands = any(
            one.order >= settled.get((one.runner, one.metric, one.what), one.order) for one in rows
        )
        flag = _flag(rows, found, codes[row.runner], kind, carried)
        told.append((row.runner, replace(flag, stands=stands)))
    return tuple(flag for _, flag in sorted(told, key=_newest_first))


def _last_settled(found: JudgedRunners) -> dict[tuple[int, int, int], int]:
    """Order of the last visit that could say something, by runner, metric and what.

    Only of what was ever flagged. A visit that did not measure it, or was not like for like,
    settles nothing: the flag before it still stands.
    """
    flags, verdicts = found.judged.flags, found.judged.verdicts
    keys = ["runner", "metric", "what"]
    settling = verdicts[
        verdicts["reason"].isin(SETTLING) & verdicts["runner"].isin(flags["runner"])
    ]
    orders = found.visits.set_index("visit")["order"]
    both = pd.concat([settling[[*keys, "visit"]], flags[[*keys, "visit"]]])
    last = both.join(orders, on="visit").groupby(keys)[["order"]].max().reset_index()
    return {(row.runner, row.metric, row.what): int(row.order) for row in rows_of(last)}


def _newest_first(told: tuple[int, Flag]) -> tuple[int, int, int, float]:
    runner, flag = told
    strength = flag.p if flag.p is not None else 1.0
    return runner, -flag.visit_date.toordinal(), -flag.session, strength


def _by_flag(found: JudgedRunners, codes: Mapping[int, str]) -> Iterator[list[Any]]:
    """Rows of one flag together (a symptom or target may be one of both sides), oldest first."""
    flags = found.judged.flags
    flags = flags[flags["runner"].isin(list(codes))]
    days = found.visits.set_index("visit")[["visited_on", "session", "order"]]
    keys = ["runner", "visited_on", "session", "metric", "kind"]
    ordered = flags.join(days, on="visit").sort_values([*keys, "p", "what"], kind="stable")
    for _, rows in groupby(
        rows_of(ordered), key=lambda row: (row.runner, row.visit, row.metric, row.kind)
    ):
        yield list(rows)


def _worse(then: Sequence[Any], now: Sequence[Any]) -> bool:
    """True where any part of a flag is new or worse than at the visit it was acknowledged."""
    before = {row.what: row for row in then}
    pairs = [(before.get(row.what), row) for row in now]
    known = [(old, new) for old, new in pairs if old is not None]
    if len(known) < len(pairs):
        return True
    again = raised_again(
        np.array([old.badness for old, _ in known]),
        np.array([new.badness for _, new in known]),
        np.array([old.badness_sem for old, _ in known]),
        np.array([new.badness_sem for _, new in known]),
        np.array([old.badness_known and new.badness_known for old, new in known], dtype=np.bool_),
    )
    return bool(again.any())


def _flag(
    rows: Sequence[Any], found: JudgedRunners, code: str, kind: FlagKind, seen: _Seen | None
) -> Flag:
    row = rows[0]
    metric = found.metrics[row.metric]
    acknowledgement = seen.acknowledgement if seen else None
    return Flag(
        runner=code,
        visit_date=row.visited_on.date(),
        session=int(row.session),
        metric=metric.key,
        kind=kind,
        p=number_or_none(row.p),
        q=number_or_none(row.q),
        message=" ".join(flag_words(kind, metric, _rise(one)) for one in rows),
        acknowledged=acknowledgement is not None,
        acknowledged_reason=acknowledgement.reason if acknowledgement else "",
        acknowledged_by=acknowledgement.by if acknowledgement else "",
        acknowledged_at=acknowledgement.at if acknowledgement else None,
        acknowledged_visit=seen.visited_on if seen else None,
    )


def _rise(row: Any) -> Rise:
    return Rise(
        start=float(row.start),
        end=float(row.end),
        margin=number_or_none(row.margin),
        visits=int(row.visits),
        what=WHATS[row.what],
        goal=number_or_none(row.goal),
    )
