"""The history in plain words: what was done to what, and what a field was and is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from casebook.domain.history import Act, Entry, Subject, Was, metric_and_side
from casebook.domain.hypotheses import ROLES
from casebook.domain.metrics import Metric, Scale
from casebook.domain.replaying import REVISION
from casebook.domain.sides import Side
from casebook.domain.visits import MissingReason, VisitKind
from casebook.domain.wording import MISSING_REASONS, VISIT_KINDS, unit_words, upper_first

ACTS: Final = {
    Act.RECORDED: "recorded",
    Act.ADDED: "added to",
    Act.AMENDED: "amended",
    Act.STRUCK_OUT: "struck out",
    Act.UNDONE: "undone",
    Act.ADOPTED: "taken over from before there was a history",
}
SUBJECTS: Final = {
    Subject.RUNNER: "runner",
    Subject.IDENTITY: "name and birth date",
    Subject.CONSENT: "consent",
    Subject.INJURY: "complaint",
    Subject.VISIT: "visit",
    Subject.PROGRAMME: "programme",
    Subject.BLOCK: "exercise of a programme",
    Subject.TARGET: "target of a programme",
    Subject.ADHERENCE: "week of a programme",
    Subject.ACKNOWLEDGEMENT: "flag seen",
    Subject.METRIC: "metric",
    Subject.ERROR_FIGURE: "error figure",
    Subject.ATTACHMENT: "attached file",
    Subject.MEASUREMENT_SET: "measurement set",
    Subject.USER: "user",
    Subject.EXERCISE: "exercise of the list",
    Subject.RUN: "run",
    Subject.FINDING: "finding at a visit",
    Subject.CAUTION: "caution seen",
    Subject.PAIN: "pain beyond the limits seen",
    Subject.HYPOTHESIS: "working hypothesis",
    Subject.LINK: "prediction of a working hypothesis",
    Subject.EXPORT: "de-identified export",
}
_LABELS: Final = {
    "visited_on": "date of the visit",
    "session": "session of the day",
    "kind": "kind",
    "speed_km_h": "speed",
    "incline_pct": "incline",
    "frames_per_s": "frames a second",
    "pain_today": "pain today",
    "view": "camera view",
    "next_due_on": "next visit due",
    "birth_year": "birth year",
    "height_cm": "height",
    "mass_kg": "mass",
    "registered_on": "registered on",
    "given_name": "given name",
    "family_name": "family name",
    "birth_date": "birth date",
    "given_on": "given on",
    "withdrawn_on": "withdrawn on",
    "onset_on": "began on",
    "returned_on": "back to running on",
    "fully_back_on": "fully back to training and racing on",
    "days_limited": "days on which it restricted running",
    "sessions_missed_in_row": "sessions restricted or missed in a row",
    "consulted": "a health professional was seen",
    "started_on": "started on",
    "ended_on": "ended on",
    "hold_s": "hold",
    "rest_s": "rest between sets",
    "tempo_lower_s": "tempo: down",
    "tempo_hold_s": "tempo: held low",
    "tempo_lift_s": "tempo: up",
    "tempo_rest_s": "tempo: held high",
    "exercise_key": "exercise of the list",
    "progress_when": "rule for making it harder",
    "progress_how": "how it is made harder",
    "ease_when": "rule for easing off",
    "provider": "who teaches it",
    "mode": "alone or in a group",
    "materials": "what the runner is given",
    "home_part": "part done at home",
    "other_parts": "parts that are no exercise",
    "starting_level": "how the first level was chosen",
    "tailored": "same for all or fitted",
    "tailoring": "what was fitted",
    "modifications": "what was changed on the way",
    "motivation": "how keeping to it is encouraged",
    "adverse_events": "what went wrong",
    "fidelity_plan": "how doing it as meant is checked",
    "fidelity_actual": "how well it was done",
    "run_on": "day of the run",
    "distance_km": "distance",
    "minutes": "duration",
    "sureness_pct": "how sure",
    "position": "place in the list",
    "leads_to": "leads to",
    "written_on": "written on",
    "sessions_per_week": "sessions a week",
    "week_start": "week from",
    "sessions_planned": "sessions planned",
    "sessions_done": "sessions done",
    "pain_during": "pain during",
    "pain_morning_after": "pain the morning after",
    "due_on": "due on",
    "what": "on",
    "n_bytes": "size",
    "sha256": "content (SHA-256)",
    "metric_id": "metric",
    "present": "found",
    "key_fingerprint": "fingerprint of the key",
    "n_rows": "rows by table",
}
_UNITS: Final = {
    "speed_km_h": "km/h",
    "incline_pct": "%",
    "pain_today": "of 10",
    "pain_during": "of 10",
    "pain_morning_after": "of 10",
    "height_cm": "cm",
    "mass_kg": "kg",
    "hold_s": "s",
    "n_bytes": "bytes",
    "rest_s": "s",
    "tempo_lower_s": "s",
    "tempo_hold_s": "s",
    "tempo_lift_s": "s",
    "tempo_rest_s": "s",
    "distance_km": "km",
    "minutes": "min",
    "effort": "of 10",
    "sureness_pct": "%",
}
# Who and when stand in the entry itself, and numbers of rows say nothing to a reader.
UNTOLD: Final = frozenset(
    {
        REVISION,
        "runner_id",
        "visit_id",
        "programme_id",
        "injury_id",
        "hypothesis_id",
        "written_at",
        "written_by",
        "recorded_at",
        "recorded_by",
        "acknowledged_by",
        "acknowledged_at",
        "at",
        "by",
        "runners",
    }
)
NOTHING: Final = "nothing"
_OPEN_AGAIN: Final = {
    Subject.ACKNOWLEDGEMENT: "flag open again",
    Subject.CAUTION: "caution open again",
    Subject.PAIN: "flag of a week's pain open again",
}


def field_label(name: str, metrics: Mapping[str, Metric]) -> str:
    """What a field is called: a value by its metric and side, a column in words."""
    place = metric_and_side(name)
    if place is None:
        return _LABELS.get(name, name.replace("_", " "))
    key, side = place
    label = metrics[key].label if key in metrics else key
    return label if side is Side.NONE else f"{label}, {side.value}"


def column_label(name: str) -> str:
    """What a column is called where it is typed, with its unit."""
    label = _LABELS.get(name, name.replace("_", " "))
    unit = _UNITS.get(name, "")
    return upper_first(label) + (f" ({unit})" if unit else "")


def content_words(name: str, content: Was, metrics: Mapping[str, Metric]) -> str:
    """What a field was or is, with its unit."""
    if content is None:
        return NOTHING
    place = metric_and_side(name)
    if place is not None:
        return value_words(content, metrics.get(place[0]))
    if isinstance(content, bool):
        return _truth(name, truth=content)
    if name == "kind" and content in list(VisitKind):
        return VISIT_KINDS[VisitKind(content)]
    if isinstance(content, int | float):
        return f"{_number(content)} {_UNITS.get(name, '')}".strip()
    if isinstance(content, list):
        return ", ".join(str(one) for one in content)
    if isinstance(content, Mapping):
        return ", ".join(f"{key}: {content[key]}" for key in content)
    # Codes come in lower case with underscores; anything typed stays as it was typed.
    text = str(content)
    told = text.replace("_", " ") if name in _CODED else text
    return _MEANS.get((name, text), told)


def _truth(name: str, *, truth: bool) -> str:
    # Of an identity it is told only that a field is filled.
    if name in {"given_name", "family_name", "birth_date"}:
        return "filled in"
    return "yes" if truth else "no"


_CODED: Final = frozenset(
    {
        "kind",
        "sex",
        "region",
        "pathology",
        "side",
        "onset",
        "occurrence",
        "course",
        "purpose",
        "aim",
        "what",
        "direction",
        "mode",
        "delivery",
        "tailored",
        "supervision",
        "finding",
        "rule",
        "action",
        "role",
    }
)


# Codes that say nothing by themselves.
_MEANS: Final = {
    ("what", "none"): "whole body",
    ("what", "asymmetry"): "right minus left",
    ("region", "hip_groin"): "hip or groin",
    **{("role", role.value): words for role, words in ROLES.items()},
}


def value_words(content: Mapping[str, Any], metric: Metric | None) -> str:
    """A value as a visit's history holds it."""
    if "missing" in content:
        return f"missing: {MISSING_REASONS[MissingReason(content['missing'])]}"
    unit = unit_words(metric.unit) if metric is not None else ""
    space = "" if unit in {"°", "%", ""} else " "
    if "trials" in content:
        told = ", ".join(_reading(one, metric) for one in content["trials"]) + space + unit
    else:
        told = f"{_reading(content['mean'], metric)}{space}{unit} (mean of {content['n']})"
    if "marking_sd" in content:
        told += f", marking error {_number(content['marking_sd'])}{space}{unit}"
    return told


