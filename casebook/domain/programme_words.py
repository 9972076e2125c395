"""One paragraph on what changed about a programme, with what argues against it.

It is made of the numbers alone. It never says that the programme made a change: complaints
settle, people train, and one runner has no control.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from casebook.domain.date_words import day_words
from casebook.domain.metrics import Metric
from casebook.domain.number_words import share_words
from casebook.domain.programme_effects import (
    Counts,
    MetricEffect,
    PhaseName,
    ProgrammeEffect,
    Step,
)
from casebook.domain.verdicts import Call, Reason, SideMoved, What
from casebook.domain.wording import (
    CALLS,
    ONLY_BETTER_FELL,
    REASONS,
    SIDES_MOVED,
    asymmetry_unit,
    number_words,
    side_words,
    unit_words,
)

# Below this share of the planned sessions, what was prescribed was hardly tried. Common
# practice, no source.
LOW_ADHERENCE = 0.5
# With so many targeted measures one of them improves by chance often enough to say so (10 %).
MANY = 4
# Of a change that is not there being called improved: one end of a 95 % interval.
CHANCE = 0.025
ALWAYS = "complaints and measures also change with time and training alone"
AGAINST = "What argues against the programme having a part in it"
WEAKENS = "What weakens this answer"
# Of a measure of which neither way is better by itself.
AIMED = {
    Call.IMPROVED: "moved the way that was aimed at, beyond error",
    Call.WORSENED: "moved against the way that was aimed at, beyond error",
}
NO_TARGET = "No target itself"
NOT_WHY = "None of this says why it changed."


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeSaid:
    """The sentences on a programme, apart, so that a sheet can set them one below the other.

    Parameters
    ----------
    opening : str
        The programme, how well it was followed, and how many of its measures did what.
    measures : tuple of str
        A sentence for each targeted measure, then for what moved of their own sides.
    beside : str
        The other measures as a comparison, and pain beyond the limits; '' where there is neither.
    lead : str
        What the arguments are: against the programme's part in it, or what weakens the answer.
    against : tuple of str
        The arguments, strongest first, each without a full stop.
    """

    opening: str
    measures: tuple[str, ...]
    beside: str
    lead: str
    against: tuple[str, ...]


def programme_paragraph(effect: ProgrammeEffect, metrics: Mapping[str, Metric]) -> str:
    """What changed about a programme, in plain words, with what argues against it.

    Parameters
    ----------
    effect : ProgrammeEffect
    metrics : mapping of str to Metric
        Of every metric in it.

    Returns
    -------
    str
        One paragraph: the programme and how well it was followed, each targeted measure with
        its numbers, the others as a comparison, what argues against reading the change as the
        programme's doing, and that none of it says why.
    """
    said = programme_said(effect, metrics)
    sentences = (said.opening, *said.measures, said.beside)
    against = f"{said.lead}: {'; '.join(said.against)}."
    return " ".join([*(one for one in sentences if one), against, NOT_WHY])


def programme_said(effect: ProgrammeEffect, metrics: Mapping[str, Metric]) -> ProgrammeSaid:
    """The sentences of `programme_paragraph`, apart.

    Parameters
    ----------
    effect : ProgrammeEffect
    metrics : mapping of str to Metric
        Of every metric in it.
    """
    targeted = [one for one in effect.effects if one.targeted]
    many = "It had no target that was measured, so nothing can be held against it."
    measures: tuple[str, ...] = ()
    if targeted:
        many = f"Of {_counted(len(targeted), 'targeted measure')}, {counts_words(effect.targeted)}."
        measures = (
            *(effect_sentence(one, metrics[one.metric]) for one in targeted),
            *(
                f"{NO_TARGET}: {effect_sentence(one, metrics[one.metric])}"
                for one in effect.own_sides_moved
            ),
        )
    beside = []
    others = sum(not one.targeted for one in effect.effects)
    if others:
        beside.append(
            f"Of {_counted(others, 'other measure')} of the same runner, "
            f"{counts_words(effect.others)}."
        )
    if effect.pain_weeks:
        beside.append(f"Pain was beyond the usual limits in {_counted(effect.pain_weeks, 'week')}.")
    return ProgrammeSaid(
        opening=f"{_opening(effect)} {many}",
        measures=measures,
        beside=" ".join(beside),
        lead=AGAINST if effect.targeted.improved else WEAKENS,
        against=arguments_against(effect, metrics),
    )


def asymmetry_answers(effect: ProgrammeEffect, metrics: Mapping[str, Metric]) -> tuple[str, ...]:
    """Did the programme's time bring a smaller asymmetry? One short sentence for each targeted.

    Parameters
    ----------
    effect : ProgrammeEffect
    metrics : mapping of str to Metric
        Of every metric in it.

    Returns
    -------
    tuple of str
        Empty where no asymmetry was targeted.
    """
    told = []
    for one in effect.effects:
        if not one.targeted or one.what is not What.ASYMMETRY:
            continue
        metric = metrics[one.metric]
        words = f"{metric.label}: {'not measured' if one.change is None else call_words(one)}"
        before = one.phases[0].mean
        if one.change is not None and before is not None:
            unit = _unit(one, metric)
            after = _value(one, before + one.change.change, unit)
            words += f", from {_value(one, before, unit)} to {after}"
        if one.side_moved is not None and not one.hollow:
            words += f"; {SIDES_MOVED[one.side_moved]}"
        told.append(f"{words}.")
    return tuple(told)


def effect_sentence(effect: MetricEffect, metric: Metric) -> str:
    """What one measure did about a programme, with its numbers and its error.

    Parameters
    ----------
    effect : MetricEffect
    metric : Metric
    """
    name = _name(effect, metric)
    before = next(phase for phase in effect.phases if phase.name is PhaseName.BEFORE)
    change = effect.change
    if change is None or before.mean is None:
        lacks = "before the start" if before.mean is None else "since the start"
        return f"{name}: not measured {lacks}."
    unit = _unit(effect, metric)
    visits = f"mean of {before.visits} visits" if before.visits > 1 else "1 visit"
    start, end = before.mean, before.mean + change.change
    told = (
        f"{name}: from {_value(effect, start, unit)} before ({visits}) to "
        f"{_value(effect, end, unit)}, {call_words(effect)}"
    )
    if effect.call is Call.CANNOT_SAY and effect.what is What.ASYMMETRY and start * end < 0.0:
        told += f": {REASONS[Reason.CROSSED_OVER]}"
    told += f" ({_interval(change, unit)})"
    if effect.side_moved is not None and not effect.hollow:
        told += f"; {SIDES_MOVED[effect.side_moved]}"
    if effect.levels is not None:
        told += f"; about the start the level changes by {_step(effect.levels.level, unit)} and "
        told += f"the slope by {_step(effect.levels.slope, unit, ' a week')}"
    elif effect.overlap is not None:
        higher = effect.overlap.higher
        way, share = ("higher", higher) if higher >= 0.5 else ("lower", 1.0 - higher)
        told += f"; a visit during it is {way} than one before in {share_words(share)} of the pairs"
    if effect.kept is not None:
        told += f"; at the last visit after its end, against before: {CALLS[effect.kept.call]}"
    return f"{told}."


def arguments_against(effect: ProgrammeEffect, metrics: Mapping[str, Metric]) -> tuple[str, ...]:
    """What argues against the programme having a part in an improvement, strongest first.

    Where no targeted measure improved, what weakens that answer instead.

    Parameters
    ----------
    effect : ProgrammeEffect
    metrics : mapping of str to Metric

    Returns
    -------
    tuple of str
        Each without a full stop; at least one, since time alone always argues so.
    """
    return (
        *_by_others(effect),
        *_by_comparison(effect),
        *_by_measure(effect, metrics),
        *_by_own_sides(effect, metrics),
        *_by_lack(effect),
        *_by_programme(effect),
        ALWAYS,
    )


def _by_others(effect: ProgrammeEffect) -> Iterator[str]:
    titles = [f"'{title}'" for title in effect.overlapping]
    if titles:
        ran = "another programme" if len(titles) == 1 else f"{len(titles)} other programmes"
        yield (
            f"{ran} ran in the same weeks ({', '.join(titles)}), and what changed beside each of "
            "them can't be told apart"
        )


def _by_comparison(effect: ProgrammeEffect) -> Iterator[str]:
    targeted, others = effect.targeted.share_improved, effect.others.share_improved
    if not effect.targeted.improved or targeted is None:
        return
    if others is None:
        yield "no other measure of this runner can be told, so there is no comparison"
    elif others >= targeted:
        yield (
            "measures that it was not meant to change improved at least as often "
            f"({effect.others.improved} of {effect.others.told})"
        )
    if effect.targeted.told >= MANY:
        yield (
            f"of {effect.targeted.told} measures about {CHANCE * effect.targeted.told:.1f} would "
            "be called improved though nothing changed"
        )


def _by_measure(effect: ProgrammeEffect, metrics: Mapping[str, Metric]) -> Iterator[str]:
    for one in effect.effects:
        if one.targeted:
            metric = metrics[one.metric]
            for words in (*_by_side(one), *_by_itself(one, metric), *_by_visits(one, metric)):
                yield f"{_name(one, metric)}: {words}"


def _by_own_sides(effect: ProgrammeEffect, metrics: Mapping[str, Metric]) -> Iterator[str]:
    for one in effect.own_sides_moved:
        if one.call is Call.WORSENED:
            yield f"{_name(one, metrics[one.metric])}: it was no target itself, and worsened"


def _by_side(one: MetricEffect) -> Iterator[str]:
    if one.hollow:
        yield "it came of the better side falling, which is no gain"
    elif one.side_moved is SideMoved.BETTER_SIDE_FELL:
        yield "the better side fell"


def _by_itself(one: MetricEffect, metric: Metric) -> Iterator[str]:
    """What of an improvement is expected though nothing changed, or began before the start."""
    unit = _unit(one, metric)
    regression = one.regression
    # The part that is expected may lie the other way: then it argues for the change.
    that_way = (
        regression is not None
        and one.change is not None
        and regression.expected * one.change.change > 0
    )
    if one.call is Call.IMPROVED and regression is not None and that_way:
        part = number_words(regression.expected, unit, signed=True)
        beyond = "more" if one.beyond_regression else "no more, beyond error,"
        yield (
            f"a change of {part} is expected by itself, since extreme readings are "
            f"followed by less extreme ones (it changed by {beyond} than that)"
        )
    if one.levels is not None and one.levels.slope_before.beyond_error:
        slope = number_words(one.levels.slope_before.change, unit, signed=True)
        yield f"it was already moving before the start ({slope} a week)"


def _by_visits(one: MetricEffect, metric: Metric) -> Iterator[str]:
    if one.change is None:
        return
    if one.call is Call.UNCHANGED:
        unseen = one.change.within
        if one.change.low is not None:
            unseen = one.change.change - one.change.low
        if unseen is not None:
            told = number_words(unseen, _unit(one, metric))
            yield f"changes up to {told} could not have been seen"
    if one.phases[0].visits == 1:
        yield "it rests on one visit before the start"
    if one.call is Call.IMPROVED and one.kept is not None and one.kept.call is not Call.IMPROVED:
        yield "the improvement is not seen any more after the programme's end"


def _by_lack(effect: ProgrammeEffect) -> Iterator[str]:
    """What can't be told of the targeted measures that improved, and would argue against it."""
    improved = [
        one
        for one in effect.effects
        if one.targeted and one.call is Call.IMPROVED and not one.hollow
    ]
    if any(one.levels is None for one in improved):
        yield "too few visits to tell whether what improved was moving before the start already"
    if any(one.regression is None for one in improved):
        yield (
            "what is picked since it read far out reads less so the next time by itself; how much "
            "of an improvement that is can't be told here"
        )


