"""Colours that stand side by side with different meanings, as people see them who lack one kind of cone.

Seen so: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, "A Physiologically-based Model for Simulation of Color
Vision Deficiency", IEEE TVCG 15 (2009), the matrices for severity 1.0, which apply to linear RGB; read here from public
implementations that agree on every digit. Differences are CIEDE2000's, by scikit-image. Contrast is WCAG 2.1's formula
(success criterion 1.4.3).
"""

from itertools import combinations
from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, rgb2lab

from monitor.dashboard.palette import BLACK, INK, OUTCOME_STYLE, PAGE, QUIET, ROLE_COLOUR, SEVERITY_STYLE, SKY_BLUE
from monitor.dashboard.palette import YELLOW as LOOK_AT
from monitor.dashboard.verdict import STYLE

SEEN_WITH: Final = {
    "all cones": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
APART = 10.0
"""CIEDE2000 from which two colours are taken for different ones at a glance; one is about the least that is noticed."""
READABLE = 4.5

STYLES = [*OUTCOME_STYLE.values(), *SEVERITY_STYLE.values(), *STYLE.values(), *ROLE_COLOUR.values(), INK, QUIET]
MEANINGS = {
    "outcomes of turns": OUTCOME_STYLE.values(),
    "severities of flags": SEVERITY_STYLE.values(),
    "tones of the verdict": STYLE.values(),
    "roles of wires": ROLE_COLOUR.values(),
    "engine line": (INK, SKY_BLUE, QUIET),
    "findings": (LOOK_AT, INK, QUIET),
}


def colours(style: str) -> tuple[str, str]:
    """Text and ground of a style."""
    text, _, ground = style.removeprefix("bold ").partition(" on ")
    return text, ground or BLACK


def telling(style: str) -> str:
    """The colour by which a style is known: the ground where it has one of its own."""
    text, ground = colours(style)
    return text if ground == BLACK else ground


def linear(colour: str) -> NDArray[np.float64]:
    srgb = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def contrast(text: str, ground: str) -> float:
    light, dark = sorted((float(linear(one) @ (0.2126, 0.7152, 0.0722)) for one in (text, ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def difference(one: str, other: str, vision: str) -> float:
    def lab(colour: str) -> NDArray[np.float64]:
        seen = np.clip(SEEN_WITH[vision] @ linear(colour), 0, 1)
        srgb = np.where(seen <= 0.0031308, seen * 12.92, 1.055 * seen ** (1 / 2.4) - 0.055)
        return np.asarray(rgb2lab(srgb))

    return float(deltaE_ciede2000(lab(one), lab(other)))


@pytest.mark.parametrize("vision", SEEN_WITH)
@pytest.mark.parametrize("meaning", MEANINGS)
def test_what_stands_side_by_side_is_told_apart_with_any_kind_of_colour_vision(meaning: str, vision: str) -> None:
    known_by = {telling(style) for style in MEANINGS[meaning]}
    near = [pair for pair in combinations(sorted(known_by), 2) if difference(*pair, vision) < APART]
    assert len(known_by) >= 3
    assert near == []


@pytest.mark.parametrize("style", STYLES)
def test_text_is_readable_on_its_ground(style: str) -> None:
    assert contrast(*colours(style)) >= READABLE


def test_text_is_readable_on_a_page() -> None:
    assert contrast(INK, PAGE) >= READABLE


def test_the_check_finds_what_is_known_to_be_confused() -> None:
    """A red and a green of equal weight, which people with deuteranopia do not tell apart, and greys that are alike."""
    assert difference("#C46A00", "#8A8A00", "deuteranopia") < APART < difference("#C46A00", "#8A8A00", "all cones")
    assert contrast("#0072B2", BLACK) < READABLE


def test_contrast_is_the_published_one() -> None:
    """Black on white is 21:1, and #767676 the darkest grey that is readable on white: 4.54:1."""
    assert contrast("#FFFFFF", "#000000") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)
