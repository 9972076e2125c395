"""Findings that call for thinking of a referral, and pain beyond the usual limits.

A prompt is no diagnosis and leaves every decision to the clinician. Most single warning signs
have weak evidence behind them and count together with everything else that is known of a
person (Finucane et al. 2020, J Orthop Sports Phys Ther 50:350-372; abstract read).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

from casebook.domain.date_words import day_words
from casebook.domain.injuries import Injury, Pathology
from casebook.domain.programmes import AdherenceWeek

ADVICE = "consider referral, follow local pathways"


class Finding(StrEnum):
    """What can be entered at a visit; each is a yes or not asked, never a guess."""

    BONE_TENDERNESS = "bone_tenderness"
    NIGHT_PAIN = "night_pain"
    REST_PAIN = "rest_pain"
    HOP_PAIN = "hop_pain"
    SUSPECTED_BONE_STRESS = "suspected_bone_stress"
    SITE_FEMORAL_NECK = "site_femoral_neck"
    SITE_ANTERIOR_TIBIA = "site_anterior_tibia"
    SITE_NAVICULAR = "site_navicular"
    SITE_FIFTH_METATARSAL = "site_fifth_metatarsal"
    SITE_OTHER_HIGH_RISK = "site_other_high_risk"
    NUMBNESS = "numbness"
    WEAKNESS = "weakness"
    SADDLE_NUMBNESS = "saddle_numbness"
    BLADDER_OR_BOWEL = "bladder_or_bowel"
    CALF_SWELLING = "calf_swelling"
    CALF_WARMTH = "calf_warmth"
    ACUTE_TIGHTNESS = "acute_tightness"
    PAIN_ON_PASSIVE_STRETCH = "pain_on_passive_stretch"
    FEVER = "fever"
    WEIGHT_LOSS = "weight_loss"


FINDINGS = {
    Finding.BONE_TENDERNESS: "tender on the bone",
    Finding.NIGHT_PAIN: "pain at night",
    Finding.REST_PAIN: "pain at rest",
    Finding.HOP_PAIN: "pain on hopping on the leg",
    Finding.SUSPECTED_BONE_STRESS: "bone stress injury suspected",
    Finding.SITE_FEMORAL_NECK: "pain on loading in the groin or deep hip (neck of the thigh bone)",
    Finding.SITE_ANTERIOR_TIBIA: "pain on loading at the front edge of the shin bone",
    Finding.SITE_NAVICULAR: "pain on loading at the navicular (top of the midfoot)",
    Finding.SITE_FIFTH_METATARSAL: "pain on loading at the base of the fifth metatarsal",
    Finding.SITE_OTHER_HIGH_RISK: (
        "pain on loading at another high-risk site (inner ankle, talus, sesamoid)"
    ),
    Finding.NUMBNESS: "numbness or tingling",
    Finding.WEAKNESS: "weakness that is new or growing",
    Finding.SADDLE_NUMBNESS: "numbness of the saddle area",
    Finding.BLADDER_OR_BOWEL: "new trouble with bladder or bowel",
    Finding.CALF_SWELLING: "calf swollen on one side",
    Finding.CALF_WARMTH: "calf warm or red",
    Finding.ACUTE_TIGHTNESS: "severe tightness that came on suddenly, out of proportion",
    Finding.PAIN_ON_PASSIVE_STRETCH: "severe pain when the muscle is stretched passively",
    Finding.FEVER: "fever or feeling ill",
    Finding.WEIGHT_LOSS: "weight loss without a known reason",
}


class Urgency(StrEnum):
    """How soon the prompt asks to think of it."""

    AT_ONCE = "at_once"
    SOON = "soon"


URGENCIES = {Urgency.AT_ONCE: "at once", Urgency.SOON: "before loading goes on"}


class CautionAction(StrEnum):
    """What was done about a prompt; recorded with the reason when it is acknowledged."""

    REFERRED = "referred"
    FOLLOWED_PATHWAY = "followed_pathway"
    NOT_NEEDED = "not_needed"


CAUTION_ACTIONS = {
    CautionAction.REFERRED: "referred",
    CautionAction.FOLLOWED_PATHWAY: "handled along the local pathway",
    CautionAction.NOT_NEEDED: "looked at, no referral needed",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionRule:
    """Findings which, entered together, call for a prompt.

    Parameters
    ----------
    key : str
        Stable, for the acknowledgement.
    any_of : tuple of frozenset of Finding
        One of these sets entered in full is enough.
    prompt : str
        What it is about, without a diagnosis.
    sources : str
        Published source, and how it is known.
    """

    key: str
    any_of: tuple[frozenset[Finding], ...]
    prompt: str
    urgency: Urgency
    sources: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A prompt that is called for, with the findings that called for it."""

    rule: CautionRule
    findings: tuple[Finding, ...]

    @property
    def words(self) -> str:
        """The prompt in one sentence."""
        found = "; ".join(FINDINGS[finding] for finding in self.findings)
        urgency = URGENCIES[self.rule.urgency]
        return f"{self.rule.prompt}: {ADVICE}, {urgency}. Entered: {found}."


