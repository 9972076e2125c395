"""The demo clinic's working hypotheses, from their file: no table that a clinic would import."""

from __future__ import annotations

import csv
from datetime import date
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from casebook.domain.hypotheses import Hypothesis, HypothesisKind, Link, Role
from casebook.domain.programmes import TargetDirection, TargetOn

NAME = "hypotheses.csv"


def read_hypotheses(path: Path) -> tuple[Hypothesis, ...]:
    """Every hypothesis of the file, in its order; the rows of one stand together."""
    with path.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    groups = groupby(rows, key=itemgetter("runner", "programme", "number"))
    return tuple(_hypothesis(list(group)) for _, group in groups)


def _hypothesis(rows: list[dict[str, str]]) -> Hypothesis:
    first = rows[0]
    return Hypothesis(
        runner=first["runner"],
        programme=first["programme"],
        kind=HypothesisKind(first["kind"]),
        driver=first["driver"],
        leads_to=first["leads_to"],
        links=tuple(_link(row) for row in rows),
        sureness_pct=int(first["sureness_pct"]),
        written_on=date.fromisoformat(first["written_on"]),
        written_by=first["written_by"],
    )


def _link(row: dict[str, str]) -> Link:
    return Link(
        position=int(row["position"]),
        role=Role(row["role"]),
        metric=row["metric"],
        on=TargetOn(row["what"]),
        direction=TargetDirection(row["direction"]) if row["direction"] else None,
        amount=float(row["amount"]) if row["amount"] else None,
        due_on=date.fromisoformat(row["due_on"]),
        why=row["why"],
    )
