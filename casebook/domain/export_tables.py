"""The tables of a de-identified export: every column, in words for whoever reads the dictionary.

A column that is not described here does not leave; a text leaves from a closed list or as a
pseudonym alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import Final

from casebook.domain.exporting import PSEUDONYM_DIGITS, ExportSettings, Kind, Trait
from casebook.domain.injuries import Course, Occurrence, Onset, Pathology
from casebook.domain.metrics import AsymmetryForm, Better, ErrorOrigin, Scale
from casebook.domain.packages import Field, FieldType, Link, Package, Table
from casebook.domain.people import Purpose
from casebook.domain.prescriptions import MOST_WEEKS, Delivery, Mode, Supervision, Tailoring
from casebook.domain.programmes import Aim, ProgrammeKind, TargetDirection
from casebook.domain.sides import Side
from casebook.domain.target_outcomes import TargetCall
from casebook.domain.verdicts import Call, Reason, SideMoved, What
from casebook.domain.visits import MissingReason, VisitKind

WITHHELD: Final = "withheld"
NOT_RECORDED: Final = "not_recorded"
OTHER: Final = "other"
YES, NO = "yes", "no"
ONE_SIDE: Final = "one_side"
OWN_WORDS: Final = "in_own_words"
HOLLOW: Final = "met_by_falling"
TARGET_OUTCOMES: Final = (
    TargetCall.MET.value,
    HOLLOW,
    TargetCall.NOT_MET.value,
    TargetCall.CANNOT_SAY.value,
    TargetCall.NOT_DUE.value,
)
NO_PROGRAMME: Final = "no_programme"
# Beyond these a number stands for itself and everything beyond it.
MOST_ONSET_WEEKS: Final = 104
MOST_RETURN_DAYS: Final = 728
FURTHER: Final = ("none", "one", "two_or_more")

QUASI_IDENTIFIERS: Final[Mapping[Trait, str]] = {
    Trait.SEX: "Sex as recorded.",
    Trait.AGE: "Age in years at the first visit, in bands.",
    Trait.DISCIPLINE: "Discipline, from a closed list.",
    Trait.REGION: "Body area of the complaint that the first programme is for, else of the "
    "runner's first complaint.",
    Trait.SIDE: "Side of that complaint.",
    Trait.HEIGHT: "Body height in bands; its ends hold k runners or more.",
    Trait.MASS: "Body mass in bands; its ends hold k runners or more.",
}
# How much the loss of each counts when the least coarse way is sought: an audit asks for the
# complaint first and for age next. Common practice of this program, no source for the numbers.
WEIGHTS: Final[Mapping[Trait, int]] = {
    Trait.SEX: 1,
    Trait.AGE: 2,
    Trait.DISCIPLINE: 1,
    Trait.REGION: 3,
    Trait.SIDE: 2,
    Trait.HEIGHT: 1,
    Trait.MASS: 1,
}


class Step(StrEnum):
    """How far runners came in care, by what is on record."""

    EXPORTED = "exported"
    VISITED = "visited"
    STARTED = "programme_started"
    REVIEWED = "reviewed_after_start"
    DISCHARGED = "discharge_visit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lists:
    """Closed lists that differ from one casebook and its settings to another.

    Parameters
    ----------
    bands : mapping of str to tuple of str
        Words of each quasi-identifier that leaves.
    metrics, units, exercises : tuple of str
    """

    bands: Mapping[str, tuple[str, ...]]
    metrics: tuple[str, ...]
    units: tuple[str, ...]
    exercises: tuple[str, ...]


def export_package(settings: ExportSettings, lists: Lists) -> Package:
    """The description of an export's tables, before a row is written."""
    purpose = "audit" if settings.purpose is Purpose.AUDIT else "research"
    return Package(
        name=f"casebook-{settings.purpose.value}-export",
        title=f"De-identified records of runners for {purpose}",
        words="Runners, complaints, visits, values, programmes and outcomes of one clinic, without "
        "names, dates and free text. Visits, weeks and programmes are those up to the day of the "
        "export's choice; the runners' traits, what a programme consists of and the error figures "
        "are those of the record when it was made. Days are counted from each runner's first "
        "visit; a left and right are compared as right minus left. Read risk.md before you pass it "
        "on: it is de-identified, not anonymous beyond doubt.",
        tables=tuple(_tables(settings, lists)),
    )


def _tables(settings: ExportSettings, lists: Lists) -> Iterable[Table]:
    yield _runners(lists)
    yield _injuries()
    yield _metrics(lists)
    yield _visits(settings)
    yield from _measured(lists)
    yield from _prescribed(lists)
    yield from _grouped(lists)


