"""The colours of casebook, for the app and for its charts, by day and by night.

Left and right lie on the blue-orange axis, which the common forms of colour blindness keep
apart, and differ in lightness as well; charts tell them apart by shape and dash besides.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """Colours of one appearance, each as `#rrggbb`."""

    background: str
    surface: str
    text: str
    muted: str
    grid: str
    accent: str
    left: str
    right: str
    neutral: str
    attention: str
    programme: str
    programme_text: str


DAY = Palette(
    background="#faf8f4",
    surface="#f0ece4",
    text="#26323a",
    muted="#5b676c",
    grid="#e2ddd2",
    accent="#1f6f68",
    left="#34479b",
    right="#9c5205",
    neutral="#48555b",
    attention="#a1382b",
    programme="#cfe3dd",
    programme_text="#1d4b46",
)

NIGHT = Palette(
    background="#171d21",
    surface="#222b31",
    text="#e6e4de",
    muted="#a3adb0",
    grid="#333e44",
    accent="#2c8279",
    left="#9fb1ff",
    right="#f3ae62",
    neutral="#c6cfd2",
    attention="#ff9f8f",
    programme="#24504a",
    programme_text="#cdebe4",
)


def palette_for(appearance: str | None) -> Palette:
    """The palette of an appearance; day unless it is 'dark'."""
    return NIGHT if appearance == "dark" else DAY
