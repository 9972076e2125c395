"""PDF documents: written anew without properties, refused when they hold more than pages.

A document that runs scripts, starts programs, sends forms or carries other files is refused,
since what it does when it is opened again cannot be foretold. Of the others, the properties
(author, program, dates), XMP, editing traces and the names and times at comments are left out,
former states of the file fall away with the writing, and the JPEGs inside lose what a camera
wrote. What the pages show, and what stands within their drawing instructions, is not searched.

Keys and action types are those of ISO 32000-2.
"""

from __future__ import annotations

import logging
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from pypdf import PdfReader, PdfWriter
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, StreamObject

from casebook.intake.attached_file_jpeg import NotReadable, clean_jpeg

MOST_OBJECTS = 200_000
LARGEST_INNER_JPEG = 64 * 1024**2

ACTIONS = {
    "/JavaScript": "a script",
    "/Launch": "an instruction to start a program",
    "/SubmitForm": "an instruction to send a form",
    "/ImportData": "an instruction to read another file",
    "/Rendition": "sound or film",
    "/Movie": "sound or film",
    "/Sound": "sound or film",
    "/RichMediaExecute": "an embedded program",
    "/GoToE": "another file inside it",
}
KEYS = {
    "/JS": "a script",
    "/EF": "another file inside it",
    "/EmbeddedFiles": "another file inside it",
    "/XFA": "a form that is a program",
    "/RichMediaContent": "an embedded program",
}
KINDS = {
    "/EmbeddedFile": "another file inside it",
    "/FileAttachment": "another file inside it",
    "/RichMedia": "an embedded program",
    "/Movie": "sound or film",
    "/Sound": "sound or film",
    "/Screen": "sound or film",
    "/3D": "an embedded program",
}
TRACES = ("/Metadata", "/PieceInfo", "/LastModified", "/Thumb")
# Who wrote a comment, and when; a form's fields (/Widget) need their name (/T).
COMMENT_TRACES = ("/T", "/M", "/CreationDate", "/NM")


class NotTaken(ValueError):
    """A document that can be read but is not taken; the text says what it holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CleanDocument:
    """A document without its properties.

    Parameters
    ----------
    content : bytes
    pages : int
    largest_picture : int
        Pixels of the largest picture inside, as declared; 0 without any.
    pictures_left : int
        Pictures inside from which a camera's data could not be removed.
    """

    content: bytes
    pages: int
    largest_picture: int
    pictures_left: int


def clean_pdf(content: bytes) -> CleanDocument:
    """A PDF without what says who made it, when and with what.

    Raises
    ------
    NotReadable
        When it is damaged.
    NotTaken
        When it is protected, or holds scripts, programs or other files.
    """
    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    try:
        return _clean(content)
    except (NotTaken, NotReadable):
        raise
    # The library meets whatever a damaged file holds, and stumbles in many ways.
    except Exception as error:
        raise NotReadable(f"it is damaged ({type(error).__name__})") from error


def _clean(content: bytes) -> CleanDocument:
    reader = PdfReader(BytesIO(content))
    if reader.is_encrypted:
        raise NotTaken("it is protected by a password or against changes")
    largest = left = 0
    for node in _nodes(reader.root_object):
        if isinstance(node, DictionaryObject):
            _refuse_more_than_pages(node)
            _drop_traces(node)
        if isinstance(node, StreamObject) and node.get("/Subtype") == "/Image":
            largest = max(largest, int(node.get("/Width", 0)) * int(node.get("/Height", 0)))
            left += not _clean_picture(node)
    # The properties, and the identifier that every copy of a document shares.
    for name in ("/Info", "/ID"):
        reader.trailer.pop(name, None)
    # Only what the root still refers to is copied.
    writer = PdfWriter(clone_from=reader)
    writer.metadata = None
    writer.pdf_header = "%PDF-1.7"
    pages = len(writer.pages)
    if not pages:
        raise NotReadable("it has no page")
    out = BytesIO()
    writer.write(out)
    clean = out.getvalue()
    if len(PdfReader(BytesIO(clean)).pages) != pages:
        raise NotReadable("its pages cannot be written anew")
    return CleanDocument(content=clean, pages=pages, largest_picture=largest, pictures_left=left)


def _nodes(root: DictionaryObject) -> Iterator[Any]:
    """Every object that can be reached from the document's root, each once."""
    waiting: list[Any] = [root]
    seen: set[tuple[int, int]] = set()
    number = 0
    while waiting:
        node = waiting.pop()
        if isinstance(node, IndirectObject):
            key = (node.idnum, node.generation)
            if key in seen:
                continue
            seen.add(key)
            node = node.get_object()
        number += 1
        if number > MOST_OBJECTS * 10 or len(seen) > MOST_OBJECTS:
            raise NotTaken(f"it holds more than {MOST_OBJECTS} parts")
        yield node
        if isinstance(node, DictionaryObject):
            waiting.extend(node.raw_get(name) for name in node)
        elif isinstance(node, ArrayObject):
            waiting.extend(list.__iter__(node))


def _refuse_more_than_pages(node: DictionaryObject) -> None:
    found = [words for key, words in KEYS.items() if key in node]
    action, kind, subtype = (_name(node, key) for key in ("/S", "/Type", "/Subtype"))
    found += [words for name, words in ACTIONS.items() if name == action]
    found += [words for name, words in KINDS.items() if name in {kind, subtype}]
    if found:
        raise NotTaken(f"it holds {found[0]}")


def _name(node: DictionaryObject, key: str) -> str:
    entry = node.get(key)
    return entry if isinstance(entry, str) else ""


def _drop_traces(node: DictionaryObject) -> None:
    names = list(TRACES)
    comment = "/Rect" in node and "/Subtype" in node and _name(node, "/Subtype") != "/Widget"
    if comment:
        names += COMMENT_TRACES
    for name in names:
        if name in node:
            del node[name]


def _clean_picture(picture: StreamObject) -> bool:
    """Take a camera's data out of a picture; False when it may still be in there."""
    filters = picture.get("/Filter")
    names = [str(name) for name in filters] if isinstance(filters, list) else [str(filters)]
    if "/JPXDecode" in names:
        return False
    if "/DCTDecode" not in names:
        return True  # plain pixels: there is no place for it
    try:
        if names == ["/DCTDecode"]:
            data = clean_jpeg(picture._data, keep_orientation=False).content
        elif names == ["/FlateDecode", "/DCTDecode"]:
            data = clean_jpeg(_inflated(picture._data), keep_orientation=False).content
            data = zlib.compress(data)
        else:
            return False
    except (NotReadable, zlib.error):
        return False
    StreamObject.set_data(picture, data)
    return True


def _inflated(data: bytes) -> bytes:
    engine = zlib.decompressobj()
    found = engine.decompress(data, LARGEST_INNER_JPEG)
    if engine.unconsumed_tail:
        raise NotReadable("a picture inside it is too large")
    return found
