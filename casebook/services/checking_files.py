"""Is every attached file where its row says, with the content that it had?"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection
from sqlalchemy.exc import DatabaseError

from casebook.domain.errors import StoreUnavailable
from casebook.services.opened import files_folder
from casebook.storage import attachments, files
from casebook.storage.checks import Finding
from casebook.storage.refusals import refusal

MOST_NAMED = 5


def file_findings(url: str, connection: Connection) -> Iterator[Finding]:
    """Two questions: are the attached files whole, and which files does nothing name?

    Reads every file. A file that nothing names is told and is not wrong: it is left behind
    where attaching was cut short.

    Parameters
    ----------
    url : str
        Of the casebook that `connection` is open on.
    """
    try:
        with connection.begin_nested():
            yield from _answers(url, connection)
    except DatabaseError as error:
        yield Finding(name="attachments", ok=False, detail=f"cannot be read: {refusal(error)}")
    except ValueError as error:  # a hash that was altered names no file
        yield Finding(name="attachments", ok=False, detail=f"cannot be read: {error}")


def _answers(url: str, connection: Connection) -> Iterator[Finding]:
    try:
        folder = files_folder(url)
    except StoreUnavailable as why:
        some = sum(1 for _ in attachments.hashes_in_rows(connection)) > 0
        detail = str(why) if some else "no file is attached"
        yield Finding(name="attachments", ok=not some, detail=detail)
        return
    whole, wrong = 0, []
    for sha256, _ in attachments.hashes_in_rows(connection):
        found = files.wrong_with(folder, sha256)
        whole += found is None
        if found is not None:
            wrong.append(f"{sha256[:12]}… is {found}")
    more = f" and {len(wrong) - MOST_NAMED} more" if len(wrong) > MOST_NAMED else ""
    detail = f"{_counted(whole)} attached and whole"
    if wrong:
        detail += f", in {folder}: {', '.join(wrong[:MOST_NAMED])}{more}"
    yield Finding(name="attachments", ok=not wrong, detail=detail)
    named = {sha256 for sha256, _ in attachments.hashes_in_rows(connection)}
    named.update(attachments.hashes_in_history(connection))
    stray = sum(sha256 not in named for sha256 in files.hashes_in(folder))
    cut = files.unfinished_in(folder)
    yield Finding(
        name="other_files",
        ok=True,
        detail=f"{_counted(stray)} that no attachment and no history names"
        + (f"; {_counted(cut)} left half-written, in {folder}" if cut else ""),
    )


def _counted(n: int) -> str:
    return f"{n} file{'s' * (n != 1)}"
