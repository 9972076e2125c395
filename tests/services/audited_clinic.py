"""A clinic of fifteen runners whose audit can be counted by hand.

R01 to R06: their weak left side gained 90 N; for an injury. R07 to R11: their strong right side
fell by 60 N; for performance. R01 to R03 were discharged. R12 and R15 never came back, R13 has no
programme yet, R14 was never seen. Consent to audit: R01 to R12, that of R12 withdrawn in April.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.services.cataloguing import adopt_figure
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook

AS_OF = date(2026, 6, 30)
STRENGTH, PAIN = "hip_abductor_strength", "pain_running"
BASELINE, START, DUE = date(2026, 1, 5), date(2026, 1, 10), date(2026, 2, 10)
DISCHARGE = date(2026, 5, 1)
GAINED, FELL = range(1, 7), range(7, 12)
LOST, NEW, UNSEEN = (12, 15), 13, 14


Rows = list[tuple[object, ...]]
Tables = dict[str, tuple[tuple[str, ...], Rows]]


def audited_clinic(casebook: Casebook, folder: Path) -> Casebook:
    """Fill an empty casebook."""
    return filled(casebook, folder, clinic_tables())


def clinic_tables() -> Tables:
    """Head and rows of each table that is imported."""
    return {
        "runners": (("runner", "sex", "birth_year", "registered_on"), list(_runners())),
        "consents": (("runner", "purpose", "given_on", "withdrawn_on"), list(_consents())),
        "injuries": (("runner", "region", "pathology", "side", "onset_on"), list(_injuries())),
        "programmes": (
            ("runner", "title", "started_on", "kind", "injury_onset_on"),
            list(_programmes()),
        ),
        "adherence": (
            ("runner", "programme", "week_start", "sessions_planned", "sessions_done"),
            list(_adherence()),
        ),
        "visits": (
            ("runner", "visit_date", "kind", "assessor", "next_due", "metric", "side", "trial",
             "value", "missing_reason"),
            list(_visits()),
        ),
    }  # fmt: skip


def filled(casebook: Casebook, folder: Path, tables: Tables) -> Casebook:
    """Import tables into an empty casebook in which the error of the strength is known."""
    adopt_figure(
        casebook,
        ErrorFigure(
            metric=STRENGTH,
            applies_to=AppliesTo.SIDE_VALUE,
            origin=ErrorOrigin.OWN,
            between_sd=5.0,
            within_sd=0.0,
            source="invented for a test",
        ),
    )
    files = []
    for name, (head, rows) in tables.items():
        files.append(folder / f"{name}.csv")
        with files[-1].open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([head, *rows])
    report = import_files(casebook, files)
    assert not report.problems, report.problems
    return casebook


def code(number: int) -> str:
    return f"R{number:02d}"


def _runners() -> Iterator[tuple[object, ...]]:
    for number in range(1, 16):
        seen = date(2026, 6, 1) if number in {NEW, UNSEEN} else BASELINE
        yield code(number), "female" if number % 2 else "male", 1980 + number, seen


def _consents() -> Iterator[tuple[object, ...]]:
    for number in range(1, 13):
        yield code(number), "audit", BASELINE, date(2026, 4, 1) if number == 12 else ""


def _injuries() -> Iterator[tuple[object, ...]]:
    for number in (*GAINED, *LOST):
        yield code(number), "knee", "joint", "left", date(2025, 12, 1)


def _programmes() -> Iterator[tuple[object, ...]]:
    for number in (*GAINED, *FELL, *LOST):
        hurt = number not in FELL
        yield (
            code(number), "Steady", START, "injury" if hurt else "performance",
            date(2025, 12, 1) if hurt else "",
        )  # fmt: skip


def _adherence() -> Iterator[tuple[object, ...]]:
    for number in (*GAINED, *FELL):
        if number != 1:
            yield code(number), "Steady", date(2026, 1, 12), 20, number


def _visits() -> Iterator[tuple[object, ...]]:
    for number in (*GAINED, *FELL, *LOST, NEW):
        day = date(2026, 6, 20) if number == NEW else BASELINE
        due = date(2026, 7, 20) if number == NEW else DUE
        yield from _visit(number, day, "baseline", due, (200, 300), 6)
        if number not in (*GAINED, *FELL):
            continue
        after = (290, 300) if number in GAINED else (200, 240)
        pain = 3 if number in GAINED else 5 if number < 11 else None
        review = DUE + timedelta(days=number)
        yield from _visit(number, review, "review", DISCHARGE, after, pain)
        if number <= 3:
            yield from _visit(number, DISCHARGE, "discharge", None, (280, 300), 0)


def _visit(
    number: int, day: date, kind: str, due: date | None, sides: tuple[int, int], pain: int | None
) -> Iterator[tuple[object, ...]]:
    head = (code(number), day, kind, "AB" if number <= 10 else "CD", due or "")
    for side, value in zip(("left", "right"), sides, strict=True):
        yield (*head, STRENGTH, side, 1, value, "")
    if pain is None:
        yield (*head, PAIN, "none", "", "", "not_done")
    else:
        yield (*head, PAIN, "none", 1, pain, "")