def _reading(number: float, metric: Metric | None) -> str:
    told = _number(number)
    if metric is None or metric.scale is not Scale.GRADE or not float(number).is_integer():
        return told
    means = metric.grades[int(number)] if 0 <= number < len(metric.grades) else ""
    return f"{told} ({means})" if means else told


def _number(number: float) -> str:
    return f"{number:.10g}".replace("-", "−")


def heading_words(entry: Entry) -> str:
    """What was done to what: 'visit amended'."""
    what = SUBJECTS[entry.subject]
    if entry.act is Act.UNDONE:
        return f"{what}: an earlier change undone"
    if entry.act is Act.STRUCK_OUT and entry.subject in _OPEN_AGAIN:
        return _OPEN_AGAIN[entry.subject]
    if entry.subject is Subject.CONSENT and _withdraws(entry):
        return "consent withdrawn"
    if entry.act is Act.STRUCK_OUT and entry.fields.get(REVISION, (0, None))[1] is not None:
        return "values struck out"
    return f"{what} {ACTS[entry.act]}"


def _withdraws(entry: Entry) -> bool:
    """Whether a consent that stood until then got the day on which it was taken back."""
    before, after = entry.fields.get("withdrawn_on", (None, None))
    return entry.act in {Act.ADDED, Act.AMENDED} and before is None and after is not None
