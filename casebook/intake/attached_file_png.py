"""PNG pictures, chunk by chunk: what draws the picture stays, all else is left out.

Kept are the critical chunks of the PNG specification (W3C, third edition) and the few
ancillary ones that change how the picture looks; texts, times, Exif, profiles, animation and
whatever is unknown are left out. Of Exif only the orientation is written back.
"""

from __future__ import annotations

import struct
import zlib

from casebook.intake.attached_file_jpeg import (
    CleanPicture,
    NotReadable,
    exif_orientation,
    orientation_block,
)

SIGNATURE = b"\x89PNG\r\n\x1a\n"
CRITICAL = frozenset({b"IHDR", b"PLTE", b"IDAT", b"IEND"})
# Transparency, brightness, colours, significant bits and the shape of a pixel.
HARMLESS = frozenset({b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"pHYs"})
LARGEST_CHUNK = 2**31 - 1


def clean_png(content: bytes) -> CleanPicture:
    """A PNG with only what draws it, and what says how it is to be turned.

    Raises
    ------
    NotReadable
        When it breaks off, a chunk's sum does not fit, or it is no PNG.
    """
    if not content.startswith(SIGNATURE):
        raise NotReadable("it does not begin as a PNG does")
    kept: list[bytes] = []
    orientation, size, at, name = 1, None, len(SIGNATURE), b""
    while name != b"IEND":
        name, body, after = _chunk(content, at)
        if size is None:
            if name != b"IHDR" or len(body) != 13:
                raise NotReadable("its first part is not a PNG's head")
            size = struct.unpack(">II", body[:8])
        elif name == b"IHDR":
            raise NotReadable("it has two heads")
        if name in CRITICAL or name in HARMLESS:
            kept.append(content[at:after])
        elif name[:1].isupper():
            raise NotReadable(f"it needs a part that no common PNG has ({_shown(name)})")
        elif name == b"eXIf":
            orientation = exif_orientation(body)
        at = after
    if orientation != 1:
        kept.insert(1, _written(b"eXIf", orientation_block(orientation)))
    clean = SIGNATURE + b"".join(kept)
    width, height = size or (0, 0)
    return CleanPicture(
        content=clean, width=width, height=height, removed=len(clean) != len(content)
    )


def _chunk(content: bytes, at: int) -> tuple[bytes, bytes, int]:
    length = int.from_bytes(content[at : at + 4], "big")
    after = at + 12 + length
    if length > LARGEST_CHUNK or len(content) < after:
        raise NotReadable(f"it breaks off at byte {at}")
    name, body = content[at + 4 : at + 8], content[at + 8 : at + 8 + length]
    if not (name.isascii() and name.isalpha()):
        raise NotReadable(f"it is damaged at byte {at}")
    if zlib.crc32(content[at + 4 : after - 4]) != int.from_bytes(content[after - 4 : after], "big"):
        raise NotReadable(f"the sum of its part {_shown(name)} at byte {at} does not fit")
    return name, body, after


def _written(name: bytes, body: bytes) -> bytes:
    return len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")


def _shown(name: bytes) -> str:
    return name.decode("ascii", "replace")