def _runners(lists: Lists) -> Table:
    return Table(
        name="runners",
        words="A runner whose consent covers this purpose.",
        fields=(
            _pseudonym(Kind.RUNNER, "runner", "Pseudonym of the runner in this export."),
            *(
                _words(name, told, lists.bands[name], required=True)
                for name, told in QUASI_IDENTIFIERS.items()
                if name in lists.bands
            ),
        ),
        key=("runner",),
    )


def _injuries() -> Table:
    return Table(
        name="injuries",
        words="The complaint that a runner's region and side are told of; none for runners of "
        "whom it is withheld whether they have one.",
        fields=(
            _pseudonym(Kind.INJURY, "injury", "Pseudonym of the complaint."),
            _pseudonym(Kind.RUNNER, "runner", "Whose complaint.", required=True),
            _words("tissue", "Kind of tissue or of pathology.", Pathology, required=True),
            _words("onset", "How it began.", Onset, required=True),
            _words("occurrence", "First time or again.", Occurrence, required=True),
            _words("course", "Where it stood at last.", Course, required=True),
            _whole(
                "onset_weeks",
                "Whole weeks from its onset to the runner's first visit, negative where it began "
                f"later; {MOST_ONSET_WEEKS} stands for longer, too.",
                unit="wk",
                low=-MOST_ONSET_WEEKS,
                high=MOST_ONSET_WEEKS,
            ),
            _whole(
                "first_run_days",
                f"Days from its onset to the first run, to whole weeks; {MOST_RETURN_DAYS} "
                "stands for longer, too.",
                unit="d",
                low=0,
                high=MOST_RETURN_DAYS,
            ),
            _whole(
                "full_return_days",
                "Days from its onset to full training and racing, to whole weeks; "
                f"{MOST_RETURN_DAYS} stands for longer, too.",
                unit="d",
                low=0,
                high=MOST_RETURN_DAYS,
            ),
            _words("further_injuries", "Further complaints on record.", FURTHER, required=True),
        ),
        key=("injury",),
        links=(_link("runner", "runners"),),
    )


def _metrics(lists: Lists) -> Table:
    return Table(
        name="metrics",
        words="A metric that values are given of.",
        fields=(
            _words("metric", "Key of the metric.", lists.metrics),
            _words("unit", "Unit of its values (UCUM).", lists.units),
            _words("scale", "Scale of measurement.", Scale, required=True),
            Field(
                name="sided",
                type=FieldType.BOOLEAN,
                words="Whether left and right are read apart.",
                required=True,
            ),
            _words("better", "Which way is better for the runner.", Better, required=True),
            _words(
                "asymmetry_form",
                "How right and left are compared: right minus left, in the unit, in percent of "
                "their mean, or as a logarithm of right over left.",
                AsymmetryForm,
                required=True,
            ),
            _number(
                "important_change",
                "Smallest change that matters to a runner, in the unit of the values.",
                low=0,
            ),
        ),
        key=("metric",),
    )


def _visits(settings: ExportSettings) -> Table:
    same = ("surface", "footwear", "camera view", "assessor")
    clinician = (
        (
            Field(
                name="clinician",
                type=FieldType.STRING,
                words="Pseudonym of who assessed; 'other' for those with fewer than k runners.",
                pattern=f"{_pattern(Kind.CLINICIAN)}|{OTHER}",
            ),
        )
        if settings.clinicians
        else ()
    )
    return Table(
        name="visits",
        words="A visit of a runner.",
        fields=(
            _pseudonym(Kind.VISIT, "visit", "Pseudonym of the visit."),
            _pseudonym(Kind.RUNNER, "runner", "Whose visit.", required=True),
            _whole("day", "Days since the runner's first visit.", unit="d", low=0, required=True),
            _words("kind", "Why the runner was seen.", VisitKind, required=True),
            Field(
                name="baseline",
                type=FieldType.BOOLEAN,
                words="Whether it is part of the baseline that later visits are compared with.",
                required=True,
            ),
            _number(
                "speed_km_h",
                "Running speed to 0.5 km/h; the slowest and fastest are drawn in to what k "
                "runners reach.",
                unit="km/h",
            ),
            _number(
                "incline_pct",
                "Incline in whole percent; the ends are drawn in likewise.",
                unit="%",
            ),
            _number(
                "frames_per_s",
                "Frames a second of the camera; the ends are drawn in likewise.",
                unit="Hz",
            ),
            _number("pain_today", "Pain on the day, 0 to 10.", low=0, high=10),
            *(
                _words(
                    f"same_{name.split()[-1]}",
                    f"Whether the {name} was the same as at the first baseline visit.",
                    (YES, NO, NOT_RECORDED),
                    required=True,
                )
                for name in same
            ),
            *clinician,
        ),
        key=("visit",),
        links=(_link("runner", "runners"),),
    )


