"""Attaching files to a visit: what is kept, what is told, and what is never half-done."""

from __future__ import annotations

import hashlib
import signal
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text

from casebook.domain.errors import Conflict, InputRefused, NotFound, StoreUnavailable
from casebook.domain.history import Act, Subject
from casebook.services.attaching import (
    Attachment,
    AttachReport,
    GivenFile,
    amend_caption,
    attach_files,
    files_from_disk,
    folder_of,
    list_attachments,
    read_attachment,
    strike_out_attachment,
    thumbnail,
)
from casebook.services.keeping import Casebook, CheckPart, check_casebook, open_casebook
from casebook.services.recording import record_visit
from casebook.storage import history
from casebook.storage.files import path_of
from casebook.storage.session import connected, reading
from tests.builders import a_visit
from tests.forked import Forked
from tests.pictures import a_jpeg, a_pdf, a_png

DAY = a_visit().visited_on
JPEG = GivenFile(name="side view.jpg", content=a_jpeg(), caption="Midstance, left")
PNG = GivenFile(name="IMG_1.png", content=a_png())
PDF = GivenFile(name="letter.pdf", content=a_pdf(), caption="Referral")


@pytest.fixture
def visited(clinic: Casebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Casebook:
    """A casebook with one visit, on both databases, and a folder for a server's files."""
    monkeypatch.setenv("CASEBOOK_FILES", str(tmp_path / "files of the clinic"))
    record_visit(clinic, a_visit(), by="AB")
    return clinic


def attach(casebook: Casebook, *given: GivenFile, by: str = "AB") -> AttachReport:
    return attach_files(casebook, "T-001", DAY, given, by=by)


def entries(casebook: Casebook) -> list[tuple[Act, str, str, dict[str, object]]]:
    with reading(casebook.engine) as unit:
        return [
            (entry.act, entry.by, entry.reason, dict(entry.fields))
            for entry in history.every_entry(unit)
            if entry.subject is Subject.ATTACHMENT
        ]


def parts(casebook: Casebook) -> dict[str, CheckPart]:
    return {part.name: part for part in check_casebook(casebook).parts}


def stored(casebook: Casebook) -> list[Path]:
    return [path for path in folder_of(casebook).rglob("*") if path.is_file()]


def test_files_are_attached_in_their_order_and_read_again_as_they_were_kept(visited: Casebook):
    done = attach(visited, JPEG, PNG, PDF)
    assert (done.problems, done.unchanged) == ((), ())
    assert [told.partition(":")[0] for told in done.told] == [JPEG.name, PNG.name, PDF.name]
    found = list_attachments(visited, "T-001", DAY)
    assert found == done.attached == list_attachments(visited, "T-001")
    assert [(one.name, one.kind, one.caption, one.added_by) for one in found] == [
        ("side view.jpg", "jpeg", "Midstance, left", "AB"),
        ("IMG_1.png", "png", "", "AB"),
        ("letter.pdf", "pdf", "Referral", "AB"),
    ]
    for one in found:
        read, content = read_attachment(visited, one.attachment_id)
        assert read == one
        assert (hashlib.sha256(content).hexdigest(), len(content)) == (one.sha256, one.n_bytes)
        small = thumbnail(visited, one)
        assert (small is None) == (one.kind == "pdf")
        assert small is None or small.startswith(b"\x89PNG")
    assert {path.name for path in stored(visited)} == {one.sha256 for one in found}
    assert check_casebook(visited).ok


def test_a_bad_file_is_told_and_the_good_ones_are_attached(visited: Casebook):
    done = attach(visited, GivenFile(name="film.mov", content=b"moov" * 99), PNG)
    assert [one.name for one in done.attached] == ["IMG_1.png"]
    assert [(problem.code, problem.file) for problem in done.problems] == [
        ("attachment_kind", "film.mov")
    ]


def test_the_same_content_is_attached_once_whatever_its_name(visited: Casebook):
    attach(visited, JPEG)
    done = attach(visited, GivenFile(name="copy.png", content=JPEG.content), JPEG)
    assert (done.attached, done.unchanged, done.told) == ((), ("copy.png",), ())
    assert len(list_attachments(visited, "T-001")) == 1
    assert len(entries(visited)) == 1


def test_the_history_tells_what_was_attached_amended_and_struck_out_but_no_file_name(
    visited: Casebook,
):
    (one,) = attach(visited, JPEG).attached
    amend_caption(visited, one, "Midstance, right", reason="wrong side", by="CD")
    (amended,) = list_attachments(visited, "T-001")
    assert amended.caption == "Midstance, right"
    strike_out_attachment(visited, amended, reason="another runner", by="EF")
    assert list_attachments(visited, "T-001") == ()
    whole = {"sha256": one.sha256, "kind": "jpeg", "n_bytes": one.n_bytes}
    assert entries(visited) == [
        (
            Act.ADDED, "AB", "",
            {name: (None, now) for name, now in whole.items()}
            | {"caption": (None, "Midstance, left")},
        ),
        (
            Act.AMENDED, "CD", "wrong side",
            {"caption": ("Midstance, left", "Midstance, right")},
        ),
        (
            Act.STRUCK_OUT, "EF", "another runner",
            {name: (was, None) for name, was in whole.items()}
            | {"caption": ("Midstance, right", None)},
        ),
    ]  # fmt: skip
    # The file stays: it is part of what was recorded. The history names it.
    assert [path.name for path in stored(visited)] == [one.sha256]
    assert parts(visited)["other_files"].detail.startswith("0 files")
    assert [again.name for again in attach(visited, JPEG).attached] == [JPEG.name]
    assert check_casebook(visited).ok


def test_what_was_struck_out_or_amended_meanwhile_is_not_changed_again(visited: Casebook):
    (one,) = attach(visited, JPEG).attached
    with pytest.raises(InputRefused, match="reason must be given"):
        strike_out_attachment(visited, one, reason=" ", by="AB")
    amend_caption(visited, one, "theirs", reason="theirs", by="CD")
    with pytest.raises(Conflict, match="it is now 'theirs'"):
        amend_caption(visited, one, "mine", reason="mine", by="AB")
    strike_out_attachment(visited, one, reason="twice the same", by="AB")
    for again in (
        lambda: strike_out_attachment(visited, one, reason="again", by="AB"),
        lambda: amend_caption(visited, one, "late", reason="late", by="AB"),
        lambda: read_attachment(visited, one.attachment_id),
    ):
        with pytest.raises(NotFound, match="struck out"):
            again()


def test_a_visit_that_is_not_stored_takes_no_file(visited: Casebook):
    with pytest.raises(NotFound, match=r"No visit of 'T-001' on 2026-03-03"):
        attach_files(visited, "T-001", date(2026, 3, 3), [PNG], by="AB")
    with pytest.raises(NotFound, match="There is no runner"):
        attach_files(visited, "T-100", DAY, [PNG], by="AB")
    assert stored(visited) == []


def test_a_file_that_was_altered_or_removed_is_told_and_attaching_it_again_mends_it(
    visited: Casebook,
):
    first, second = attach(visited, JPEG, PNG).attached
    path_of(folder_of(visited), first.sha256).write_bytes(b"\xff\xd8 another picture")
    path_of(folder_of(visited), second.sha256).unlink()
    with pytest.raises(StoreUnavailable, match="was altered"):
        read_attachment(visited, first.attachment_id)
    with pytest.raises(StoreUnavailable, match="is missing"):
        thumbnail(visited, second)
    found = parts(visited)["attachments"]
    assert not found.ok
    assert f"{first.sha256[:12]}… is altered" in found.detail
    assert f"{second.sha256[:12]}… is missing" in found.detail
    attach(visited, JPEG, PNG)
    assert parts(visited)["attachments"].ok


def test_files_from_the_disk_are_read_up_to_the_limit_and_no_further(tmp_path: Path):
    large, none, good = tmp_path / "large.png", tmp_path / "none.png", tmp_path / "good.png"
    good.write_bytes(PNG.content)
    with large.open("wb") as out:
        out.truncate(3 * 1024**3)
    given, problems = files_from_disk([large, none, good, tmp_path])
    assert [one.name for one in given] == ["good.png"]
    assert [(problem.code, Path(problem.file).name) for problem in problems] == [
        ("attachment_too_large", "large.png"),
        ("attachment_unreadable", "none.png"),
        ("attachment_unreadable", tmp_path.name),
    ]


def test_a_casebook_on_a_server_needs_a_folder_named_for_its_files(
    postgresql_casebook: Casebook, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.delenv("CASEBOOK_FILES", raising=False)
    with pytest.raises(StoreUnavailable, match="set CASEBOOK_FILES"):
        folder_of(postgresql_casebook)
    assert parts(postgresql_casebook)["attachments"].ok


def test_a_disk_that_may_not_be_written_leaves_no_row(visited: Casebook, tmp_path: Path):
    folder_of(visited).write_text("something else stands here")
    with pytest.raises(StoreUnavailable, match="something else stands at"):
        attach(visited, PNG)
    assert list_attachments(visited, "T-001") == ()
    assert entries(visited) == []


KILLED = """
import os, sys
from datetime import date
from sqlalchemy import event
from casebook.services.attaching import GivenFile, attach_files
from casebook.services.keeping import open_casebook
from casebook.storage.session import Unit
from tests.pictures import a_png
casebook = open_casebook(sys.argv[1])
if sys.argv[2] == "while the file is written":
    os.fsync = lambda handle: os.kill(os.getpid(), 9)
else:
    @event.listens_for(Unit, "before_commit")
    def stop(unit):
        unit.flush()
        os.kill(os.getpid(), 9)
attach_files(casebook, "T-001", date.fromisoformat(sys.argv[3]), [GivenFile(name="x", content=a_png())], by="AB")
"""  # noqa: E501


@pytest.mark.parametrize("when", ["while the file is written", "before the commit"])
def test_a_kill_in_between_leaves_no_row_without_its_file(
    visited: Casebook, when: str, tmp_path: Path
):
    killed = Forked(KILLED, visited.url, when, DAY.isoformat(), said=tmp_path / "said").ended()
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    visited.close()
    again = open_casebook(visited.url)
    with connected(again.engine) as connection:
        assert connection.execute(text("SELECT count(*) FROM attachment")).scalar_one() == 0
    report = parts(again)
    assert all(part.ok for part in report.values())
    written = when == "before the commit"
    told = report["other_files"].detail
    assert told.startswith("1 file that no attachment" if written else "0 files")
    assert ("1 file left half-written" in told) == (not written)
    (one,) = attach(again, PNG).attached
    assert isinstance(one, Attachment)
    assert parts(again)["attachments"].detail.startswith("1 file attached and whole")
    again.close()
