"""Sides. Throughout, an asymmetry is signed right minus left."""

from __future__ import annotations

from enum import StrEnum


class Side(StrEnum):
    """Side of the runner's body that a value belongs to; NONE for whole-body metrics."""

    LEFT = "left"
    RIGHT = "right"
    NONE = "none"


class InjurySide(StrEnum):
    """Side of an injury, a block of a programme or a prescription."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"
    NONE = "none"
