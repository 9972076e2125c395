"""The small readable file in which the questions of an import are answered."""

from __future__ import annotations

import json
import os
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from casebook.domain.decisions import (
    ASKS_WORDS,
    FOR_ALL,
    Asks,
    Choice,
    Decision,
    Decisions,
    Question,
    choice_words,
)
from casebook.domain.errors import InputRefused, Problem, StoreUnavailable

LARGEST_BYTES = 20_000_000
HEAD = """\
# What this import asks of you. Write one of the choices behind each `choice =`, for example
# choice = "keep", then import again with --decide and this file. A question left blank is asked
# again. It may hold names and birth dates of runners: delete it when you are done.

# Why the file's numbers take the place of stored ones; or come back
# after they were struck out; asked for wherever you choose "take".
reason = ""
"""


def write_decisions(path: Path, questions: Sequence[Question], *, more: int = 0) -> None:
    """Write questions to be filled in; only their owner may read the file.

    Parameters
    ----------
    more : int
        How many further questions there are, for which there is no room.

    Raises
    ------
    StoreUnavailable
        When the file cannot be written.
    """
    parts = [HEAD, _for_all(questions, more), *(_question(one) for one in questions)]
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write("\n".join(parts))
    except OSError as error:
        raise StoreUnavailable(f"'{path}' cannot be written: {error.strerror}.") from error


def _for_all(questions: Sequence[Question], more: int) -> str:
    kinds = dict.fromkeys(one.kind for one in questions)
    lines = ["# One choice for all questions of a kind that have none of their own:", "[all]"]
    if more:
        lines[0] = f"# {more} further questions have no room here. {lines[0][2:]}"
    for kind in kinds:
        lines.append(f"# {ASKS_WORDS[kind]}: {', '.join(FOR_ALL[kind])}")
        lines.append(f'{kind.value} = ""')
    return "\n".join(lines) + "\n"


def _question(question: Question) -> str:
    lines = ["[[question]]", f"# {_line(question.title)}"]
    lines += [f"#   {_line(one.where)}: {_line(one.what)}" for one in question.shown]
    lines += [
        f'# "{choice.value}": {choice_words(question.kind, choice)}' for choice in question.choices
    ]
    lines += [f"key = {_text(question.key)}", 'choice = ""']
    return "\n".join(lines) + "\n"


def _line(text: str) -> str:
    """A text that stays within a comment."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_decisions(path: Path) -> Decisions:
    """The decisions of a file.

    Raises
    ------
    InputRefused
        When it cannot be read or holds something else, with the place.
    """
    content = _content(path)
    reason = _words(path, content, "reason")
    questions, for_all = content.get("question", []), content.get("all", {})
    if not isinstance(questions, list) or not isinstance(for_all, dict):
        raise _refused(path, "'question' or 'all' is not as it was written")
    by_key = {}
    for number, entry in enumerate(questions, start=1):
        if not isinstance(entry, dict) or not isinstance(entry.get("key"), str):
            raise _refused(path, f"question {number} has no key")
        choice = _choice(path, entry.get("choice", ""), f"question {number}")
        if choice is not None:
            own = _words(path, entry, "reason")
            by_key[entry["key"]] = Decision(choice=choice, reason=own or reason)
    kinds = {}
    for name, written in for_all.items():
        if name not in set(Asks):
            raise _refused(path, f"[all] has '{name}'; expected {', '.join(Asks)}")
        choice = _choice(path, written, f"[all] {name}")
        if choice is not None:
            kinds[Asks(name)] = Decision(choice=choice, reason=reason)
    return Decisions(by_key=by_key, for_all=kinds)


def _content(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise _refused(path, f"it is larger than {LARGEST_BYTES:,} bytes")
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise _refused(path, f"it cannot be read ({error.strerror})") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise _refused(
            path, f"it is not as it was written ({error}); write it anew with --write-decisions"
        ) from error


def _choice(path: Path, written: Any, place: str) -> Choice | None:
    if written == "":
        return None
    if written not in set(Choice):
        raise _refused(path, f"{place}: choice is '{written}'; expected {', '.join(Choice)}")
    return Choice(written)


def _words(path: Path, content: Mapping[str, Any], name: str) -> str:
    words = content.get(name, "")
    if not isinstance(words, str):
        raise _refused(path, f"{name} is no text")
    return words.strip()


def _refused(path: Path, what: str) -> InputRefused:
    problem = Problem(
        code="decisions_file",
        file=path.name,
        message=f"the decisions cannot be taken: {what}. Nothing was stored.",
    )
    return InputRefused((problem,))
