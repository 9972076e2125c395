"""What became of each target of a programme, as it leaves, without giving a side or a mass back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from casebook.domain.export_tables import HOLLOW, WITHHELD
from casebook.domain.programmes import Target, TargetOn
from casebook.domain.target_outcomes import TargetCall
from casebook.domain.verdicts import Verdict, What
from casebook.services.exporting_hidden import PER_KG
from casebook.services.exporting_measured import Measured, Measuring
from casebook.services.judging import JudgedRunners
from casebook.services.judging_programmes import AskedProgramme, judge_programmes
from casebook.services.telling import every_verdict
from casebook.statistics.codes import Flags, code_of
from casebook.statistics.target_outcome import target_outcome
from casebook.storage.session import Unit

WHATS_A_METRIC: Final = len(What)
Place = tuple[int, str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Prescribed:
    """Programmes begun by the day of the export, and their targets that leave, as rows of the
    store.
    """

    programmes: Sequence[Any]
    targets: Sequence[Any]


def target_calls(
    unit: Unit,
    about: Measuring,
    rows: Prescribed,
    read: Measured | None,
    told: Measured | None,
) -> list[str]:
    """What became of each target by the day of the export, as words of a closed list.

    Held against the visits before its own programme, as everywhere. It follows from values that
    leave: where those don't, it is withheld, and so it is of one side where which side has the
    complaint is kept coarse, since both sides' changes would tell the one that it fits.

    Parameters
    ----------
    read, told : Measured or None
        Everything of these runners, and what of it leaves; None where nobody had a visit.

    Returns
    -------
    list of str
        One a target, in the order of `rows.targets`.
    """
    runner_of = {row.id: int(row.runner_id) for row in rows.programmes}
    first: dict[int, Any] = {}
    for row in rows.programmes:
        first.setdefault(row.runner_id, row)
    # Of the first programme the verdicts are those of the outcomes that leave.
    later = {row.id for row in rows.programmes if row.started_on > first[row.runner_id].started_on}
    verdicts = _of_first(about, rows, read, runner_of, later)
    verdicts |= _of_later(unit, rows, runner_of, later)
    kept, had = _pairs(about, told), _pairs(about, read)
    found = []
    for row in rows.targets:
        runner_id = runner_of[row.programme_id]
        one_side = row.what in {TargetOn.LEFT, TargetOn.RIGHT}
        pair = (runner_id, row.metric)
        if (one_side and runner_id not in about.side_exact) or (pair in had and pair not in kept):
            found.append(WITHHELD)
            continue
        place = (row.programme_id, row.metric, row.what.value)
        found.append(_call(row, verdicts.get(place, []), about))
    return found


def _call(row: Any, verdicts: Sequence[Verdict], about: Measuring) -> str:
    target = Target(
        metric=row.metric,
        what=row.what,
        direction=row.direction,
        amount=row.amount,
        due_on=row.due_on,
    )
    until = about.settings.as_of
    seen = [one for one in verdicts if one.latest_date is not None and one.latest_date <= until]
    outcome = target_outcome(target, seen, today=until)
    return HOLLOW if outcome.call is TargetCall.MET and outcome.hollow else outcome.call.value


def _of_first(
    about: Measuring,
    rows: Prescribed,
    read: Measured | None,
    runner_of: Mapping[int, int],
    later: set[int],
) -> dict[Place, list[Verdict]]:
    own = [row for row in rows.targets if row.programme_id not in later]
    if read is None or not own:
        return {}
    found = JudgedRunners(
        judged=read.judged,
        visits=read.visits,
        metrics=about.metrics,
        metric_ids=tuple(about.ids.tolist()),
        figures=about.figures,
    )
    asked = {(runner_of[row.programme_id], row.metric, row.what.value) for row in own}
    by_runner = _told(found, asked)
    return {
        (row.programme_id, row.metric, row.what.value): by_runner.get(
            (runner_of[row.programme_id], row.metric, row.what.value), []
        )
        for row in own
    }


def _of_later(
    unit: Unit,
    rows: Prescribed,
    runner_of: Mapping[int, int],
    later: set[int],
) -> dict[Place, list[Verdict]]:
    own = [row for row in rows.targets if row.programme_id in later]
    if not own:
        return {}
    every: dict[int, list[AskedProgramme]] = {}
    for row in rows.programmes:
        every.setdefault(row.runner_id, []).append(
            AskedProgramme(
                programme_id=row.id,
                runner_id=row.runner_id,
                started_on=row.started_on,
                ended_on=row.ended_on,
            )
        )
    wanted = {row.programme_id for row in own}
    asked = [
        one
        for programme_id in sorted(wanted)
        for one in every[runner_of[programme_id]]
        if one.programme_id == programme_id
    ]
    found = judge_programmes(unit, asked, every)
    return _told(found, {(row.programme_id, row.metric, row.what.value) for row in own})


def _told(found: JudgedRunners, asked: set[Place]) -> dict[Place, list[Verdict]]:
    """Verdicts on what is asked for, by whose they are (the frames' `runner`), metric and what."""
    position = {metric.key: at for at, metric in enumerate(found.metrics)}
    codes = [
        _code(owner, position[metric], code_of(What(what)), len(position))
        for owner, metric, what in asked
    ]
    frame = found.judged.verdicts
    own = _code(
        frame["runner"].to_numpy(dtype=np.int64),
        frame["metric"].to_numpy(dtype=np.int64),
        frame["what"].to_numpy(dtype=np.int64),
        len(position),
    )
    few = replace(found, judged=replace(found.judged, verdicts=frame[np.isin(own, codes)]))
    told: dict[Place, list[Verdict]] = {}
    for owner, verdict in every_verdict(few):
        told.setdefault((owner, verdict.metric, verdict.what.value), []).append(verdict)
    return told


def _code(owner: Any, metric: Any, what: Any, metrics: int) -> Any:
    return (owner * metrics + metric) * WHATS_A_METRIC + what


def _pairs(about: Measuring, found: Measured | None) -> set[tuple[int, str]]:
    """Runners by id with each force that was also read per body mass: those may be hidden."""
    keys = [metric.key for metric in about.metrics]
    raw = [at for at, key in enumerate(keys) if key + PER_KG in keys]
    if found is None or not raw:
        return set()
    runner_of = found.visits["runner"].to_numpy()
    chosen: Flags = np.isin(found.values["metric"].to_numpy(), raw)
    values = found.values[chosen]
    runners = runner_of[found.place.reindex(values["visit"]).to_numpy(dtype=np.int64)]
    return {
        (int(runner), keys[int(metric)])
        for runner, metric in zip(runners, values["metric"].to_numpy(), strict=True)
    }
