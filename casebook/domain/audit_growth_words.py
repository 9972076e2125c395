"""A cohort's models in words: what each part means, what was left out, and what to beware of."""

from __future__ import annotations

from casebook.domain.audit_growth import Term
from casebook.domain.audit_outcomes import On

KINDS = {"injury": "programmes for an injury", "performance": "programmes for performance"}
# Below so many runners it is said how far the intervals are to be trusted. Common practice, no
# source.
MANY = 30

NO_GRADES = {
    "group_too_small": "Fewer runners have this graded than may be shown: nothing is told of them.",
    "withheld": (
        "The number of discharged runners is withheld in this audit; a model of them would tell it."
    ),
    "one_grade": "All runners have the same grade at the visit that tells the outcome.",
    "too_few_rows": "Too few runners are graded to tell the odds of this many grades.",
    "not_apart": "The grades at the baseline do not vary: there is nothing to compare with.",
    "separated": (
        "The grades are told apart without exception by the baseline or the kind of programme: "
        "odds cannot be given. The table of outcomes counts who changed."
    ),
    "not_converged": "The fit did not settle: the odds cannot be told.",
}
_LEFT_OUT = {
    "unlike": "{n} not like for like with the baseline, left out.",
    "baseline_speed_unrecorded": (
        "Speed at the baseline is left out: too few runners have one recorded."
    ),
    "adherence_unrecorded": "Adherence is left out: too few runners have it recorded.",
    "without_baseline_speed": "{n} without a speed at the baseline, left out.",
    "without_adherence": "{n} without recorded adherence, left out.",
    "too_few_for_baseline_speed": (
        "Speed at the baseline is left out: there are too few runners to tell what goes with it."
    ),
    "too_few_for_adherence": (
        "Adherence is left out: there are too few runners to tell what goes with it."
    ),
    "too_few_for_kind": (
        "Kinds of programme are not told apart: there are too few runners to tell their courses."
    ),
    "one_kind": "Only one kind of programme occurs.",
    "small_kind": (
        "Kinds of programme are not told apart: one of them has fewer runners than may be shown."
    ),
    "phase[T.after]": (
        "No step at the start is told: the visits do not tell it from the change over time."
    ),
    "baseline_speed": "Speed at the baseline is left out: it does not vary apart from the rest.",
    "adherence": "Adherence is left out: it does not vary apart from the rest.",
    "time:adherence": "That adherence goes with the slope is left out: the visits do not tell it.",
    "kind": "Kinds of programme are not told apart: the visits do not tell their courses.",
}


def left_out_words(what: str, n: int, least: int = 0) -> str:
    """That something was left out, and why.

    Parameters
    ----------
    what : str
        A term's name, or 'unlike', 'without_...', '..._unrecorded', 'one_kind', 'small_kind'.
    n : int
        Visits' values ('unlike') or runners ('without_...').
    least : int
        A smaller number of runners is not told.

    Examples
    --------
    >>> left_out_words("unlike", 3)
    '3 values were not like for like with the baseline, left out.'
    """
    if what == "unlike":
        counted = "1 value was" if n == 1 else f"{n} values were"
    elif n < least:
        counted = f"Fewer than {least} runners are"
    else:
        counted = "1 runner is" if n == 1 else f"{n} runners are"
    return _LEFT_OUT[what].format(n=counted)


def term_words(what: Term, groups: tuple[str, ...]) -> str:
    """What one fixed effect says, given the kinds of programme that are told apart.

    Examples
    --------
    >>> term_words(Term.SLOPE, ())
    'change in a week'
    """
    first = f", {KINDS[groups[0]]}" if groups else ""
    other = f"{KINDS[groups[1]]} less {KINDS[groups[0]]}" if groups else ""
    return {
        Term.LEVEL: f"level at the programme's start{first}",
        Term.SLOPE: f"change in a week{first}",
        Term.STEP: "step at the programme's start",
        Term.LEVEL_BY_KIND: f"level at the start: {other}",
        Term.SLOPE_BY_KIND: f"change in a week: {other}",
        Term.BASELINE_SPEED: "level, for each km/h faster at the baseline",
        Term.ADHERENCE: "level, for each 10 % more of the sessions done",
        Term.SLOPE_BY_ADHERENCE: "change in a week, for each 10 % more of the sessions done",
    }[what]


