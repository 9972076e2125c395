"""A case on one or two pages: what it says of whom, and that file and page say the same."""

from __future__ import annotations

import re
import shutil
from base64 import b64decode
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from html import unescape
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from casebook.domain.cautions import Finding
from casebook.domain.errors import NotFound
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.domain.people import Identity, User
from casebook.domain.prescriptions import BlockDetail, Prescription, Tempo
from casebook.domain.programmes import (
    AdherenceWeek,
    Aim,
    Block,
    Programme,
    Target,
    TargetDirection,
    TargetOn,
)
from casebook.domain.sides import InjurySide, Side
from casebook.domain.summaries import Drawing, Reader, Summary, Text
from casebook.domain.visits import Conditions, VisitKind, value_of_trials
from casebook.services.adhering import record_week
from casebook.services.cataloguing import adopt_figure
from casebook.services.cautioning import record_findings
from casebook.services.flagging import acknowledge_flag, list_flags
from casebook.services.keeping import Casebook, open_casebook
from casebook.services.prescribing import prescribe
from casebook.services.recording import record_visit
from casebook.services.registering import record_injury, register_runner, register_user
from casebook.services.reviewing import review_runner
from casebook.services.summarising import summarise
from casebook.services.summarising_plan import next_steps, prescribed
from casebook.typesetting.compiling import BREAK, pages_of
from casebook.typesetting.paper import summary_pdf
from casebook.typesetting.web import summary_page
from tests.builders import STEPS, STRENGTH, a_runner, a_visit, an_injury

TODAY = date(2026, 6, 20)
BASELINE = date(2026, 1, 12)
UP, DOWN, START, LONG, EMPTY = "T-up", "T-down", "T-start", "T-" + "Ä" * 62, "T-empty"
WORDY = "Gluteus-medius-Kräftigungsübungsprogramm " * 12
MADE: dict[tuple[str, Reader, bool], Summary] = {}
CONDITIONS = Conditions(speed_km_h=10.0, surface="treadmill", frames_per_s=120.0, pain_today=2.0)


def measure(casebook: Casebook, code: str, *right: float, note: str = "") -> None:
    for number, strength in enumerate(right):
        day = BASELINE + timedelta(days=42 * number)
        visit = a_visit(
            runner=code,
            visited_on=day,
            kind=VisitKind.REVIEW if number else VisitKind.BASELINE,
            conditions=CONDITIONS,
            note=note,
            next_due_on=day + timedelta(days=42),
            values=(
                value_of_trials(STRENGTH, Side.LEFT, [298.0, 300.0, 302.0]),
                value_of_trials(STRENGTH, Side.RIGHT, [strength - 2, strength, strength + 2]),
                value_of_trials(STEPS, Side.NONE, [171.0, 172.0, 173.0]),
            ),
        )
        record_visit(casebook, visit, by="KM")


def plan(casebook: Casebook, code: str, title: str, exercise: str, blocks: int) -> int:
    programme = Programme(
        runner=code,
        title=title,
        rationale=f"The right side is weaker. {title}",
        started_on=BASELINE + timedelta(days=1),
        blocks=tuple(
            Block(
                position=number,
                aim=Aim.STRENGTH,
                exercise=exercise,
                side=InjurySide.RIGHT,
                sets=3,
                repetitions=8,
                sessions_per_week=3.0,
            )
            for number in range(1, blocks + 1)
        ),
        targets=tuple(
            Target(
                metric=STRENGTH,
                what=what,
                direction=way,
                amount=amount,
                due_on=due,
            )
            for what, way, amount, due in (
                (TargetOn.RIGHT, TargetDirection.UP, 40.0, date(2026, 2, 20)),
                (TargetOn.ASYMMETRY, TargetDirection.TOWARDS_ZERO, 20.0, date(2026, 8, 1)),
            )
        ),
    )
    detail = BlockDetail(
        position=1, tempo=Tempo(lower_s=3, hold_s=0, lift_s=1), ease_when="pain above 5 of 10"
    )
    stored = prescribe(
        casebook, Prescription(programme=programme, block_details=(detail,)), by="KM"
    )
    week = AdherenceWeek(
        week_start=date(2026, 1, 19), sessions_planned=3, sessions_done=2, pain_during=6.0
    )
    record_week(casebook, stored.programme_id, week, by="KM")
    return stored.programme_id


