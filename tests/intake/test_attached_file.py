"""Files to be attached: kind by content, nothing kept that tells place, time or device."""

from __future__ import annotations

import random
import struct
import zlib
from collections.abc import Callable
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageOps
from pypdf import PdfReader, PdfWriter
from pypdf.generic import ArrayObject, DictionaryObject, NameObject, NumberObject, TextStringObject

from casebook.domain.errors import InputRefused
from casebook.intake.attached_file import (
    LARGEST_FILE,
    kind_of,
    read_attached_file,
    thumbnail_of,
)
from tests.pictures import DEVICE, SECRET, TRAILER, a_jpeg, a_pdf, a_png

Make = Callable[..., bytes]
PICTURES = [pytest.param(a_jpeg, id="jpeg"), pytest.param(a_png, id="png")]
FILES = [*PICTURES, pytest.param(a_pdf, id="pdf")]


def shown(content: bytes) -> np.ndarray:
    """The picture as a viewer shows it: decoded and turned upright."""
    with Image.open(BytesIO(content)) as picture:
        return np.asarray(ImageOps.exif_transpose(picture).convert("RGB"))


@pytest.mark.parametrize("make", FILES)
def test_nothing_that_tells_who_where_when_or_with_what_is_kept(make: Make):
    given = make()
    assert SECRET.encode() in given
    kept = read_attached_file("x", given).content
    for told in (SECRET, DEVICE, SECRET.split()[-1], "adobe:ns", "GPS"):
        assert told.encode() not in kept
    assert TRAILER not in kept
    assert b"pypdf" not in kept


@pytest.mark.parametrize("make", PICTURES)
@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_picture_stands_upright_as_before_and_not_a_pixel_changed(make: Make, orientation: int):
    given = make(orientation=orientation)
    kept = read_attached_file("x", given)
    assert (shown(kept.content) == shown(given)).all()
    with Image.open(BytesIO(kept.content)) as picture:
        said = dict(picture.getexif())
    assert said == ({} if orientation == 1 else {0x0112: orientation})
    small = Image.open(BytesIO(thumbnail_of(kept.content, longest=24)))
    assert small.size == ((16, 24) if orientation in {6, 8} else (24, 16))


def test_a_progressive_jpeg_with_many_scans_keeps_its_pixels():
    given = a_jpeg(progressive=True)
    assert (shown(read_attached_file("x", given).content) == shown(given)).all()


@pytest.mark.parametrize("make", FILES)
def test_a_clean_file_is_cleaned_no_further_so_that_it_is_known_again(make: Make):
    once = read_attached_file("first", make())
    again = read_attached_file("second", once.content)
    assert (again.content, again.sha256) == (once.content, once.sha256)


@pytest.mark.parametrize(("make", "kind"), [(a_jpeg, "jpeg"), (a_png, "png"), (a_pdf, "pdf")])
def test_the_kind_is_told_by_the_content_whatever_the_name_says(make: Make, kind: str):
    kept = read_attached_file(r"..\up/../C:\films\still.exe", make())
    assert (kept.kind, kept.name) == (kind, "still.exe")


@pytest.mark.parametrize(
    "content",
    [b"", b"GIF89a" + bytes(40), b"<svg onload='x'/>", b"MZ" + bytes(99), b"RIFF\0\0\0\0WEBP"],
)
def test_any_other_kind_is_refused_by_name_with_what_is_taken(content: bytes):
    assert kind_of(content) is None
    with pytest.raises(InputRefused, match=r"knee\.png: .*Attach a PNG or JPEG picture or a PDF"):
        read_attached_file("knee.png", content)


def test_a_file_that_is_too_large_is_refused_with_both_sizes():
    with pytest.raises(InputRefused, match=r"20\.0 MB; at most 20 MB"):
        read_attached_file("x", a_png() + bytes(LARGEST_FILE))


def png_that_claims(width: int, height: int) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = [(b"IHDR", head), (b"IDAT", zlib.compress(bytes(10))), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in parts
    )


def test_a_picture_that_would_fill_the_memory_is_refused_by_what_it_declares():
    with pytest.raises(InputRefused, match="60000 x 60000 pixels; at most 40 million"):
        read_attached_file("x", png_that_claims(60_000, 60_000))

    def huge(writer: PdfWriter) -> None:
        (picture,) = writer.pages[0]["/Resources"]["/XObject"].values()
        picture.get_object()[NameObject("/Width")] = NumberObject(10**7)

    with pytest.raises(InputRefused, match="at most 40 million"):
        read_attached_file("x", a_pdf(change=huge))


@pytest.mark.parametrize("make", FILES)
@pytest.mark.parametrize("part", [0.02, 0.5, 0.9])
def test_a_file_that_breaks_off_is_refused(make: Make, part: float):
    whole = read_attached_file("x", make()).content
    with pytest.raises(InputRefused, match=r"x: .*(cannot be read|of no kind)"):
        read_attached_file("x", whole[: int(len(whole) * part)])


