"""The tables that can be imported and their columns: the one place that says what they are.

Parsing, refusals and the help of the command line all derive from `TABLES`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from casebook.domain.cautions import Finding
from casebook.domain.injuries import Course, Occurrence, Onset, Pathology, Region
from casebook.domain.metrics import LARGEST_GRADE_STEP, AppliesTo, ErrorOrigin
from casebook.domain.people import LONGEST_CODE, Purpose, Role, Sex
from casebook.domain.prescriptions import (
    LONGEST_PHASE_S,
    LONGEST_REST_S,
    MOST_WEEKS,
    Delivery,
    Mode,
    Supervision,
    Tailoring,
)
from casebook.domain.programmes import Aim, ProgrammeKind, TargetDirection, TargetOn
from casebook.domain.running_load import LONGEST_KM, LONGEST_MIN
from casebook.domain.sides import InjurySide, Side
from casebook.domain.visits import (
    CONDITION_RANGES,
    LARGEST_READING,
    MOST_TRIALS,
    MissingReason,
    VisitKind,
)


class Type(StrEnum):
    """How a cell of a column is read."""

    CODE = "code"
    NAME = "name"
    TEXT = "text"
    DATE = "date"
    NUMBER = "number"
    WHOLE = "whole number"
    CHOICE = "one of"
    YES_NO = "yes or no"


class TableKind(StrEnum):
    """Kinds of table, in the order in which they must be stored."""

    USERS = "users"
    RUNNERS = "runners"
    VISITS = "visits"
    VISITS_WIDE = "visits_wide"
    INJURIES = "injuries"
    CONSENTS = "consents"
    PROGRAMMES = "programmes"
    BLOCKS = "blocks"
    TARGETS = "targets"
    ADHERENCE = "adherence"
    RUNS = "runs"
    FINDINGS = "findings"
    ERROR_FIGURES = "error_figures"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name : str
        Name in the header.
    type : Type
    words : str
        What it holds, for the help.
    required : bool
        True where the header must have it and, unless `may_be_blank`, every row a cell.
    allowed : tuple of str
        For a choice, what may stand there.
    low, high : float or None
        Smallest and largest number taken.
    longest : int
        Characters that a text may have.
    also : tuple of tuple of str
        Other spellings of an allowed word and the word meant.
    """

    name: str
    type: Type
    words: str = ""
    required: bool = False
    may_be_blank: bool = False
    allowed: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    longest: int = 2000
    also: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One kind of table.

    Parameters
    ----------
    words : str
        What a row is, for the help.
    key : tuple of str
        Columns that name the thing a row is about; two rows may not share them.
    """

    kind: TableKind
    words: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()

    def column(self, name: str) -> Column | None:
        """The column of that name, or None."""
        return next((column for column in self.columns if column.name == name), None)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all columns."""
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """Names that the header must have."""
        return tuple(column.name for column in self.columns if column.required)


def _choice(
    name: str,
    members: Iterable[StrEnum],
    words: str = "",
    *,
    required: bool = False,
    also: tuple[tuple[str, str], ...] = (),
) -> Column:
    return Column(
        name=name,
        type=Type.CHOICE,
        words=words,
        required=required,
        allowed=tuple(member.value for member in members),
        also=also,
    )


L_AND_R = (("l", "left"), ("r", "right"))
RUNNER = Column(
    name="runner",
    type=Type.CODE,
    words="code of the runner",
    required=True,
    longest=LONGEST_CODE,
)
_RANGES = {column: (low, high, unit) for column, low, high, unit in CONDITION_RANGES}


def _condition(name: str, words: str) -> Column:
    low, high, unit = _RANGES[name]
    return Column(name=name, type=Type.NUMBER, words=f"{words}, {unit}", low=low, high=high)