def _one(*findings: Finding) -> tuple[frozenset[Finding], ...]:
    return tuple(frozenset({finding}) for finding in findings)


RULES: tuple[CautionRule, ...] = (
    CautionRule(
        key="cauda_equina_signs",
        any_of=_one(Finding.SADDLE_NUMBNESS, Finding.BLADDER_OR_BOWEL),
        prompt="Signs from the nerves of the lower back that do not wait",
        urgency=Urgency.AT_ONCE,
        sources="Finucane et al. 2020, J Orthop Sports Phys Ther 50:350-372 (abstract read; that "
        "these signs are urgent is from memory)",
    ),
    CautionRule(
        key="acute_tightness",
        any_of=_one(Finding.ACUTE_TIGHTNESS, Finding.PAIN_ON_PASSIVE_STRETCH),
        prompt="Sudden severe tightness of a compartment",
        urgency=Urgency.AT_ONCE,
        sources="common practice, no source",
    ),
    CautionRule(
        key="calf_swelling",
        any_of=_one(Finding.CALF_SWELLING, Finding.CALF_WARMTH),
        prompt="A calf that is swollen or warm on one side",
        urgency=Urgency.AT_ONCE,
        sources="Wells et al. 2003, N Engl J Med 349:1227-1235 (citation from memory; its items, "
        "a calf larger by more than 3 cm among them, read as tabled elsewhere)",
    ),
    CautionRule(
        key="high_risk_bone_site",
        any_of=_one(
            Finding.SITE_FEMORAL_NECK,
            Finding.SITE_ANTERIOR_TIBIA,
            Finding.SITE_NAVICULAR,
            Finding.SITE_FIFTH_METATARSAL,
            Finding.SITE_OTHER_HIGH_RISK,
        ),
        prompt="A bone stress injury cannot be ruled out at a site that heals badly; running on it "
        "can make it much worse",
        urgency=Urgency.AT_ONCE,
        sources="Robertson & Wood 2017, Sports Med Int Open 1:E58-E68 (neck of the thigh bone, "
        "read); Mayer et al. 2014, Sports Health 6:481-491 (foot and ankle, abstract read; "
        "page numbers and the full list of sites from memory)",
    ),
    CautionRule(
        key="bone_tenderness_night_pain",
        any_of=(
            frozenset({Finding.BONE_TENDERNESS, Finding.NIGHT_PAIN}),
            frozenset({Finding.BONE_TENDERNESS, Finding.REST_PAIN}),
            frozenset({Finding.BONE_TENDERNESS, Finding.HOP_PAIN}),
            frozenset({Finding.SUSPECTED_BONE_STRESS}),
        ),
        prompt="A bone stress injury cannot be ruled out",
        urgency=Urgency.SOON,
        sources="bone tenderness: a rule from 778 recruits (PMC7485018, read); pain at night, at "
        "rest and on hopping: common practice, no source",
    ),
    CautionRule(
        key="neurological_signs",
        any_of=_one(Finding.NUMBNESS, Finding.WEAKNESS),
        prompt="Signs from the nerves",
        urgency=Urgency.SOON,
        sources="Finucane et al. 2020, J Orthop Sports Phys Ther 50:350-372 (abstract read)",
    ),
    CautionRule(
        key="fever_weight_loss",
        any_of=_one(Finding.FEVER, Finding.WEIGHT_LOSS),
        prompt="Signs of an illness of the whole body",
        urgency=Urgency.SOON,
        sources="Finucane et al. 2020, J Orthop Sports Phys Ther 50:350-372 (abstract read)",
    ),
)


def cautions_for(findings: Collection[Finding]) -> tuple[Caution, ...]:
    """The prompts that the entered findings call for, most urgent first.

    Parameters
    ----------
    findings : collection of Finding
        Those that were entered as present. What was not asked is not absent.

    Returns
    -------
    tuple of Caution
        At most one for each rule, with every finding of its sets that was entered.
    """
    entered = set(findings)
    found = []
    for rule in RULES:
        met = [group for group in rule.any_of if group <= entered]
        if met:
            named = frozenset().union(*met)
            found.append(Caution(rule=rule, findings=tuple(one for one in Finding if one in named)))
    return tuple(found)


class PainReason(StrEnum):
    """Why a week's pain lies beyond the usual limits."""

    DURING_TOO_HIGH = "during_too_high"
    MORNING_TOO_HIGH = "morning_too_high"
    RISING = "rising"
    BONE = "bone"


