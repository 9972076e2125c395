"""An intruder who has the original quasi-identifiers of everybody at hand finds nobody.

The intruder reads the words of the export with a reader of their own and uses every table: which
runners a row could be, and which rows a runner could be.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pandas as pd
import pytest
from pycanon import anonymity
from sqlalchemy import func, select

from casebook.domain.export_tables import QUASI_IDENTIFIERS
from casebook.domain.exporting import ExportSettings
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose
from casebook.services.exporting_audit import ExportReport, export_audit
from casebook.services.exporting_keys import fresh_key
from casebook.services.keeping import Casebook, open_casebook
from casebook.storage.session import reading
from casebook.storage.tables import InjuryRow, ProgrammeRow, RunnerRow, VisitRow
from tests.exportable import UNTIL, add_cohort

AS_OF = UNTIL + timedelta(days=7)
K, L = 5, 2
# What the intruder takes the coarser words to mean.
PARTS = {
    "foot": "foot_and_lower_leg", "ankle": "foot_and_lower_leg", "lower_leg": "foot_and_lower_leg",
    "knee": "knee_and_thigh", "thigh": "knee_and_thigh", "hip_groin": "hip_and_back",
}  # fmt: skip
RACES = {
    "10 km": {"10_km", "5_km_to_half_marathon"},
    "Half marathon": {"half_marathon", "5_km_to_half_marathon"},
    "trail": {"trail_or_mountain", "off_road"},
    "marathon": {"marathon", "marathon_and_longer"},
    "800m": {"800_m", "up_to_3000_m"},
    "": {"not_recorded"},
    "stairs with a pram": {"other"},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a club-mate knows of a runner."""

    sex: str
    age: float
    discipline: str
    height: float
    mass: float
    region: str
    side: str

    def could_be(self, row: dict[str, str]) -> bool:
        """Whether a row of the table runners could be this runner's."""
        return (
            row["sex"] in {self.sex, "withheld"}
            and _within(self.age, row["age_band"])
            and row["discipline"] in {*RACES[self.discipline], "withheld"}
            and _within(self.height, row["height_band"])
            and _within(self.mass, row["mass_band"])
            and row["injury_region"] in {self.region, PARTS.get(self.region, ""), "withheld"}
            and row["injury_side"]
            in {self.side, "no_injury" if self.side == "no_injury" else "any_side", "withheld"}
        )


def _within(number: float, band: str) -> bool:
    """Bands as anybody reads them: 'under_160_cm', '18_to_24', '170_to_under_175_cm', ..."""
    numbers = [float(one) for one in re.findall(r"\d+", band)]
    if not numbers:
        return band != "not_recorded"
    if band.startswith("under_"):
        return number < numbers[0]
    if "and_over" in band:
        return number >= numbers[0]
    below = numbers[1] if "under" in band else numbers[1] + 1
    return numbers[0] <= number < below


