"""The sentences of a summary, for the runner in plain words and for the referrer with errors.

None of them says what causes a finding, names a disease, or tells anybody what to do.
"""

from __future__ import annotations

from casebook.domain.date_words import day_words
from casebook.domain.metrics import ErrorOrigin, Metric
from casebook.domain.programmes import Block, TargetOn
from casebook.domain.sides import InjurySide
from casebook.domain.summaries import Reader
from casebook.domain.target_outcomes import (
    TARGET_CALLS,
    WAYS,
    TargetCall,
    TargetOutcome,
    target_unit,
)
from casebook.domain.verdicts import Call, FlagKind, Reason, SideMoved, Verdict, What
from casebook.domain.wording import (
    CALLS,
    ORIGINS,
    REASONS,
    SIDES_MOVED,
    asymmetry_unit,
    like_for_like_words,
    number_words,
    side_words,
    unit_words,
)

CAUTION_FOR_RUNNER = (
    "This sheet tells how measurements changed. It does not tell why, it is no diagnosis, and it "
    "does not replace talking with your clinician. If you have pain at night or at rest, "
    "tenderness on a bone, numbness or weakness, a swollen or hot calf, fever, or lose weight "
    "without knowing why, or if pain keeps rising: stop and ask for medical advice, and do not "
    "wait for the next visit."
)
LOCAL_RULES = (
    "Made within local rules and licensed practice: what may be assessed, advised or passed on, "
    "and to whom, is for the clinician who hands this over to answer for."
)
NOT_ADVICE = (
    "Where a target or a step is named here, it is what your clinician has noted; change nothing "
    "of your programme on the ground of this sheet alone."
)
HOW_SURE_FOR_RUNNER = (
    "No measurement is exact: the same runner measured twice gives two numbers. A change is "
    "called a change here only when it is larger than that usually makes it (in 95 of 100 cases)."
)
HOW_SURE_FOR_REFERRER = (
    "MDC95: minimal detectable change at the 95 % level; change ± MDC95 is the change's 95 % "
    "interval (a grade has none: there it is the step that repeat grading stays within). "
    "Asymmetry is right minus left; above zero the right is the larger."
)
CAUTION_FOUND_FOR_RUNNER = (
    "Something was noted at a visit that another professional may need to look at. Ask your "
    "clinician about it before you go on with training."
)
CHART_KEY = (
    "Left: circles and an unbroken line. Right: squares and a dashed line. Hollow marks: the "
    "start. Grey field: as far from the start as measuring alone usually makes it. Thick bar "
    "below: a programme ran."
)
CROSSES_KEY = " Crosses: visits that were not like for like with the start."
ORIGINS_OF_CLINIC = ORIGINS | {ErrorOrigin.OWN: "this clinic's own repeat measurements"}

PLACES = {
    What.LEFT: "left side",
    What.RIGHT: "right side",
    What.NONE: "",
    What.ASYMMETRY: "difference between left and right",
}

PLAIN_FLAGS = {
    FlagKind.ASYMMETRY_ABOVE_BASELINE: (
        "the difference between left and right is larger than at the start"
    ),
    FlagKind.ASYMMETRY_ABOVE_BEST: (
        "the difference between left and right is larger than it was at its best"
    ),
    FlagKind.DRIFT: "the difference between left and right has been growing over several visits",
    FlagKind.TARGET_MISSED: "the target was missed at its date",
    FlagKind.BETTER_SIDE_FELL: (
        "left and right are closer together, but only because the better side fell"
    ),
    FlagKind.SYMPTOM_UP: "it has become worse",
}

