"""What became of a target leaves as the page of the programme tells it, and gives no side back."""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert, select, update

from casebook.domain.export_tables import HOLLOW, TARGET_OUTCOMES, WITHHELD
from casebook.domain.exporting import ExportKey, ExportSettings, Kind, Trait
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose
from casebook.services.exporting_audit import export_audit
from casebook.services.keeping import Casebook, open_casebook
from casebook.services.targeting import list_targets
from casebook.storage.session import reading, writing
from casebook.storage.tables import (
    MetricRow,
    ProgrammeRow,
    RunnerRow,
    TargetRow,
    ValueRow,
    VisitRow,
)
from tests.exportable import UNTIL, add_cohort

KEY = ExportKey(secret=bytes(32))
WHOLE = ExportSettings(
    purpose=Purpose.AUDIT,
    as_of=UNTIL + timedelta(days=7),
    k=2,
    diversity=1,
    formats=(FileFormat.CSV,),
    leave_out=(Trait.REGION,),
)
AGAIN = timedelta(days=50)
SIDES = {"left", "right"}
Told = dict[tuple[str, str, str], Counter[str]]


@pytest.fixture(scope="module")
def casebook(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    """Each runner with a programme has a later one, too; targets of every kind on both."""
    path = tmp_path_factory.mktemp("aiming") / "casebook.sqlite"
    path.write_bytes(sqlite_template.read_bytes())
    opened = open_casebook(str(path))
    add_cohort(opened, 40, metrics=5, visits=5, alike=True)
    with writing(opened.engine) as unit:
        metric = {row.key: row.id for row in unit.scalars(select(MetricRow))}
        sided = ("contralateral_pelvic_drop", "rearfoot_eversion_peak")
        alike = {"speed_km_h": 11.0, "footwear": "own shoes", "assessor": "KM", "pain_today": 1.0}
        unit.execute(update(VisitRow).values(alike))
        # Of every second runner the left side rises from then on.
        rising = select(VisitRow.id).where(
            VisitRow.runner_id % 2 == 1, VisitRow.visited_on > UNTIL - timedelta(days=330)
        )
        unit.execute(
            update(ValueRow)
            .where(
                ValueRow.visit_id.in_(rising),
                ValueRow.metric_id == metric[sided[0]],
                ValueRow.side == "left",
            )
            .values(mean=ValueRow.mean + 8.0)
        )
        first = list(unit.scalars(select(ProgrammeRow).order_by(ProgrammeRow.id)))
        unit.execute(
            insert(ProgrammeRow),
            [
                {
                    "runner_id": one.runner_id, "injury_id": one.injury_id, "title": "Again",
                    "kind": one.kind.value, "started_on": one.started_on + AGAIN,
                }
                for one in first
            ],
        )  # fmt: skip
        unit.execute(
            insert(TargetRow),
            [
                {
                    "programme_id": row.id, "metric_id": metric[key], "what": what,
                    "direction": "towards_zero" if what == "asymmetry" else "up",
                    "amount": 0.4 if what == "asymmetry" else 4.0,
                    "due_on": row.started_on + timedelta(days=[30, 90, 400][row.id % 3]),
                }
                for row in unit.scalars(select(ProgrammeRow))
                for key, what in (
                    *((key, what) for key in sided for what in ("left", "asymmetry")),
                    ("cadence", "none"),
                )
            ],
        )  # fmt: skip
        unit.commit()
    yield opened
    opened.close()


def rows(folder: Path, table: str) -> list[dict[str, str]]:
    with (folder / "data" / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def told_by_the_page(casebook: Casebook, some: int) -> Told:
    """Of some runners: each is judged and previewed by itself, which takes a while."""
    found: Told = defaultdict(Counter)
    with reading(casebook.engine) as unit:
        codes = list(unit.scalars(select(RunnerRow.code).order_by(RunnerRow.id).limit(some)))
    for code in codes:
        for one in list_targets(casebook, code, today=WHOLE.as_of):
            what = one.target.what.value
            programme = KEY.pseudonym(Kind.PROGRAMME, one.programme_id)
            place = (programme, one.target.metric, "one_side" if what in SIDES else what)
            call = HOLLOW if one.outcome.hollow else one.outcome.call.value
            found[place][call] += 1
    return found


def test_outcomes_of_targets_are_those_of_the_page_for_first_and_later_programmes(
    casebook: Casebook, tmp_path: Path
) -> None:
    report = export_audit(casebook, WHOLE, tmp_path / "out", key=KEY, by="KM")
    expected = told_by_the_page(casebook, 8)
    side = {row["runner"]: row["injury_side"] for row in rows(report.folder, "runners")}
    runner = {row["programme"]: row["runner"] for row in rows(report.folder, "programmes")}
    left: Told = defaultdict(Counter)
    for row in rows(report.folder, "targets"):
        if row["outcome"] == WITHHELD:
            assert row["what"] == "one_side"
            assert side[runner[row["programme"]]] not in SIDES
            continue
        left[row["programme"], row["metric"], row["what"]][row["outcome"]] += 1
    both = left.keys() & expected.keys()
    assert {place: left[place] for place in both} == {place: expected[place] for place in both}
    assert len(both) > 20
    assert {what for _, _, what in both} == {"one_side", "asymmetry", "none"}
    seen = set().union(*left.values())
    assert {"met", "not_met", "cannot_say", "not_due"} <= seen <= set(TARGET_OUTCOMES)


def test_where_the_side_of_the_complaint_is_kept_no_targets_outcome_tells_it(
    casebook: Casebook, tmp_path: Path
) -> None:
    hiding = replace(WHOLE, leave_out=(Trait.REGION, Trait.SIDE))
    report = export_audit(casebook, hiding, tmp_path / "out", key=KEY, by="KM")
    by_what: dict[str, set[str]] = defaultdict(set)
    for row in rows(report.folder, "targets"):
        by_what[row["what"]].add(row["outcome"])
    assert by_what["one_side"] == {WITHHELD}
    assert WITHHELD not in by_what["asymmetry"] | by_what["none"]