def _by_programme(effect: ProgrammeEffect) -> Iterator[str]:
    share = effect.adherence.share
    if share is None:
        yield "it was not recorded how much of it was done"
    elif share < LOW_ADHERENCE:
        yield f"only {share_words(share)} of the planned sessions were done"
    weeks = effect.whole_weeks
    if share is not None and weeks is not None and effect.adherence.weeks < weeks:
        lacking = _counted(weeks - effect.adherence.weeks, "week")
        yield f"how much of it was done in {lacking} of its {weeks} was not recorded"
    if effect.left_out:
        yield f"{_counted(effect.left_out, 'visit')} left out as not like for like"


def _opening(effect: ProgrammeEffect) -> str:
    until = "and still running" if effect.ended_on is None else f"to {day_words(effect.ended_on)}"
    told = f"Programme '{effect.title}' ({day_words(effect.started_on)} {until})"
    adherence = effect.adherence
    if adherence.share is None:
        return f"{told}."
    return (
        f"{told}: {adherence.done} of {adherence.planned} planned sessions done in the "
        f"{_counted(adherence.weeks, 'week')} entered."
    )


def call_words(effect: MetricEffect) -> str:
    """The verdict on a measure's change; a gap that closed from the wrong side is no gain."""
    if effect.hollow:
        return f"smaller beyond error, but {ONLY_BETTER_FELL}"
    return (AIMED if effect.aimed else {}).get(effect.call, CALLS[effect.call])


