"""What a summary tells of targets, programmes, hypotheses, and of what calls for care."""

from __future__ import annotations

from datetime import date

from casebook.domain.cautions import CAUTION_ACTIONS
from casebook.domain.date_words import day_words
from casebook.domain.programme_effects import ProgrammeEffect
from casebook.domain.programme_words import ALWAYS, NOT_WHY, ProgrammeSaid, programme_said
from casebook.domain.summaries import Part, Points, Reader, Text
from casebook.domain.summary_words import (
    CAUTION_FOUND_FOR_RUNNER,
    shortened,
    target_sentence,
)
from casebook.domain.target_outcomes import TargetCall
from casebook.services.cautioning import RunnerCaution, list_cautions, list_pain_flags
from casebook.services.hypothesising import score_hypotheses
from casebook.services.norming import Norms, clinic_norms
from casebook.services.opened import Casebook
from casebook.services.outcomes import programme_effect
from casebook.services.pain_runs import runs_of_pain
from casebook.services.prescribing import find_last_prescription
from casebook.services.targeting import ToldTarget, list_targets

MOST_TARGETS = 5
MOST_HYPOTHESES = 2
MOST_PAIN = 2
LONGEST_DRIVER = 200
LONGEST_REASON = 160


def outcome_parts(
    casebook: Casebook, code: str, reader: Reader, today: date, norms: Norms | None
) -> list[Part]:
    """What became of the targets that are due, of the latest programme and of the hypotheses."""
    return [
        *_targets(list_targets(casebook, code, today=today), reader),
        *_programme(casebook, code, reader, norms),
        *(_hypotheses(casebook, code, today) if reader is Reader.REFERRER else []),
    ]


def _targets(told: tuple[ToldTarget, ...], reader: Reader) -> list[Part]:
    due = [one for one in told if one.outcome.call is not TargetCall.NOT_DUE]
    if not due:
        return []
    shown = sorted(due, key=lambda one: one.target.due_on, reverse=True)[:MOST_TARGETS]
    items = [
        target_sentence(one.outcome, one.metric) if reader is Reader.RUNNER else one.words
        for one in shown
    ]
    more = len(due) - len(shown)
    if more:
        items.append(f"{more} earlier ones stand in the casebook.")
    return [Text(words="Targets:"), Points(items=tuple(items))]


def _programme(casebook: Casebook, code: str, reader: Reader, norms: Norms | None) -> list[Part]:
    stored = find_last_prescription(casebook, code)
    if stored is None:
        return []
    if reader is Reader.REFERRER:
        # What the page and the command line say, with the same baselines.
        known = clinic_norms(casebook) if norms is None else norms
        told = programme_effect(casebook, stored.programme_id, norms=known)
        return _said_parts(programme_said(told.effect, told.metrics))
    words = _counts_for_runner(programme_effect(casebook, stored.programme_id).effect)
    return [Text(words=words)] if words else []


def _said_parts(said: ProgrammeSaid) -> list[Part]:
    """The sentences on a programme one below the other: as one paragraph nobody reads them."""
    return [
        Text(words=said.opening),
        *([Points(items=said.measures)] if said.measures else []),
        *([Text(words=said.beside)] if said.beside else []),
        Text(words=f"{said.lead}: {'; '.join(said.against)}. {NOT_WHY}"),
    ]


def _counts_for_runner(effect: ProgrammeEffect) -> str:
    counts = effect.targeted
    many = counts.told + counts.not_told
    if not many:
        return ""
    parts = (
        (counts.improved, "better"),
        (counts.hollow, "smaller only because the better side fell, which is no gain"),
        (counts.worsened, "worse"),
        (counts.unchanged, "without a change that stands out"),
        (counts.not_told, "that can't be told"),
    )
    told = ", ".join(f"{number} {words}" for number, words in parts if number)
    things = "1 measure" if many == 1 else f"{many} measures"
    why = f"That does not show that the programme did it: {ALWAYS}." if counts.improved else NOT_WHY
    return f"Of the {things} that the programme was meant to change: {told}. {why}"


def _hypotheses(casebook: Casebook, code: str, today: date) -> list[Part]:
    scored = score_hypotheses(casebook, code, today=today)
    items = tuple(
        f"{shortened((one.stored.counts or one.stored.latest).driver, LONGEST_DRIVER)}: {one.words}"
        for one in scored[-MOST_HYPOTHESES:]
    )
    return (
        [Text(words="Working hypotheses, as they were written before:"), Points(items=items)]
        if (items)
        else []
    )


def prompt_parts(casebook: Casebook, code: str, reader: Reader) -> list[Part]:
    """Findings that call for thinking of a referral, with what was done about them.

    The runner is asked to talk with the clinician: which finding means what is not for a sheet.
    """
    found = list_cautions(casebook, code, include_seen=reader is Reader.REFERRER)
    if not found:
        return []
    if reader is Reader.RUNNER:
        return [Text(words=CAUTION_FOUND_FOR_RUNNER, strong=True)]
    return [Text(words=" ".join(_caution_words(one) for one in found), strong=True)]


def pain_parts(casebook: Casebook, code: str, today: date) -> list[Part]:
    """Recent weeks with pain beyond the usual limits that nobody has looked at.

    Of those of long ago only that they are there: what to do now does not follow from them.
    """
    runs = runs_of_pain(list_pain_flags(casebook, code))
    recent = [one for one in runs if one.is_recent(today)]
    items = [one.run.words for one in recent[-MOST_PAIN:]]
    old = sum(len(one.weeks) for one in runs if one not in recent)
    if old:
        weeks = "1 week" if old == 1 else f"{old} weeks"
        items.append(
            f"Earlier, pain was beyond the usual limits in {weeks}; nobody has noted having looked "
            "at it."
        )
    return [Points(items=tuple(items))] if items else []


def _caution_words(one: RunnerCaution) -> str:
    words = f"Visit of {day_words(one.visited_on)}: {one.caution.words}"
    if one.seen is None:
        return words
    action = CAUTION_ACTIONS[one.seen.action] if one.seen.action else "seen"
    return (
        f"{words} On {day_words(one.seen.at.date())}: {action} "
        f"({shortened(one.seen.reason, LONGEST_REASON)})."
    )