PLAIN_REASONS = {
    Reason.NO_ERROR_FIGURE: "how exactly it can be measured is not known yet",
    Reason.ONLY_WITHIN_SESSION: "how much it varies from visit to visit is not known yet",
    Reason.FEWER_TRIALS_THAN_FIGURE: "it was measured too few times",
    Reason.NOT_LIKE_FOR_LIKE: "the visits were not alike",
    Reason.MISSING: "it was not measured both times",
    Reason.NO_BASELINE: "it was not measured at the start",
    Reason.NO_LATER_VISIT: "it was not measured again",
    Reason.CROSSED_OVER: "it went over to the other side, which is not the same as getting smaller",
    Reason.FORMULA_REFUSED: "the two sides can't be compared in this way",
}
PLAIN_CALLS = {
    Call.IMPROVED: "better by more than measuring alone usually makes it",
    Call.WORSENED: "worse by more than measuring alone usually makes it",
    Call.UNCHANGED: "without a change that stands out",
    Call.CANNOT_SAY: "of which it can't be said",
}
ONLY_THE_BETTER_SIDE = "smaller, but only because the better side fell: no improvement"


def shortened(text: str, longest: int) -> str:
    r"""A text on one line; a longer one is cut at a word, and says so.

    Examples
    --------
    >>> shortened("one  two\nthree", 40)
    'one two three'
    >>> shortened("one two three", 9)
    'one two … (shortened)'
    """
    whole = " ".join(text.split())
    if len(whole) <= longest:
        return whole
    cut = whole[: longest + 1]
    head = cut.rsplit(" ", 1)[0] if " " in cut else cut[:longest]
    return f"{head.rstrip(' ,;:.')} … (shortened)"


def unit_of(verdict: Verdict, metric: Metric) -> str:
    """The unit in words of a verdict's numbers."""
    if verdict.what is What.ASYMMETRY:
        return asymmetry_unit(verdict.asymmetry_form, metric.unit)
    return unit_words(metric.unit)


def is_hollow(verdict: Verdict) -> bool:
    """An asymmetry that shrank only since the better side fell: no good news."""
    return verdict.verdict is Call.IMPROVED and verdict.fell_together


def size_words(number: float | None, verdict: Verdict, metric: Metric, reader: Reader) -> str:
    """A value of the verdict; an asymmetry always says which side is the larger."""
    unit = unit_of(verdict, metric)
    if verdict.what is not What.ASYMMETRY or number is None:
        return number_words(number, unit)
    shown = abs(number) if reader is Reader.RUNNER else number
    signed = reader is Reader.REFERRER
    return f"{number_words(shown, unit, signed=signed)} ({side_words(number)})"


def mdc_words(verdict: Verdict, metric: Metric) -> str:
    """The MDC with its unit; a lower bound says so."""
    bound = (
        "at least "
        if verdict.mdc95 is not None and verdict.error_origin is ErrorOrigin.WITHIN_SESSION
        else ""
    )
    return f"{bound}{number_words(verdict.mdc95, unit_of(verdict, metric))}"


def change_sentence(verdict: Verdict, metric: Metric) -> str:
    """What one value did since the start and how sure that is, for the runner."""
    place = PLACES[verdict.what]
    sizes = (
        f"{size_words(verdict.baseline, verdict, metric, Reader.RUNNER)} at the start"
        if verdict.latest is None or verdict.latest_date is None
        else f"from {size_words(verdict.baseline, verdict, metric, Reader.RUNNER)} at the start to "
        f"{size_words(verdict.latest, verdict, metric, Reader.RUNNER)} on "
        f"{day_words(verdict.latest_date)}"
    )
    return f"{metric.label}{f', {place}' if place else ''}: {sizes}. {_sure(verdict, metric)}"