def furnish(casebook: Casebook) -> None:
    register_user(casebook, User(code="KM"))
    for code, family in ((UP, "Müller-Öztürk"), (LONG, "Wolfeschlegelsteinhausen" * 4)):
        register_runner(
            casebook,
            a_runner(code=code),
            Identity(
                runner=code, given_name="Käthe", family_name=family, birth_date=date(1990, 5, 3)
            ),
        )
    for code in (DOWN, START, EMPTY):
        register_runner(casebook, a_runner(code=code))
    adopt_figure(
        casebook,
        ErrorFigure(
            metric=STRENGTH,
            applies_to=AppliesTo.SIDE_VALUE,
            origin=ErrorOrigin.OWN,
            between_sd=4.0,
            within_sd=6.0,
            source="repeat visits of the tests' clinic",
        ),
    )
    record_injury(casebook, an_injury(runner=UP))
    measure(casebook, UP, 220.0, 260.0, 301.0)
    measure(casebook, DOWN, 290.0, 292.0, 220.0)
    measure(casebook, START, 240.0)
    measure(casebook, LONG, 220.0, 221.0, 150.0, note=WORDY * 4)
    plan(casebook, UP, "Steady pelvis", "step-up", 2)
    plan(casebook, LONG, WORDY[:190], WORDY[:190], 14)
    record_findings(
        casebook, DOWN, BASELINE, 1,
        {Finding.BONE_TENDERNESS: True, Finding.NIGHT_PAIN: True}, by="KM",
    )  # fmt: skip


@pytest.fixture(scope="module")
def stored(sqlite_furnished: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    path = tmp_path_factory.mktemp("summaries") / "casebook.sqlite"
    shutil.copyfile(sqlite_furnished, path)
    casebook = open_casebook(str(path))
    furnish(casebook)
    yield casebook
    casebook.close()


def summary_of(
    casebook: Casebook, code: str, reader: Reader, *, with_name: bool = False
) -> Summary:
    """Made once: the casebook of these tests stays as it is until the last of them."""
    asked = (code, reader, with_name)
    if asked not in MADE:
        MADE[asked] = summarise(casebook, code, reader=reader, today=TODAY, with_name=with_name)
    return MADE[asked]


def said_by(summary: Summary) -> str:
    return "\n".join(summary.texts())


def plain(text: str) -> str:
    return re.sub(r"[\s\u200b\u00ad]+", "", text)


def read_back(pdf: bytes) -> str:
    return plain("".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages))


def test_the_runner_reads_in_plain_words_what_got_better_and_how_sure_that_is(
    stored: Casebook,
) -> None:
    said = said_by(summary_of(stored, UP, Reader.RUNNER))
    assert "Strength in a test: left 300 N, right 220 N (left larger)" in said
    assert "Strength in a test, right side: from 220 N at the start to 301 N on 6 Apr 2026" in said
    assert "Better, by more than measuring alone usually makes it (up to" in said
    assert "step-up, right side: 3 sets of 8, 3 a week; tempo 3 s down, 1 s up. Ease off: pain" in (
        said
    )
    assert "Done: 2 of 3 planned sessions (67 %)" in said
    assert "right side, 40.0 N up by 20 Feb 2026: met (visit of 23 Feb 2026), as" in said
    assert "The next visit is due on 18 May 2026, which has passed." in said
    assert (
        "Target by 1 Aug 2026: Strength in a test, difference between left and right, 20.0%" in said
    )
    assert "That does not show that the programme did it" in said
    # Five months ago: what to do now does not follow from it.
    assert "Earlier, pain was beyond the usual limits in 1 week;" in said
    then = date(2026, 2, 16)
    soon = said_by(summarise(stored, UP, reader=Reader.RUNNER, today=then, with_name=False))
    assert "Pain during the sessions was 6 of 10" in soon
    assert "in 1 week before" not in soon
    assert "MDC" not in said
    assert "Rationale" not in said


