"""A runner's whole record as tables in words: the same ones on the page and as CSV files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from casebook.domain.cautions import FINDINGS, Finding
from casebook.domain.history import Subject, Was
from casebook.domain.history_words import content_words, field_label
from casebook.domain.metrics import Metric, Scale
from casebook.domain.plan_drafts import DraftKind
from casebook.domain.visits import Value
from casebook.domain.whole_record import METRIC, HeldRow, Unsaved, WholeRecord
from casebook.domain.wording import MISSING_REASONS, asymmetry_unit, unit_words
from casebook.intake.fhir_codes import UNITS

Cell = str | int | float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of a record.

    Parameters
    ----------
    name : str
        Of its file, without the ending.
    title, explanation : str
        For a person who has never seen the program.
    rows : tuple of tuples
        None where nothing is known.
    """

    name: str
    title: str
    explanation: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


# Title and explanation of each kind, in the order in which they are read.
ABOUT: Final[Mapping[Subject, tuple[str, str]]] = {
    Subject.IDENTITY: ("Who you are", "Your name and date of birth, kept apart from the rest."),
    Subject.RUNNER: ("What is known of you", "The code stands for you everywhere else."),
    Subject.CONSENT: ("Your consents", "What you agreed to beyond your own care."),
    Subject.INJURY: ("Complaints", "What hurt, where, since when, and how it went on."),
    Subject.VISIT: (
        "Visits",
        "Each visit and the conditions under which you were measured. What was measured stands "
        "in the table of values.",
    ),
    Subject.FINDING: ("Findings asked about", "What was asked or seen at a visit."),
    Subject.PROGRAMME: ("Programmes", "What was prescribed, from when to when, and why."),
    Subject.BLOCK: ("Exercises of the programmes", "Each exercise with its dose and rules."),
    Subject.TARGET: (
        "Targets",
        "What a programme should change, by how much and by when. An asymmetry is the right "
        "side minus the left.",
    ),
    Subject.ADHERENCE: ("Weeks of a programme", "Sessions done of those planned, and pain."),
    Subject.RUN: ("Runs", "Your runs as they were entered."),
    Subject.HYPOTHESIS: (
        "What the clinician expected",
        "Working ideas written down before a programme, and how sure the clinician was. They "
        "are ideas to be checked, not findings.",
    ),
    Subject.LINK: ("Predictions of these ideas", "What should move, or stay, and until when."),
    Subject.ACKNOWLEDGEMENT: (
        "Flags that were seen",
        "Changes for the worse that the program pointed out, who looked at them, and what they "
        "noted.",
    ),
    Subject.CAUTION: (
        "Cautions that were seen",
        "Findings for which the program asked to think of a referral, and what was done.",
    ),
    Subject.PAIN: ("Weeks of much pain that were seen", "Who looked at them and what they noted."),
    Subject.ATTACHMENT: (
        "Attached files",
        "Names of pictures and documents of your visits. Ask for the files themselves.",
    ),
}
_FEW_WORDS: Final = {"code": "code", "what": "on", METRIC: "measured"}
_REFERS: Final = {
    "visit_id": "visit",
    "programme_id": "programme",
    "injury_id": "complaint",
    "hypothesis_id": "idea",
}


def tables_of(
    record: WholeRecord, columns_of: Callable[[Subject], Iterable[str]]
) -> tuple[Table, ...]:
    """Every table of a record that holds something.

    Parameters
    ----------
    columns_of : callable
        Names of all fields and references of a kind of row.
    """
    metrics = {metric.key: metric for metric in record.metrics}
    kinds = [*ABOUT, *(row.kind for row in record.rows if row.kind not in ABOUT)]
    made: list[Table] = []
    for kind in dict.fromkeys(kinds):
        rows = record.of_kind(kind)
        if rows:
            made.append(_table(record, kind, rows, tuple(columns_of(kind)), metrics))
        if kind is Subject.VISIT and record.values:
            made += [_values(record, metrics), _trials(record, metrics)]
    made += _unsaved(record)
    if record.history:
        made.append(_history(record))
    return tuple(made)


def _table(
    record: WholeRecord,
    kind: Subject,
    rows: tuple[HeldRow, ...],
    names: tuple[str, ...],
    metrics: Mapping[str, Metric],
) -> Table:
    title, explanation = ABOUT.get(kind, (kind.value.replace("_", " ").capitalize(), ""))
    shown = [name for name in names if name not in {"runner_id", "sha256"}]
    columns = [_header(name, metrics) for name in shown]
    cells = [[_cell(record, row, name, metrics) for name in shown] for row in rows]
    if {METRIC, "what", "amount"} <= set(shown):
        place = shown.index("amount") + 1
        columns.insert(place, "unit")
        for row, line in zip(rows, cells, strict=True):
            line.insert(place, _unit_of_amount(row, metrics))
    return Table(
        name=kind.value,
        title=title,
        explanation=explanation,
        columns=tuple(columns),
        rows=tuple(tuple(line) for line in cells),
    )


def _unit_of_amount(row: HeldRow, metrics: Mapping[str, Metric]) -> Cell:
    metric = metrics.get(row.fields[METRIC])
    if metric is None or "amount" not in row.fields:
        return None
    of_sides = row.fields["what"] == "asymmetry"
    unit = (
        asymmetry_unit(metric.asymmetry_form, metric.unit) if of_sides else unit_words(metric.unit)
    )
    return "degrees" if unit == "°" else unit or "number"


def _header(name: str, metrics: Mapping[str, Metric]) -> str:
    label = _REFERS.get(name) or _FEW_WORDS.get(name) or field_label(name, metrics)
    unit = unit_words(UNITS[name]) if name in UNITS else ""
    if UNITS.get(name) == "{score}":
        unit = "0 to 10"
    said = not unit or " a " in label or f"({unit})" in label
    return label if said else f"{label} ({unit})"