def _sure(verdict: Verdict, metric: Metric) -> str:
    limit = f" (up to {mdc_words(verdict, metric)})" if verdict.mdc95 is not None else ""
    beyond = f"by more than measuring alone usually makes it{limit}"
    if is_hollow(verdict):
        return f"{ONLY_THE_BETTER_SIDE[0].upper()}{ONLY_THE_BETTER_SIDE[1:]}."
    if verdict.verdict is Call.IMPROVED:
        return f"Better, {beyond}."
    if verdict.verdict is Call.WORSENED:
        return f"Worse, {beyond}."
    if verdict.verdict is Call.UNCHANGED:
        return f"No change that stands out from what measuring alone can make{limit}."
    if verdict.reason is Reason.NO_BETTER_DIRECTION:
        return f"It moved {beyond}; that is neither better nor worse."
    why = "" if verdict.reason is None else f": {PLAIN_REASONS[verdict.reason]}"
    if verdict.reason is Reason.NOT_LIKE_FOR_LIKE:
        why += f" ({like_for_like_words(verdict)})"
    return f"Whether it changed can't be said{why}."


def verdict_words(verdict: Verdict) -> str:
    """The verdict for the referrer, with which side moved, or why there is none."""
    if is_hollow(verdict):
        return ONLY_THE_BETTER_SIDE
    words = CALLS[verdict.verdict]
    if verdict.reason is not None:
        words += f": {REASONS[verdict.reason]}"
    if verdict.reason is Reason.NOT_LIKE_FOR_LIKE:
        words += f" ({like_for_like_words(verdict)})"
    # That it crossed over stands in the reason already.
    moved = verdict.which_side_moved
    if moved is not None and moved is not SideMoved.CROSSED_OVER:
        words += f"; {SIDES_MOVED[moved]}"
    return words


def by_chance_words(judged: int, reader: Reader) -> str:
    """How many of so many comparisons would look changed by error alone."""
    about = number_words(0.05 * judged)
    if reader is Reader.RUNNER:
        return (
            f"Of {judged} comparisons whose error is known, about {about} would look changed by "
            "chance in somebody in whom nothing changed."
        )
    return (
        f"Of {judged} comparisons with a known error about 5 %, that is {about}, would be called "
        "changed by error alone in a runner who did not change."
    )


TARGET_PLACES = {
    TargetOn.LEFT: ", left side",
    TargetOn.RIGHT: ", right side",
    TargetOn.NONE: "",
    TargetOn.ASYMMETRY: ", difference between left and right",
}


def target_sentence(outcome: TargetOutcome, metric: Metric) -> str:
    """What became of a target, for the runner."""
    target = outcome.target
    told = (
        f"{metric.label}{TARGET_PLACES[target.what]}, "
        f"{number_words(target.amount, target_unit(target, metric))} {WAYS[target.direction]} by "
        f"{day_words(target.due_on)}: {TARGET_CALLS[outcome.call]}"
    )
    if outcome.on_date is not None and outcome.on_date != target.due_on:
        told += f" (visit of {day_words(outcome.on_date)})"
    if not outcome.more or (outcome.why and outcome.call is not TargetCall.CANNOT_SAY):
        return f"{told}."
    return f"{told}, {outcome.more}."


SIDES = {
    InjurySide.LEFT: ", left side",
    InjurySide.RIGHT: ", right side",
    InjurySide.BOTH: ", both sides",
    InjurySide.NONE: "",
}


def block_words(block: Block, exercise: str) -> str:
    """One exercise with its side and dose; what was not noted is left out.

    Parameters
    ----------
    block : Block
    exercise : str
        Its name as it is to be shown.
    """
    dose = [
        _sets_words(block),
        f"load {block.load}" if block.load.strip() else "",
        f"hold {block.hold_s:g} s" if block.hold_s is not None else "",
        f"{block.sessions_per_week:g} a week" if block.sessions_per_week is not None else "",
    ]
    told = ", ".join(part for part in dose if part)
    return f"{exercise}{SIDES[block.side]}{f': {told}' if told else ''}"


def _sets_words(block: Block) -> str:
    if block.sets is None and block.repetitions is None:
        return ""
    if block.sets is None:
        return f"{block.repetitions} repetitions"
    sets = f"{block.sets} set{'' if block.sets == 1 else 's'}"
    return sets if block.repetitions is None else f"{sets} of {block.repetitions}"
