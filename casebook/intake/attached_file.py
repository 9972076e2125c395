"""A file that is to be attached to a visit: its kind by content, and cleaned.

PNG, JPEG and PDF are taken. What a file's name says of its kind is not believed.
"""

from __future__ import annotations

import hashlib
import logging
from dataclasses import dataclass
from io import BytesIO
from pathlib import PurePosixPath, PureWindowsPath

from PIL import Image, ImageOps, UnidentifiedImageError

from casebook.domain.errors import InputRefused, Problem
from casebook.intake.attached_file_jpeg import CleanPicture, NotReadable, clean_jpeg
from casebook.intake.attached_file_pdf import NotTaken, clean_pdf
from casebook.intake.attached_file_png import SIGNATURE, clean_png

MEGABYTE = 1024**2
LARGEST_FILE = 20 * MEGABYTE
# A picture is unpacked in memory, at three to eight bytes a pixel. 40 million are a still
# frame of 8K film (7680 x 4320) and more.
MOST_PIXELS = 40_000_000
LONGEST_NAME = 200
NAMES = {"png": "PNG picture", "jpeg": "JPEG picture", "pdf": "PDF document"}
ALLOWED = "Attach a PNG or JPEG picture or a PDF document"
THUMBNAIL_PIXELS = 320


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachedFile:
    """A file as it will be kept.

    Parameters
    ----------
    kind : str
        'png', 'jpeg' or 'pdf', by content.
    name : str
        The given name without folders, for people only.
    content : bytes
        The cleaned file.
    sha256 : str
        Of `content`, in hexadecimal.
    told : tuple of str
        What whoever attaches it should know.
    """

    kind: str
    name: str
    content: bytes
    sha256: str
    told: tuple[str, ...] = ()


def read_attached_file(name: str, content: bytes) -> AttachedFile:
    """A file of a known kind, without what says where, when and with what it was made.

    Parameters
    ----------
    name : str
        As it was given; folders are left out of it.
    content : bytes
        At most 20 MB.

    Raises
    ------
    InputRefused
        For another kind, a damaged file, one too large, or a document that holds more than
        pages; says which file and how to mend it.
    """
    name = _plain_name(name)
    if len(content) > LARGEST_FILE:
        raise _refused(name, "attachment_too_large", too_large_words(len(content)))
    kind = kind_of(content)
    if kind is None:
        raise _refused(
            name,
            "attachment_kind",
            f"{'it is empty' if not content else 'its content is of no kind that is taken'}, "
            f"whatever its name says. {ALLOWED}.",
        )
    try:
        if kind == "pdf":
            cleaned, told = _document(name, content)
        else:
            cleaned, told = _picture(name, kind, content)
    except NotTaken as why:
        raise _refused(
            name,
            "attachment_not_taken",
            f"the {NAMES[kind]} is not taken because {why}. Print it to a new PDF, or attach a "
            "picture of the page.",
        ) from why
    except NotReadable as why:
        raise _refused(
            name,
            "attachment_damaged",
            f"the {NAMES[kind]} cannot be read: {why}. Export or save it again and attach that.",
        ) from why
    return AttachedFile(
        kind=kind,
        name=name,
        content=cleaned,
        sha256=hashlib.sha256(cleaned).hexdigest(),
        told=told,
    )


def too_large_words(n_bytes: int) -> str:
    """Why a file of a size is refused."""
    return (
        f"it has {n_bytes / MEGABYTE:.1f} MB; at most {LARGEST_FILE // MEGABYTE} MB. Save the "
        "picture smaller, or only the pages that matter."
    )


def kind_of(content: bytes) -> str | None:
    """'png', 'jpeg' or 'pdf' by the first bytes of a file, or None."""
    if content.startswith(SIGNATURE):
        return "png"
    if content.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if b"%PDF-" in content[:1024]:
        return "pdf"
    return None


def thumbnail_of(content: bytes, *, longest: int = THUMBNAIL_PIXELS) -> bytes:
    """A small PNG of a kept picture, upright; at most `longest` pixels wide and high.

    Raises
    ------
    InputRefused
        When the picture cannot be drawn.
    """
    try:
        with Image.open(BytesIO(content), formats=("PNG", "JPEG")) as picture:
            # A JPEG is read at a fraction of its size where that is enough.
            picture.draft(None, (2 * longest, 2 * longest))
            upright = ImageOps.exif_transpose(picture)
            if upright.mode.startswith("I"):
                # 16 bits of grey: the small picture shows the upper eight.
                upright = upright.convert("I").point(lambda grey: grey * (1 / 256)).convert("L")
            upright.thumbnail((longest, longest))
            out = BytesIO()
            plain = upright.convert("RGBA" if upright.has_transparency_data else "RGB")
            plain.save(out, format="PNG")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as why:
        raise _refused("", "attachment_damaged", "the picture cannot be drawn.") from why
    return out.getvalue()


def _picture(name: str, kind: str, content: bytes) -> tuple[bytes, tuple[str, ...]]:
    picture: CleanPicture = clean_png(content) if kind == "png" else clean_jpeg(content)
    pixels = picture.width * picture.height
    if not pixels:
        raise NotReadable("it says that it has no pixels")
    _refuse_bomb(name, pixels, f"{picture.width} x {picture.height} pixels")
    _draw(picture.content)
    if not picture.removed:
        return picture.content, ()
    return picture.content, (
        "What the camera or program wrote beside the picture (place, time, device) was removed.",
    )


def _document(name: str, content: bytes) -> tuple[bytes, tuple[str, ...]]:
    document = clean_pdf(content)
    _refuse_bomb(name, document.largest_picture, f"a picture of {document.largest_picture} pixels")
    if len(document.content) > LARGEST_FILE:
        raise _refused(name, "attachment_too_large", too_large_words(len(document.content)))
    told = [
        "The document's properties (author, program, dates) were removed. What stands on its "
        "pages was not changed: look through it for names."
    ]
    if document.pictures_left:
        told.append(
            f"{document.pictures_left} of the pictures inside are of a kind from which a camera's "
            "data (place, time, device) cannot be removed here; they may still hold it."
        )
    return document.content, tuple(told)


def _refuse_bomb(name: str, pixels: int, words: str) -> None:
    if pixels > MOST_PIXELS:
        raise _refused(
            name,
            "attachment_too_many_pixels",
            f"it has {words}; at most {MOST_PIXELS // 10**6} million. Save it smaller.",
        )


def _draw(content: bytes) -> None:
    """Unpack the whole picture once: what cannot be drawn is better told now than later."""
    logging.getLogger("PIL").setLevel(logging.WARNING)
    try:
        with Image.open(BytesIO(content), formats=("PNG", "JPEG")) as picture:
            picture.load()
    except UnidentifiedImageError as why:
        raise NotReadable("it cannot be drawn") from why
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as why:
        raise NotReadable(f"it cannot be drawn ({str(why)[:80]})") from why


def _plain_name(name: str) -> str:
    """The last part of a path of any system, without what cannot be printed."""
    last = PureWindowsPath(PurePosixPath(name).name).name
    shown = "".join(sign for sign in last if sign.isprintable()).strip()
    if len(shown) > LONGEST_NAME:
        shown = shown[: LONGEST_NAME - 1] + "…"
    return shown or "unnamed"


def _refused(name: str, code: str, message: str) -> InputRefused:
    return InputRefused((Problem(code=code, message=message, file=name),))