def _cell(record: WholeRecord, row: HeldRow, name: str, metrics: Mapping[str, Metric]) -> Cell:
    if name in row.refs:
        return refers_to(record, row.refs[name])
    content: Was = row.fields.get(name)
    if isinstance(content, bool):
        return "yes" if content else "no"
    if content is None or isinstance(content, int | float):
        return content
    if name == METRIC:
        return metrics[content].label if content in metrics else content
    if name == "finding" and content in set(Finding):
        return FINDINGS[Finding(content)]
    return content_words(name, content, metrics)


def refers_to(record: WholeRecord, ref: tuple[Subject, int]) -> str:
    """Another row of the record in a few words."""
    kind, number = ref
    row = next(one for one in record.of_kind(kind) if one.number == number)
    told = row.fields
    if kind is Subject.VISIT:
        more = f", session {told['session']}" if told.get("session", 1) != 1 else ""
        return f"{told['visited_on']}{more}"
    if kind is Subject.PROGRAMME:
        return f"{told['title']} (from {told['started_on']})"
    if kind is Subject.INJURY:
        side = "" if told["side"] == "none" else f"{told['side']} "
        return f"{side}{told['region']} (since {told['onset_on']})".replace("_", " ")
    return f"{kind.value} {number}"


_OF_A_VALUE: Final = ("visit", "measured", "key", "side", "unit")


def _place(record: WholeRecord, visit: int, value: Value, metric: Metric) -> tuple[Cell, ...]:
    side = "whole body" if value.side == "none" else value.side.value
    unit = "grade" if metric.scale is Scale.GRADE else unit_words(metric.unit) or "number"
    where = refers_to(record, (Subject.VISIT, visit))
    return where, metric.label, metric.key, side, "degrees" if unit == "°" else unit


def _unsaved(record: WholeRecord) -> list[Table]:
    """What was typed and not saved: of visits, and of programmes and hypotheses."""
    visits = [one for one in record.unsaved if one.kind is DraftKind.VISIT]
    plans = [one for one in record.unsaved if one.kind is not DraftKind.VISIT]
    columns = ("begun", "last typed", "begun by", "what", "as it was typed")
    made = []
    if visits:
        made.append(
            Table(
                name="visits_not_saved",
                title="Visits that were not saved",
                explanation="What was typed into the sheet of a visit that nobody has saved, word "
                "for word. It is no visit: nothing is counted or compared with it.",
                columns=columns,
                rows=tuple(row for one in visits for row in _unsaved_rows(one)),
            )
        )
    if plans:
        made.append(
            Table(
                name="plans_not_stored",
                title="Programmes and hypotheses that were not stored",
                explanation="What was typed of a programme or working hypothesis that nobody has "
                "stored, word for word. It was not prescribed, and nothing is counted of it.",
                columns=("of a", *columns),
                rows=tuple((one.kind.value, *row) for one in plans for row in _unsaved_rows(one)),
            )
        )
    return made


def _unsaved_rows(one: Unsaved) -> Iterator[tuple[Cell, ...]]:
    for what, typed in one.fields:
        yield (
            f"{one.begun_at:%Y-%m-%d %H:%M} UTC",
            f"{one.typed_at:%Y-%m-%d %H:%M} UTC",
            one.begun_by or None,
            what,
            typed,
        )


def _values(record: WholeRecord, metrics: Mapping[str, Metric]) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for held in record.values:
        value, metric = held.value, metrics[held.value.metric]
        told = ", ".join(f"{one:.10g}" for one in value.trials)
        missing = MISSING_REASONS[value.missing_reason] if value.missing_reason else None
        rows.append(
            (
                *_place(record, held.visit, value, metric),
                value.mean,
                _grade(metric, value.mean),
                value.n_trials or None,
                told or None,
                value.sd,
                value.marking_sd,
                missing,
            )
        )
    return Table(
        name="values",
        title="What was measured",
        explanation="Each value is the mean of the trials beside it. The standard deviation says "
        "how much the trials differ; the marking error how exactly points could be marked on a "
        "picture. Where something was not measured, it says why.",
        columns=(
            *_OF_A_VALUE,
            "value",
            "in words",
            "trials",
            "each trial",
            "standard deviation",
            "marking error of a trial",
            "missing because",
        ),
        rows=tuple(rows),
    )


def _grade(metric: Metric, mean: float | None) -> str | None:
    if metric.scale is not Scale.GRADE or mean is None or not mean.is_integer():
        return None
    return metric.grades[int(mean)] if 0 <= mean < len(metric.grades) else None


def _trials(record: WholeRecord, metrics: Mapping[str, Metric]) -> Table:
    return Table(
        name="trials",
        title="Every single trial",
        explanation="The same as above, a row for each trial, for a calculation of your own.",
        columns=(*_OF_A_VALUE, "trial", "value"),
        rows=tuple(
            (*_place(record, held.visit, held.value, metrics[held.value.metric]), number, reading)
            for held in record.values
            for number, reading in enumerate(held.value.trials, start=1)
        ),
    )


def _history(record: WholeRecord) -> Table:
    rows = []
    for line in sorted(record.history, key=lambda one: one.number):
        at = f"{line.at:%Y-%m-%d %H:%M} UTC"
        changed = [" ".join(one.split()) for one in line.changed]
        rows.append(
            (line.number, at, line.by or "not known", line.what, "; ".join(changed), line.reason)
        )
    return Table(
        name="history",
        title="Who stored and changed what",
        explanation="Every change of your record, in order. Numbers that are left out tell of "
        "others.",
        columns=("number", "when", "by", "what", "changes", "why"),
        rows=tuple(rows),
    )
