"""What became of the runners of an audit, by metric and divided by programme and adherence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from casebook.domain.audit import Amount, AuditChoice, Part
from casebook.domain.audit_outcomes import GroupOutcome, MetricOutcome, On, Split
from casebook.domain.metrics import Metric
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.verdicts import SideMoved
from casebook.domain.wording import asymmetry_unit, unit_words
from casebook.services.audit_flow import part
from casebook.services.cohort import LoadedCohort
from casebook.services.cohort_choosing import Members
from casebook.services.cohort_rows import OutcomeRows
from casebook.services.judging import number_or_none
from casebook.statistics.change import CANNOT_SAY, IMPROVED, UNCHANGED, WORSENED
from casebook.statistics.codes import NOTHING, Codes, Flags
from casebook.statistics.cohort_outcomes import Mean, mean_of, thirds
from casebook.statistics.cohort_withholding import withheld_groups
from casebook.statistics.visit_tests import ROUNDING

THIRDS = ("lowest", "middle", "highest")
UNRECORDED = "not_recorded"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Division:
    """How a cohort is divided: names of the levels, and the level of each runner."""

    split: Split
    names: tuple[str, ...]
    level: Codes


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hidden:
    """What of one group is not shown: anything, verdicts, the change, which side moved."""

    measured: bool
    told: bool
    compared: bool
    shrank: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sizes:
    """How many runners each of the same stands on."""

    measured: int
    told: int
    compared: int
    shrank: int


def outcomes_of(
    loaded: LoadedCohort, members: Members, choice: AuditChoice, rows: OutcomeRows
) -> tuple[MetricOutcome, ...]:
    """Outcome of each metric in the catalogue's order, asymmetry before sides."""
    divisions = _divisions(loaded, members)
    found = [(loaded.metrics[at].position, at, on, group) for at, on, group in rows.groups()]
    found.sort(key=lambda one: one[:2])
    return tuple(
        _metric_outcome(loaded.metrics[at], on, group, divisions, choice.least_group)
        for _, at, on, group in found
    )


def _divisions(loaded: LoadedCohort, members: Members) -> tuple[_Division, ...]:
    """Thirds are of the adherence of those whose outcome is told."""
    runners = loaded.runners
    adherence = np.where(members.reviewed, runners["adherence"].to_numpy(), np.nan)
    third = thirds(adherence)
    return (
        _Division(
            split=Split.PROGRAMME_KIND,
            names=tuple(kind.value for kind in ProgrammeKind),
            level=runners["kind"].to_numpy(),
        ),
        _Division(
            split=Split.ADHERENCE_THIRD,
            names=(*THIRDS, UNRECORDED),
            level=np.where(third == NOTHING, np.int8(len(THIRDS)), third),
        ),
    )


def _metric_outcome(
    metric: Metric, on: On, rows: OutcomeRows, divisions: tuple[_Division, ...], least: int
) -> MetricOutcome:
    important = None if on is On.ASYMMETRY else metric.important_change
    whole = _hidden_whole(_sizes(rows), least)
    splits: list[tuple[Split, tuple[GroupOutcome, ...]]] = [
        (Split.NONE, (_group("", rows, whole, on, important, least),))
    ]
    for division in divisions:
        level = division.level[rows.runner]
        present = [
            (name, rows.at(chosen))
            for at, name in enumerate(division.names)
            if (chosen := level == at).any()
        ]
        hidden = _hidden_levels([_sizes(group) for _, group in present], whole, least)
        splits.append(
            (
                division.split,
                tuple(
                    _group(name, group, hide, on, important, least)
                    for (name, group), hide in zip(present, hidden, strict=True)
                ),
            )
        )
    asymmetry = on is On.ASYMMETRY
    return MetricOutcome(
        metric=metric.key,
        label=metric.label,
        on=on,
        unit=(
            asymmetry_unit(metric.asymmetry_form, metric.unit)
            if asymmetry
            else unit_words(metric.unit)
        ),
        important_change=important,
        splits=tuple(splits),
    )