def _action(kind: str, **entries: Any) -> Callable[[PdfWriter], None]:
    def change(writer: PdfWriter) -> None:
        action = DictionaryObject({NameObject("/S"): NameObject(kind)})
        for name, entry in entries.items():
            action[NameObject(f"/{name}")] = TextStringObject(entry)
        note = DictionaryObject(
            {
                NameObject("/Subtype"): NameObject("/Link"),
                NameObject("/Rect"): ArrayObject(NumberObject(n) for n in (0, 0, 9, 9)),
                NameObject("/A"): writer._add_object(action),
            }
        )
        writer.pages[1][NameObject("/Annots")] = ArrayObject([note])

    return change


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_action("/JavaScript", JS="app.alert(1)"), "a script"),
        (_action("/Launch", F="calc.exe"), "an instruction to start a program"),
        (_action("/SubmitForm", F="http://127.0.0.1/"), "an instruction to send a form"),
        (lambda writer: writer.add_attachment("list.csv", b"a,b"), "another file inside it"),
    ],
)
def test_a_document_that_holds_more_than_pages_is_refused_with_what_it_holds(
    change: Callable[[PdfWriter], Any], told: str
):
    with pytest.raises(InputRefused, match=f"because it holds {told}"):
        read_attached_file("x", a_pdf(change=change))


def test_a_protected_document_is_refused():
    with pytest.raises(InputRefused, match="protected by a password"):
        read_attached_file("x", a_pdf(change=lambda writer: writer.encrypt("", "owner")))


def test_a_comment_in_a_document_stays_without_its_author_and_date():
    def comment(writer: PdfWriter) -> None:
        note = DictionaryObject({NameObject("/Subtype"): NameObject("/Text")})
        note[NameObject("/Rect")] = ArrayObject(NumberObject(n) for n in (0, 0, 9, 9))
        for name, text in (("T", "Invented Author"), ("M", "D:20260302"), ("Contents", "drop")):
            note[NameObject(f"/{name}")] = TextStringObject(text)
        writer.pages[0][NameObject("/Annots")] = ArrayObject([note])

    kept = PdfReader(BytesIO(read_attached_file("x", a_pdf(change=comment)).content))
    (note,) = kept.pages[0]["/Annots"]
    assert {name: note.get_object().get(name) for name in ("/T", "/M", "/Contents")} == {
        "/T": None,
        "/M": None,
        "/Contents": "drop",
    }
    assert len(kept.pages) == 2


def test_pictures_inside_a_document_that_could_not_be_cleaned_are_told():
    def other_kind(writer: PdfWriter) -> None:
        (picture,) = writer.pages[0]["/Resources"]["/XObject"].values()
        picture.get_object()[NameObject("/Filter")] = NameObject("/JPXDecode")

    assert len(read_attached_file("x", a_pdf()).told) == 1
    assert "1 of the pictures inside" in read_attached_file("x", a_pdf(change=other_kind)).told[1]


@pytest.mark.parametrize("make", FILES)
def test_damaged_bytes_are_refused_in_words_or_kept_as_a_file_that_can_be_drawn(make: Make):
    sound, dice = make(), random.Random(20261127)
    kept, refusals = 0, []
    for _ in range(120):
        wrong = bytearray(sound)
        for _ in range(dice.choice([1, 1, 4, 30])):
            wrong[dice.randrange(len(wrong))] = dice.randrange(256)
        try:
            found = read_attached_file("x", bytes(wrong))
        except InputRefused as refused:
            refusals.append(str(refused))
            continue
        kept += 1
        if found.kind != "pdf":
            assert thumbnail_of(found.content).startswith(b"\x89PNG")
    assert kept + len(refusals) == 120
    assert kept
    assert refusals
    assert all(told.startswith("x: ") for told in refusals)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "I;16", "CMYK"])
def test_a_picture_of_any_common_depth_is_shown_small_as_bright_as_it_is(mode: str):
    grey = Image.new("L", (90, 60), 0)
    grey.paste(200, (45, 0, 90, 60))
    deep = Image.fromarray(np.asarray(grey).astype("uint16") * 256)
    out = BytesIO()
    (deep if mode == "I;16" else grey.convert("RGB").convert(mode)).save(
        out, "JPEG" if mode == "CMYK" else "PNG"
    )
    kept = read_attached_file("x", out.getvalue())
    small = np.asarray(Image.open(BytesIO(thumbnail_of(kept.content, longest=30))).convert("L"))
    assert small.shape == (20, 30)
    assert small[10, 4] < 8
    assert 190 <= small[10, 25] <= 255
