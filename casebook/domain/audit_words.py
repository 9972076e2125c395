"""An audit in words. None of them says why anything changed, or names a disease."""

from __future__ import annotations

from datetime import date

from casebook.domain.audit import Amount, AuditChoice, Count, Excluded, Part, Step, Timeliness
from casebook.domain.audit_outcomes import Audit, On, Split
from casebook.domain.date_words import day_words
from casebook.domain.number_words import rounded_alike
from casebook.domain.wording import MISSING_REASONS, number_words

# A value that is missing and of which nobody wrote why.
NOT_ENTERED = "not_entered"

STEPS = {
    Step.REGISTERED: "registered",
    Step.INCLUDED: "in this audit",
    Step.BASELINE: "measured at a baseline",
    Step.STARTED: "programme started",
    Step.REVIEWED: "seen again after the start",
    Step.DISCHARGED: "discharged",
    Step.LOST: "lost: not seen for long",
    Step.IN_CARE: "in care",
}
EXCLUDED = {
    Excluded.NO_CONSENT: "no consent to this purpose on that day and today",
    Excluded.NO_PROGRAMME: "no programme started",
    Excluded.STARTED_OUTSIDE: "programme started on other days",
    Excluded.OTHER_KIND: "programme of another kind",
    Excluded.OTHER_COMPLAINT: "other complaint, or none",
    Excluded.OTHER_CLINICIAN: "baseline assessed by somebody else",
}
ONS = {
    On.ASYMMETRY: "asymmetry",
    On.WORSE_SIDE: "side that was worse at the baseline",
    On.OTHER_SIDE: "other side",
    On.VALUE: "value",
}
# After a metric's label or key.
LOST_ON = {
    On.ASYMMETRY: " (asymmetry)",
    On.WORSE_SIDE: " (worse side)",
    On.OTHER_SIDE: " (other side)",
    On.VALUE: "",
}
SPLITS = {
    Split.NONE: "all runners",
    Split.PROGRAMME_KIND: "kind of programme",
    Split.ADHERENCE_THIRD: "third of adherence",
}
LEVELS = {
    "": "",
    "injury": "for an injury",
    "performance": "for performance",
    "lowest": "lowest third of adherence",
    "middle": "middle third of adherence",
    "highest": "highest third of adherence",
    "not_recorded": "adherence not recorded",
}
WHY_MISSING = {reason.value: words for reason, words in MISSING_REASONS.items()} | {
    NOT_ENTERED: "nothing entered"
}

WITHHELD = "withheld"
OWN_EYES = "for the clinic's own eyes"
SIDE_BY_SIDE = (
    "For others than the clinic. Small groups are withheld within this audit, not between two: "
    "beside another one of the same clinic, of another day or with other choices, the difference "
    "can tell what became of a single runner, such as one who withdrew or came new. Hand out one, "
    "or the tables of the export, which are rounded for that."
)
NOT_AN_EFFECT = (
    "This tells what happened to these runners. It does not tell that the programme did it: "
    "there is no group without it to compare with."
)
REGRESSION = (
    "Who was picked for a high or low reading is measured nearer to the others' mean the next "
    "time though nothing changed, and the side that was picked for being the worse is measured "
    "nearer to the other one. What is expected by itself says how much of the mean change that "
    "would be, from the clinic's own spread and error; the errors of the two sides are taken as "
    "independent. It is counted towards the mean of the clinic's own runners: where they came "
    "here for such a reading, more comes by itself than it says, and for a value without sides it "
    "says near 0 on average whatever comes by itself."
)
ADHERENCE = (
    "Runners who did more of their sessions may differ from the others in much else: thirds of "
    "adherence are no comparison of doses."
)


def withheld_words(least: int) -> str:
    """Why a number is not shown, with the size below which groups are not.

    Examples
    --------
    >>> withheld_words(5)
    'withheld: fewer than 5, or it would give such a number away'
    """
    return f"{WITHHELD}: fewer than {least}, or it would give such a number away"


def audience_words(choice: AuditChoice, *, drawn: bool = False) -> str:
    """For whose eyes an audit is, and what of it would tell of single runners.

    Parameters
    ----------
    choice : AuditChoice
    drawn : bool
        Whether courses of single runners may be drawn in it.

    Examples
    --------
    >>> from datetime import date
    >>> audience_words(AuditChoice(as_of=date(2026, 11, 27))).partition(":")[0]
    "For the clinic's own eyes"
    """
    if choice.purpose is not None:
        return SIDE_BY_SIDE
    single = ", and what was measured of single runners may be drawn" if drawn else ""
    return (
        "For the clinic's own eyes: runners are in it whether or not they agreed to an audit, "
        "times are told to the day of a single runner, and clinicians stand in it by name"
        f"{single}. Choose a purpose before you show it to others."
    )


def past_words(choice: AuditChoice, today: date) -> str:
    """What an audit of an earlier day knows that nobody knew on that day; empty for today.

    Examples
    --------
    >>> past = AuditChoice(as_of=date(2026, 3, 31))
    >>> past_words(past, date(2026, 3, 31))
    ''
    >>> past_words(past, date(2026, 11, 27)).partition(".")[0]
    'What happened after 31 Mar 2026 is not seen'
    """
    if choice.as_of >= today:
        return ""
    return (
        f"What happened after {day_words(choice.as_of)} is not seen. The record is that of "
        f"{day_words(today)}: what was entered late or corrected since counts as if it had been "
        "known then, and the error figures and the runners' own data are those of "
        f"{day_words(today)}."
    )


