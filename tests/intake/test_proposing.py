"""Proposed mappings: seldom silent, often right, never sure and wrong."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.catalogue.loader import starter_metrics
from casebook.domain.errors import InputRefused
from casebook.domain.metrics import Metric
from casebook.intake.grids import GridBuilder, read_text_grid
from casebook.intake.mapping import NOTHING, READING, UNDECIDED, Dates, RowIs
from casebook.intake.mapping_apply import apply_mapping
from casebook.intake.proposing import SheetProposal, propose
from tests.intake.headers import ASK, HEADERS, Header
from tests.intake.record_headers import RECORD_HEADERS


@pytest.fixture(scope="module")
def metrics() -> dict[str, Metric]:
    return {metric.key: metric for metric in starter_metrics()}


def proposed(
    header: Header, tmp_path: Path, metrics: dict[str, Metric], row_is: RowIs | None = None
) -> tuple[str, str, int]:
    """What a sheet with this column alone is proposed to hold."""
    path = tmp_path / "one.csv"
    cells = [cell.replace(",", ".") for cell in header.texts]
    path.write_text("\n".join([f'"{header.name}";', *(f"{cell};" for cell in cells)]))
    (found,) = (c for c in propose(read_text_grid(path), metrics.values(), row_is).columns)
    use = found.use
    assert found.sure == (use.holds != UNDECIDED)
    assert found.why
    if use.holds == UNDECIDED:
        return ASK, "", 0
    if use.holds == READING:
        return use.metric, use.side.replace("none", ""), use.trial
    return use.holds, "", 0


def test_no_header_is_taken_wrongly_without_a_question_and_most_that_can_be_are_right(
    metrics: dict[str, Metric], tmp_path: Path
) -> None:
    headers = [*((None, header) for header in HEADERS), *RECORD_HEADERS]
    assert len(headers) >= 230
    wrong, right, asked, needless = [], [], [], []
    for row_is, header in headers:
        answer = proposed(header, tmp_path, metrics, row_is)
        if answer == (header.holds, header.side, header.trial):
            (asked if header.holds == ASK else right).append(header.name)
        elif answer[0] == ASK:
            needless.append(header.name)
        else:
            wrong.append((header.name, answer))
    print(
        f"{len(headers)} headers: {len(right)} right, {len(asked)} asked rightly, "
        f"{len(needless)} asked without need, {len(wrong)} wrong and sure"
    )
    assert wrong == []
    assert len(needless) <= 0.05 * len(headers), needless


def proposal_of(text: str, tmp_path: Path, metrics: dict[str, Metric]) -> SheetProposal:
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return propose(read_text_grid(path), metrics.values())


def held(proposal: SheetProposal) -> dict[str, tuple[str, str, int]]:
    return {
        one.header: (one.metric or one.holds, one.side, one.trial)
        for one in proposal.mapping.columns
    }


def test_a_letter_with_a_number_is_a_side_only_beside_the_other_side(
    metrics: dict[str, Metric], tmp_path: Path
) -> None:
    head = (
        "Athlete;Date;Lunge distance L1 (cm);Lunge distance R1 (cm);Contact time R1;Contact time R2"
    )
    found = held(
        proposal_of(f"{head};GCT L R1\nA1;2026-03-02;10;11;240;245;238\n", tmp_path, metrics)
    )
    assert found["Lunge distance L1 (cm)"] == ("lunge_distance", "left", 1)
    assert found["Lunge distance R1 (cm)"] == ("lunge_distance", "right", 1)
    assert found["Contact time R1"] == found["Contact time R2"] == (UNDECIDED, "", 0)
    assert found["GCT L R1"] == ("contact_time", "left", 1)


def test_what_a_row_stands_for_is_told_from_its_columns(
    metrics: dict[str, Metric], tmp_path: Path
) -> None:
    side = proposal_of(
        "Athlete,Date,Leg,Trial,Contact time (ms),Cadence\nA1,2026-03-02,L,1,240,172\n"
        "A1,2026-03-02,R,1,245,172\n",
        tmp_path,
        metrics,
    )
    assert side.mapping.row_is is RowIs.SIDE
    assert held(side)["Contact time (ms)"] == ("contact_time", "", 0)
    assert held(side)["Leg"] == ("side", "", 0)
    value = proposal_of(
        "Athlete,Date,Measure,Side,Value\nA1,2026-03-02,Contact time (ms),L,240\n"
        "A1,2026-03-02,Knee flexion,R,38\n",
        tmp_path,
        metrics,
    )
    assert value.mapping.row_is is RowIs.VALUE
    assert [(word.word, word.metric) for word in value.mapping.words] == [
        ("Contact time (ms)", "contact_time"),
        ("Knee flexion", UNDECIDED),
    ]
    legend = proposal_of("L,is the left leg\nR,is the right leg\n", tmp_path, metrics)
    assert legend.mapping.row_is is RowIs.NOTHING


def test_weeks_of_a_programme_and_runs_are_told_from_visits(
    metrics: dict[str, Metric], tmp_path: Path
) -> None:
    week = proposal_of(
        "Adherence diary\nAthlete,Week starting,Planned,Sessions done,Pain during,Notes\n"
        "A1,02/03/2026,4,3,2,\nA1,16/03/2026,4,4,1,fine\nTotal,,8,7,,\n",
        tmp_path,
        metrics,
    )
    assert (week.mapping.row_is, week.mapping.header_row) == (RowIs.WEEK, 2)
    assert {header: one[0] for header, one in held(week).items()} == {
        "Athlete": "runner", "Week starting": "week_start", "Planned": UNDECIDED,
        "Sessions done": "sessions_done", "Pain during": "pain_during", "Notes": "comment",
    }  # fmt: skip
    assert week.mapping.dates is Dates.DAY_FIRST
    assert week.summaries == {5: "Total"}
    run = proposal_of("Date,Distance (mi),Duration,RPE\n2026-03-02,3.1,31,4\n", tmp_path, metrics)
    assert run.mapping.row_is is RowIs.RUN
    uses = {one.header: one for one in run.mapping.columns}
    assert (uses["Distance (mi)"].holds, uses["Distance (mi)"].unit) == ("distance_km", "mi")
    assert uses["Duration"].holds == UNDECIDED
    for visits in (
        "Athlete,Date,Contact time L (ms),Pain today,Notes\nA1,2026-03-02,240,2,\n",
        "Athlete,Date,Single leg hop distance L (cm),RPE\nA1,2026-03-02,120,6\n",
        "Athlete,Date,Weekly mileage (km),Sessions\nA1,2026-03-02,40,3\n",
    ):
        assert proposal_of(visits, tmp_path, metrics).mapping.row_is is RowIs.VISIT


def test_two_columns_that_seem_alike_are_both_asked_about(
    metrics: dict[str, Metric], tmp_path: Path
) -> None:
    found = held(
        proposal_of(
            "Athlete,Date,Test date,Cadence,Step rate\nA1,2026-03-02,2026-03-02,172,171\n",
            tmp_path,
            metrics,
        )
    )
    asked = {header for header, one in found.items() if one[0] == UNDECIDED}
    assert asked == {"Date", "Test date", "Cadence", "Step rate"}


CELL = st.one_of(
    st.text(max_size=8),
    st.sampled_from(
        ["R-1", "2026-03-02", "03/04/25", "L", "Mean", "38", "4,5", "Date", "Athlete", "Side",
         "Knee flexion midstance L", "Cadence", "Metric", "Value", "Trial 2", "", "x" * 300]
    ),
)  # fmt: skip


@settings(max_examples=60)
@given(rows=st.lists(st.lists(CELL, max_size=6), min_size=1, max_size=7), data=st.data())
def test_whatever_a_sheet_holds_it_is_proposed_and_applied_or_refused_in_words(
    metrics: dict[str, Metric], rows: list[list[str]], data: st.DataObject
) -> None:
    builder = GridBuilder()
    for line, cells in enumerate(rows, start=1):
        builder.add(line, cells)
    grid = builder.grid("any.csv")
    if not grid.n_rows:
        return
    row_is = data.draw(st.sampled_from([None, *RowIs]))
    proposal = propose(grid, metrics.values(), row_is)
    settled = replace(
        proposal.mapping,
        row_is=data.draw(st.sampled_from([proposal.mapping.row_is, RowIs.VISIT, RowIs.SIDE])),
        dates=data.draw(st.sampled_from(Dates)),
        fill_down=data.draw(st.sampled_from([(), ("runner", "visit_date")])),
        columns=tuple(
            replace(one, holds=data.draw(st.sampled_from([NOTHING, "runner", "note"])))
            if one.holds == UNDECIDED
            else one
            for one in proposal.mapping.columns
        ),
    )
    with suppress(InputRefused):
        apply_mapping(grid, settled, metrics)