VISIT_COLUMNS = (
    RUNNER,
    Column(name="visit_date", type=Type.DATE, words="day of the visit", required=True),
    Column(
        name="session",
        type=Type.WHOLE,
        words="1 unless there were several visits on the day",
        low=1,
        high=99,
    ),
    _choice(
        "kind",
        VisitKind,
        "when absent, a runner's first visit is a baseline and later ones are reviews",
    ),
    _condition("speed_km_h", "running speed"),
    Column(name="surface", type=Type.TEXT, words="such as treadmill or track", longest=60),
    _condition("incline_pct", "treadmill incline"),
    Column(name="footwear", type=Type.TEXT, words="class of footwear", longest=60),
    Column(name="view", type=Type.TEXT, words="camera view", longest=60),
    _condition("frames_per_s", "camera rate"),
    Column(name="assessor", type=Type.CODE, words="code of who measured", longest=LONGEST_CODE),
    _condition("pain_today", "pain on the day"),
    Column(name="next_due", type=Type.DATE, words="day of the next visit"),
    Column(name="note", type=Type.TEXT, words="free words on the visit", longest=10_000),
)
# What describes a visit and must be the same in all of its rows.
CONDITION_NAMES = tuple(
    column.name
    for column in VISIT_COLUMNS
    if column.name not in {"runner", "visit_date", "session"}
)

_NUMBER_OF_TRIALS = Column(
    name="n_trials",
    type=Type.WHOLE,
    words="trials that a mean (a row with an empty trial) is made of",
    low=1,
    high=MOST_TRIALS,
)
_PROGRAMME = (
    RUNNER,
    Column(
        name="programme",
        type=Type.TEXT,
        words="title of the programme",
        required=True,
        longest=200,
    ),
    Column(
        name="programme_started_on",
        type=Type.DATE,
        words="its start; needed only when the runner has two of the same title",
    ),
)


def _number(
    name: str,
    words: str,
    low: float,
    high: float,
    *,
    required: bool = False,
    blank: bool = False,
) -> Column:
    return Column(
        name=name,
        type=Type.NUMBER,
        words=words,
        low=low,
        high=high,
        required=required,
        may_be_blank=blank,
    )


def _whole(name: str, words: str, low: float, high: float, *, required: bool = False) -> Column:
    return Column(name=name, type=Type.WHOLE, words=words, low=low, high=high, required=required)


def _date(name: str, words: str, *, required: bool = False) -> Column:
    return Column(name=name, type=Type.DATE, words=words, required=required)


def _text(name: str, words: str, longest: int, *, required: bool = False) -> Column:
    return Column(name=name, type=Type.TEXT, words=words, longest=longest, required=required)