def term_unit(what: Term, unit: str) -> str:
    """The unit of a fixed effect, in words.

    Examples
    --------
    >>> term_unit(Term.SLOPE, "°"), term_unit(Term.SLOPE, "")
    ('° a week', 'a week')
    """
    slope = {Term.SLOPE, Term.SLOPE_BY_KIND, Term.SLOPE_BY_ADHERENCE}
    return f"{unit} a week".strip() if what in slope else unit


def growth_cautions(on: On, n_runners: int, *, adherence: bool, raw: bool) -> tuple[str, ...]:
    """What to beware of in a cohort's growth model, a sentence or two each."""
    told = [
        "Runners are seen at different times after the start, and those who come back longer "
        "may differ from those who do not.",
        "Who was picked for an extreme reading is measured nearer to the mean next time: part of "
        "a step or change after the baseline is to be expected by itself.",
    ]
    if on is On.ASYMMETRY:
        told.append(
            "An asymmetry counts in the direction that it had at the runner's baseline; below 0 "
            "it has crossed over. The direction was picked by the same reading, so that the "
            "baseline is a little too large."
        )
    if on in {On.WORSE_SIDE, On.OTHER_SIDE}:
        told.append(
            "Which side was the worse was picked by the baseline's own reading: its level then is "
            "a little too bad, and the other side's a little too good."
        )
    if adherence:
        told.append(
            "Runners who do more sessions differ in more than that: adherence here is no dose."
        )
    if n_runners < MANY:
        told.append(
            "The intervals allow for the variances being known from so few runners only (Student's "
            "t); where a slope of their own was given up for lack of data they can still be too "
            "short."
        )
    if not raw:
        told.append("Single runners are not drawn: the audit is for others than the clinic.")
    return tuple(told)


def residual_words(
    *, beyond_2: float, beyond_3: float, far: bool, widens: float, uneven: bool
) -> tuple[str, ...]:
    """What the residuals show, and what that means for the model.

    Parameters
    ----------
    beyond_2, beyond_3 : float, 0 to 1
        Share of residuals beyond 2 and 3 SD.
    far : bool
        Whether that is more than chance makes of normal ones.
    widens : float, -1 to 1
        Rank correlation of their size with the fitted value.
    uneven : bool
        Whether that is more than chance makes of an even spread.
    """
    told = [
        f"{100 * beyond_2:.1f} % of the residuals lie beyond 2 SD and {100 * beyond_3:.1f} % "
        "beyond 3 (of normal ones 4.6 % and 0.3 %)."
    ]
    if far:
        told.append(
            "More lie far out than normal errors would: look for wrong entries before believing "
            "the intervals."
        )
    if uneven:
        larger = "grow" if widens > 0 else "shrink"
        told.append(
            f"The residuals {larger} with the level: the intervals are too short where values "
            "scatter more."
        )
    return tuple(told)


def odds_words(name: str, kinds: tuple[str, ...]) -> str:
    """What an odds ratio of a higher grade says.

    Examples
    --------
    >>> odds_words("baseline", ())
    'odds of a higher grade, for each grade more at the baseline'
    """
    if name == "baseline":
        return "odds of a higher grade, for each grade more at the baseline"
    return f"odds of a higher grade: {KINDS[kinds[1]]} against {KINDS[kinds[0]]}"


def grades_words(on: On, *, rounded: int, small_kind: bool) -> tuple[str, ...]:
    """What was fitted to grades, and what to beware of."""
    told = [
        "Proportional odds model of one grade a runner, at the visit that tells the outcome. It "
        "takes the odds ratio as the same wherever higher and lower are divided, and describes: "
        "it does not show a cause.",
        "Predicted shares are those at the mean grade of the baseline.",
    ]
    if on in {On.WORSE_SIDE, On.OTHER_SIDE}:
        told.append(
            "The worse side is the one with the worse grade at the baseline as it was read (the "
            "higher grade where neither way is better); of two alike the right one."
        )
    if rounded:
        some = "1 mean of several gradings was" if rounded == 1 else f"{rounded} means were"
        told.append(f"{some} rounded to the nearest grade.")
    if small_kind:
        told.append(left_out_words("small_kind", 0))
    return tuple(told)
