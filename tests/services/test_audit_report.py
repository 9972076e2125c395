"""The report of an audit: numbered, of groups alone, and withheld where the audit withholds."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from casebook.domain.audit import AuditChoice
from casebook.domain.audit_outcomes import Funnel, FunnelLimit, FunnelPoint, On
from casebook.domain.people import Purpose
from casebook.domain.reports import Plot, Report, Table, numbered
from casebook.domain.summaries import Text
from casebook.services.audit_report import audit_report
from casebook.services.audit_report_plots import funnel_plot
from casebook.services.cohort import LoadedCohort, load_cohort
from casebook.services.keeping import Casebook, create_casebook
from casebook.typesetting.report_paper import report_pdf
from casebook.typesetting.report_web import report_page
from tests.services.audited_clinic import AS_OF, PAIN, STRENGTH, audited_clinic, code

OPEN = AuditChoice(as_of=AS_OF, least_group=2, lost_after_days=120)
EVERY = ((STRENGTH, On.WORSE_SIDE), (PAIN, On.VALUE))


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    folder = tmp_path_factory.mktemp("reported")
    casebook = create_casebook(str(folder / "casebook.sqlite"))
    yield audited_clinic(casebook, folder)
    casebook.close()


@pytest.fixture(scope="module")
def loaded(audited: Casebook) -> LoadedCohort:
    return load_cohort(audited)


def made(audited: Casebook, loaded: LoadedCohort, choice: AuditChoice) -> Report:
    return audit_report(audited, loaded, choice, courses=EVERY, today=AS_OF)


def words(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def table(report: Report, title: str) -> Table:
    return next(
        part
        for chapter in report.chapters
        for part in chapter.parts
        if isinstance(part, Table) and part.title == title
    )


def test_chapters_tables_and_figures_are_numbered_and_each_chapter_says_something(
    audited: Casebook, loaded: LoadedCohort
) -> None:
    chapters = numbered(made(audited, loaded, OPEN))
    assert [one.heading.split(".")[0] for one in chapters] == [
        str(at) for at in range(1, len(chapters) + 1)
    ]
    names = [one.heading.split(". ")[1] for one in chapters]
    assert names[:4] == ["Methods", "Runners", "Completeness and time to review", "Outcomes"]
    assert names[-1] == "What this can't say, and sources"
    assert {"Who was lost", "Course over time"} <= set(names)
    assert all(one.parts for one in chapters)
    for kind, word in ((Table, "Table"), (Plot, "Figure")):
        titles = [part.title for one in chapters for part in one.parts if isinstance(part, kind)]
        assert titles
        for at, title in enumerate(titles, 1):
            assert title.startswith(f"{word} {at}. ")


def test_the_outcome_is_that_of_the_audit(audited: Casebook, loaded: LoadedCohort) -> None:
    grid = table(made(audited, loaded, OPEN), "Outcomes: side that was worse at the baseline").grid
    (row,) = [one for one in grid.rows if one[0].startswith("Hip abductor strength")]
    found = dict(zip(grid.columns, (words(cell) for cell in row), strict=True))
    # By hand: of the eleven with a verdict the six whose weak side gained 90 N.
    assert found["Improved"].startswith("6: 55 % (")
    parts = [int(found[one].split(":")[0]) for one in ("Improved", "No change seen", "Worsened")]
    assert sum(parts) == 11
    assert 11 + int(found["Can't say"].split(":")[0]) == int(found["Measured twice"])


def test_whose_eyes_it_is_for_stands_first_and_at_the_foot(
    audited: Casebook, loaded: LoadedCohort
) -> None:
    own = made(audited, loaded, OPEN)
    told = numbered(own)[0].parts[0]
    assert isinstance(told, Text)
    assert told.strong
    assert told.words.startswith("For the clinic's own eyes")
    assert own.foot.endswith(", for the clinic's own eyes")
    others = made(audited, loaded, replace(OPEN, purpose=Purpose.AUDIT, least_group=3))
    assert "own eyes" not in " ".join((*others.texts(), others.foot))


def test_nobodys_code_or_clinician_stands_in_it_in_any_form(
    audited: Casebook, loaded: LoadedCohort
) -> None:
    report = made(audited, loaded, OPEN)
    pdf = PdfReader(BytesIO(report_pdf(report)))
    pages = [page.extract_text() for page in pdf.pages]
    # For whose eyes it is stands on every page.
    assert all(words(report.foot) in words(page).replace("’", "'") for page in pages)
    read = "\n".join(pages)
    page = re.sub(r"data:image/[^\"]*", "", report_page(report))
    for text in (" ".join(report.texts()), read, page, str(pdf.metadata)):
        for number in range(1, 16):
            assert not re.search(rf"\b{code(number)}\b", text)
    for said in report.texts():
        assert "nan" not in words(said).split()


def test_who_is_who_among_the_clinicians_is_read_beside_the_dots_and_below() -> None:
    def plot(*names: str) -> Plot:
        points = tuple(
            FunnelPoint(
                name=name, count=at, total=9, share=at / 9, beyond_95=at > 1, beyond_998=at > 2
            )
            for at, name in enumerate(names, 1)
        )
        limit = FunnelLimit(total=9, low_95=0.1, high_95=0.8, low_998=0.0, high_998=0.9)
        funnel = Funnel(
            metric="hop", on=On.VALUE, overall=0.2, points=points, limits=(limit,), left_out=0
        )
        found = funnel_plot(funnel, "Hop")
        assert found is not None
        return found

    own = plot("EIDER", "GANNET", "TERN")
    assert own.series[-1].marks == ("EIDER", "GANNET", "TERN")
    assert own.note.startswith("EIDER 1 of 9; GANNET 2 of 9, beyond 95 %; TERN 3 of 9, beyond 99.8")
    assert plot("clinician 1", "clinician 2").series[-1].marks == ("1", "2")


def test_what_an_audit_withholds_stays_withheld_in_its_report(
    audited: Casebook, loaded: LoadedCohort
) -> None:
    choice = replace(OPEN, least_group=9)
    report = made(audited, loaded, choice)
    steps = dict(table(report, "Flow of runners").grid.rows)
    assert steps["Discharged"] == "withheld"
    told = [words(one) for one in report.texts()]
    assert "Groups of fewer than 9 runners are withheld" in " ".join(told)
    # Nothing that is smaller than the group stands anywhere as a count of runners.
    counts = [int(n) for one in told for n in re.findall(r"\b(\d+) runners\b", one)]
    counts += [
        int(n) for part in _tables(report) for row in part.grid.rows for cell in row
        for n in re.findall(r"n\u00a0(\d+)\b", cell)
    ]  # fmt: skip
    assert counts
    assert all(n >= 9 for n in counts)


def _tables(report: Report) -> list[Table]:
    return [
        part for chapter in report.chapters for part in chapter.parts if isinstance(part, Table)
    ]