_TABLES = (
    Table(
        kind=TableKind.VISITS,
        words="a row for each trial of a metric on a side (a tidy table)",
        columns=(
            *VISIT_COLUMNS,
            Column(
                name="metric",
                type=Type.TEXT,
                words="key of the metric in the catalogue",
                required=True,
                longest=63,
            ),
            _choice(
                "side",
                Side,
                "none for a metric without sides; l and r are taken too",
                required=True,
                also=L_AND_R,
            ),
            Column(
                name="trial",
                type=Type.WHOLE,
                words="number of the trial; empty for a mean of n_trials",
                required=True,
                may_be_blank=True,
                low=1,
                high=MOST_TRIALS,
            ),
            Column(
                name="value",
                type=Type.NUMBER,
                words="the number read",
                required=True,
                may_be_blank=True,
                low=-LARGEST_READING,
                high=LARGEST_READING,
            ),
            _NUMBER_OF_TRIALS,
            Column(
                name="unit",
                type=Type.TEXT,
                words="unit of the value when it is not the metric's own; it is converted",
                longest=40,
            ),
            _choice("missing_reason", MissingReason, "why there is no value"),
        ),
    ),
    Table(
        kind=TableKind.VISITS_WIDE,
        words=(
            "a row for each visit, and a column for each metric and side such as "
            "knee_flexion_midstance_left: one number, or every trial parted by blanks "
            "(4.1 4.4 3.9), or trials in columns of their own (..._left_1, ..._left_2), or a "
            "mean with its number of trials in ..._left_n; a reason why it is missing in "
            "..._left_missing; a unit that is not the metric's own in brackets at the end "
            "(lunge_distance_left [in]); no side in the name of a metric without sides"
        ),
        columns=VISIT_COLUMNS,
        key=("runner", "visit_date", "session"),
    ),
    Table(
        kind=TableKind.RUNNERS,
        words="a row for each runner",
        columns=(
            RUNNER,
            _choice("sex", Sex),
            _whole("birth_year", "year of birth", 1900, 2100),
            _date("birth_date", "kept apart, among the direct identifiers"),
            Column(name="given_name", type=Type.NAME, words="direct identifier", longest=200),
            Column(name="family_name", type=Type.NAME, words="direct identifier", longest=200),
            _text("discipline", "such as marathon or 800 m", 100),
            _number("height_cm", "height", 50, 260),
            _number("mass_kg", "mass", 10, 350),
            _date("registered_on", "since when the clinic knows the runner"),
        ),
        key=("runner",),
    ),
    Table(
        kind=TableKind.INJURIES,
        words="a row for each complaint of a runner",
        columns=(
            RUNNER,
            _choice("region", Region, "body area", required=True),
            _choice("pathology", Pathology, "tissue or kind", required=True),
            _choice("side", InjurySide, "side of the complaint", required=True, also=L_AND_R),
            _date("onset_on", "when it began", required=True),
            _choice("onset", Onset, "gradual when blank"),
            _choice("occurrence", Occurrence, "first when blank"),
            _choice("course", Course, "where it stands; open when blank"),
            _date("returned_on", "when the runner ran again"),
            _date("fully_back_on", "first day of full training and racing"),
            _whole("days_limited", "days on which it restricted running", 0, 36_600),
            _whole("sessions_missed_in_row", "sessions restricted or missed in a row", 0, 10_000),
            Column(
                name="consulted", type=Type.YES_NO, words="whether a health professional was seen"
            ),
        ),
        key=("runner", "region", "pathology", "side", "onset_on"),
    ),
    Table(
        kind=TableKind.PROGRAMMES,
        words="a row for each programme of a runner",
        columns=(
            RUNNER,
            _text("title", "what the programme is called", 200, required=True),
            _date("started_on", "its start", required=True),
            _date("ended_on", "its end"),
            _choice("kind", ProgrammeKind, "injury when blank"),
            _text("rationale", "why it was prescribed", 10_000),
            _date("injury_onset_on", "onset of the complaint it is for, when there is one"),
            _text("provider", "who teaches it and with what training; a role, no name", 2000),
            _text("setting", "where it is done", 2000),
            _choice("mode", Mode, "alone or in a group"),
            _choice("delivery", Delivery, "how it reaches the runner"),
            _text("materials", "what the runner is given", 2000),
            _whole("planned_weeks", "weeks that it is planned for", 1, MOST_WEEKS),
            _text("home_part", "what is done at home", 2000),
            _text("other_parts", "parts that are no exercise", 2000),
            _text("starting_level", "how the first level was chosen", 2000),
            _choice("tailored", Tailoring, "the same for all or fitted to the runner"),
            _text("tailoring", "what was fitted, and why", 2000),
            _text("modifications", "what was changed on the way", 2000),
            _text("motivation", "how keeping to it is encouraged", 2000),
            _text("adverse_events", "what went wrong, or none", 2000),
            _text("fidelity_plan", "how it is checked that it is done as meant", 2000),
            _text("fidelity_actual", "how well it was done", 2000),
        ),
        key=("runner", "started_on", "title"),
    ),
    Table(
        kind=TableKind.BLOCKS,
        words="a row for each exercise of a programme",
        columns=(
            *_PROGRAMME,
            _whole("position", "order within the programme", 1, 1000, required=True),
            _choice("aim", Aim, "what it works on", required=True),
            _text("exercise", "what is done", 200, required=True),
            _choice("side", InjurySide, "both when blank", also=L_AND_R),
            _whole("sets", "sets in a session", 1, 100),
            _whole("repetitions", "repetitions in a set", 1, 10_000),
            _text("load", "such as 12 kg or body mass", 100),
            _number("hold_s", "how long it is held, in seconds", 0, 36_000),
            _number("sessions_per_week", "sessions in a week", 0, 70),
            _text("exercise_key", "key of the exercise in the clinic's list", 63),
            _text("instructions", "how to do it", 10_000),
            *(
                _number(f"tempo_{part}_s", f"seconds {words} in one repetition", 0, LONGEST_PHASE_S)
                for part, words in (
                    ("lower", "going down"),
                    ("hold", "held low"),
                    ("lift", "going up"),
                    ("rest", "held high"),
                )
            ),
            _number("rest_s", "rest between sets, in seconds", 0, LONGEST_REST_S),
            _text("progress_when", "rule for making it harder", 2000),
            _text("progress_how", "how it is made harder", 2000),
            _text("ease_when", "rule for easing off", 2000),
            _text("equipment", "what is used, or none", 2000),
            _choice("supervision", Supervision, "whether somebody watches"),
        ),
        key=("runner", "programme", "programme_started_on", "position"),
    ),
    Table(
        kind=TableKind.TARGETS,
        words="a row for each thing that a programme should change",
        columns=(
            *_PROGRAMME,
            Column(
                name="metric",
                type=Type.TEXT,
                words="key of the metric in the catalogue",
                required=True,
                longest=63,
            ),
            _choice("what", TargetOn, "which side, or the asymmetry", required=True, also=L_AND_R),
            _choice("direction", TargetDirection, "which way it should move", required=True),
            _number("amount", "by how much, more than zero", 0, LARGEST_READING, required=True),
            _date("due_on", "by when", required=True),
        ),
        key=("runner", "programme", "programme_started_on", "metric", "what"),
    ),
    Table(
        kind=TableKind.ADHERENCE,
        words="a row for each week of a programme",
        columns=(
            *_PROGRAMME,
            _date("week_start", "first day of the week", required=True),
            _whole("sessions_planned", "sessions prescribed", 0, 70, required=True),
            _whole("sessions_done", "sessions done", 0, 70, required=True),
            _number("pain_during", "0 to 10", 0, 10),
            _number("pain_morning_after", "0 to 10", 0, 10),
            _text("comment", "free words", 10_000),
        ),
        key=("runner", "programme", "programme_started_on", "week_start"),
    ),
    Table(
        kind=TableKind.RUNS,
        words="a row for each run of a runner",
        columns=(
            RUNNER,
            _date("run_date", "day of the run", required=True),
            _whole("number", "1 unless there were several runs on the day", 1, 20),
            _number("distance_km", "kilometres run", 0, LONGEST_KM, required=True, blank=True),
            _number("minutes", "how long it took", 0, LONGEST_MIN),
            _number("effort", "the runner's own rating", 0, 10),
        ),
        key=("runner", "run_date", "number"),
    ),
    Table(
        kind=TableKind.FINDINGS,
        words="a row for each thing that was asked or looked for at a visit",
        columns=(
            RUNNER,
            _date("visit_date", "day of the visit", required=True),
            _whole("session", "1 unless there were several visits on the day", 1, 99),
            _choice("finding", Finding, "what was asked or looked for", required=True),
            Column(
                name="present",
                type=Type.YES_NO,
                words="whether it was there",
                required=True,
            ),
        ),
        key=("runner", "visit_date", "session", "finding"),
    ),
    Table(
        kind=TableKind.CONSENTS,
        words="a row for each consent of a runner",
        columns=(
            RUNNER,
            _choice("purpose", Purpose, "what was consented to", required=True),
            _date("given_on", "when it was given", required=True),
            _date("withdrawn_on", "when it was withdrawn"),
        ),
        key=("runner", "purpose", "given_on"),
    ),
    Table(
        kind=TableKind.USERS,
        words="a row for each person who uses the casebook",
        columns=(
            Column(
                name="user",
                type=Type.CODE,
                words="short code such as initials",
                required=True,
                longest=LONGEST_CODE,
            ),
            Column(name="display_name", type=Type.NAME, words="name as shown", longest=200),
            _choice("role", Role, "clinician when blank"),
            Column(name="active", type=Type.YES_NO, words="yes when blank"),
        ),
        key=("user",),
    ),
    Table(
        kind=TableKind.ERROR_FIGURES,
        words=(
            "a row for each measurement-error figure: between_sd with within_sd, or sem with "
            "sem_trials, or within_sd alone; for a grade grade_step alone"
        ),
        columns=(
            Column(
                name="metric",
                type=Type.TEXT,
                words="key of the metric in the catalogue",
                required=True,
                longest=63,
            ),
            _choice("applies_to", AppliesTo, "side_value when blank"),
            _choice(
                "origin",
                [origin for origin in ErrorOrigin if origin is not ErrorOrigin.NONE],
                "where the figure is from",
                required=True,
            ),
            _number("between_sd", "SD between sessions", 0, LARGEST_READING),
            _number("within_sd", "SD of single trials within a session", 0, LARGEST_READING),
            _number("sem", "SEM of a mean of sem_trials trials", 0, LARGEST_READING),
            _whole("sem_trials", "trials averaged for sem", 1, 100_000),
            _whole(
                "grade_step",
                "of a grade: step that repeat grading stays within in 95 % of pairs",
                0,
                LARGEST_GRADE_STEP,
            ),
            _text("published_as", "the figure as its source gives it", 2000),
            _number("published_level", "confidence level of a published MDC in %", 50, 99.9),
            _text("averaged", "what was averaged", 2000),
            _text("population", "who was measured", 2000),
            _text("source", "citation, or date and size of the own study", 2000, required=True),
        ),
        key=("metric", "applies_to", "origin"),
    ),
)
TABLES: dict[TableKind, Table] = {table.kind: table for table in _TABLES}