def review_words(timeliness: Timeliness, choice: AuditChoice) -> str:
    """When the first review was held, or that it is not told.

    Examples
    --------
    >>> from datetime import date
    >>> own = AuditChoice(as_of=date(2026, 11, 27))
    >>> kept = Part(name="in_time", count=0, total=0)
    >>> found = Timeliness(reviewed=Count(n=9), days_to_review=(28.0, 35.0, 42.0), in_time=kept)
    >>> review_words(found, own)
    '35 days (median; half of the runners between 28 and 42), 9 runners'
    """
    days = timeliness.days_to_review
    if days is None:
        return "not told: too few runners were reviewed"
    weeks = "" if choice.purpose is None else ", each told by the end of its week"
    return (
        f"{days[1]:.0f} days (median; half of the runners between {days[0]:.0f} and "
        f"{days[2]:.0f}{weeks}), {count_words(timeliness.reviewed)} runners"
    )


def count_words(count: Count) -> str:
    """A number of runners, or that it is withheld.

    Examples
    --------
    >>> count_words(Count(n=12)), count_words(Count(n=None))
    ('12', 'withheld')
    """
    return WITHHELD if count.n is None else str(count.n)


def part_words(part: Part) -> str:
    """A share with its interval in percent, or that it is withheld.

    Examples
    --------
    >>> part_words(Part(name="improved", count=8, total=20, share=0.4, low=0.219, high=0.613))
    '8 of 20, 40 % (22 to 61 %)'
    >>> part_words(Part(name="improved", count=0, total=0))
    'of nobody'
    """
    if part.count is None or part.total is None:
        return WITHHELD
    if part.share is None or part.low is None or part.high is None:
        return "of nobody"
    low, high = 100 * part.low, 100 * part.high
    return f"{part.count} of {part.total}, {100 * part.share:.0f} % ({low:.0f} to {high:.0f} %)"


def range_words(amount: Amount, unit: str, *, signed: bool = True) -> str:
    """A mean or difference with its interval, or that it is withheld.

    Examples
    --------
    >>> range_words(Amount(n=20, mean=3.04, low=1.2, high=4.9), "°")
    '+3.0° (+1.2° to +4.9°)'
    """
    if amount.n is None:
        return WITHHELD
    middle = number_words(amount.mean, unit, signed=signed)
    if amount.low is None or amount.high is None:
        return middle
    ends = " to ".join(number_words(one, unit, signed=signed) for one in (amount.low, amount.high))
    return f"{middle} ({ends})"


def amount_words(amount: Amount, unit: str, *, signed: bool = False) -> str:
    """A mean or difference with its interval and the number of runners behind it.

    Examples
    --------
    >>> amount_words(Amount(n=12, mean=2.04, low=0.96, high=3.12), "°")
    '2.04° (0.96° to 3.12°), 12 runners'
    >>> amount_words(Amount(n=None), "°"), amount_words(Amount(n=7), "°")
    ('withheld', '–')
    >>> amount_words(Amount(n=2, mean=2.0), "N", signed=True)
    '+2.0 N, 2 runners'
    """
    if amount.n is None:
        return WITHHELD
    if amount.mean is None:
        return "–"
    numbers = [amount.mean]
    if amount.low is not None and amount.high is not None:
        numbers += [amount.low, amount.high]
    told = rounded_alike(numbers, unit, signed=signed)
    ends = f" ({told[1]} to {told[2]})" if len(told) > 1 else ""
    return f"{told[0]}{ends}, {amount.n} runners"


def reason_words(reason: str) -> str:
    """Why values are missing, in words.

    Examples
    --------
    >>> reason_words("painful"), reason_words(NOT_ENTERED)
    ('painful', 'nothing entered')
    """
    return WHY_MISSING[reason]


def arguments_against(audit: Audit) -> tuple[str, ...]:
    """What argues against reading an audit as the effect of what was done.

    Parameters
    ----------
    audit : Audit

    Returns
    -------
    tuple of str
        A sentence each: no group to compare with, regression to the mean, who was lost, and
        what else the numbers themselves bring up.
    """
    told = [NOT_AN_EFFECT, REGRESSION]
    lost = dict(audit.flow.steps).get(Step.LOST, Count(n=0))
    included = dict(audit.flow.steps).get(Step.INCLUDED, Count(n=0))
    if lost.n is None:
        told.append(
            "Some runners may have been lost; their number is withheld. What became of them is "
            "not among the outcomes after the day they were last seen."
        )
    elif lost.n:
        told.append(
            f"{lost.n} of {count_words(included)} runners were lost. What became of them is not "
            "among the outcomes after the day they were last seen, and those who stay away may "
            "be those who did better, or worse."
        )
    split = {name for one in audit.outcomes for name, _ in one.splits}
    if Split.ADHERENCE_THIRD in split:
        told.append(ADHERENCE)
    tests = len(audit.outcomes)
    if tests > 1:
        told.append(
            f"{tests} outcomes stand side by side: some intervals miss the truth by chance alone, "
            "about one in twenty."
        )
    return tuple(told)
