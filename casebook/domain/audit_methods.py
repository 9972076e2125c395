"""The methods paragraph of an audit, written from its settings, with its published sources."""

from __future__ import annotations

from casebook.domain.audit import AuditChoice, Count, OutcomeVisit, Step
from casebook.domain.audit_outcomes import Audit
from casebook.domain.date_words import day_words
from casebook.domain.injuries import Pathology, Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind

VISITS = {
    OutcomeVisit.LATEST: "the latest visit after the programme's start",
    OutcomeVisit.FIRST: "the first visit after the programme's start",
    OutcomeVisit.DISCHARGE: "the visit of discharge",
}
KINDS = {
    ProgrammeKind.INJURY: "programmes for an injury",
    ProgrammeKind.PERFORMANCE: "programmes for performance",
}
SHORT_KINDS = {ProgrammeKind.INJURY: "for an injury", ProgrammeKind.PERFORMANCE: "for performance"}
PURPOSES = {Purpose.AUDIT: "audit", Purpose.RESEARCH: "research"}

# Every published source that the audit's arithmetic rests on.
SOURCES = (
    "Reporting of observational studies: von Elm E et al. 2007, STROBE statement, Lancet "
    "370:1453-1457.",
    "Standard error of measurement and minimal detectable change: Weir JP 2005, J Strength Cond "
    "Res 19:231-240.",
    "Interval of a share: Wilson EB 1927, J Am Stat Assoc 22:209-212; where several visits are one "
    "runner's: Rao JNK, Scott AJ 1992, Biometrics 48:577-585, and Korn EL, Graubard BI 1998, Surv "
    "Methodol 24:193-201.",
    "Regression to the mean: Barnett AG et al. 2005, Int J Epidemiol 34:215-220.",
    "Time to an event: Kaplan EL, Meier P 1958, J Am Stat Assoc 53:457-481.",
    "Funnel plots: Spiegelhalter DJ 2005, Stat Med 24:1185-1202.",
    "Growth model: Laird NM, Ware JH 1982, Biometrics 38:963-974. Its intervals, by Student's t "
    "with the degrees of freedom between runners: Schluchter MD, Elashoff JT 1990, J Stat Comput "
    "Simul 37:69-87.",
)


def cohort_words(audit: Audit) -> str:
    """Whom an audit is about, in a sentence, and how far they came."""
    choice = audit.choice
    steps = dict(audit.flow.steps)
    about = [f"registered by {day_words(choice.as_of)}"]
    started = [
        f"{word} {day_words(day)}"
        for word, day in (("from", choice.started_from), ("until", choice.started_to))
        if day is not None
    ]
    if choice.kinds or started:
        kinds = " or ".join(SHORT_KINDS[one] for one in choice.kinds)
        words = " ".join(word for word in ("with a first programme", kinds) if word)
        about.append(f"{words} started {' '.join(started)}" if started else words)
    if choice.regions:
        about.append(f"with a complaint of the {_listed(choice.regions)}")
    if choice.pathologies:
        about.append(f"kind of tissue {_listed(choice.pathologies)}")
    if choice.clinicians:
        about.append(f"with a baseline assessed by {_assessors(choice)}")
    if choice.purpose is not None:
        about.append(f"who consented to {PURPOSES[choice.purpose]}")
    included = steps[Step.INCLUDED]
    who = "Runners" if included.n is None else f"{included.n} runner{'s' * (included.n != 1)}"
    return (
        f"{who} {', '.join(about)}: {_how_many(steps[Step.STARTED])} started a programme, "
        f"{_how_many(steps[Step.REVIEWED])} were seen again. Outcomes are told by "
        f"{VISITS[choice.visit]}."
    )


def _how_many(count: Count) -> str:
    return "a number that is withheld" if count.n is None else str(count.n)


def methods_words(choice: AuditChoice) -> tuple[str, ...]:
    """How an audit was made, a sentence each, so that the text of a study can start from them."""
    told = [
        f"All runners registered by {day_words(choice.as_of)} were considered{_consent(choice)}.",
        *_restrictions(choice),
        "Each runner counts once, with the first programme; its baseline is the mean of the "
        "visits before the programme's start.",
        f"The outcome was told by {VISITS[choice.visit]}, compared with the baseline.",
        "A change counts as beyond error where it is larger than the minimal detectable change "
        "(95 %) of that runner's own visits, given the number of trials and the error figure in "
        "force; visits that were not like for like in what matters for the metric give no verdict.",
        "Shares are given with Wilson's 95 % interval, means with an interval of Student's t. "
        "The worse side is the one that was worse at the baseline, which alone makes it likely to "
        "be measured better the next time; the change to be expected from that is given beside.",
        f"A planned visit counts as kept in time up to {choice.grace_days} days after its day, of "
        "those for which that time was over; the interval of that share allows for several visits "
        "being one runner's. A "
        f"runner who was not discharged counts as lost after {choice.lost_after_days} days "
        "without a visit, counted from the latest one or from the day planned at it.",
        f"Groups of fewer than {choice.least_group} runners are withheld, and so are numbers from "
        "which they could be worked out.",
    ]
    return tuple(told)


def _consent(choice: AuditChoice) -> str:
    if choice.purpose is None:
        return ""
    return (
        f", if their consent covered {PURPOSES[choice.purpose]} on that day and was not withdrawn "
        "since"
    )


def _restrictions(choice: AuditChoice) -> list[str]:
    parts = []
    if choice.started_from is not None:
        parts.append(f"the first programme started on {day_words(choice.started_from)} or later")
    if choice.started_to is not None:
        parts.append(f"the first programme started on {day_words(choice.started_to)} or before")
    if choice.kinds:
        parts.append(f"it was one of: {', '.join(KINDS[one] for one in choice.kinds)}")
    if choice.regions:
        parts.append(f"the complaint was of the {_listed(choice.regions)}")
    if choice.pathologies:
        parts.append(f"the kind of tissue was {_listed(choice.pathologies)}")
    if choice.clinicians:
        parts.append(f"the baseline was assessed by {_assessors(choice)}")
    return [f"Runners were included if {'; '.join(parts)}."] if parts else []


def _assessors(choice: AuditChoice) -> str:
    """Their names are for the clinic's own eyes, as in the plots that set them side by side."""
    if choice.purpose is None:
        return " or ".join(choice.clinicians)
    count = len(choice.clinicians)
    return "one chosen clinician" if count == 1 else f"{count} chosen clinicians"


def _listed(codes: tuple[Region, ...] | tuple[Pathology, ...]) -> str:
    return " or ".join(code.value.replace("_", " ") for code in codes)
