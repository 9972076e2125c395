"""What a summary tells of a runner's programmes, and what comes next."""

from __future__ import annotations

from datetime import date

from casebook.domain.date_words import day_words
from casebook.domain.programme_effects import adherence_of
from casebook.domain.programmes import Block, Programme, Target
from casebook.domain.summaries import Part, Points, Reader, Section, Text
from casebook.domain.summary_words import TARGET_PLACES, block_words, shortened
from casebook.domain.target_outcomes import WAYS, target_unit
from casebook.domain.wording import number_words
from casebook.services.prescribing import StoredPrescription
from casebook.services.reviewing import Review

NOT_APART = "What changed while they ran together can't be told apart between them."
LONGEST_TITLE = 120
LONGEST_RATIONALE = 400
LONGEST_EXERCISE = 140
LONGEST_RULE = 140
MOST_BLOCKS = 10
MOST_TARGETS = 6


def prescribed(review: Review, reader: Reader, stored: StoredPrescription | None) -> Section:
    """The latest programme with its exercises, and how much of it was done.

    `stored` is that programme with all its details, where there is one.
    """
    heading = "What was prescribed"
    if not review.programmes:
        return Section(heading=heading, parts=(Text(words="No programme is stored."),))
    ordered = sorted(review.programmes, key=lambda one: one.started_on)
    latest = ordered[-1]
    parts: list[Part] = [Text(words=_programme_words(latest, reader))]
    if latest.blocks:
        parts.append(Points(items=_blocks(latest, stored)))
    done = _adherence_words(latest)
    if done:
        parts.append(Text(words=done))
    others = ordered[:-1]
    beside = [one for one in others if one.ended_on is None or one.ended_on > latest.started_on]
    earlier = [one for one in others if one not in beside]
    if beside:
        # Only the latest is told of: whoever reads it must know that it was not alone.
        parts.append(Text(words=f"In the same weeks: {_listed(beside)}. {NOT_APART}"))
    if earlier:
        parts.append(Text(words=f"Before that: {_listed(earlier)}."))
    return Section(heading=heading, parts=tuple(parts))


def _listed(programmes: list[Programme]) -> str:
    return "; ".join(f"{_title(one)}, {_when(one)}" for one in programmes)


def _title(programme: Programme) -> str:
    return shortened(programme.title, LONGEST_TITLE)


def _when(programme: Programme) -> str:
    if programme.ended_on is None:
        return f"since {day_words(programme.started_on)}"
    return f"from {day_words(programme.started_on)} to {day_words(programme.ended_on)}"


def _programme_words(programme: Programme, reader: Reader) -> str:
    told = f"{_title(programme)}, {_when(programme)}."
    reason = shortened(programme.rationale, LONGEST_RATIONALE)
    if reader is Reader.RUNNER or not reason:
        return told
    return f"{told} Rationale: {reason}"


def _blocks(programme: Programme, stored: StoredPrescription | None) -> tuple[str, ...]:
    blocks = sorted(programme.blocks, key=lambda one: one.position)
    told = [
        block_words(one, shortened(one.exercise, LONGEST_EXERCISE)) + _more_words(one, stored)
        for one in blocks
    ]
    more = len(told) - MOST_BLOCKS
    if more > 0:
        told = [*told[:MOST_BLOCKS], f"and {more} more, which stand in the casebook"]
    return tuple(told)


def _more_words(block: Block, stored: StoredPrescription | None) -> str:
    """Tempo, and what calls for easing off: the two that whoever does it must know."""
    if stored is None:
        return ""
    detail = stored.prescription.detail_of(block)
    tempo = f"; tempo {detail.tempo.words}" if detail.tempo is not None else ""
    ease = shortened(detail.ease_when, LONGEST_RULE).rstrip(".")
    return f"{tempo}{f'. Ease off: {ease}' if ease else ''}"


def _adherence_words(programme: Programme) -> str:
    done = adherence_of(programme.adherence)
    if not done.weeks or done.share is None:
        return ""
    weeks = "1 week that was" if done.weeks == 1 else f"{done.weeks} weeks that were"
    return (
        f"Done: {done.done} of {done.planned} planned sessions ({100 * done.share:.0f} %), in the "
        f"{weeks} noted."
    )


def next_steps(review: Review, today: date) -> tuple[str, ...]:
    """What is due: the next visit, targets ahead, a programme that runs on."""
    told = [_next_visit(review, today)]
    running = [one for one in review.programmes if one.ended_on is None or one.ended_on >= today]
    for programme in running:
        until = f" until {day_words(programme.ended_on)}" if programme.ended_on else ""
        does = "goes on"
        if programme.started_on > today:
            does = f"starts on {day_words(programme.started_on)}"
            until = until.replace("until", "and runs until")
        told.append(f"The programme {_title(programme)} {does}{until}.")
    ahead = sorted(
        (
            target
            for programme in review.programmes
            for target in programme.targets
            if target.due_on >= today
        ),
        key=lambda one: (one.due_on, one.metric, one.what),
    )
    told += [_target_words(target, review) for target in ahead[:MOST_TARGETS]]
    return tuple(told)


def _next_visit(review: Review, today: date) -> str:
    due = review.visits[-1].next_due_on if review.visits else None
    if due is None:
        return "No next visit is noted."
    late = ", which has passed" if due < today else ""
    return f"The next visit is due on {day_words(due)}{late}."


def _target_words(target: Target, review: Review) -> str:
    metric = review.metrics.get(target.metric)
    if metric is None:
        return f"Target by {day_words(target.due_on)}: {target.metric}, not measured yet."
    amount = number_words(target.amount, target_unit(target, metric))
    what = f"{metric.label}{TARGET_PLACES[target.what]}"
    return f"Target by {day_words(target.due_on)}: {what}, {amount} {WAYS[target.direction]}."
