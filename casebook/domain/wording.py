"""The plain words for what the program found: one place, so that page, command and file agree.

None of these words says what causes a finding or names a disease.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from casebook.domain.injuries import Injury
from casebook.domain.metrics import AsymmetryForm, Condition, ErrorOrigin, Metric, Scale
from casebook.domain.number_words import rounded_alike
from casebook.domain.reach import Reach, SoFar
from casebook.domain.sides import InjurySide
from casebook.domain.verdicts import Call, Flag, FlagKind, Reason, SideMoved, Verdict, What
from casebook.domain.visits import MissingReason, VisitKind

NO_ERROR_FIGURE = "no error figure: measure your own"

CAUTION = (
    "These numbers support your judgement and never replace it: they say how a measurement "
    "changed, not why, and they are no diagnosis. Pain, or findings that call for a referral "
    "(bone tenderness with pain at night, numbness or weakness, a swollen or hot calf, fever or "
    "unexplained weight loss), come before any number: consider referral and follow your local "
    "rules and the limits of your licence."
)

CALLS = {
    Call.IMPROVED: "improved beyond error",
    Call.WORSENED: "worsened beyond error",
    Call.UNCHANGED: "no change beyond error",
    Call.CANNOT_SAY: "can't say",
}

REASONS = {
    Reason.NO_ERROR_FIGURE: NO_ERROR_FIGURE,
    Reason.ONLY_WITHIN_SESSION: (
        "only the error within a session is known, which is too small for comparing visits: "
        "measure your own"
    ),
    Reason.FEWER_TRIALS_THAN_FIGURE: (
        "the error figure is for a mean of more trials than were taken here"
    ),
    Reason.NOT_LIKE_FOR_LIKE: "the visits were not like for like",
    Reason.MISSING: "not measured at both",
    Reason.NO_BASELINE: "no baseline visit has it",
    Reason.NO_LATER_VISIT: "no visit after the baseline has it",
    Reason.NO_BETTER_DIRECTION: (
        "it moved beyond error, but that is neither better nor worse beyond error"
    ),
    Reason.CROSSED_OVER: "it swung over to the other side, which is not the same as shrinking",
    Reason.FORMULA_REFUSED: "this way of comparing the sides has no meaning for these values",
}

SIDES_MOVED = {
    SideMoved.WORSE_SIDE_GAINED: "the worse side gained",
    SideMoved.BETTER_SIDE_FELL: "the better side fell",
    SideMoved.BOTH: "both sides moved",
    SideMoved.NEITHER: "neither side beyond its own error",
    SideMoved.CROSSED_OVER: "crossed over",
}
# Of an asymmetry that is smaller beyond error, and of a target on one that was met.
ONLY_BETTER_FELL = "only because the better side fell, which is no gain"

ORIGINS = {
    ErrorOrigin.OWN: "your own measurements",
    ErrorOrigin.PUBLISHED: "published",
    ErrorOrigin.WITHIN_SESSION: "within the session only (a lower bound)",
    ErrorOrigin.NONE: NO_ERROR_FIGURE,
}

WHATS = {
    What.LEFT: "left",
    What.RIGHT: "right",
    What.NONE: "whole body",
    What.ASYMMETRY: "asymmetry (right minus left)",
}

CONDITIONS = {
    Condition.SPEED: "speed",
    Condition.SURFACE: "surface",
    Condition.INCLINE: "incline",
    Condition.FOOTWEAR: "footwear",
    Condition.VIEW: "camera view",
    Condition.FRAME_RATE: "frame rate",
    Condition.ASSESSOR: "assessor",
    Condition.PAIN: "pain on the day",
}

VISIT_KINDS = {
    VisitKind.BASELINE: "baseline",
    VisitKind.REVIEW: "review",
    VisitKind.DISCHARGE: "discharge",
    VisitKind.REPEAT: "repeat measurement",
}

MISSING_REASONS = {
    MissingReason.NOT_DONE: "not done",
    MissingReason.PAINFUL: "painful",
    MissingReason.NOT_VISIBLE: "couldn't be seen",
    MissingReason.EQUIPMENT: "equipment failed",
}

FLAG_KINDS = {
    FlagKind.ASYMMETRY_ABOVE_BASELINE: "asymmetry larger than at baseline",
    FlagKind.ASYMMETRY_ABOVE_BEST: "asymmetry larger than at its best",
    FlagKind.DRIFT: "asymmetry drifting up over several visits",
    FlagKind.TARGET_MISSED: "target missed at its date",
    FlagKind.BETTER_SIDE_FELL: "asymmetry reads smaller only because the better side fell",
    FlagKind.SYMPTOM_UP: "symptom worse",
}

# Of a change while the visit is being typed; the verdict comes with the save.
REACHES = {
    Reach.BEYOND: "beyond error",
    Reach.WITHIN: "within error",
    Reach.BEYOND_LOWER_BOUND: "can't say, the error between visits is not known",
    Reach.NEEDS_TRIALS: "can't say yet, the MDC is for a mean of {} trials",
    Reach.NO_FIGURE: "",
    Reach.UNLIKE: "not like for like",
}

_UNIT_WORDS = {
    "deg": "°",
    "1": "",
    "{steps}/min": "steps/min",
    "/min": "/min",
    "{score}": "",
    "{count}": "",
    "{reps}": "reps",
    "%": "%",
    "[in_i]": "in",
}


def upper_first(words: str) -> str:
    """Words as the beginning of a line; what follows the first letter stays as it is.

    Examples
    --------
    >>> upper_first("side of SKV-01"), upper_first("")
    ('Side of SKV-01', '')
    """
    return f"{words[:1].upper()}{words[1:]}"


def unit_words(unit: str) -> str:
    """A UCUM code as a person writes it ('deg' as '°', '{steps}/min' as 'steps/min')."""
    if unit in _UNIT_WORDS:
        return _UNIT_WORDS[unit]
    return unit.replace("{", "").replace("}", "").replace(".", "·")


def asymmetry_unit(form: AsymmetryForm, unit: str) -> str:
    """The unit in words of an asymmetry in the given form."""
    return "%" if form in {AsymmetryForm.PERCENT, AsymmetryForm.LOG_RATIO} else unit_words(unit)


def number_words(number: float | None, unit: str = "", *, signed: bool = False) -> str:
    """A number with as many digits as one can read at a glance, and its unit.

    Examples
    --------
    >>> number_words(-3.04, "°", signed=True)
    '−3.0°'
    >>> number_words(181.2, "steps/min")
    '181 steps/min'
    >>> number_words(0.0)
    '0'
    """
    if number is None:
        return "–"
    size = abs(number)
    digits = 0 if size >= 100 or size == 0 else 1 if size >= 1 else 2
    body = f"{size:.{digits}f}"
    negative = number < 0 and float(body) != 0
    sign = "−" if negative else "+" if signed and float(body) != 0 else ""
    space = "" if unit in {"°", "%", ""} else " "
    return f"{sign}{body}{space}{unit}"


def plausible_words(metric: Metric) -> str:
    """The plausible range of a metric with its unit, as exactly as it was set."""
    unit = unit_words(metric.unit)
    return f"{exactly((metric.plausible_low,))} to {exactly((metric.plausible_high,), unit)}"


def exactly(numbers: Sequence[float], unit: str = "") -> str:
    """Numbers as they are, unrounded, with their unit once.

    Examples
    --------
    >>> exactly((-10.0, 365.76), "cm")
    '−10, 365.76 cm'
    """
    space = "" if unit in {"°", "%", ""} else " "
    return ", ".join(f"{number:g}" for number in numbers).replace("-", "−") + space + unit


def moved_words(moved: float, unit: str) -> str:
    """How far something moved of a way that was asked for.

    Parameters
    ----------
    moved : float
        Positive that way, negative the other way.
    unit : str
        In words.

    Examples
    --------
    >>> moved_words(-3.5, "cm")
    'it moved 3.5 cm the other way'
    """
    far = number_words(abs(moved), unit)
    if not any(digit in number_words(abs(moved)) for digit in "123456789"):
        return f"it moved {far}"
    return f"it moved {far} {'that' if moved > 0 else 'the other'} way"


def so_far_words(told: SoFar, metric: Metric) -> str:
    """A change so far against its error: nothing is said that the figure does not bear.

    Examples
    --------
    >>> from casebook.domain.metrics import Better, MetricGroup
    >>> drop = Metric(key="drop", label="Pelvic drop", group=MetricGroup.POSTERIOR_VIEW,
    ...     unit="deg", scale=Scale.INTERVAL, sided=True, sign_convention="down is positive",
    ...     better=Better.LOWER, plausible_low=-5, plausible_high=25, resolution=0.5)
    >>> so_far_words(SoFar(change=3.1, reach=Reach.BEYOND, limit=2.4), drop)
    '+3.1° so far, MDC 2.4°: beyond error'
    """
    unit = "grades" if metric.scale is Scale.GRADE else unit_words(metric.unit)
    numbers = [told.change] if told.limit is None else [told.change, told.limit]
    # A change just beyond its limit is not to read as equal to it.
    changed, *limit = rounded_alike(numbers, unit, apart=told.reach is Reach.BEYOND)
    plus = "+" if told.change > 0 and any(digit in changed for digit in "123456789") else ""
    words = f"{plus}{changed} so far"
    reach = REACHES[told.reach].format(told.trials)
    if limit:
        name = "repeat grading within" if metric.scale is Scale.GRADE else "MDC"
        if told.reach is Reach.BEYOND_LOWER_BOUND:
            name += " at least"
        words += f", {name} {limit[0]}"
    mark = ";" if told.reach is Reach.NEEDS_TRIALS else ":"
    return f"{words}{mark} {reach}" if reach else words


def side_words(asymmetry: float | None) -> str:
    """Which side is the larger, for an asymmetry signed right minus left."""
    if asymmetry is None or asymmetry == 0:
        return "sides equal"
    return "right larger" if asymmetry > 0 else "left larger"


def call_words(verdict: Verdict) -> str:
    """The verdict in words, with the reason when there is none."""
    words = CALLS[verdict.verdict]
    return f"{words}: {REASONS[verdict.reason]}" if verdict.reason else words


def like_for_like_words(verdict: Verdict) -> str:
    """What differed between the visits, or was not recorded; else that they were alike."""
    parts = (
        ("different", verdict.like_for_like),
        ("not recorded", verdict.not_recorded),
    )
    told = [
        f"{words}: {', '.join(CONDITIONS[one] for one in conditions)}"
        for words, conditions in parts
        if conditions
    ]
    return "; ".join(told) or "like for like"


def complaint_words(injury: Injury) -> str:
    """A complaint in words, the side always spelled out."""
    side = {
        InjurySide.LEFT: "left ",
        InjurySide.RIGHT: "right ",
        InjurySide.BOTH: "both sides, ",
        InjurySide.NONE: "",
    }[injury.side]
    region = injury.region.replace("_", " ").replace("hip groin", "hip or groin")
    return f"{side}{region}: {injury.pathology.replace('_', ' ')} ({injury.course})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """What a flag's sentence needs, in the metric's unit or that of its asymmetry.

    Parameters
    ----------
    start, end : float
        From what to what; an asymmetry is signed right minus left.
    margin : float or None
        Changes up to this are within error at the 95 % level.
    visits : int
        Visits behind `start`; for a drift all visits of the line.
    what : What
    goal : float or None
        What a missed target asked for.
    """

    start: float
    end: float
    margin: float | None
    visits: int
    what: What = What.ASYMMETRY
    goal: float | None = None


def flag_words(kind: FlagKind, metric: Metric, numbers: Rise) -> str:
    """One sentence for a flag: what rose, from what to what, against which error."""
    if kind is FlagKind.SYMPTOM_UP:
        # Of a score in which higher is better the worse is a fall.
        way = "down" if numbers.end < numbers.start else "up"
        return f"{metric.label}: {way} from {numbers.start:.3g} to {numbers.end:.3g}."
    if kind is FlagKind.TARGET_MISSED:
        return _missed_words(metric, numbers)
    unit = asymmetry_unit(metric.asymmetry_form, metric.unit)
    before, now = (
        f"{number_words(abs(number), unit)} ({side_words(number)})"
        for number in (numbers.start, numbers.end)
    )
    error = (
        f" (changes up to {number_words(numbers.margin, unit)} are within error)"
        if numbers.margin
        else ""
    )
    if kind is FlagKind.BETTER_SIDE_FELL:
        return (
            f"{metric.label}: asymmetry reads smaller, but only because the better side fell "
            f"beyond error; the worse side did not gain beyond it (from {before} to {now})."
        )
    if kind is FlagKind.ASYMMETRY_ABOVE_BEST:
        return (
            f"{metric.label}: asymmetry {now}, larger than the {before} at the best of "
            f"{numbers.visits} earlier visits{error}."
        )
    if kind is FlagKind.DRIFT:
        return (
            f"{metric.label}: asymmetry drifting up, on a line through {numbers.visits} visits "
            f"from {before} to {now}{error}."
        )
    return f"{metric.label}: asymmetry up from {before} to {now}{error}."


def _missed_words(metric: Metric, numbers: Rise) -> str:
    """The target, where it started, and how far it came."""
    if numbers.what is What.ASYMMETRY:
        unit = asymmetry_unit(metric.asymmetry_form, metric.unit)
        before, now = (
            f"{number_words(abs(number), unit)} ({side_words(number)})"
            for number in (numbers.start, numbers.end)
        )
        aim = f"an asymmetry of at most {number_words(numbers.goal, unit)}"
    else:
        unit = unit_words(metric.unit)
        before, now = (number_words(number, unit) for number in (numbers.start, numbers.end))
        side = "" if numbers.what is What.NONE else f"{WHATS[numbers.what]} side "
        aim = f"{side}{number_words(numbers.goal, unit)}"
    return (
        f"{metric.label}: the target of {aim} was missed by more than error at the first visit "
        f"on or after its date (from {before} to {now})."
    )


def acknowledged_words(flag: Flag) -> str:
    """Who acknowledged a flag, when and why; '' for one that nobody has.

    One that is carried on from an earlier visit says so.
    """
    if not flag.acknowledged:
        return ""
    at = f" on {flag.acknowledged_at:%Y-%m-%d}" if flag.acknowledged_at else ""
    words = f"acknowledged{at} by {flag.acknowledged_by}: {flag.acknowledged_reason}"
    if not flag.carried:
        return words
    return (
        f"{words} (at the visit of {flag.acknowledged_visit}; not worse by a standard error since)"
    )