def counts_words(counts: Counts) -> str:
    """How many measures did what, those that are no gain apart from those that improved.

    Examples
    --------
    >>> counts_words(Counts(improved=1, hollow=1, worsened=0, unchanged=2, not_told=0))
    '1 improved beyond error, 1 shrank only because the better side fell, which is no gain, \
2 showed no change beyond error'
    """
    parts = [
        f"{number} {words}"
        for number, words in (
            (counts.improved, CALLS[Call.IMPROVED]),
            (counts.hollow, f"shrank {ONLY_BETTER_FELL}"),
            (counts.worsened, CALLS[Call.WORSENED]),
            (counts.unchanged, "showed no change beyond error"),
            (counts.not_told, "can't be told"),
        )
        if number
    ]
    return ", ".join(parts)


def _name(effect: MetricEffect, metric: Metric) -> str:
    place = {
        What.LEFT: " (left)",
        What.RIGHT: " (right)",
        What.NONE: "",
        What.ASYMMETRY: " (asymmetry)",
    }[effect.what]
    return f"{metric.label}{place}"


def _unit(effect: MetricEffect, metric: Metric) -> str:
    if effect.what is What.ASYMMETRY:
        return asymmetry_unit(metric.asymmetry_form, metric.unit)
    return unit_words(metric.unit)


def _value(effect: MetricEffect, value: float, unit: str) -> str:
    if effect.what is What.ASYMMETRY:
        return f"{number_words(abs(value), unit)} ({side_words(value)})"
    return number_words(value, unit)


def _interval(step: Step, unit: str) -> str:
    change = f"change {number_words(step.change, unit, signed=True)}"
    if step.within is not None:
        return f"{change}; changes up to {number_words(step.within, unit)} are within error"
    if step.low is None or step.high is None:
        return f"{change}, error not known"
    return (
        f"{change}, 95 % interval {number_words(step.low, unit, signed=True)} to "
        f"{number_words(step.high, unit, signed=True)}"
    )


def _step(step: Step, unit: str, rate: str = "") -> str:
    beyond = "beyond error" if step.beyond_error else "within error"
    return f"{number_words(step.change, unit, signed=True)}{rate} ({beyond})"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
