"""The page's colours: read by everyone, and told apart by colour-blind eyes.

Contrast is WCAG 2's relative luminance and contrast ratio (success criteria 1.4.3 and 1.4.11). What
colour-blind eyes see is simulated with the matrices of Machado, Oliveira and Fernandes, "A
Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009, at
severity 1.0, applied to linear light. Differences are CIE 1976 L*a*b* (delta E*ab), white D65.
All of these numbers are from memory.
"""

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

import rig.page

CSS = Path(rig.page.__file__).with_name("static").joinpath("page.css").read_text("utf-8")
KINDS = ("pitch", "loop", "drone", "timbre", "level", "cut", "stop")
TEXTS = ("ink", "quiet", "land", "stop")
TEXT_RATIO, SHAPE_RATIO = 4.5, 3.0
APART = 20.0
"""About ten times what is just noticed."""

SIGHT = {
    "usual": np.eye(3),
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                            [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip
XYZ_OF_RGB = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""sRGB's primaries, IEC 61966-2-1."""


def palette(scheme):
    """Give the page's colours by their names, as linear light."""
    light, dark = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
    told = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", light))
    if scheme == "dark":
        told |= dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", dark))
    return {name: linear(text) for name, text in told.items()}


def linear(text):
    value = np.array([int(text[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def ratio(one, other):
    low, high = sorted(float(colour @ XYZ_OF_RGB[1]) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(colour):
    white = XYZ_OF_RGB.sum(axis=1)
    share = XYZ_OF_RGB @ np.clip(colour, 0, 1) / white
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_formulas_give_what_is_known():
    white, black = linear("#ffffff"), linear("#000000")
    assert ratio(white, black) == pytest.approx(21.0)  # WCAG's highest contrast
    assert lab(white) == pytest.approx([100, 0, 0], abs=1e-6)
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)  # from memory
    for matrix in SIGHT.values():  # grey stays grey
        assert matrix.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
    red, green = linear("#b03030"), linear("#3a7a30")
    seen = [lab(SIGHT["deuteranopia"] @ one) for one in (red, green)]
    assert np.linalg.norm(seen[0] - seen[1]) < 0.5 * np.linalg.norm(lab(red) - lab(green))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_texts_and_shapes_have_contrast(scheme):
    colours = palette(scheme)
    for ground in ("ground", "panel"):
        for name in TEXTS:
            assert ratio(colours[name], colours[ground]) >= TEXT_RATIO, (name, ground)
        for name in (*KINDS, "focus", "strong"):
            assert ratio(colours[name], colours[ground]) >= SHAPE_RATIO, (name, ground)
    assert ratio(colours["on-strong"], colours["strong"]) >= TEXT_RATIO


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("sight", SIGHT)
def test_kinds_of_change_are_told_apart(scheme, sight):
    colours = palette(scheme)
    seen = {name: lab(SIGHT[sight] @ colours[name]) for name in KINDS}
    for one, other in itertools.combinations(KINDS, 2):
        assert np.linalg.norm(seen[one] - seen[other]) >= APART, (one, other)


def test_no_kind_is_told_by_its_colour_alone():
    shapes = Path(rig.page.__file__).with_name("static").joinpath("dom.js").read_text("utf-8")
    drawn = dict(re.findall(r'^  (\w+): "(M[^"]+)",$', shapes, re.MULTILINE))
    assert set(drawn) == set(KINDS)
    assert len(set(drawn.values())) == len(KINDS)
