"""What an audit withholds can't be worked out from what it tells: solved for as a reader would.

Every number of an audit is put into the sums that hold between them (steps and ends of the flow,
parts of a group, groups of the whole, reasons of what is missing). A withheld number that these
sums leave only one value for has been given away.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from casebook.domain.audit import AuditChoice, Count, OutcomeVisit, Step
from casebook.domain.audit_outcomes import Audit, GroupOutcome, MetricOutcome, Split
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind
from casebook.services.auditing import audit
from tests.services.drawn_cohorts import AS_OF, drawn_cohort

LEAST = 5
WHOLE = AuditChoice(as_of=date(1970, 1, 1) + timedelta(days=AS_OF))
CHOICES = (
    WHOLE,
    replace(WHOLE, visit=OutcomeVisit.DISCHARGE),
    replace(WHOLE, kinds=(ProgrammeKind.INJURY,), purpose=Purpose.AUDIT),
    replace(WHOLE, clinicians=("ab", "cd"), visit=OutcomeVisit.FIRST),
)
Sum = dict[Hashable, float]


class Reader:
    """Numbers that stand in an audit, and the sums that a reader knows of."""

    def __init__(self) -> None:
        self.shown: dict[Hashable, int | None] = {}
        self.sums: list[Sum] = []

    def says(self, name: Hashable, number: int | None) -> Hashable:
        # A number that stands in two places is read where it is told.
        if self.shown.get(name) is None:
            self.shown[name] = number
        return name

    def adds_up(self, whole: Hashable, parts: list[Hashable]) -> None:
        self.sums.append({whole: -1.0, **dict.fromkeys(parts, 1.0)})

    def given_away(self) -> list[Hashable]:
        """Withheld numbers that the sums leave one value for."""
        hidden = [name for name, number in self.shown.items() if number is None]
        place = {name: at for at, name in enumerate(hidden)}
        rows = np.zeros((len(self.sums), len(hidden)))
        for row, one in enumerate(self.sums):
            for name, factor in one.items():
                if name in place:
                    rows[row, place[name]] += factor
        _, sizes, turned = np.linalg.svd(rows, full_matrices=True)
        free = turned[np.count_nonzero(sizes > 1e-9) :]
        return [name for name, at in place.items() if np.abs(free[:, at]).max(initial=0.0) < 1e-9]


def read(found: Audit) -> Reader:
    reader = Reader()
    steps = {one: reader.says(one, count.n) for one, count in found.flow.steps}
    left_out = [reader.says(one, count.n) for one, count in found.flow.excluded]
    reader.adds_up(steps[Step.REGISTERED], [steps[Step.INCLUDED], *left_out])
    ends = [steps[one] for one in (Step.DISCHARGED, Step.LOST, Step.IN_CARE)]
    reader.adds_up(steps[Step.INCLUDED], ends)
    reader.says(Step.REVIEWED, found.timeliness.reviewed.n)
    seen = Step.DISCHARGED if found.choice.visit is OutcomeVisit.DISCHARGE else Step.REVIEWED
    for one in found.completeness:
        lacking: list[Hashable] = []
        for name, total, part in (
            ("first", Step.BASELINE, one.baseline),
            ("then", seen, one.outcome),
        ):
            reader.says(total, part.total)
            has = reader.says((one.metric, name), part.count)
            lacking.append(reader.says((one.metric, name, "lacks"), lacks(part)))
            reader.adds_up(total, [has, lacking[-1]])
        missing = reader.says((one.metric, "missing"), None)
        reader.adds_up(missing, lacking)
        if one.reasons:
            whys = [reader.says((one.metric, why), count.n) for why, count in one.reasons]
            reader.adds_up(missing, whys)
    for outcome in found.outcomes:
        read_outcome(reader, outcome)
    return reader


def lacks(part: Any) -> int | None:
    return None if part.total is None else part.total - part.count


def read_outcome(reader: Reader, outcome: MetricOutcome) -> None:
    place = (outcome.metric, outcome.on)
    splits = dict(outcome.splits)
    whole = read_group(reader, place, splits[Split.NONE][0])
    for split, groups in splits.items():
        if split is Split.NONE:
            continue
        levels = [read_group(reader, (*place, split), group) for group in groups]
        for what, name in whole.items():
            # Where none improved, nothing is told of the sides: they are none, too.
            reader.adds_up(name, [level[what] for level in levels if what in level])


def read_group(reader: Reader, place: Hashable, group: GroupOutcome) -> dict[str, Hashable]:
    def says(what: str, number: int | None) -> Hashable:
        return reader.says((place, group.level, what), number)

    calls = [
        says(part.name, part.count) for part in (group.improved, group.unchanged, group.worsened)
    ]
    told = says("told", group.improved.total)
    cannot = says("cannot_say", group.cannot_say.count)
    measured = says("measured", group.cannot_say.total)
    reader.adds_up(told, calls)
    reader.adds_up(measured, [told, cannot])
    names = {"told": told, "cannot_say": cannot, "measured": measured}
    names |= dict(zip(("improved", "unchanged", "worsened"), calls, strict=True))
    names["compared"] = says("compared", group.change.n)
    if group.moved:
        moved = {str(one): says(str(one), part.count) for one, part in group.moved}
        reader.adds_up(calls[0], [*moved.values(), says("moved otherwise", None)])
        names |= moved
    return names


def audits() -> Iterator[Audit]:
    for seed in range(48):
        runners = 200 if seed % 24 == 0 else 6 + seed % 24
        yield audit(drawn_cohort(runners, seed), CHOICES[seed % len(CHOICES)])


@pytest.fixture(scope="module")
def drawn() -> list[Audit]:
    return list(audits())


def test_no_number_that_is_withheld_can_be_worked_out(drawn: list[Audit]) -> None:
    hidden = 0
    for found in drawn:
        reader = read(found)
        made_up = {
            name for name in reader.shown
            if isinstance(name, tuple) and name[-1] in ("lacks", "missing", "moved otherwise")
        }  # fmt: skip
        hidden += sum(number is None for number in reader.shown.values()) - len(made_up)
        assert set(reader.given_away()) <= made_up, found.choice
    assert hidden > 500


def test_the_reader_finds_a_number_that_nothing_hides_beside(drawn: list[Audit]) -> None:
    found = next(one for one in drawn if not dict(one.flow.steps)[Step.LOST].withheld)
    steps = tuple(
        (step, Count(n=None) if step is Step.LOST else count) for step, count in found.flow.steps
    )
    bare = replace(found, flow=replace(found.flow, steps=steps))
    assert Step.LOST in read(bare).given_away()


def test_what_is_left_of_the_whole_is_never_a_small_group(drawn: list[Audit]) -> None:
    kept = 0
    for found in drawn:
        for outcome in found.outcomes:
            splits = dict(outcome.splits)
            for size in (told, measured, compared, improved):
                whole = size(splits[Split.NONE][0])
                for split in (Split.PROGRAMME_KIND, Split.ADHERENCE_THIRD):
                    sizes = [size(group) for group in splits[split]]
                    if whole is None or None not in sizes:
                        continue
                    kept += 1
                    left = whole - sum(one for one in sizes if one is not None)
                    assert left >= LEAST or size is improved, (found.choice, outcome, split)
    assert kept > 30


def told(group: GroupOutcome) -> int | None:
    return group.improved.total


def measured(group: GroupOutcome) -> int | None:
    return group.cannot_say.total


def compared(group: GroupOutcome) -> int | None:
    return group.change.n


def improved(group: GroupOutcome) -> int | None:
    return group.improved.count


def test_no_group_that_is_told_has_fewer_runners_than_are_shown(drawn: list[Audit]) -> None:
    for found in drawn:
        groups = [group for one in found.outcomes for _, groups in one.splits for group in groups]
        sizes = [size(group) for group in groups for size in (told, measured, compared)]
        assert all(size is None or size == 0 or size >= LEAST for size in sizes)
        moved = [part.total for group in groups for _, part in group.moved]
        assert all(total is None or total >= LEAST for total in moved)
        counts = [count.n for _, count in (*found.flow.steps, *found.flow.excluded)]
        assert all(n is None or n == 0 or n >= LEAST for n in counts)
        lost = [n for one in found.lost for n in (one.lost.n, one.followed.n)]
        assert all(n is None or n >= LEAST for n in lost)


def test_those_who_are_lost_are_not_described_where_their_number_is_withheld(
    drawn: list[Audit],
) -> None:
    for found in drawn:
        if dict(found.flow.steps)[Step.LOST].withheld:
            assert found.lost == ()
    assert any(found.lost for found in drawn)


def test_clinicians_side_by_side_leave_no_few_runners_over(drawn: list[Audit]) -> None:
    kept = 0
    for found in drawn:
        wholes = {(one.metric, one.on): one.splits[0][1][0] for one in found.outcomes}
        for funnel in found.funnels:
            whole = told(wholes[funnel.metric, funnel.on])
            left = None if whole is None else whole - sum(one.total for one in funnel.points)
            kept += bool(left)
            assert left is None or left == 0 or left >= LEAST
    assert kept > 0


def test_where_nobody_says_who_assessed_there_is_nobody_side_by_side() -> None:
    loaded = drawn_cohort(200, 1)
    unsigned = replace(loaded, clinicians=(), runners=loaded.runners.assign(clinician=-1))
    assert audit(unsigned, WHOLE).funnels == ()


def test_those_who_did_not_consent_to_the_purpose_change_no_number() -> None:
    loaded = drawn_cohort(200, 3)
    choice = replace(WHOLE, purpose=Purpose.AUDIT)
    withdrawn = np.isfinite(loaded.consents["withdrawn_day"].to_numpy())
    rows = withdrawn[loaded.references["runner"].to_numpy()]
    assert 5 < withdrawn.sum() < 50
    baseline = loaded.references["baseline"] + np.where(rows, 500.0, 0.0)
    moved = replace(loaded, references=loaded.references.assign(baseline=baseline))
    assert audit(moved, choice) == audit(loaded, choice)
    told = [one.splits[0][1][0].regression for one in audit(loaded, choice).outcomes]
    assert None not in told
    # Of the clinic's own look they are a part.
    assert audit(moved, WHOLE) != audit(loaded, WHOLE)