def _sizes(rows: OutcomeRows) -> _Sizes:
    return _Sizes(
        measured=rows.call.size,
        told=int(np.sum(rows.call != CANNOT_SAY)),
        compared=int(np.isfinite(rows.gain).sum()),
        shrank=int(np.sum(rows.call == IMPROVED)),
    )


def _hidden_whole(sizes: _Sizes, least: int) -> _Hidden:
    measured = sizes.measured < least
    told = measured or 0 < sizes.told < least
    return _Hidden(
        measured=measured,
        told=told,
        compared=measured or 0 < sizes.compared < least,
        shrank=told or 0 < sizes.shrank < least,
    )


def _hidden_levels(levels: list[_Sizes], whole: _Hidden, least: int) -> list[_Hidden]:
    """What is not shown of each level, so that the whole less the others gives nothing away."""
    measured = _family([one.measured for one in levels], [whole.measured] * len(levels), least)
    told = _family([one.told for one in levels], _either(measured, whole=whole.told), least)
    compared = _family(
        [one.compared for one in levels], _either(measured, whole=whole.compared), least
    )
    shrank = _family([one.shrank for one in levels], _either(told, whole=whole.shrank), least)
    return [
        _Hidden(measured=one, told=two, compared=three, shrank=four)
        for one, two, three, four in zip(measured, told, compared, shrank, strict=True)
    ]


def _family(sizes: list[int], forced: list[bool], least: int) -> list[bool]:
    return list(withheld_groups(sizes, least, forced=forced).beside_the_whole)


def _either(hidden: list[bool], *, whole: bool) -> list[bool]:
    return [one or whole for one in hidden]


def _group(
    level: str,
    rows: OutcomeRows,
    hidden: _Hidden,
    on: On,
    important: float | None,
    least: int,
) -> GroupOutcome:
    sizes = _sizes(rows)

    def of_told(name: str, mask: Flags) -> Part:
        return part(name, int(mask.sum()), sizes.told, least, hidden=hidden.told)

    gained = np.zeros(0, dtype=np.bool_)
    if important is not None:
        # 3.3 - 1.3 is an important change of 2, too.
        gained = (rows.gain >= important * (1.0 - ROUNDING)) & (rows.call != CANNOT_SAY)
    return GroupOutcome(
        level=level,
        improved=of_told("improved", rows.call == IMPROVED),
        unchanged=of_told("unchanged", rows.call == UNCHANGED),
        worsened=of_told("worsened", rows.call == WORSENED),
        # Beside it the number of verdicts could be worked out.
        cannot_say=part(
            "cannot_say",
            sizes.measured - sizes.told,
            sizes.measured,
            least,
            hidden=hidden.told or hidden.measured,
        ),
        important=None if important is None else of_told("important", gained),
        change=amount(mean_of(rows.gain[np.isfinite(rows.gain)]), hidden=hidden.compared),
        regression=None if hidden.compared else _regression(rows, least),
        moved=_moved(rows, least, hidden=hidden.shrank) if on is On.ASYMMETRY else (),
        withheld=hidden.measured,
    )


def amount(mean: Mean, *, hidden: bool = False) -> Amount:
    """A mean with its interval; its numbers are None where they do not exist or are withheld."""
    if hidden:
        return Amount(n=None)
    return Amount(
        n=mean.n,
        mean=number_or_none(mean.mean),
        low=number_or_none(mean.low),
        high=number_or_none(mean.high),
    )


def _regression(rows: OutcomeRows, least: int) -> float | None:
    """Mean of what was to be expected by itself of those whose change is told."""
    known = rows.expected[np.isfinite(rows.gain) & np.isfinite(rows.expected)]
    return float(known.mean()) if known.size >= least else None


def _moved(rows: OutcomeRows, least: int, *, hidden: bool) -> tuple[tuple[SideMoved, Part], ...]:
    """Which side moved of the asymmetries that shrank beyond error; one that did not cross over."""
    moved = rows.moved[rows.call == IMPROVED]
    if not moved.size and not hidden:
        return ()
    return tuple(
        (
            one,
            part(one.value, int(np.sum(moved == at)), moved.size, least, hidden=hidden),
        )
        for at, one in enumerate(SideMoved)
        if one is not SideMoved.CROSSED_OVER
    )