def _measured(lists: Lists) -> Iterable[Table]:
    visit = _pseudonym(Kind.VISIT, "visit", "At which visit.")
    metric = _words("metric", "Which metric.", lists.metrics)
    links = (_link("visit", "visits"), _link("metric", "metrics"))
    yield Table(
        name="values",
        words="What was read of a metric on a side at a visit. A force does not leave where the "
        "same force per body mass does, for both together are the mass; nor does a questionnaire "
        "of one body area where the complaint's region is coarser than recorded.",
        fields=(
            visit,
            metric,
            _words("side", "Side of the body; 'none' for a metric without sides.", Side),
            _number("mean", "Mean of the trials, in the metric's unit."),
            _number("sd", "Standard deviation of the trials, in the metric's unit.", low=0),
            _whole("trials", "Number of trials; 0 where it is missing.", low=0, required=True),
            _words(
                "missing",
                "Why it is missing, blank where it is not; withheld on a side of runners whose "
                "complaint's side is not told, for it may be the painful one.",
                (*MissingReason, WITHHELD),
            ),
        ),
        key=("visit", "metric", "side"),
        links=links,
    )
    yield Table(
        name="asymmetries",
        words="How right and left compare at a visit that counts (no repeat measurement).",
        fields=(
            visit,
            metric,
            _number(
                "asymmetry", "Right minus left, in the metric's asymmetry form.", required=True
            ),
            _number("sem", "Standard error of measurement of it, in the same unit.", low=0),
            _words("error_origin", "Where that error comes from.", ErrorOrigin, required=True),
        ),
        key=("visit", "metric"),
        links=links,
    )
    yield Table(
        name="outcomes",
        words="Whether a later visit differs from the baseline by more than measurement error. It "
        "says how a measurement changed and nothing of why.",
        fields=(
            visit,
            metric,
            _words("what", "A side, the value of a metric without sides, or the asymmetry.", What),
            _number(
                "change",
                "This visit minus the baseline, in the metric's unit; of an asymmetry in that of "
                "its form, signed right minus left.",
            ),
            _number("se_change", "Standard error of that change, in the same unit.", low=0),
            _number(
                "mdc95", "Changes up to this are within error (95 %), in the same unit.", low=0
            ),
            _words(
                "verdict",
                "What that says; 'unchanged' that no change beyond error was seen, which does not "
                "show that nothing changed.",
                Call,
                required=True,
            ),
            _words("reason", "Why nothing can be said.", Reason),
            _words("side_moved", "Which side an asymmetry's change came from.", SideMoved),
            _number(
                "p_better", "Probability that the true change is for the better.", low=0, high=1
            ),
        ),
        key=("visit", "metric", "what"),
        links=links,
    )


def _prescribed(lists: Lists) -> Iterable[Table]:
    programme = _pseudonym(Kind.PROGRAMME, "programme", "Of which programme.", required=True)
    links = (_link("programme", "programmes"),)
    yield Table(
        name="programmes",
        words="A programme of a runner, without its title and words.",
        fields=(
            _pseudonym(Kind.PROGRAMME, "programme", "Pseudonym of the programme."),
            _pseudonym(Kind.RUNNER, "runner", "Whose programme.", required=True),
            _words(
                "kind",
                "What it is for; withheld with the runner's region and side.",
                (*ProgrammeKind, WITHHELD),
                required=True,
            ),
            _words(
                "for_injury",
                "Whether it is for the complaint of the table injuries.",
                (YES, NO, WITHHELD),
                required=True,
            ),
            _whole("start_day", "Days from the runner's first visit to its start.", unit="d"),
            _whole("length_days", "Days from its start to its end.", unit="d", low=0),
            _whole("planned_weeks", "Weeks planned.", unit="wk", low=1, high=MOST_WEEKS),
            _words("mode", "Alone or in a group.", Mode),
            _words("delivery", "How it reaches the runner.", Delivery),
            _words("tailored", "The same for all, or fitted to the runner.", Tailoring),
        ),
        key=("programme",),
        links=(_link("runner", "runners"),),
    )
    yield Table(
        name="blocks",
        words="One exercise of a programme with its dose.",
        fields=(
            programme,
            _whole("position", "Place in the programme.", low=1),
            _words("aim", "What it works on.", Aim, required=True),
            _words(
                "exercise",
                "Key in the starter list of exercises; withheld where the runner's region is "
                "coarser than recorded, for an exercise may tell it.",
                (*lists.exercises, OWN_WORDS, WITHHELD),
                required=True,
            ),
            _words(
                "sides",
                "Both sides or one; which one is not said, for it may tell the injured one.",
                ("both", ONE_SIDE, "none"),
                required=True,
            ),
            _whole("sets", "Sets.", low=1),
            _whole("repetitions", "Repetitions a set.", low=1),
            _number("hold_s", "Time held.", unit="s", low=0),
            _number("sessions_per_week", "Sessions a week.", low=0),
            _number("rest_s", "Rest between sets.", unit="s", low=0),
            _words("supervision", "Whether somebody watches.", Supervision),
        ),
        key=("programme", "position"),
        links=links,
    )
    yield Table(
        name="targets",
        words="What a programme should change.",
        fields=(
            programme,
            _words("metric", "On which metric.", lists.metrics, required=True),
            _words(
                "what",
                "One side (which one is not said), the value of a metric without sides, or the "
                "asymmetry.",
                (ONE_SIDE, "none", "asymmetry"),
                required=True,
            ),
            _words("direction", "Which way.", TargetDirection, required=True),
            _number("amount", "By how much.", low=0, required=True),
            _whole("due_day", "Days from the programme's start.", unit="d", required=True),
            _words(
                "outcome",
                "At the first visit from that day on, against the visits before the programme: "
                "met as measured, met only because the better side fell, not met by more than "
                "error, can't be said, or not due by the export's day. Withheld where the values "
                "that it follows from do not leave, and of one side where the side of the "
                "complaint is not told.",
                (*TARGET_OUTCOMES, WITHHELD),
                required=True,
            ),
        ),
        links=(*links, _link("metric", "metrics")),
    )
    yield Table(
        name="adherence",
        words="A week of a programme as it was done.",
        fields=(
            programme,
            _whole("day", "Days from the programme's start to the week's first day.", unit="d"),
            _whole("sessions_planned", "Sessions planned.", low=0, high=70, required=True),
            _whole("sessions_done", "Sessions done.", low=0, high=70, required=True),
            _number("pain_during", "Pain during them, 0 to 10.", low=0, high=10),
            _number("pain_morning_after", "Pain the morning after, 0 to 10.", low=0, high=10),
        ),
        key=("programme", "day"),
        links=links,
    )


