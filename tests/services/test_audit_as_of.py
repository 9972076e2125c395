"""An audit as of a day in the past is the one that would have been made on that day.

The same clinic is stored twice: whole, and without all that happened after the day. Only a consent
that was withdrawn since counts for no day, and so is withdrawn in both.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from casebook.domain.audit import AuditChoice, Step
from casebook.domain.audit_outcomes import On, Split
from casebook.domain.injuries import Region
from casebook.domain.people import Purpose
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort, load_cohort
from casebook.services.cohort_growth import cohort_growth
from casebook.services.keeping import create_casebook
from tests.services.audited_clinic import (
    BASELINE,
    FELL,
    GAINED,
    LOST,
    STRENGTH,
    Tables,
    clinic_tables,
    code,
    filled,
)

DAY = date(2026, 2, 28)
EARLY, LATE = date(2025, 11, 1), date(2026, 3, 15)
CHOICE = AuditChoice(as_of=DAY, least_group=2, lost_after_days=40)
# Columns with the day on which a row came to be known.
KNOWN_ON = {
    "runners": 3, "consents": 2, "injuries": 4, "programmes": 2, "adherence": 2, "visits": 1,
}  # fmt: skip


def tables(until: date) -> Tables:
    """The clinic, in which later everybody did what they had not, and had new complaints."""
    found = clinic_tables()
    head, rows = found["injuries"]
    complaints = [
        (*row, BASELINE + timedelta(days=15 + 3 * place)) for place, row in enumerate(rows)
    ]
    complaints += [(code(8), "foot", "bone_stress", "right", LATE, "")]
    complaints += [(code(13), "lower_leg", "muscle_injury", "left", EARLY, "")]
    complaints += [(code(13), "hip_groin", "tendinopathy", "left", LATE, "")]
    found["injuries"] = ((*head, "returned_on"), complaints)
    found["runners"] = (
        found["runners"][0],
        [(*row[:3], BASELINE) if row[0] == code(13) else row for row in found["runners"][1]],
    )
    found["programmes"][1].append((code(13), "Late", LATE, "injury", LATE))
    found["adherence"][1].extend(
        (code(number), "Steady", date(2026, 3, 16), 20, 20 - number)
        for number in (*GAINED, *FELL)
        if number != 1
    )
    return {
        name: (
            head,
            [
                tuple("" if isinstance(one, date) and at > KNOWN_ON[name] and name ==
                      "injuries" and one > until else one
                      for at, one in enumerate(row))
                for row in rows
                if row[KNOWN_ON[name]] <= until  # type: ignore[operator]
            ],
        )
        for name, (head, rows) in found.items()
    }  # fmt: skip


@pytest.fixture(scope="module")
def clinics(tmp_path_factory: pytest.TempPathFactory) -> tuple[LoadedCohort, ...]:
    found = []
    for until in (date.max, DAY):
        folder = tmp_path_factory.mktemp("clinic")
        casebook = create_casebook(str(folder / "casebook.sqlite"))
        found.append(load_cohort(filled(casebook, folder, tables(until))))
        casebook.close()
    return tuple(found)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"purpose": Purpose.AUDIT, "least_group": 3},
        *({"regions": (one,)} for one in (Region.KNEE, Region.FOOT, Region.LOWER_LEG)),
        {"regions": (Region.HIP_GROIN,)},
        {"clinicians": ("AB",)},
    ],
)
def test_nothing_that_happened_later_changes_an_audit(
    clinics: tuple[LoadedCohort, ...], changes: dict[str, object]
) -> None:
    choice = replace(CHOICE, **changes)  # type: ignore[arg-type]
    now, then = (audit(one, choice) for one in clinics)
    assert now == then


def test_nor_a_model(clinics: tuple[LoadedCohort, ...]) -> None:
    for on in (On.ASYMMETRY, On.WORSE_SIDE, On.OTHER_SIDE):
        now, then = (cohort_growth(one, CHOICE, STRENGTH, on) for one in clinics)
        assert now == then


def test_what_is_left_out_of_the_past_is_there_today(clinics: tuple[LoadedCohort, ...]) -> None:
    """Else the two clinics would be alike for nothing."""
    now, then = (audit(one, replace(CHOICE, as_of=date(2026, 6, 30))) for one in clinics)
    assert now != then
    today = replace(CHOICE, as_of=date(2026, 6, 30), regions=(Region.FOOT, Region.HIP_GROIN))
    # R13 with the later complaint, that the programme is for, and R08.
    assert dict(audit(clinics[0], today).flow.steps)[Step.INCLUDED].n == 2
    asked = replace(CHOICE, metrics=(STRENGTH,))
    (asymmetry, *_) = audit(clinics[0], asked).outcomes
    thirds = dict(asymmetry.splits)[Split.ADHERENCE_THIRD]
    assert [group.level for group in thirds] == ["lowest", "middle", "highest", "not_recorded"]
    assert len(LOST) == 2