def test_the_referrer_reads_numbers_errors_and_what_argues_against(stored: Casebook) -> None:
    said = said_by(summary_of(stored, UP, Reader.REFERRER))
    for words in (
        "Baseline\nLatest\nChange\nMDC95\nVerdict [error]",
        "−30.8% (left larger)",
        "improved beyond error; the worse side gained",
        "[1] this clinic's own repeat measurements: repeat visits of the tests' clinic",
        "Rationale: The right side is weaker.",
        "95 % interval",
        "What argues against the programme having a part in it",
        "None of this says why it changed.",
    ):
        assert words in said


def test_what_is_flagged_is_told_to_each_in_their_words(stored: Casebook) -> None:
    said = said_by(summary_of(stored, DOWN, Reader.RUNNER))
    assert "the difference between left and right is larger than at the start." in said
    assert "asymmetry up from 3.4% (left larger) to 30.8% (left larger)" in said_by(
        summary_of(stored, DOWN, Reader.REFERRER)
    )


def test_findings_that_call_for_a_referral_come_before_every_number(stored: Casebook) -> None:
    found = summary_of(stored, DOWN, Reader.REFERRER).sections[1]
    assert isinstance(found.parts[0], Text)
    assert "consider referral, follow local pathways" in found.parts[0].words
    said = said_by(summary_of(stored, DOWN, Reader.RUNNER))
    assert "another professional may need to look at" in said
    assert "bone stress" not in said


def test_with_a_start_alone_nothing_is_called_a_change(stored: Casebook) -> None:
    for reader in Reader:
        summary = summary_of(stored, START, reader)
        said = said_by(summary)
        assert "Measured so far:" in said
        assert "what changed can be told after the next visit" in said
        assert not any(isinstance(part, Drawing) for one in summary.sections for part in one.parts)
        assert pages_of(summary_pdf(summary)) == 1
    assert "Nothing has been measured yet." in said_by(summary_of(stored, EMPTY, Reader.RUNNER))


def test_a_programme_that_is_still_to_start_does_not_go_on_yet(stored: Casebook) -> None:
    review = review_runner(stored, UP)
    assert any(
        "Steady pelvis" in one and "goes on" in one
        for one in next_steps(review, BASELINE + timedelta(days=1))
    )
    ahead = next(one for one in next_steps(review, BASELINE) if "Steady pelvis" in one)
    assert "starts on 13 Jan 2026" in ahead
    ending = replace(review.programmes[0], ended_on=BASELINE + timedelta(days=20))
    (told,) = [
        one
        for one in next_steps(replace(review, programmes=(ending,)), BASELINE)
        if "Steady pelvis" in one
    ]
    assert "starts on 13 Jan 2026 and runs until 1 Feb 2026." in told


def test_programmes_that_ran_beside_the_latest_are_named_as_not_to_be_told_apart(
    stored: Casebook,
) -> None:
    review = review_runner(stored, UP)
    latest = review.programmes[0]
    start = latest.started_on
    beside = replace(latest, title="Cues", started_on=start - timedelta(days=20), ended_on=None)
    before = replace(beside, title="Easy weeks", ended_on=start)
    for reader in Reader:
        section = prescribed(replace(review, programmes=(before, beside, latest)), reader, None)
        said = [part.words for part in section.parts if isinstance(part, Text)]
        assert said[0].startswith("Steady pelvis")
        assert said[-2:] == [
            "In the same weeks: Cues, since 24 Dec 2025. What changed while they ran together "
            "can't be told apart between them.",
            "Before that: Easy weeks, from 24 Dec 2025 to 13 Jan 2026.",
        ]


def test_no_name_and_no_birth_date_stand_on_it_unless_asked_for(stored: Casebook) -> None:
    for reader in Reader:
        without = summary_of(stored, UP, reader)
        assert not re.search("Käthe|Müller|1990|3 May", said_by(without) + without.foot)
        assert "about 36 years" in said_by(without)
    named = summary_pdf(summary_of(stored, LONG, Reader.RUNNER, with_name=True))
    assert f"Käthe{'Wolfeschlegelsteinhausen' * 4}({LONG})" in read_back(named)
    assert "3May1990" in read_back(named)


