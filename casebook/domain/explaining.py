"""The short 'why' behind a verdict: its numbers, its sources, and what would change it.

Plain enough for a clinician without statistics, and exact enough for a statistician. Nothing
here says why a runner changed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from casebook.domain.metrics import AppliesTo, Better, ErrorFigure, ErrorOrigin, Metric, Scale
from casebook.domain.number_words import (
    difference,
    limit_of_two,
    rounded_alike,
    share_words,
)
from casebook.domain.side_story import side_story_words
from casebook.domain.verdicts import Call, Reason, Verdict, What
from casebook.domain.wording import (
    CONDITIONS,
    REASONS,
    asymmetry_unit,
    like_for_like_words,
    side_words,
    unit_words,
)

Z95 = NormalDist().inv_cdf(0.975)
BRIDGED = (
    "at one of the visits or more there were fewer trials than the figure's; your own trials "
    "were used to allow for it, and for how few they are"
)
MEASURE_YOUR_OWN = (
    "Measure your own error: measure some runners twice on different days with nothing changed "
    "in between, and adopt the figure that comes out."
)
GRADE_YOUR_OWN = (
    "Measure your own error: grade the same runners or films twice without looking at the first "
    "grades, and adopt the step that comes out."
)
INDEPENDENT = (
    "The error of the asymmetry is put together from those of the two sides, as if these had "
    "nothing in common."
)
ALONE = "counting this measurement alone and nothing known beforehand"


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """A verdict unfolded. Every line is a whole sentence or several.

    Parameters
    ----------
    verdict : str
        What was found, held against its error.
    formula : str
        The calculation with this runner's numbers in it.
    source : str
        Where the error comes from.
    conditions : str
        Whether the visits were like for like.
    beside : tuple of str
        What else the numbers say: the interval, probabilities, which side moved, the change
        to be expected by itself. May be empty.
    changes : tuple of str
        What would change the verdict; never empty.
    """

    verdict: str
    formula: str
    source: str
    conditions: str
    beside: tuple[str, ...]
    changes: tuple[str, ...]

    def lines(self) -> tuple[str, ...]:
        """All of it, in the order in which it is read."""
        return (
            self.verdict,
            self.formula,
            self.source,
            self.conditions,
            *self.beside,
            *self.changes,
        )


def why(verdict: Verdict, metric: Metric, figure: ErrorFigure | None) -> Why:
    """Unfold a verdict.

    Parameters
    ----------
    verdict : Verdict
    metric : Metric
        The one that the verdict is about.
    figure : ErrorFigure or None
        The figure behind it, as `Review.figures` holds it.

    Returns
    -------
    Why
        Its numbers are those of the verdict, rounded for reading.
    """
    told = _Told(verdict=verdict, metric=metric, figure=figure)
    return Why(
        verdict=_verdict_line(told),
        formula=_formula_line(told),
        source=_source_line(told),
        conditions=_conditions_line(told),
        beside=tuple(line for line in _beside_lines(told) if line),
        changes=tuple(line for line in _change_lines(told) if line),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """A verdict with its metric and figure, and how its numbers are written."""

    verdict: Verdict
    metric: Metric
    figure: ErrorFigure | None

    @property
    def unit(self) -> str:
        if self.graded:
            return "grades"
        if self.of_asymmetry:
            return asymmetry_unit(self.verdict.asymmetry_form, self.metric.unit)
        return unit_words(self.metric.unit)

    @property
    def graded(self) -> bool:
        return self.metric.scale is Scale.GRADE

    @property
    def of_asymmetry(self) -> bool:
        return self.verdict.what is What.ASYMMETRY

    @property
    def limit(self) -> float | None:
        """MDC95 between sessions; None where nothing may be held against it."""
        whole = self.verdict.error_origin in {ErrorOrigin.OWN, ErrorOrigin.PUBLISHED}
        return self.verdict.mdc95 if whole else None

    @property
    def grown(self) -> float | None:
        """How much the size of an asymmetry grew."""
        if self.verdict.latest is None or self.verdict.baseline is None:
            return None
        return abs(self.verdict.latest) - abs(self.verdict.baseline)

    @property
    def like(self) -> bool:
        """True where the two means may be compared at all."""
        return self.verdict.reason is not Reason.NOT_LIKE_FOR_LIKE

    def one(self, number: float, *, signed: bool = False) -> str:
        return rounded_alike((number,), self.unit, signed=signed)[0]


def _verdict_line(told: _Told) -> str:
    verdict = told.verdict
    if verdict.verdict is Call.CANNOT_SAY:
        reason = verdict.reason
        if reason is None:
            return "It can't be said from what is stored whether this changed beyond error."
        more = ""
        if reason is Reason.NOT_LIKE_FOR_LIKE:
            more = f" ({', '.join(CONDITIONS[one] for one in verdict.like_for_like)})"
        return f"It can't be said whether this changed beyond error: {REASONS[reason]}{more}."
    if verdict.change is None or verdict.mdc95 is None:
        return "The numbers behind this verdict are not all stored."
    return f"{_comparison(told, verdict.change, verdict.mdc95)} {_meaning(told)}"


def _comparison(told: _Told, change: float, limit: float) -> str:
    """The change and its limit, with as many digits as tell them apart."""
    grown = told.grown
    if told.of_asymmetry and grown is not None:
        size, within = rounded_alike((abs(grown), limit), told.unit, apart=True)
        moved = "The size of the asymmetry is the same as at baseline"
        if grown:
            way = "larger" if grown > 0 else "smaller"
            moved = f"The size of the asymmetry is {size} {way} than at baseline"
    else:
        size, within = rounded_alike((abs(change), limit), told.unit, apart=True)
        moved = f"It went {'up' if change > 0 else 'down'} by {size}"
    beyond = told.verdict.verdict in {Call.IMPROVED, Call.WORSENED}
    if told.graded:
        return (
            f"{moved}, which is {'more than' if beyond else 'within'} the {within} that repeat "
            "grading of the same thing stays within in 95 of 100 pairs."
        )
    return (
        f"{moved}, which is {'more than' if beyond else 'within'} the MDC of {within}: when "
        "nothing truly changes, 95 of 100 such differences stay within it."
    )


def _meaning(told: _Told) -> str:
    verdict = told.verdict
    if verdict.verdict is Call.UNCHANGED:
        return "No change can be told from error; that is no proof that nothing changed."
    way = "the better" if verdict.verdict is Call.IMPROVED else "the worse"
    if told.of_asymmetry:
        return f"Sides that differ less count as better, so this is {way} way."
    aim = {
        Better.HIGHER: "Higher counts as better",
        Better.LOWER: "Lower counts as better",
        Better.RANGE: "Nearer to the target range counts as better",
        Better.NONE: "Neither direction counts as better in general",
    }[told.metric.better]
    return f"{aim}, so this is {way} way."


def _formula_line(told: _Told) -> str:
    verdict = told.verdict
    if verdict.latest is None and verdict.baseline is None:
        return "There is neither a baseline nor a later value to calculate with."
    if verdict.latest is None or verdict.baseline is None or verdict.change is None:
        named = (("Latest", verdict.latest), ("Baseline", verdict.baseline))
        known = [f"{name} = {told.one(x)}" for name, x in named if x is not None]
        return f"{'; '.join(known)}: the change cannot be calculated."
    numbers = (verdict.latest, verdict.baseline, verdict.change)
    latest, baseline, change = rounded_alike(numbers, told.unit, fits=difference)
    visits = verdict.baseline_visits
    mean = f" (the mean of {visits} visits)" if visits > 1 else ""
    what = " (each right minus left)" if told.of_asymmetry else ""
    return (
        f"Change = latest − baseline{mean}{what} = {latest} − {_in_brackets(baseline)} = {change}. "
        f"{_limit_formula(told)}"
    )


def _in_brackets(number: str) -> str:
    return f"({number})" if number.startswith("−") else number


def _limit_formula(told: _Told) -> str:
    verdict = told.verdict
    if told.graded and verdict.mdc95 is not None:
        return (
            f"Repeat grading stays within {told.one(verdict.mdc95)} in 95 % of pairs; grades are "
            "only counted, not averaged into an error."
        )
    if verdict.mdc95 is None or verdict.baseline_sem is None or verdict.latest_sem is None:
        return "There is no MDC to hold it against."
    numbers = (verdict.baseline_sem, verdict.latest_sem, verdict.mdc95)
    sems = rounded_alike(numbers, told.unit, fits=limit_of_two)
    equals = "is at least" if verdict.error_origin is ErrorOrigin.WITHIN_SESSION else "="
    return (
        f"MDC95 {equals} 1.96 × √(SEM of baseline² + SEM of latest²) = 1.96 × √({sems[0]}² + "
        f"{sems[1]}²) = {sems[2]}, where SEM is the standard error of measurement."
    )


def _source_line(told: _Told) -> str:
    verdict, figure = told.verdict, told.figure
    if verdict.error_origin is ErrorOrigin.NONE:
        return "Error: there is no error figure for this measurement."
    parts = [_origin_words(told)]
    if figure is not None:
        parts.append(f"{_figure_words(told, figure)}.")
        if figure.population:
            parts.append(f"It was measured on: {figure.population.rstrip('.')}.")
        if told.of_asymmetry and figure.applies_to is AppliesTo.SIDE_VALUE:
            parts.append(INDEPENDENT)
    elif told.of_asymmetry:
        parts.append(INDEPENDENT)
    if verdict.latest_trials is not None and not told.graded:
        parts.append(f"Trials at the latest visit: {verdict.latest_trials}.")
    if verdict.bridged:
        parts.append(f"{BRIDGED[0].upper()}{BRIDGED[1:]}.")
    return " ".join(parts)


def _origin_words(told: _Told) -> str:
    origin, source = told.verdict.error_origin, told.verdict.error_source
    where = f" ({source.rstrip('.')})" if source else ""
    if origin is ErrorOrigin.OWN:
        return f"Error: your own repeat measurements{where}."
    if origin is ErrorOrigin.PUBLISHED:
        return f"Error: published{where}; measured by others, so yours may be larger or smaller."
    return (
        f"Error: only the scatter of trials within a session{where}, which leaves out what "
        "differs from day to day. It is a lower bound: the true error is larger."
    )


def _figure_words(told: _Told, figure: ErrorFigure) -> str:
    unit = told.unit if figure.applies_to is AppliesTo.ASYMMETRY else unit_words(told.metric.unit)
    if figure.grade_step is not None:
        step = rounded_alike((figure.grade_step,), "grades")[0]
        return f"The figure: repeat grading stays within {step} in 95 % of pairs"
    if figure.sem is not None:
        of = "a single trial" if figure.sem_trials == 1 else f"a mean of {figure.sem_trials} trials"
        return f"The figure: SEM {rounded_alike((figure.sem,), unit)[0]} for {of}"
    within = rounded_alike((figure.within_sd or 0.0,), unit)[0]
    if figure.between_sd is None:
        return f"The figure: single trials scatter with an SD of {within} within a session"
    between = rounded_alike((figure.between_sd,), unit)[0]
    return (
        f"The figure: SD from session to session {between}, SD of single trials {within}; more "
        "trials shrink only the second"
    )


def _conditions_line(told: _Told) -> str:
    verdict = told.verdict
    if not verdict.like_for_like and not verdict.not_recorded:
        return "Conditions: like for like in everything that was recorded."
    matter = [CONDITIONS[one] for one in verdict.like_for_like if one in told.metric.sensitive_to]
    line = f"Conditions: {like_for_like_words(verdict)}."
    if matter:
        return f"{line} This measurement is sensitive to {', '.join(matter)}."
    if verdict.like_for_like:
        return f"{line} That is not known to matter for this measurement."
    return f"{line} If that differed, the visits may not be comparable."


def _beside_lines(told: _Told) -> list[str]:
    verdict = told.verdict
    return [
        _interval_line(told),
        _chance_line(told),
        _important_line(told),
        side_story_words(verdict, told.metric),
        _regression_line(told),
    ]


def _interval_line(told: _Told) -> str:
    verdict, limit = told.verdict, told.limit
    if limit is None or verdict.change is None or told.graded or not told.like:
        return ""
    ends = (verdict.change - limit, verdict.change + limit)
    low, high = rounded_alike(ends, told.unit, signed=True)
    what = " of right minus left" if told.of_asymmetry else ""
    return f"The true change{what} lies between {low} and {high} with 95 % confidence."


def _chance_line(told: _Told) -> str:
    chance = told.verdict.p_better
    if chance is None:
        return ""
    what = (
        "that the sides truly differ less than at baseline"
        if told.of_asymmetry
        else ("that the true change is one for the better")
    )
    return f"Probability {what}: {share_words(chance)} ({ALONE})."


def _important_line(told: _Told) -> str:
    verdict = told.verdict
    if verdict.p_important is None or verdict.important_change is None:
        return ""
    return (
        "Probability that it is better by more than the important change of "
        f"{told.one(verdict.important_change)}: {share_words(verdict.p_important)}."
    )


def _regression_line(told: _Told) -> str:
    found = told.verdict.regression
    if found is None or told.verdict.baseline is None:
        return ""
    mean, baseline, expected = rounded_alike(
        (found.clinic_mean, told.verdict.baseline, found.expected), ""
    )
    change = told.one(found.expected, signed=True)
    return (
        f"A change of about {change} was to be expected by itself, as unusual readings tend to be "
        f"followed by more usual ones: (1 − {found.icc:.3f}) × ({mean} − "
        f"{_in_brackets(baseline)}) ≈ {expected}, where {found.icc:.3f} is the share of the spread "
        f"between your clinic's runners that is no measurement error (ICC) and {mean} the mean "
        f"baseline of {found.runners} others. This holds as far as the runner is like them."
    )


def _change_lines(told: _Told) -> list[str]:
    verdict = told.verdict
    if verdict.verdict is Call.CANNOT_SAY:
        return _what_it_takes(told)
    if verdict.verdict is Call.UNCHANGED:
        return [_what_counts(told), *_more_trials(told), _only_own(told)]
    return [_what_is_no_change(told), _only_own(told)]


def _what_counts(told: _Told) -> str:
    limit = told.verdict.mdc95
    if limit is None:
        return MEASURE_YOUR_OWN
    if told.limit is None:
        return (
            f"A change of more than {told.one(limit)} would be larger than the scatter of trials "
            "alone, but could not be called real either."
        )
    size = " of its size" if told.of_asymmetry else ""
    return f"A change{size} of more than {told.one(limit)} would count."


def _more_trials(told: _Told) -> list[str]:
    """The MDC that more trials at the next visit would give, against this baseline."""
    verdict, figure = told.verdict, told.figure
    base, now, best = verdict.baseline_sem, verdict.latest_sem, verdict.best_sem
    if told.limit is None or base is None or now is None or best is None or told.graded:
        return []
    if best >= now * (1.0 - 1e-9):
        return [
            "More trials are not known to lower it: a figure with the error from session to "
            "session and that of single trials apart would tell."
        ]
    least = Z95 * math.hypot(base, best)
    if verdict.bridged and figure is not None and figure.sem_trials is not None:
        return [
            f"With the figure's {figure.sem_trials} trials at the next visit, against this "
            f"baseline, it would be {told.one(least)}."
        ]
    trials = verdict.latest_trials or 1
    # Twice the trials halve what averaging can shrink of the variance.
    doubled = math.sqrt(best**2 + (now**2 - best**2) / 2.0)
    limit = Z95 * math.hypot(base, doubled)
    shown, lowest = rounded_alike((limit, least), told.unit)
    return [
        f"With {2 * trials} trials at the next visit, against this baseline, it would be {shown}; "
        f"no number of trials brings it below {lowest}, for the rest is error from session to "
        "session and that of the baseline."
    ]


def _only_own(told: _Told) -> str:
    if told.verdict.error_origin is ErrorOrigin.PUBLISHED:
        own = GRADE_YOUR_OWN if told.graded else MEASURE_YOUR_OWN
        return f"An error of your own would replace the published one. {own}"
    if told.verdict.error_origin is ErrorOrigin.WITHIN_SESSION:
        return MEASURE_YOUR_OWN
    return ""


def _what_is_no_change(told: _Told) -> str:
    verdict = told.verdict
    if verdict.baseline is None or verdict.mdc95 is None:
        return "A later visit near the baseline would be called no change."
    centre = abs(verdict.baseline) if told.of_asymmetry else verdict.baseline
    ends = (centre - verdict.mdc95, centre + verdict.mdc95)
    if told.of_asymmetry or told.metric.scale is not Scale.INTERVAL:
        ends = (max(0.0, ends[0]), ends[1])
    low, high = rounded_alike(ends, told.unit)
    what, same = "value", ""
    if told.of_asymmetry:
        what, same = "asymmetry", f" with the same side larger ({side_words(verdict.baseline)})"
    exactly = "" if told.graded else ", measured as exactly as this one,"
    return (
        f"A later {what} between {low} and {high}{same}{exactly} would be no change beyond error."
    )


def _what_it_takes(told: _Told) -> list[str]:
    reason = told.verdict.reason
    own = GRADE_YOUR_OWN if told.graded else MEASURE_YOUR_OWN
    if reason is Reason.NO_ERROR_FIGURE:
        if told.graded and told.of_asymmetry:
            own += " It has to be the step of the difference between the sides."
        return [own]
    if reason is Reason.ONLY_WITHIN_SESSION:
        return [own]
    if reason is Reason.FEWER_TRIALS_THAN_FIGURE:
        return [_more_trials_needed(told)]
    if reason is Reason.CROSSED_OVER:
        return _after_crossing(told)
    return [_OTHERWISE.get(reason, "Measure it again, like for like, with an error figure known.")]


_OTHERWISE: dict[Reason | None, str] = {
    Reason.NOT_LIKE_FOR_LIKE: (
        "A visit under the conditions of the baseline would give a verdict; what cannot be "
        "repeated can be made the baseline of a new course."
    ),
    Reason.MISSING: "Measuring it at both visits would give a verdict.",
    Reason.NO_BASELINE: (
        "There is no baseline for it, and none can be made up later: it can be judged from the "
        "next baseline on at which it is measured."
    ),
    Reason.NO_LATER_VISIT: "Measuring it at a visit after the baseline would give a verdict.",
    Reason.NO_BETTER_DIRECTION: (
        "Whether this is for the better is yours to judge. A verdict needs a better direction or "
        "a target range in the catalogue whose distance changed by more than the MDC."
    ),
    Reason.FORMULA_REFUSED: (
        "The way in which the sides are compared needs values of the same sign that are not near "
        "zero on both sides; look at each side by itself, or check the readings."
    ),
}


def _more_trials_needed(told: _Told) -> str:
    figure = told.figure
    number = (
        f"With {figure.sem_trials} trials or more at each visit"
        if figure is not None and figure.sem_trials is not None
        else "With as many trials at each visit as the figure's"
    )
    return (
        f"{number} the figure could be used as it stands. With fewer it can be when the single "
        "trials are stored and not only their mean, at least four more of them than there are "
        "sets, so that their scatter is known."
    )


def _after_crossing(told: _Told) -> list[str]:
    limit, baseline = told.limit, told.verdict.baseline
    if limit is None or baseline is None:
        return [MEASURE_YOUR_OWN]
    size = abs(baseline)
    lines = [f"A later size of more than {told.one(size + limit)} would be worse beyond error."]
    if size > limit:
        lines.append(
            f"One of less than {told.one(size - limit)} would be better beyond error, unless it is "
            f"beyond its own error on the other side than at baseline ({side_words(baseline)})."
        )
    return lines
