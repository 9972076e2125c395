"""What an export's risk is, in words, for whoever sends it and whoever gets it.

The intruder is one who knows that a runner is in the export and knows the runner's
quasi-identifiers (El Emam & Dankar 2008 call that the prosecutor).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from casebook.domain.date_words import day_words
from casebook.domain.export_tables import WEIGHTS
from casebook.domain.exporting import ExportSettings, Trait

NAMES: Final[Mapping[Trait, str]] = {
    Trait.SEX: "sex",
    Trait.AGE: "age",
    Trait.DISCIPLINE: "discipline",
    Trait.REGION: "region of the complaint",
    Trait.SIDE: "side of the complaint",
    Trait.HEIGHT: "height",
    Trait.MASS: "mass",
}
# Widths of the finest bands.
HEIGHT_STEP_CM: Final = 5.0
MASS_STEP_KG: Final = 5.0
_ENDS: Final = "the few at either end together"
_OLDEST: Final = "under 18 together, 90 and over together"
# How each leaves at each rung of its ladder, the finest first; what follows is nothing at all.
RUNGS: Final[Mapping[Trait, tuple[str, ...]]] = {
    Trait.SEX: ("as recorded",),
    Trait.AGE: (
        f"in bands of 5 years ({_OLDEST})",
        f"in bands of 10 years ({_OLDEST})",
        "in bands of 20 years (under 18, 18 to 39, 40 to 59, 60 to 79, 80 and over)",
        "as under 40, or 40 and over",
    ),
    Trait.DISCIPLINE: (
        "in a word of a closed list (such as 800 m, 10 km, marathon)",
        "in groups (up to 3000 m, 5 km to half marathon, marathon and longer, off road, other)",
    ),
    Trait.REGION: (
        "as recorded",
        "in parts of the body (foot and lower leg, knee and thigh, hip and back, other)",
    ),
    Trait.SIDE: ("as recorded", "as whether there is a complaint, without its side"),
    Trait.HEIGHT: (
        f"in bands of {HEIGHT_STEP_CM:g} cm ({_ENDS})",
        f"in bands of {2 * HEIGHT_STEP_CM:g} cm ({_ENDS})",
    ),
    Trait.MASS: (
        f"in bands of {MASS_STEP_KG:g} kg ({_ENDS})",
        f"in bands of {2 * MASS_STEP_KG:g} kg ({_ENDS})",
    ),
}
NOT_PROTECTED: Final = (
    "Somebody who knows more of a runner than the quasi-identifiers (a measured value such as a "
    "speed or the distance run in a week, the days between visits, how many visits or complaints "
    "there were, how many weeks a complaint kept from running, the weeks of a programme) may find "
    "the record by these: they leave as they are, but for rounding.",
    "Two exports of the same runners can be matched by such numbers, whatever their keys, and what "
    "one made coarser or left out the other may give back. A record that is in the first alone is "
    "that of somebody who left in between: whoever knows who withdrew finds it, whole. Give no "
    "second export to the same receiver without need, and ask for the first one back.",
    "Exports that carry a key on can be joined by pseudonym, which is what the key is for. The "
    "numbers above hold for each by itself: of runners known to be in both, fewer may look alike.",
    "Exercises, metrics, targets and kinds of tissue hint at the complaint, and the weaker, "
    "stiffer or unmeasured side at its side, more or less surely.",
    "Of a runner who is still in care, who knows the day of the export can count back from the "
    "last visit or week to about the day of the first visit.",
    "The classes count runners of this export. Where it is known that few in a place run at all, "
    "or where the clinic is small and known, to be one of k can already tell much.",
    "What is learned about a group is learned about each of its members: that is not hidden.",
    "Whoever holds the key can name every pseudonym's record in the casebook. Keep it apart from "
    "the files, or use a new one each time and keep none.",
)
DISCLAIMER: Final = (
    "These records are de-identified by the rules above. Whether that makes them anonymous in law "
    "is not for a program to say: ask whoever is responsible for data protection."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskFacts:
    """What the words rest on.

    Parameters
    ----------
    registered, consenting, exported : int
        Runners of the clinic, those whose consent covers the purpose, those who left.
    changed : int
        Exported runners of whom something leaves coarser than recorded, or not at all.
    withheld, left_out : int
        Runners who left without any quasi-identifier, and who did not leave at all.
    too_few, too_alike : int
        Why, of both together: fewer than k alike, or k with too few kinds of tissue.
    k, diversity : int
        Reached.
    largest, mean : float, 0 to 1
        Probability of finding the right record, at most and on average; `before` as recorded.
    unique_before : int
        Runners who were alone in their class as recorded.
    loss : float, 0 to 1
        0 where all leaves as recorded, 1 where nothing does, weighted by `WEIGHTS`; `loss_of` for
        each quasi-identifier that leaves.
    levels : mapping of Trait to (int, int)
        Rung taken (0 says what was recorded) and rungs there are, of each that leaves.
    complaints_withheld, exercises_withheld : int
        Runners whose complaint is not told at all, and whose exercises are not.
    combinations, worked_out : int
        Of rungs: how many there are, and how many had to be worked out to be sure that none
        loses less; 1 and 1 where those of earlier exports with the same key are kept.
    """

    registered: int
    consenting: int
    exported: int
    changed: int
    withheld: int
    left_out: int
    too_few: int
    too_alike: int
    k: int
    diversity: int
    largest: float
    mean: float
    largest_before: float
    mean_before: float
    unique_before: int
    loss: float
    loss_of: Mapping[Trait, float]
    levels: Mapping[Trait, tuple[int, int]]
    complaints_withheld: int
    exercises_withheld: int
    combinations: int
    worked_out: int


def nobody_words(facts: RiskFacts, settings: ExportSettings) -> str:
    """Why no runner would leave, where none would."""
    purpose, day = settings.purpose.value, day_words(settings.as_of)
    if not facts.consenting:
        return (
            f"No runner's consent covers {purpose} on {day} and today, of {facts.registered} "
            "registered. Record consents first."
        )
    consent = "runner consents" if facts.consenting == 1 else "runners consent"
    return (
        f"{facts.consenting} {consent} to {purpose}, and under the settings "
        f"(k {settings.k}, l {settings.diversity}) none of them may leave: too few look "
        "alike, even with every quasi-identifier withheld. Ask for fewer alike (k), or for fewer "
        "kinds of tissue (l), or wait until more consent."
    )


def risk_sentences(facts: RiskFacts, settings: ExportSettings) -> tuple[str, ...]:
    """The risk in sentences, the most important first."""
    if not facts.exported:
        return (nobody_words(facts, settings),)
    return (
        f"{facts.exported} of {facts.consenting} runners whose consent covers "
        f"{settings.purpose.value} on {day_words(settings.as_of)} and today (of "
        f"{facts.registered} registered) are in the export.",
        "Quasi-identifiers are what a club-mate would know of a runner: "
        f"{', '.join(NAMES[name] for name in facts.levels)}.",
        f"Every combination of them occurs in at least {facts.k} runners of the export "
        f"(asked for: {settings.k}). Somebody who knows these of a runner finds the right record "
        f"with a probability of at most {_share(facts.largest)}, on average "
        f"{_share(facts.mean)}. As recorded it would have been at most "
        f"{_share(facts.largest_before)}, on average {_share(facts.mean_before)}, and "
        f"{facts.unique_before} {_runners(facts.unique_before)} would have stood alone.",
        f"Each class holds at least {facts.diversity} kinds of tissue or pathology (asked for: "
        f"{settings.diversity}), a runner without a complaint counting as a kind, so that "
        "belonging to one does not tell it.",
        f"Of {facts.changed} {_runners(facts.changed)} something leaves coarser than recorded or "
        f"not at all: {_withheld(facts)}.",
        f"Together that loses {_share(facts.loss)} of what the quasi-identifiers that leave say "
        f"({_weights(facts)}). {_choice(facts)}",
        *_left_out(settings),
        f"Of {facts.complaints_withheld} {_runners(facts.complaints_withheld)} it is not told "
        f"whether they have a complaint, and of {facts.exercises_withheld} which exercises they "
        "did, as their region leaves coarser than recorded.",
    )


def earlier_words(numbers: Sequence[int], traits: Sequence[Trait]) -> str:
    """That exports of the log tell something finer than this one, which tells other things finer.

    For who exports: it does not leave with the tables, which stay the same bytes.

    Examples
    --------
    >>> earlier_words([3], [Trait.AGE])[:71]
    'Export 3 held some of these runners, too, and tells more of their age; '
    """
    many = len(numbers) > 1
    return (
        f"Export{'s' if many else ''} {', '.join(str(one) for one in numbers)} held some of these "
        f"runners, too, and tell{'' if many else 's'} more of their "
        f"{', '.join(NAMES[one] for one in traits)}; this one tells more of other things. Whoever "
        "has both can match the records by what was measured, whatever the keys, and then "
        "hardly anybody may look like another. Give this one to nobody who has "
        f"{'one of those' if many else 'that one'}."
    )


def _choice(facts: RiskFacts) -> str:
    if facts.combinations == 1:
        return (
            "As the key is carried on, they leave exactly as coarse as in the exports before with "
            "it: joined by their pseudonyms, a finer one would give back what the others coarsened."
        )
    return (
        f"All {facts.combinations} ways to coarsen them alike for everybody were weighed "
        f"({facts.worked_out} worked out in full); none that reaches k loses less."
    )


def _weights(facts: RiskFacts) -> str:
    """What counts more than once, so that the weighing can be followed."""
    heavy = [f"{NAMES[one]} {WEIGHTS[one]} times" for one in facts.levels if WEIGHTS[one] > 1]
    return f"weighed: {', '.join(heavy)}, the others once" if heavy else "all weighed alike"


def _left_out(settings: ExportSettings) -> tuple[str, ...]:
    if not settings.leave_out:
        return ()
    names = ", ".join(NAMES[one] for one in Trait if one in settings.leave_out)
    return (f"Left out for everybody, as asked: {names}.",)


def _withheld(facts: RiskFacts) -> str:
    hidden = facts.withheld + facts.left_out
    if not hidden:
        return "only coarser, nobody withheld"
    return (
        f"{facts.withheld} leave without any quasi-identifier and {facts.left_out} do not leave "
        f"({facts.too_few} because fewer than k look alike, {facts.too_alike} because those who "
        "look alike have too few kinds of tissue)"
    )


def risk_page(facts: RiskFacts, settings: ExportSettings) -> str:
    """The page risk.md of a package."""
    if not facts.exported:
        return f"# Risk of this export\n\n- {nobody_words(facts, settings)}\n"
    lines = [
        "# Risk of this export",
        "",
        *(f"- {sentence}" for sentence in risk_sentences(facts, settings)),
        "",
        "## How each quasi-identifier leaves",
        "",
        "| Quasi-identifier | How it leaves | Lost |",
        "| --- | --- | --- |",
        *(
            f"| {NAMES[name]} | {level_words(name, facts.levels[name][0])} | "
            f"{_share(facts.loss_of[name])} |"
            for name in facts.levels
        ),
        *(
            f"| {NAMES[name]} | left out for everybody, as asked | |"
            for name in Trait
            if name in settings.leave_out
        ),
        "",
        "## What else was done",
        "",
        "- Names, dates, free texts, codes, attached files and conditions in words do not leave. "
        "Days are counted from each runner's first visit.",
        "- What would give a trait back in another table goes the same way: exercises and "
        "questionnaires of one body area with the region, reasons of a missing side with the side, "
        "a force beside the same force per body mass with the mass.",
        "- Pseudonyms are made with a secret key (HMAC-SHA256), a new one unless one was carried "
        "on.",
        "- Counts in the tables by group are rounded at random to multiples of five and withheld "
        "where small, further ones with them, so that neither totals nor an earlier or later "
        "export give one runner away.",
        "",
        "## What this does not protect against",
        "",
        *(f"- {sentence}" for sentence in NOT_PROTECTED),
        "",
        DISCLAIMER,
        "",
    ]
    return "\n".join(lines)


def level_words(name: Trait, level: int) -> str:
    """How coarse a quasi-identifier leaves for everybody.

    Parameters
    ----------
    level : int
        Rung of its ladder; 0 is the finest, the last one says nothing.
    """
    rungs = RUNGS[name]
    return rungs[level] if level < len(rungs) else "withheld for everybody"


def _share(share: float) -> str:
    return f"{100 * share:.1f} %"


def _runners(number: int) -> str:
    return "runner" if number == 1 else "runners"
