"""Pictures and documents as cameras and programs write them, with all that they tell."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from PIL import Image, PngImagePlugin
from pypdf import PdfWriter
from pypdf.generic import DecodedStreamObject, NameObject, StreamObject

DEVICE = "Invented Camera 7"
SECRET = "written by Invented Author"
TRAILER = b"a small film behind the picture"


def pixels(width: int = 48, height: int = 32, shade: int = 90) -> Image.Image:
    """Wider than high, with a bright corner at the top left that shows how it is turned."""
    picture = Image.new("RGB", (width, height), (shade, shade, shade))
    picture.paste((250, 240, 10), (0, 0, width // 3, height // 3))
    return picture


def exif(orientation: int = 1) -> Image.Exif:
    """Place, device and orientation."""
    block = Image.Exif()
    block[0x0112] = orientation
    block[0x010F] = DEVICE
    block[0x8825] = {1: "N", 2: (53.0, 33.0, 12.0)}
    return block


def a_jpeg(*, orientation: int = 1, shade: int = 90, **options: Any) -> bytes:
    out = BytesIO()
    pixels(shade=shade).save(
        out, "JPEG", exif=exif(orientation), comment=SECRET.encode(), quality=95, **options
    )
    return out.getvalue() + TRAILER


def a_png(*, orientation: int = 1, shade: int = 90) -> bytes:
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Author", SECRET)
    texts.add_itxt("XML:com.adobe.xmp", f"<x>{SECRET}</x>")
    texts.add_text("Comment", SECRET, zip=True)
    texts.add(b"tIME", bytes(7))
    out = BytesIO()
    pixels(shade=shade).save(out, "PNG", pnginfo=texts, exif=exif(orientation))
    return out.getvalue() + TRAILER


def a_pdf(*, pages: int = 2, change: Any = None) -> bytes:
    """A document with properties, XMP and a camera's own JPEG on each page."""
    drawn = BytesIO()
    sheets = [pixels(shade=90 + number) for number in range(pages)]
    sheets[0].save(drawn, "PDF", save_all=True, append_images=sheets[1:], author=SECRET)
    writer = PdfWriter(clone_from=drawn)
    xmp = DecodedStreamObject()
    xmp.set_data(f"<x>{SECRET}</x>".encode())
    writer.root_object[NameObject("/Metadata")] = writer._add_object(xmp)
    for page in writer.pages:
        for picture in page["/Resources"]["/XObject"].values():
            StreamObject.set_data(picture.get_object(), a_jpeg())
    if change is not None:
        change(writer)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()
