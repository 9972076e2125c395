"""Counts and means over the runners of an export, rounded and withheld before they leave."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from casebook.domain.export_tables import NO_PROGRAMME, Step
from casebook.domain.metrics import AsymmetryForm, Metric
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.verdicts import Call, What
from casebook.domain.visits import VisitKind
from casebook.services.exporting_measured import Measured
from casebook.statistics.codes import CALLS, Floats, Whole, code_of
from casebook.statistics.disclosure.rounding import members_digest, rounded_counts, rounded_mean
from casebook.statistics.disclosure.tables import protect_table

KINDS: Final = (*(kind.value for kind in ProgrammeKind), NO_PROGRAMME)
ALL: Final = "all"
# In the order of the table's columns.
_CALLS: Final = (Call.IMPROVED, Call.WORSENED, Call.UNCHANGED, Call.CANNOT_SAY)
Place = tuple[int, What]


@dataclass(slots=True)
class Groups:
    """What was counted so far, batch by batch.

    Parameters
    ----------
    kinds : mapping of int to str
        Kind of the first programme by runner id; absent without one.
    steps : Counter of Step
    rows : dict of (metric, what) to list of array, shape (runners, 3)
        Position in KINDS, position in CALLS, and change (of an asymmetry, of its size).
    """

    kinds: Mapping[int, str]
    steps: Counter[Step] = field(default_factory=Counter)
    rows: defaultdict[Place, list[Floats]] = field(default_factory=lambda: defaultdict(list))

    def count(self, ids: Sequence[int], found: Measured | None, metrics: Sequence[Metric]) -> None:
        """Take some runners in; None for such without a visit."""
        self.steps[Step.EXPORTED] += len(ids)
        self.steps[Step.STARTED] += sum(one in self.kinds for one in ids)
        if found is None:
            return
        visits = found.visits
        # Reindexed and not mapped: where nobody has a programme, an empty mapping has no dates.
        start = found.starts.reindex(visits["runner"]).to_numpy()
        after = visits["counts"] & (visits["visited_on"] > start)
        discharged = visits["kind"] == VisitKind.DISCHARGE.value
        self.steps[Step.VISITED] += visits["runner"].nunique()
        self.steps[Step.REVIEWED] += visits.loc[after, "runner"].nunique()
        self.steps[Step.DISCHARGED] += visits.loc[discharged, "runner"].nunique()
        self._count_outcomes(found, metrics)

    def _count_outcomes(self, found: Measured, metrics: Sequence[Metric]) -> None:
        asymmetry, none = code_of(What.ASYMMETRY), code_of(What.NONE)
        verdicts = found.judged.verdicts
        wanted = verdicts[verdicts["what"].isin((asymmetry, none))]
        wanted = wanted.assign(
            order=found.visits.set_index("visit")["order"].reindex(wanted["visit"]).to_numpy()
        )
        last = wanted.sort_values("order", kind="stable").drop_duplicates(
            ["runner", "metric", "what"], keep="last"
        )
        places = {kind: at for at, kind in enumerate(KINDS)}
        of_runner = {one: places[kind] for one, kind in self.kinds.items()}
        kind = last["runner"].map(of_runner).fillna(places[NO_PROGRAMME]).to_numpy(dtype=np.float64)
        sized = np.array([one.asymmetry_form is not AsymmetryForm.NONE for one in metrics])
        of_size = sized[last["metric"].to_numpy()] & (last["what"] == asymmetry).to_numpy()
        change = np.where(
            of_size, last["latest"].abs() - last["baseline"].abs(), last["change"]
        ).astype(np.float64)
        told = np.column_stack([kind, last["call"].to_numpy(dtype=np.float64), change])
        own = last["metric"].to_numpy(), last["what"].to_numpy()
        for metric in np.unique(own[0]).tolist():
            for code, what in ((asymmetry, What.ASYMMETRY), (none, What.NONE)):
                rows = (own[0] == metric) & (own[1] == code)
                if rows.any():
                    self.rows[metric, what].append(told[rows])


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounding:
    """By what counts are rounded.

    Parameters
    ----------
    secret : bytes
        The clinic's own.
    members : bytes
        Digest of everybody counted.
    """

    secret: bytes = field(repr=False)
    members: bytes = field(repr=False)
    minimum: int


def rounding_of(ids: Sequence[int], *, secret: bytes, minimum: int) -> Rounding:
    """How the counts over some runners are rounded."""
    members = members_digest((str(one) for one in ids), secret=secret)
    return Rounding(secret=secret, members=members, minimum=minimum)


def flow_table(groups: Groups, by: Rounding) -> pd.DataFrame:
    """Rows of the table flow."""
    counts = [groups.steps[step] for step in Step]
    rounded = _rounded(counts, [f"flow {step.value}" for step in Step], by)
    shown = [int(one) if one == 0 or one >= by.minimum else None for one in rounded]
    return pd.DataFrame(
        {
            "step": [step.value for step in Step],
            "runners": pd.array(shown, dtype="Int64"),
        }
    )


def outcomes_table(groups: Groups, metrics: Sequence[Metric], by: Rounding) -> pd.DataFrame:
    """Rows of the table outcomes_by_group, by metric, what and kind of programme."""
    rows: list[dict[str, Any]] = []
    # Every metric and every group has its row, empty or not: a row that is gone tells of a leaver.
    for at, metric in enumerate(metrics):
        if metric.sided and metric.asymmetry_form is AsymmetryForm.NONE:
            continue
        what = What.ASYMMETRY if metric.sided else What.NONE
        told = np.concatenate([np.empty((0, 3)), *groups.rows[at, what]])
        rows += _group_rows(metric.key, what, told, by)
    columns = ("metric", "what", "programme", *_CALLS, "runners", "mean_change", "mean_change_step")
    frame = pd.DataFrame(rows, columns=pd.Index([str(one) for one in columns]))
    whole = dict.fromkeys([*(call.value for call in _CALLS), "runners"], "Int64")
    return frame.astype({**whole, "mean_change": "float64", "mean_change_step": "float64"})


def _group_rows(key: str, what: What, told: Floats, by: Rounding) -> list[dict[str, Any]]:
    cells = [
        int(((told[:, 0] == kind) & (told[:, 1] == CALLS.index(call))).sum())
        for kind in range(len(KINDS))
        for call in _CALLS
    ]
    names = [f"outcome {key} {what} {kind} {call}" for kind in KINDS for call in _CALLS]
    counts = _rounded(cells, names, by).reshape(len(KINDS), len(_CALLS))
    published = protect_table(counts, minimum=by.minimum).published
    found = []
    for at, kind in enumerate((*KINDS, ALL)):
        own = told if kind == ALL else told[told[:, 0] == at]
        changes = own[np.isfinite(own[:, 2]), 2]
        mean = (
            rounded_mean(
                changes,
                name=f"change {key} {what} {kind}",
                secret=by.secret,
                members=by.members,
                minimum=by.minimum,
            )
            if len(changes)
            else None
        )
        numbers = [None if np.isnan(one) else int(one) for one in published[at]]
        found.append(
            {
                "metric": key,
                "what": what.value,
                "programme": kind,
                **dict(zip((call.value for call in _CALLS), numbers, strict=False)),
                "runners": numbers[-1],
                "mean_change": None if mean is None else mean.mean,
                "mean_change_step": None if mean is None else mean.step,
            }
        )
    return found


def _rounded(counts: Sequence[int], names: Sequence[str], by: Rounding) -> Whole:
    return rounded_counts(counts, names, secret=by.secret, members=by.members)