def _grouped(lists: Lists) -> Iterable[Table]:
    rounded = (
        "rounded at random to a multiple of five, up or down so that it is right on average; "
        "blank where it is small or would give a small one away"
    )
    yield Table(
        name="flow",
        words="How many of the runners of this export came how far. "
        "Steps are rounded each by itself and need not shrink evenly.",
        fields=(
            _words("step", "How far.", Step),
            _whole("runners", f"Runners, {rounded}.", low=0),
        ),
        key=("step",),
    )
    yield Table(
        name="outcomes_by_group",
        words="Verdicts on each runner's last visit, counted over the runners of this export.",
        fields=(
            _words("metric", "Which metric.", lists.metrics),
            _words(
                "what",
                "The asymmetry, or the value of a metric without sides.",
                (What.ASYMMETRY, What.NONE),
            ),
            _words(
                "programme",
                "Kind of the runner's first programme; 'all' together.",
                (*ProgrammeKind, NO_PROGRAMME, "all"),
            ),
            *(
                _whole(call.value, f"Runners whose verdict is {told}, {rounded}.", low=0)
                for call, told in (
                    (Call.IMPROVED, "improved"),
                    (Call.WORSENED, "worsened"),
                    (Call.UNCHANGED, "unchanged"),
                    (Call.CANNOT_SAY, "that nothing can be said"),
                )
            ),
            _whole(
                "runners",
                "All of them: the sum of the four, blank where it would give one away.",
                low=0,
            ),
            _number(
                "mean_change",
                "Mean change since the baseline, rounded so coarsely that one runner more or less "
                "hardly moves it; of an asymmetry, of its size (negative: it shrank).",
            ),
            _number("mean_change_step", "What that mean is rounded to.", low=0),
        ),
        key=("metric", "what", "programme"),
        links=(_link("metric", "metrics"),),
    )


def _pattern(kind: Kind) -> str:
    return f"{kind.value}[0-9a-f]{{{PSEUDONYM_DIGITS}}}"


def _pseudonym(kind: Kind, name: str, words: str, *, required: bool = False) -> Field:
    return Field(
        name=name,
        type=FieldType.STRING,
        words=words,
        pattern=_pattern(kind),
        required=required,
    )


def _words(
    name: str, words: str, allowed: Iterable[str] | Sequence[str], *, required: bool = False
) -> Field:
    return Field(
        name=name,
        type=FieldType.STRING,
        words=words,
        allowed=tuple(str(one) for one in allowed),
        required=required,
    )


def _numeric(
    kind: FieldType,
    name: str,
    words: str,
    *,
    unit: str = "",
    low: float | None = None,
    high: float | None = None,
    required: bool = False,
) -> Field:
    return Field(
        name=name, type=kind, words=words, unit=unit, low=low, high=high, required=required
    )


_whole = partial(_numeric, FieldType.INTEGER)
_number = partial(_numeric, FieldType.NUMBER)


def _link(field: str, table: str) -> Link:
    return Link(fields=(field,), table=table, its_fields=(field,))