def describe_tables() -> str:
    """The columns of every table that can be imported, as text for a help page.

    Returns
    -------
    str
        One paragraph a table, one line a column.
    """
    parts = [
        "Tables are told apart by their header. CSV with comma, semicolon or tab, in UTF-8. "
        "Columns marked * are required. A column whose name starts with '_' or is 'note' is "
        "never refused."
    ]
    for table in TABLES.values():
        if table.kind is TableKind.VISITS_WIDE:
            lines = ["  the visit columns above (runner to note), and the metrics' columns"]
        else:
            lines = [_describe_column(column) for column in table.columns]
        parts.append("\n".join([f"{table.kind.value}: {table.words}", *lines]))
    return "\n\n".join(parts)


def _describe_column(column: Column) -> str:
    mark = "*" if column.required else ""
    accepted = expectation(column)
    words = f"{column.words} ({accepted})" if column.words else accepted
    return f"  {column.name}{mark}: {words}"


def expectation(column: Column) -> str:
    """What a cell of a column may hold, in words."""
    if column.type is Type.CHOICE:
        return ", ".join(column.allowed)
    if column.type is Type.DATE:
        return "a date as YYYY-MM-DD"
    if column.type is Type.YES_NO:
        return "yes or no"
    if column.type in {Type.NUMBER, Type.WHOLE}:
        kind = "a whole number" if column.type is Type.WHOLE else "a number"
        if column.low is None or column.high is None or column.high >= LARGEST_READING:
            return kind
        return f"{kind} from {column.low:g} to {column.high:g}"
    return f"text of at most {column.longest} characters"
