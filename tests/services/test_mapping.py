"""Mappings proposed, previewed, remembered and written to files, on a messy spreadsheet."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from casebook.domain.errors import InputRefused
from casebook.intake.mapping import (
    NOTHING,
    READING,
    UNDECIDED,
    ColumnUse,
    Dates,
    FileMapping,
    RowIs,
    SheetMapping,
    SummaryRows,
    WordUse,
    undecided,
)
from casebook.intake.mapping_file import mapping_of_text, mapping_text
from casebook.services.importing import import_files
from casebook.services.keeping import Casebook
from casebook.services.mapping import (
    is_understood,
    preview_mapping,
    propose_mapping,
    read_mapping_file,
    remember_mapping,
)
from casebook.services.recording import find_visit
from tests.intake.workbooks import saved

DAY = date(2026, 3, 2)
MESSY = {
    "Data 2026": [
        ["Running lab, spring 2026"],
        [],
        ["", "Knee flexion mid-stance (deg)", "", "Contact time (ms)", "", "", ""],
        ["Athlete ID", "L", "R", "L", "R", "Cadence", "Date"],
        ["A1", "38,5", 41, 245, 251, 172, "13.02.2026"],
        ["A2", "37,0", 40, 240, 246, 168, "02.03.2026"],
        [],
        ["Mean", 37.8, 40.5, 242, 248, 170, ""],
    ],
    "Legend": [["L", "is the left leg"], ["R", "is the right leg"]],
}


@pytest.fixture(scope="module")
def messy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return saved(tmp_path_factory.mktemp("messy") / "messy.xlsx", MESSY)


def test_a_messy_sheet_is_proposed_previewed_mapped_and_stored(
    sqlite_casebook: Casebook, messy: Path
) -> None:
    assert not is_understood(sqlite_casebook, messy)
    proposal = propose_mapping(sqlite_casebook, messy)
    data, legend = proposal.mapping.sheets
    assert (data.header_row, data.header_rows, data.row_is) == (4, 2, RowIs.VISIT)
    assert data.dates is Dates.DAY_FIRST
    assert proposal.sheets[0].summaries == {8: "Mean"}
    held = {one.header: (one.holds, one.metric, one.side) for one in data.columns}
    knee = "Knee flexion mid-stance (deg)"
    assert held[f"{knee} L"] == (READING, "knee_flexion_midstance", "left")
    assert held["Contact time (ms) R"] == (READING, "contact_time", "right")
    assert undecided(data) == ()
    data = replace(
        data,
        summary_rows=SummaryRows.LEAVE_OUT,
    )
    mapping = FileMapping(sheets=(data, replace(legend, row_is=RowIs.NOTHING)))
    (preview,) = preview_mapping(sqlite_casebook, messy, mapping)
    assert preview.problems == ()
    first = preview.stored[0]
    assert (first.row, first.runner, first.visited_on) == (5, "A1", date(2026, 2, 13))
    assert ("Knee flexion in mid-stance", "left", "38.5", "deg") in {
        (one.metric, one.side, one.value, one.unit) for one in preview.stored
    }
    report = import_files(sqlite_casebook, [messy], mappings={messy: mapping})
    assert report.problems == ()
    stored = find_visit(sqlite_casebook, "A2", DAY)
    assert stored is not None
    assert len(stored.visit.values) == 5


def test_a_settled_mapping_is_remembered_for_files_of_the_same_shape(
    casebook: Casebook, tmp_path: Path
) -> None:
    def table(name: str, text: str) -> Path:
        path = tmp_path / name
        path.write_text(text)
        return path

    first = table("one.csv", "Athlete,Date,KF L,Odd\nR-1,03/02/2026,38,1\n")
    proposal = propose_mapping(casebook, first)
    assert proposal.remembered == (False,)
    assert len(proposal.open_questions) == 3
    (sheet,) = proposal.mapping.sheets
    assert remember_mapping(casebook, proposal.mapping, name="one.csv") == 0
    answers = {
        "KF L": ColumnUse(
            header="KF L", holds=READING, metric="knee_flexion_midstance", side="left"
        ),
        "Odd": ColumnUse(header="Odd", holds=NOTHING),
    }
    settled = replace(
        sheet,
        dates=Dates.DAY_FIRST,
        columns=tuple(answers.get(one.header, one) for one in sheet.columns),
        fixed=(("visit_date", ""),),
    )
    for _ in range(2):
        remember_mapping(casebook, FileMapping(sheets=(settled,)), name="one.csv")
    # Another order, another title, and a date that can only be month first.
    second = table("two.csv", "A title\nKF L,odd,Date,Athlete\n39,2,03/14/2026,R-2\n")
    again = propose_mapping(casebook, second)
    assert again.remembered == (True,)
    assert again.open_questions == ()
    (known,) = again.mapping.sheets
    assert (known.header_row, known.dates, known.fixed) == (2, Dates.MONTH_FIRST, ())
    assert import_files(casebook, [second], mappings={second: again.mapping}).problems == ()
    assert find_visit(casebook, "R-2", date(2026, 3, 14)) is not None
    third = table("three.csv", "KF L,odd,Date,Athlete,New\n39,2,2026-03-14,R-2,1\n")
    assert propose_mapping(casebook, third).remembered == (False,)


def test_a_proposal_written_to_a_file_is_readable_and_refused_until_it_is_settled(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "t.csv"
    path.write_text("Athlete,Date,Knee flexion L\nR-1,2026-03-02,38\n")
    proposal = propose_mapping(sqlite_casebook, path)
    text = mapping_text(proposal.mapping, proposal.sheets, title="t.csv")
    assert 'perhaps: metric = "knee_flexion_midstance"   side = "left"' in text
    written = tmp_path / "m.toml"
    written.write_text(text)
    mapping = read_mapping_file(written)
    assert mapping == proposal.mapping
    report = import_files(sqlite_casebook, [path], mappings={path: mapping})
    assert [problem.code for problem in report.problems] == ["mapping_undecided"]
    written.write_text(
        text.replace('holds = "?"', 'metric = "knee_flexion_midstance"\nside = "left"')
    )
    mappings = {path: read_mapping_file(written)}
    assert import_files(sqlite_casebook, [path], mappings=mappings).problems == ()


TEXT = st.text(max_size=12)


@settings(max_examples=15)
@given(
    sheet=st.builds(
        SheetMapping,
        sheet=TEXT,
        header_row=st.integers(1, 9),
        row_is=st.sampled_from([RowIs.VISIT, RowIs.VALUE, RowIs.SIDE]),
        dates=st.sampled_from(Dates),
        summary_rows=st.sampled_from(SummaryRows),
        fill_down=st.lists(TEXT, max_size=2).map(tuple),
        not_summaries=st.lists(TEXT, max_size=2).map(tuple),
        columns=st.lists(
            st.builds(
                ColumnUse,
                header=st.text(min_size=1, max_size=12),
                holds=st.sampled_from([READING, UNDECIDED, NOTHING, "runner"]),
                metric=st.text(min_size=1, max_size=8),
                side=st.sampled_from(["", "left"]),
                trial=st.integers(0, 9),
                unit=TEXT,
            ),
            max_size=3,
        ).map(tuple),
        words=st.lists(st.builds(WordUse, word=TEXT, metric=TEXT), max_size=2).map(tuple),
        fixed=st.sampled_from([(), (("runner", "R\n1"),)]),
    )
)
def test_any_mapping_is_read_back_from_its_file_as_it_was(sheet: SheetMapping) -> None:
    assert mapping_of_text(mapping_text(FileMapping(sheets=(sheet,)))).sheets == (sheet,)


@settings(max_examples=60)
@given(
    text=st.one_of(
        st.text(max_size=80),
        st.sampled_from(
            [
                "version = 2", "version = 1", 'version = 1\nsheet = "x"',
                "version = 1\n[[sheet]]\nheader_row = 'a'", "version = 1\n[[sheet]]\nodd = 1",
                "version = 1\n[[sheet]]\nrow_is = 'x'", "version = 1\n[[sheet]]\ncolumn = 3",
                "version = 1\n[[sheet]]\nfill_down = [1]", "version = 1\n[[sheet]]\nfixed = 1",
                "version = 1\n[[sheet]]\n[[sheet.column]]\nholds = 'runner'",
                "a = " + "[" * 3_000,
            ]
        ),
    )
)  # fmt: skip
def test_what_is_no_mapping_file_is_refused_in_words(text: str) -> None:
    with pytest.raises(InputRefused) as refused:
        mapping_of_text(text)
    assert "propose-mapping" in str(refused.value)


LARGE = """
import resource, sys
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, (1_500_000_000, 1_500_000_000))
from casebook.catalogue.loader import starter_metrics
from casebook.intake.proposing import propose
from casebook.intake.sources import read_grids, read_sources
from casebook.intake.mapping import FileMapping
metrics = starter_metrics()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
(grid,) = read_grids(Path(sys.argv[1]))
mapping = FileMapping(sheets=(propose(grid, metrics).mapping,))
(source,) = read_sources(Path(sys.argv[1]), "large", metrics, mapping)
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
print(len(source.sheet.lines), peak // 1024)
"""


def test_a_mapped_table_of_many_rows_stays_within_bounded_memory(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    row = "A{},2026-03-02,{}.5,41,245,251\n"
    path.write_text(
        "Athlete ID,Date,Knee flexion mid-stance (deg) L,Knee flexion mid-stance (deg) R,"
        "Contact time L (ms),Contact time R (ms)\n"
        + "".join(row.format(n, n % 40 + 20) for n in range(50_000))
    )
    done = subprocess.run(
        [sys.executable, "-c", LARGE, str(path)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    rows, megabytes = map(int, done.stdout.split())
    assert rows == 50_000
    assert megabytes < 150
