"""Attaching still frames and documents to a visit, showing them, and striking them out.

A file goes to its place first and is named by a row after that, in one unit of work with the
history: whatever goes wrong in between, no row is without its file. Striking out removes the
row; the history tells of it, and the file stays, since it is part of what was recorded.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from sqlalchemy.orm import Session

from casebook.domain.errors import Conflict, InputRefused, NotFound, Problem, refuse
from casebook.domain.people import Runner, clean_by
from casebook.intake.attached_file import (
    LARGEST_FILE,
    AttachedFile,
    read_attached_file,
    thumbnail_of,
    too_large_words,
)
from casebook.services import clock
from casebook.services.opened import Casebook, files_folder
from casebook.services.registering import get_runner_row
from casebook.storage import attachments, files, history
from casebook.storage.session import reading, writing

LONGEST_CAPTION = 500
LONGEST_REASON = 1000
PICTURES = frozenset({"png", "jpeg"})
MEDIA_TYPES = {"png": "image/png", "jpeg": "image/jpeg", "pdf": "application/pdf"}
ENDINGS = {"png": ".png", "jpeg": ".jpg", "pdf": ".pdf"}


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenFile:
    """A file as it was given: its name for people, its content, and what it shows."""

    name: str
    content: bytes
    caption: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment:
    """A file that is attached to a visit.

    Parameters
    ----------
    sha256 : str
        Of the content, in hexadecimal; with `attachment_id` it tells one attachment from another.
    kind : str
        'png', 'jpeg' or 'pdf'.
    added_at : datetime
        Aware UTC.
    """

    attachment_id: int
    visited_on: date
    session: int
    sha256: str
    kind: str
    name: str
    n_bytes: int
    caption: str
    added_at: datetime
    added_by: str

    @property
    def is_picture(self) -> bool:
        """Whether there is something to be shown small."""
        return self.kind in PICTURES

    @property
    def media_type(self) -> str:
        """Its kind as a browser knows it (IANA media type)."""
        return MEDIA_TYPES[self.kind]

    @property
    def file_name(self) -> str:
        """A name to save it under: as it was given, with the ending of its kind."""
        stem = Path(self.name).stem or "attachment"
        return stem + ENDINGS[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachReport:
    """What became of the files that were given.

    Parameters
    ----------
    attached : tuple of Attachment
        Those that are attached now and were not before.
    unchanged : tuple of str
        Names of files that were attached to the visit already, with the same content.
    told : tuple of str
        What was removed from which file, and what could not be.
    problems : tuple of Problem
        Files that were not taken, each with its reason; the others are attached.
    """

    attached: tuple[Attachment, ...]
    unchanged: tuple[str, ...]
    told: tuple[str, ...]
    problems: tuple[Problem, ...]


def folder_of(casebook: Casebook) -> Path:
    """Where the casebook keeps its files.

    Raises
    ------
    StoreUnavailable
        For a database on a server when CASEBOOK_FILES names no folder.
    """
    return files_folder(casebook.url)


def files_from_disk(
    paths: Iterable[Path], *, caption: str = ""
) -> tuple[list[GivenFile], list[Problem]]:
    """Files by their paths; a problem for each that cannot be read or is too large."""
    given: list[GivenFile] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            with path.open("rb") as opened:
                content = opened.read(LARGEST_FILE + 1)
        except OSError as error:
            problems.append(
                Problem(
                    code="attachment_unreadable",
                    file=str(path),
                    message=f"it cannot be read ({error.strerror or error}). Check the path.",
                )
            )
            continue
        if len(content) > LARGEST_FILE:
            problems.append(
                Problem(
                    code="attachment_too_large",
                    file=str(path),
                    message=too_large_words(path.stat().st_size),
                )
            )
            continue
        given.append(GivenFile(name=path.name, content=content, caption=caption))
    return given, problems


def attach_files(
    casebook: Casebook,
    code: str,
    visited_on: date,
    given: Sequence[GivenFile],
    *,
    session: int = 1,
    by: str,
) -> AttachReport:
    """Attach files to a stored visit; a bad one is told and does not keep out the good ones.

    Kept is the cleaned file: without place, time, device, author.

    Parameters
    ----------
    code : str
        Of the runner.
    session : int
        Of the visit on that day.
    by : str
        Code of whoever attaches; empty where it is not known.

    Raises
    ------
    NotFound
        For a runner or a visit that is not stored.
    StoreUnavailable
        When the files' folder cannot be written.
    """
    by = clean_by(by)
    folder = folder_of(casebook)
    with reading(casebook.engine) as unit:
        _visit(unit, casebook, code, visited_on, session)
    taken: dict[str, tuple[AttachedFile, str]] = {}
    problems: list[Problem] = []
    for one in given:
        try:
            caption = _caption(one.caption, name=one.name)
            file = read_attached_file(one.name, one.content)
        except InputRefused as refused:
            problems.extend(refused.problems)
            continue
        taken.setdefault(file.sha256, (file, caption))
        files.put(folder, file.sha256, [file.content])
    attached, unchanged = _name_them(
        casebook, code, visited_on, session, list(taken.values()), by=by
    )
    fresh = {one.sha256 for one in attached}
    told = tuple(
        f"{file.name}: {words}"
        for file, _ in taken.values()
        if file.sha256 in fresh
        for words in file.told
    )
    return AttachReport(attached=attached, unchanged=unchanged, told=told, problems=tuple(problems))


def _name_them(
    casebook: Casebook,
    code: str,
    visited_on: date,
    session: int,
    taken: Sequence[tuple[AttachedFile, str]],
    *,
    by: str,
) -> tuple[tuple[Attachment, ...], tuple[str, ...]]:
    """Give each file its row and its entry in the history; those there already are left."""
    if not taken:
        return (), ()
    at = clock.now()
    with writing(casebook.engine) as unit:
        runner_id, visit_id = _visit(unit, casebook, code, visited_on, session, to_add=True)
        there = {
            kept.sha256 for kept in attachments.attachments_of_runner(unit, runner_id, visit_id)
        }
        fresh = [(file, caption) for file, caption in taken if file.sha256 not in there]
        ids = {
            attachments.add_attachment(
                unit,
                visit_id,
                attachments.NewAttachment(
                    sha256=file.sha256,
                    kind=file.kind,
                    name=file.name,
                    n_bytes=len(file.content),
                    caption=caption,
                ),
                by=by,
                at=at,
            )
            for file, caption in fresh
        }
        added = [
            kept
            for kept in attachments.attachments_of_runner(unit, runner_id, visit_id)
            if kept.attachment_id in ids
        ]
        if added:
            history.append(unit, [attachments.addition(kept) for kept in added], by=by, at=at)
            unit.commit()
    return (
        tuple(_as_attachment(kept) for kept in added),
        tuple(file.name for file, _ in taken if file.sha256 in there),
    )


def list_attachments(
    casebook: Casebook, code: str, visited_on: date | None = None, *, session: int = 1
) -> tuple[Attachment, ...]:
    """What is attached to a runner's visits, or to the one of a day, oldest visit first.

    Raises
    ------
    NotFound
        For a runner, or a visit of that day, that is not stored.
    """
    with reading(casebook.engine) as unit:
        if visited_on is None:
            runner_id, _ = get_runner_row(unit, casebook, code)
            visit_id = None
        else:
            runner_id, visit_id = _visit(unit, casebook, code, visited_on, session)
        found = attachments.attachments_of_runner(unit, runner_id, visit_id)
    return tuple(_as_attachment(kept) for kept in found)


def read_attachment(casebook: Casebook, attachment_id: int) -> tuple[Attachment, bytes]:
    """An attachment with its content, seen to be what was attached.

    Raises
    ------
    NotFound
        When it was struck out or never was.
    StoreUnavailable
        When its file is missing or was altered.
    """
    with reading(casebook.engine) as unit:
        kept = attachments.find_attachment(unit, casebook.clinic_id, attachment_id)
    if kept is None:
        raise _gone()
    return _as_attachment(kept), files.read(folder_of(casebook), kept.sha256)


def thumbnail(casebook: Casebook, attachment: Attachment) -> bytes | None:
    """A small PNG of a picture, upright; None for a document.

    Raises
    ------
    StoreUnavailable
        When its file is missing or was altered.
    """
    if not attachment.is_picture:
        return None
    return thumbnail_of(files.read(folder_of(casebook), attachment.sha256))


def amend_caption(
    casebook: Casebook, attachment: Attachment, caption: str, *, reason: str, by: str
) -> None:
    """Say otherwise what an attachment shows; the history keeps what was said.

    Parameters
    ----------
    attachment : Attachment
        As the writer had it before them.

    Raises
    ------
    InputRefused
        Without a reason.
    NotFound
        When it was struck out meanwhile.
    Conflict
        When somebody amended the caption meanwhile; says to what.
    """
    caption = _caption(caption)
    reason = _reason(reason)
    with writing(casebook.engine) as unit:
        kept = _to_change(unit, casebook, attachment)
        if kept.caption == caption:
            return
        if kept.caption != attachment.caption:
            raise Conflict(
                "Somebody amended the caption meanwhile; it is now "
                f"'{kept.caption}'. Nothing was stored. Look at it, then amend it again."
            )
        attachments.write_caption(unit, kept.attachment_id, caption)
        change = attachments.recaptioned(kept, caption, reason=reason)
        history.append(unit, [change], by=by.strip(), at=clock.now())
        unit.commit()


def strike_out_attachment(
    casebook: Casebook, attachment: Attachment, *, reason: str, by: str
) -> None:
    """Take an attachment off its visit; the history keeps it, and its file stays.

    Raises
    ------
    InputRefused
        Without a reason.
    NotFound
        When it was struck out meanwhile.
    """
    reason = _reason(reason)
    with writing(casebook.engine) as unit:
        kept = _to_change(unit, casebook, attachment)
        attachments.remove_attachment(unit, kept.attachment_id)
        change = attachments.removal(kept, reason=reason)
        history.append(unit, [change], by=by.strip(), at=clock.now())
        unit.commit()


def _to_change(
    unit: Session, casebook: Casebook, attachment: Attachment
) -> attachments.KeptAttachment:
    kept = attachments.find_attachment(
        unit, casebook.clinic_id, attachment.attachment_id, to_change=True
    )
    # An id may be given again after a row went; its content never is another's.
    if kept is None or kept.sha256 != attachment.sha256:
        raise _gone()
    return kept


def _visit(
    unit: Session,
    casebook: Casebook,
    code: str,
    visited_on: date,
    session: int,
    *,
    to_add: bool = False,
) -> tuple[int, int]:
    """Id of the runner and of the visit."""
    found: tuple[int, Runner] = get_runner_row(unit, casebook, code)
    runner_id, runner = found
    visit_id = attachments.find_visit_id(unit, runner_id, visited_on, session, to_add=to_add)
    if visit_id is None:
        raise NotFound(
            f"No visit of '{runner.code}' on {visited_on} (session {session}) is stored. Save "
            "the visit first, or check the date."
        )
    return runner_id, visit_id


def _gone() -> NotFound:
    return NotFound(
        "This attachment is not there any more; it was struck out. Load the page again."
    )


def _caption(text: str, *, name: str = "") -> str:
    caption = " ".join(text.split())
    if len(caption) > LONGEST_CAPTION or not caption.isprintable():
        raise InputRefused(
            (
                Problem(
                    code="caption",
                    file=name,
                    column="caption",
                    value=caption[:40],
                    message=f"the caption has {len(caption)} characters; at most "
                    f"{LONGEST_CAPTION}, all of them printable.",
                ),
            )
        )
    return caption


def _reason(text: str) -> str:
    reason = text.strip()
    if not reason or len(reason) > LONGEST_REASON or "\x00" in reason:
        raise refuse(
            "reason",
            f"reason must be given, in at most {LONGEST_REASON} characters: what is stored is "
            "changed only with one, and the history keeps it.",
            column="reason",
            value=reason[:40],
        )
    return reason


def _as_attachment(kept: attachments.KeptAttachment) -> Attachment:
    return Attachment(
        attachment_id=kept.attachment_id,
        visited_on=kept.visited_on,
        session=kept.session,
        sha256=kept.sha256,
        kind=kept.kind,
        name=kept.name,
        n_bytes=kept.n_bytes,
        caption=kept.caption,
        added_at=kept.added_at,
        added_by=kept.added_by,
    )
