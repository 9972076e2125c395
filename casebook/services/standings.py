"""Where each runner stands: flags told in words, and remembered until the record moves on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from casebook.domain.verdicts import Flag
from casebook.services.judging import JudgedRunners, judge_runners, rows_of
from casebook.services.telling_flags import flags_told
from casebook.storage import cases
from casebook.storage.cases import Acknowledgement, AcknowledgementKey, RunnerLine
from casebook.storage.session import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A runner's flags, newest visit first, and what to expect by chance at the latest visit.

    Parameters
    ----------
    open_flags : tuple of Flag
        Those that still stand and that nobody has acknowledged.
    tests, expected_false : int, float
        Metrics tested at the latest visit, and how many of them would be flagged falsely on
        average if the runner had not changed at all (missed targets left out).
    expected_false_course : float
        The same summed over all visits so far. The sum needs no independence between visits.
    tested_visits, tests_course : int, int
        Visits at which anything was tested, and the metrics tested at all of them together.
    """

    flags: tuple[Flag, ...] = ()
    open_flags: tuple[Flag, ...] = ()
    tests: int = 0
    expected_false: float = 0.0
    expected_false_course: float = 0.0
    tested_visits: int = 0
    tests_course: int = 0


@dataclass(slots=True)
class StandingMemo:
    """What was judged before, by runner, with the stamp it was judged at; kept by a face.

    `judged` counts how many times a runner was judged since the memo was made.
    """

    kept: dict[int, tuple[tuple[int, ...], Standing]] = field(default_factory=dict)
    judged: int = 0


NO_FLAGS = Standing()
# Beyond this many runners to judge, reading all of them is quicker than naming each.
NAMED_AT_MOST = 400


def standings(unit: Unit, lines: Sequence[RunnerLine], memo: StandingMemo) -> dict[int, Standing]:
    """Standing of every runner named; only those whose stamp has moved are judged."""
    catalogue = hash((tuple(cases.metrics_by_id(unit).values()), cases.figures_in_force(unit)))
    acknowledged = cases.acknowledgement_counts(unit)
    stamps = {
        line.runner_id: (line.revision, acknowledged.get(line.runner_id, 0), catalogue)
        for line in lines
    }
    stale = [
        line
        for line in lines
        if memo.kept.get(line.runner_id, (None, NO_FLAGS))[0] != stamps[line.runner_id]
    ]
    if stale:
        fresh = _judge(unit, stale)
        memo.judged += len(stale)
        for line in stale:
            memo.kept[line.runner_id] = (
                stamps[line.runner_id],
                fresh.get(line.runner_id, NO_FLAGS),
            )
    return {line.runner_id: memo.kept[line.runner_id][1] for line in lines}


def _judge(unit: Unit, lines: Sequence[RunnerLine]) -> dict[int, Standing]:
    codes = {line.runner_id: line.code for line in lines}
    named = list(codes) if len(codes) <= NAMED_AT_MOST else None
    found = judge_runners(unit, named)
    return stand(found, codes, cases.acknowledgements(unit, named))


def stand(
    found: JudgedRunners,
    codes: Mapping[int, str],
    acknowledged: Mapping[AcknowledgementKey, Acknowledgement],
) -> dict[int, Standing]:
    """Standing by runner id, from a judgement.

    Parameters
    ----------
    codes : mapping of int to str
        Code by id of the runners wanted.
    acknowledged : mapping
        Who has seen which flag.
    """
    counted = found.visits[found.visits["counts"]].drop_duplicates("runner", keep="last")
    expected = found.judged.expected
    now = {row.runner: row for row in rows_of(expected[expected["visit"].isin(counted["visit"])])}
    course = expected.groupby("runner")["expected_false"].sum().to_dict()
    tested = (
        expected[expected["tests"] > 0].groupby("runner")["tests"].agg(visits="size", metrics="sum")
    )
    over_course = {
        row.runner: (int(row.visits), int(row.metrics)) for row in rows_of(tested.reset_index())
    }
    by_code: dict[str, list[Flag]] = {code: [] for code in codes.values()}
    for flag in flags_told(found, codes, acknowledged):
        by_code[flag.runner].append(flag)
    return {
        runner_id: Standing(
            flags=tuple(by_code[code]),
            open_flags=tuple(
                flag for flag in by_code[code] if flag.stands and not flag.acknowledged
            ),
            tests=int(now[runner_id].tests) if runner_id in now else 0,
            expected_false=float(now[runner_id].expected_false) if runner_id in now else 0.0,
            expected_false_course=float(course.get(runner_id, 0.0)),
            tested_visits=over_course.get(runner_id, (0, 0))[0],
            tests_course=over_course.get(runner_id, (0, 0))[1],
        )
        for runner_id, code in codes.items()
    }