def _rows(report: ExportReport, table: str) -> list[dict[str, str]]:
    with (report.folder / "data" / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def casebook(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    path = tmp_path_factory.mktemp("linked") / "casebook.sqlite"
    path.write_bytes(sqlite_template.read_bytes())
    opened = open_casebook(str(path))
    add_cohort(opened, 300, visits=2, metrics=1)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def report(casebook: Casebook, tmp_path_factory: pytest.TempPathFactory) -> ExportReport:
    settings = ExportSettings(
        purpose=Purpose.AUDIT, as_of=AS_OF, k=K, diversity=L, formats=(FileFormat.CSV,)
    )
    folder = tmp_path_factory.mktemp("linkage") / "out"
    return export_audit(casebook, settings, folder, key=fresh_key(), by="KM")


@pytest.fixture(scope="module")
def known(casebook: Casebook) -> list[Known]:
    """The original database's quasi-identifiers; the complaint is the first programme's."""
    with reading(casebook.engine) as unit:
        complaints = {
            row.id: row
            for row in unit.execute(
                select(
                    InjuryRow.id, InjuryRow.runner_id, InjuryRow.region, InjuryRow.side
                ).order_by(InjuryRow.onset_on.desc())
            )
        }
        chosen = {row.runner_id: row for row in complaints.values()}
        for runner_id, injury_id in unit.execute(
            select(ProgrammeRow.runner_id, ProgrammeRow.injury_id)
        ):
            if injury_id is not None:
                chosen[runner_id] = complaints[injury_id]
        days = unit.execute(
            select(VisitRow.runner_id, func.min(VisitRow.visited_on)).group_by(VisitRow.runner_id)
        )
        first = {runner_id: day for runner_id, day in days}  # noqa: C416
        return [
            Known(
                sex=one.sex.value,
                age=first[one.id].year - (one.birth_year or 0),
                discipline=one.discipline,
                height=one.height_cm or 0.0,
                mass=one.mass_kg or 0.0,
                region=chosen[one.id].region.value if one.id in chosen else "no_injury",
                side=chosen[one.id].side.value if one.id in chosen else "no_injury",
            )
            for one in unit.scalars(select(RunnerRow).order_by(RunnerRow.id))
        ]


def _complaint_of(row: dict[str, str], with_complaint: set[str]) -> bool | None:
    """What all tables together say of whether a runner has a complaint; None for nothing."""
    if row["runner"] in with_complaint:
        return True
    told = {row["injury_region"], row["injury_side"]} - {"withheld"}
    return False if told else None


def test_no_row_of_any_runner_can_be_told_with_more_than_one_in_k(
    report: ExportReport, known: list[Known]
) -> None:
    with_complaint = {row["runner"] for row in _rows(report, "injuries")}
    rows = _rows(report, "runners")
    said = {row["runner"]: _complaint_of(row, with_complaint) for row in rows}
    rows_of_runner = []
    candidates = dict.fromkeys(said, 0)
    for one in known:
        fits = [
            row["runner"]
            for row in rows
            if one.could_be(row) and said[row["runner"]] in {None, one.region != "no_injury"}
        ]
        rows_of_runner.append(len(fits))
        for pseudonym in fits:
            candidates[pseudonym] += 1
    # Whose record is this? And which record is theirs? Either way, one in k at best.
    assert min(candidates.values()) >= K
    assert min(rows_of_runner) >= K
    assert len(rows) > 250


def test_what_was_made_coarser_stands_in_no_other_table(report: ExportReport) -> None:
    runners = {row["runner"]: row for row in _rows(report, "runners")}
    programmes = {row["programme"]: row for row in _rows(report, "programmes")}
    withheld = {
        name
        for name, row in runners.items()
        if {row["injury_region"], row["injury_side"]} == {"withheld"}
    }
    assert not withheld & {row["runner"] for row in _rows(report, "injuries")}
    for row in programmes.values():
        hidden = row["runner"] in withheld
        assert ({row["kind"], row["for_injury"]} == {"withheld"}) == hidden
    coarser = 0
    for row in _rows(report, "blocks"):
        region = runners[programmes[row["programme"]]["runner"]]["injury_region"]
        if region not in {*PARTS, "no_injury"}:
            assert row["exercise"] == "withheld"
            coarser += 1
        assert row["sides"] in {"one_side", "both", "none"}
    assert coarser
    assert {row["what"] for row in _rows(report, "targets")} <= {"one_side", "asymmetry"}


def test_every_class_holds_several_kinds_of_tissue(report: ExportReport) -> None:
    tissue = {row["runner"]: row["tissue"] for row in _rows(report, "injuries")}
    classes: dict[tuple[str, ...], list[str]] = {}
    for row in _rows(report, "runners"):
        alike = tuple(content for name, content in row.items() if name != "runner")
        classes.setdefault(alike, []).append(tissue.get(row["runner"], f"none {row['runner']}"))
    assert all(len(set(kinds)) >= L and len(kinds) >= K for kinds in classes.values())
    assert len(classes) > 3


def test_the_page_says_the_risk_that_an_intruder_finds(report: ExportReport) -> None:
    rows = _rows(report, "runners")
    alike = [tuple(c for name, c in row.items() if name != "runner") for row in rows]
    sizes = [alike.count(one) for one in alike]
    assert report.facts.k == min(sizes)
    assert report.facts.largest == pytest.approx(1 / min(sizes))
    assert report.facts.mean == pytest.approx(sum(1 / size for size in sizes) / len(sizes))
    assert report.facts.withheld == sum(set(one) == {"withheld"} for one in alike)
    page = (report.folder / "risk.md").read_text(encoding="utf-8")
    assert f"at most {100 / min(sizes):.1f} %" in page
    for words in ("withheld", "does not protect", "matched by such numbers", "small and known"):
        assert words in page


def test_an_independent_library_measures_the_same_on_the_files_themselves(
    report: ExportReport,
) -> None:
    runners = pd.DataFrame(_rows(report, "runners"))
    tissue = {row["runner"]: row["tissue"] for row in _rows(report, "injuries")}
    # A runner without a complaint that is told of counts as a kind.
    runners["tissue"] = [tissue.get(one, f"none of {one}") for one in runners["runner"]]
    names = list(QUASI_IDENTIFIERS)
    assert anonymity.k_anonymity(runners, names) == report.facts.k
    assert anonymity.l_diversity(runners, names, ["tissue"]) >= report.facts.diversity >= L
    assert len(tissue) > 200