# Zones of the pain-monitoring model on the 0-10 scale: up to 5 during the exercise is accepted,
# it may reach 5 but must be no more the morning after, and must not grow from week to week.
HIGHEST_PAIN = 5.0
# The model asks that pain does not grow from week to week. A fall by 2 points is what patients
# call much better (Salaffi et al. 2004, Eur J Pain 8:283-291, abstract read); to take a rise of
# the same size for growing is common practice, no source. It is held against the median of four
# weeks, or, so that a slow rise is seen too, against their lowest while it climbs: above all of
# them, the last no low one. Against the lowest alone, pain that stays at 2 with an SD of 1 is
# flagged 3.5 times in twelve weeks, so about once, and flags that always come are not read.
RISE = 2.0
RISE_WITHIN_DAYS = 28
PAIN_SOURCES = (
    "Pain-monitoring model: Thomeé 1997, Phys Ther 77:1690-1703, and Silbernagel et al. 2007, Am "
    "J Sports Med 35:897-906 (a trial of 38 people with Achilles tendinopathy, abstract read; "
    "that pain was not to exceed 5 of 10 read in a summary; the rules for the morning after and "
    "from week to week from memory). It was never meant for a suspected bone stress injury."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PainFlag:
    """A week in which pain lay beyond the usual limits.

    Parameters
    ----------
    pain : float
        The number that is beyond it, 0 to 10.
    against : float
        The limit, or for a rise what it rose from: median or lowest of the four weeks before.
    """

    week: AdherenceWeek
    reason: PainReason
    pain: float
    against: float

    @property
    def words(self) -> str:
        """The flag in one sentence."""
        when = f"week of {day_words(self.week.week_start)}"
        numbers = f"{self.pain:g} of 10"
        if self.reason is PainReason.BONE:
            return (
                f"Pain {numbers} in the {when} with a bone stress injury on record: no pain is "
                f"the limit there. Ease off; {ADVICE}."
            )
        if self.reason is PainReason.RISING:
            return (
                f"Pain the morning after rose from {self.against:g} to {numbers} by the {when}: "
                "beyond the usual limits. Think of easing off."
            )
        part = "during" if self.reason is PainReason.DURING_TOO_HIGH else "the morning after"
        return (
            f"Pain {part} the sessions was {numbers} in the {when}, above the usual limit of "
            f"{self.against:g}. Think of easing off."
        )


def pain_flags(
    weeks: Sequence[AdherenceWeek], injury: Injury | None = None
) -> tuple[PainFlag, ...]:
    """Weeks of a programme in which pain lay beyond the usual limits.

    Parameters
    ----------
    weeks : sequence of AdherenceWeek
        Of one programme, in any order; pain that was not entered is not nought.
    injury : Injury or None
        That the programme is for. With a bone stress injury the limits do not apply: any pain
        is flagged.

    Returns
    -------
    tuple of PainFlag
        In the order of time, at most one of each reason a week. Rising: the morning after is
        2 points or more above the median of the four weeks before; or above their lowest, higher
        than all of them, the last of them not below their median.
    """
    bone = injury is not None and injury.pathology is Pathology.BONE_STRESS
    ordered = sorted(weeks, key=lambda one: one.week_start)
    return tuple(
        flag
        for week in ordered
        for flag in (_bone_flags(week) if bone else _flags(week, _rose_from(week, ordered)))
    )


def _rose_from(week: AdherenceWeek, weeks: Sequence[AdherenceWeek]) -> float | None:
    """What the pain of the morning after rose from; None where it did not rise."""
    morning = week.pain_morning_after
    before = [
        one.pain_morning_after
        for one in weeks
        if one.pain_morning_after is not None
        and 0 < (week.week_start - one.week_start).days <= RISE_WITHIN_DAYS
    ]
    if morning is None or not before:
        return None
    middle = median(before)
    if morning - middle >= RISE:
        return middle
    climbs = morning > max(before) and before[-1] >= middle
    return min(before) if climbs and morning - min(before) >= RISE else None


def _bone_flags(week: AdherenceWeek) -> list[PainFlag]:
    worst = max(week.pain_during or 0.0, week.pain_morning_after or 0.0)
    return [PainFlag(week=week, reason=PainReason.BONE, pain=worst, against=0.0)] if worst else []


def _flags(week: AdherenceWeek, before: float | None) -> list[PainFlag]:
    found = [
        PainFlag(week=week, reason=reason, pain=pain, against=HIGHEST_PAIN)
        for reason, pain in (
            (PainReason.DURING_TOO_HIGH, week.pain_during),
            (PainReason.MORNING_TOO_HIGH, week.pain_morning_after),
        )
        if pain is not None and pain > HIGHEST_PAIN
    ]
    morning = week.pain_morning_after
    if morning is not None and before is not None:
        found.append(PainFlag(week=week, reason=PainReason.RISING, pain=morning, against=before))
    return found
