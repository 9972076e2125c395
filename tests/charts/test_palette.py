"""The colours can be told apart and read, for eyes that see few colours too."""

from __future__ import annotations

import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from casebook.charts.palette import DAY, NIGHT, Palette, palette_for

BOTH = [pytest.param(DAY, id="day"), pytest.param(NIGHT, id="night")]
CONFIG = Path(__file__).parents[2] / "app" / ".streamlit" / "config.toml"

# Simulation of full colour-vision deficiency in linear RGB: Machado, Oliveira & Fernandes 2009
# (IEEE Trans Vis Comput Graph 15:1291-1298), severity 1.0; matrices from memory.
VISION = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def linear(colour: str) -> np.ndarray:
    encoded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """WCAG 2.1 contrast ratio (W3C Recommendation, definitions of contrast and luminance)."""
    light = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (light[1] + 0.05) / (light[0] + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB under D65 (IEC 61966-2-1, CIE 15)."""
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    ratio = np.clip(to_xyz @ rgb, 0, None) / np.array([0.95047, 1.0, 1.08883])
    root = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


@pytest.mark.parametrize("palette", BOTH)
def test_words_and_lines_stand_out_from_the_background(palette: Palette) -> None:
    # WCAG 2.1, success criterion 1.4.3: 4.5 for text. Lines would need 3 (1.4.11).
    for ground in (palette.background, palette.surface):
        for ink in (palette.text, palette.muted, palette.left, palette.right, palette.neutral):
            assert contrast(ink, ground) >= 4.5, (ink, ground)
        assert contrast(palette.attention, ground) >= 4.5
    assert contrast(palette.programme_text, palette.programme) >= 4.5
    # A button's words are white; the button itself is a part of the page (1.4.11: 3).
    assert contrast("#ffffff", palette.accent) >= 4.5
    assert contrast(palette.accent, palette.background) >= 3


@pytest.mark.parametrize("palette", BOTH)
@pytest.mark.parametrize("vision", VISION)
def test_left_and_right_differ_for_colour_blind_eyes(palette: Palette, vision: str) -> None:
    # A CIE76 distance of 2.3 is just noticeable; 20 is seen at a glance (common practice).
    seen = {
        name: lab(np.array(VISION[vision]) @ linear(getattr(palette, name)))
        for name in ("left", "right")
    }
    for one, other in combinations(seen, 2):
        assert np.linalg.norm(seen[one] - seen[other]) > 20


def test_the_app_wears_the_colours_of_the_charts() -> None:
    theme = tomllib.loads(CONFIG.read_text(encoding="utf-8"))["theme"]
    for name, palette in (("light", DAY), ("dark", NIGHT)):
        worn = theme[name]
        assert worn["backgroundColor"] == palette.background
        assert worn["secondaryBackgroundColor"] == palette.surface
        assert worn["textColor"] == palette.text
        assert worn["primaryColor"] == palette.accent
        assert worn["blueColor"] == palette.left
        assert worn["orangeColor"] == palette.right
        assert worn["redColor"] == palette.attention
        assert worn["grayColor"] == palette.muted


def test_an_unknown_appearance_is_day() -> None:
    assert palette_for(None) is DAY
    assert palette_for("light") is DAY
    assert palette_for("dark") is NIGHT
