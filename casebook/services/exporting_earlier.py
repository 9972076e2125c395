"""What an export gives away together with those that went before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from casebook.domain.exporting import Trait
from casebook.domain.risk_words import RUNGS, earlier_words
from casebook.storage.export_runs import ExportRun

Levels = Mapping[str, int]


def beside_earlier(
    runs: Sequence[ExportRun], runners: Sequence[int], levels: Levels
) -> tuple[str, ...]:
    """That whoever holds an earlier export too can learn more than this one was made to tell.

    Records of two exports can be matched by what was measured, whatever their keys. Where one
    tells a trait finer and the other another one, each class is divided by both.

    Parameters
    ----------
    runs : sequence of ExportRun
        The log.
    runners : sequence of int
        Ids of those who leave now.
    levels : mapping of str to int
        Rung of each quasi-identifier that leaves now.

    Returns
    -------
    tuple of str
        A sentence, or none where no earlier export held two of these runners or more and told
        another trait finer.
    """
    leaving = set(runners)
    found = [
        (run.number, finer)
        for run in runs
        if len(leaving & set(run.runners)) > 1
        and (finer := _finer(run.risk["levels"], levels))
        and _finer(levels, run.risk["levels"])
    ]
    if not found:
        return ()
    traits = tuple(trait for trait in Trait if any(trait in finer for _, finer in found))
    return (earlier_words(sorted(number for number, _ in found), traits),)


def _finer(one: Levels, other: Levels) -> tuple[Trait, ...]:
    """Traits that one export tells finer than the other; the last rung tells nothing."""
    return tuple(
        trait
        for trait, rungs in RUNGS.items()
        if one.get(trait, len(rungs)) < min(other.get(trait, len(rungs)), len(rungs))
    )