@pytest.mark.parametrize(
    ("code", "reader"),
    [
        (UP, Reader.RUNNER),
        (DOWN, Reader.REFERRER),
        (LONG, Reader.RUNNER),
        (LONG, Reader.REFERRER),
        (EMPTY, Reader.RUNNER),
    ],
    ids=["improved", "flagged", "long", "long with numbers", "empty"],
)
def test_file_and_page_say_the_same_on_two_pages_at_most(
    stored: Casebook, code: str, reader: Reader
) -> None:
    summary = summary_of(stored, code, reader)
    pdf, page = summary_pdf(summary), summary_page(summary)
    on_paper, on_screen = read_back(pdf), plain(unescape(re.sub("<[^>]*>", " ", page)))
    alternatives = plain(unescape(" ".join(re.findall('alt="([^"]*)"', page))))
    told = {
        part.told for one in summary.sections for part in one.parts if isinstance(part, Drawing)
    }
    for words in summary.texts():
        if words in told:
            assert plain(words) in alternatives
        else:
            assert plain(words) in on_paper
            assert plain(words) in on_screen + alternatives
    assert pages_of(pdf) <= 2


def test_the_same_case_gives_the_same_bytes_and_nothing_of_who_made_them(
    stored: Casebook,
) -> None:
    once, twice = (
        summarise(stored, UP, reader=Reader.RUNNER, today=TODAY, with_name=True) for _ in range(2)
    )
    first, again = summary_pdf(once), summary_pdf(twice)
    assert first == again
    facts = PdfReader(BytesIO(first)).metadata
    assert facts is not None
    assert facts.title == "Summary of a case"
    assert set(facts) <= {"/Title", "/Creator", "/Producer"}
    page = PdfReader(BytesIO(first)).pages[0]
    fonts = page["/Resources"]["/Font"].values()
    for font in fonts:
        inner = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        assert {"/FontFile2", "/FontFile3"} & set(inner.get_object())


def test_signs_and_letters_are_drawn_and_stay_text(stored: Casebook) -> None:
    back = read_back(summary_pdf(summary_of(stored, LONG, Reader.REFERRER)))
    for sign in ("−", "±", "ä", "ü", "Ä", "%", "…"):
        assert sign in back


def test_left_and_right_differ_by_name_mark_and_dash_and_the_picture_has_no_outside_part(
    stored: Casebook,
) -> None:
    page = summary_page(summary_of(stored, UP, Reader.RUNNER))
    pictures = re.findall(r"base64,([^\"]+)", page)
    assert pictures
    drawn = b64decode(pictures[0]).decode()
    assert "stroke-dasharray" in drawn
    assert not re.search(r"(src|href)=\"http", page)
    assert 'alt="Strength in a test. Left and right (N): left 300 on 12 Jan 2026' in page


def test_what_was_typed_is_never_read_as_markup(stored: Casebook) -> None:
    code = "T-<b>#x"
    register_runner(stored, a_runner(code=code, discipline="$1+1$ *<script>* \\ #sys"))
    summary = summary_of(stored, code, Reader.RUNNER)
    assert "$1+1$*<script>*\\#sys" in read_back(summary_pdf(summary))
    assert "<script>" not in summary_page(summary)


def test_a_runner_whom_nobody_knows_has_no_summary(stored: Casebook) -> None:
    with pytest.raises(NotFound):
        summary_of(stored, "nobody", Reader.RUNNER)


def test_a_word_without_end_is_broken_within_its_column(stored: Casebook) -> None:
    summary = summary_of(stored, LONG, Reader.RUNNER, with_name=True)
    assert BREAK not in said_by(summary)
    reader = PdfReader(BytesIO(summary_pdf(summary)))
    ends: list[float] = []

    def note(text: str, _cm: object, tm: list[float], _font: object, _size: float) -> None:
        if text.strip():
            ends.append(tm[4])

    for page in reader.pages:
        page.extract_text(visitor_text=note)
    assert max(ends) < float(reader.pages[0].mediabox.width)


def test_a_flag_that_somebody_looked_at_still_stands_on_it(stored: Casebook) -> None:
    for flag in list_flags(stored).flags:
        if flag.runner == DOWN:
            acknowledge_flag(
                stored, DOWN, flag.visit_date, flag.session, flag.metric, flag.kind,
                reason="a long run the day before", by="KM",
            )  # fmt: skip
    assert "(your clinician has looked at it)" in said_by(
        summarise(stored, DOWN, reader=Reader.RUNNER, today=TODAY)
    )
    assert "by KM: a long run the day before" in said_by(
        summarise(stored, DOWN, reader=Reader.REFERRER, today=TODAY)
    )
