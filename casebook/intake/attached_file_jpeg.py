"""JPEG pictures, segment by segment: what draws the picture stays, all else is left out.

A camera writes place, time and device into segments that no decoder needs (Exif, XMP, IPTC,
maker's notes, comments), into colour profiles, and behind the picture's end (a small film, a
second picture). Rather than look for what tells something, only what a decoder needs is kept:
tables, frame, scans, and the two markers that say how colours are stored. Nothing is encoded
anew, so that no detail of a still frame is lost.

The segments are those of ITU-T T.81 annex B; Exif's orientation is tag 0x0112 of CIPA DC-008.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

# Second bytes of markers, by T.81 table B.1.
START, END, SCAN = 0xD8, 0xD9, 0xDA
COMMENT = 0xFE
JFIF, EXIF, ADOBE = 0xE0, 0xE1, 0xEE
RESTARTS = range(0xD0, 0xD8)
# Every SOF but the three codes that are DHT (C4), JPG (C8) and DAC (CC).
FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
TABLES = frozenset({0xC4, 0xCC, 0xDB, 0xDD})
APPLICATION = range(0xE0, 0xF0)
LONE = frozenset({0x01, *RESTARTS})

ORIENTATION = 0x0112
EXIF_HEAD = b"Exif\x00\x00"
# A decoder goes over the whole picture for each scan; a progressive one has about ten.
MOST_SCANS = 64


class NotReadable(ValueError):
    """The bytes are no whole picture of their kind; the text says where it breaks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CleanPicture:
    """A picture without what says where, when and with what it was taken.

    Parameters
    ----------
    content : bytes
    width, height : int
        Pixels, as declared, before it is turned upright.
    removed : bool
        Whether anything was left out.
    """

    content: bytes
    width: int
    height: int
    removed: bool


def clean_jpeg(content: bytes, *, keep_orientation: bool = True) -> CleanPicture:
    """A JPEG with only what draws it.

    Parameters
    ----------
    content : bytes
    keep_orientation : bool
        Write an Exif segment that holds the orientation and nothing else, so that the picture
        stands upright as it did. (A PDF turns its pictures itself.)

    Raises
    ------
    NotReadable
        When it breaks off, or is no JPEG.
    """
    if content[:2] != b"\xff\xd8":
        raise NotReadable("it does not begin as a JPEG does")
    kept: list[bytes] = []
    orientation, size, scans = 1, None, 0
    for marker, body, scan in _segments(content):
        if marker == EXIF and body.startswith(EXIF_HEAD):
            orientation = exif_orientation(body[len(EXIF_HEAD) :])
        if marker in FRAMES:
            if size is not None or len(body) < 6:
                raise NotReadable("it holds more than one picture, or a broken one")
            size = struct.unpack(">HH", body[1:5])
        if (needed := _needed(marker, body)) is not None:
            kept += [_written(marker, needed), scan]
        scans += marker == SCAN
        if scans > MOST_SCANS:
            raise NotReadable(f"it is drawn in more than {MOST_SCANS} passes")
    if size is None or not scans:
        raise NotReadable("it holds no picture")
    turned = orientation_segment(orientation) if keep_orientation and orientation != 1 else b""
    clean = b"".join([b"\xff\xd8", turned, *kept, b"\xff\xd9"])
    height, width = size
    return CleanPicture(
        content=clean, width=width, height=height, removed=len(clean) != len(content)
    )


def _segments(content: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Marker, body and (of a scan) coded data of every segment up to the picture's end."""
    at = 2
    while True:
        marker, at = _marker(content, at)
        if marker == END:
            return
        if marker in LONE:
            continue
        body, after = _segment(content, at)
        at = _end_of_scan(content, after) if marker == SCAN else after
        yield marker, body, content[after:at]


def _needed(marker: int, body: bytes) -> bytes | None:
    """What of a segment a decoder needs; None where it needs nothing."""
    if marker in FRAMES or marker in TABLES or marker == SCAN:
        return body
    if marker == JFIF and body.startswith(b"JFIF\x00") and len(body) >= 14:
        # Version and density; the small picture that may follow is left out.
        return body[:12] + b"\x00\x00"
    if marker == ADOBE and body.startswith(b"Adobe") and len(body) >= 12:
        return body[:12]
    if marker in APPLICATION or marker == COMMENT:
        return None
    raise NotReadable(f"it holds a segment that no common JPEG has (0x{marker:02x})")


def _marker(content: bytes, at: int) -> tuple[int, int]:
    if content[at : at + 1] != b"\xff":
        raise NotReadable(f"it breaks off or is damaged at byte {at}")
    while content[at : at + 1] == b"\xff":  # fill bytes may stand before a marker
        at += 1
    if at >= len(content) or content[at] == 0:
        raise NotReadable(f"it breaks off or is damaged at byte {at}")
    return content[at], at + 1


def _segment(content: bytes, at: int) -> tuple[bytes, int]:
    length = int.from_bytes(content[at : at + 2], "big")
    if length < 2 or at + length > len(content):
        raise NotReadable(f"it breaks off or is damaged at byte {at}")
    return content[at + 2 : at + length], at + length


def _written(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + (len(body) + 2).to_bytes(2, "big") + body


def _end_of_scan(content: bytes, at: int) -> int:
    """Where the marker after a scan's coded data stands."""
    while True:
        at = content.find(b"\xff", at)
        if at < 0 or at + 1 >= len(content):
            raise NotReadable("it breaks off in the midst of the picture")
        follows = content[at + 1]
        if follows == 0xFF:
            at += 1
        elif follows == 0 or follows in RESTARTS:
            at += 2
        else:
            return at


def exif_orientation(block: bytes) -> int:
    """The orientation, 1 to 8, of an Exif block (without its head); 1 where it has none."""
    order = {b"II": "<", b"MM": ">"}.get(block[:2])
    try:
        if order is None or struct.unpack_from(order + "H", block, 2)[0] != 42:
            return 1
        (start,) = struct.unpack_from(order + "I", block, 4)
        (count,) = struct.unpack_from(order + "H", block, start)
        for number in range(count):
            tag, kind, _, value = struct.unpack_from(order + "HHIH", block, start + 2 + 12 * number)
            if (tag, kind) == (ORIENTATION, 3):
                return value if 1 <= value <= 8 else 1
    except struct.error:
        return 1
    return 1


def orientation_block(orientation: int) -> bytes:
    """An Exif block that holds the orientation and nothing else."""
    head = struct.pack(">2sHIH", b"MM", 42, 8, 1)
    return head + struct.pack(">HHIHHI", ORIENTATION, 3, 1, orientation, 0, 0)


def orientation_segment(orientation: int) -> bytes:
    """The segment with which a JPEG says how it is to be turned."""
    return _written(EXIF, EXIF_HEAD + orientation_block(orientation))
