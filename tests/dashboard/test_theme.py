"""Colours of the screens against published formulas: contrast, colour blindness, alarm colours."""

import colorsys
from itertools import combinations

import numpy as np
import pytest

from dashboard.theme import DATA_ROLES, PALETTE, PRIORITY_ROLES, SHARED_PANELS, TEXT_ROLES, THEMES, stylesheet

# Machado, Oliveira, Fernandes, IEEE TVCG 2009;15:1291: dichromacy (severity 1.0) on linear RGB. The numbers
# stand alike in three public sources of code (seen as quotations of the paper's table).
VISIONS = {
    "normal": np.eye(3),
    "protanopia": np.array([
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998],
    ]),
    "deuteranopia": np.array([
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881],
    ]),
    "tritanopia": np.array([
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900],
    ]),
}  # fmt: skip
# sRGB to CIE XYZ (IEC 61966-2-1) and the white of D65; from memory.
TO_XYZ = np.array([
    [0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041],
])  # fmt: skip
WHITE = np.array([0.95047, 1.0, 1.08883])


def linear(colour):
    """Undo the transfer curve of sRGB."""
    values = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it (W3C, published)."""
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    """Contrast ratio as WCAG 2.2 defines it (W3C, published)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def lab(rgb):
    """CIE 1976 L*a*b* of linear RGB (definition)."""
    ratio = TO_XYZ @ np.clip(rgb, 0, 1) / WHITE
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def distance(one, other, vision):
    """Colour difference (CIE76) as somebody with that vision sees it."""
    matrix = VISIONS[vision]
    return float(np.linalg.norm(lab(matrix @ linear(one)) - lab(matrix @ linear(other))))


def test_the_formulas_give_known_values():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)  # by definition
    # #767676 on white is the lightest grey that passes 4.5:1 (4.54, widely published).
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)
    assert lab(linear("#FFFFFF")) == pytest.approx([100, 0, 0], abs=0.02)
    # Red and green of equal strength are what a deuteranope confuses; blue is not.
    assert distance("#B05A00", "#6E7A00", "deuteranopia") < 0.5 * distance("#B05A00", "#6E7A00", "normal")


@pytest.mark.parametrize("theme", THEMES)
def test_text_has_the_contrast_of_wcag_aa(theme):
    colours = PALETTE[theme]
    for role in TEXT_ROLES:
        for ground in ("page", "panel"):
            assert contrast(colours[role], colours[ground]) >= 4.5, (role, ground)
    # Captions of curves are text in the curve's colour.
    for role in DATA_ROLES:
        assert contrast(colours[role], colours["page"]) >= 4.5, role
    # Words inside the state band, and the notice of a frozen page.
    for role in ("ink", "after"):
        assert contrast(colours[role], colours["page"]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_marks_and_edges_have_the_contrast_of_graphics(theme):
    """WCAG 2.2, 1.4.11: 3:1. Yellow and cyan on paper can't, so every mark has an edge of ink."""
    colours = PALETTE[theme]
    for role in ("edge", "focus", "ink"):
        assert contrast(colours[role], colours["page"]) >= 3, role
    for role in PRIORITY_ROLES[1:]:
        assert contrast(colours[role], colours["page"]) >= 3 or contrast(colours[role], colours["ink"]) >= 3


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("vision", VISIONS)
def test_curves_of_one_panel_are_told_apart(theme, vision):
    """A difference of 25 in CIE76 is our own limit; a just noticeable one is about 2.3 (from memory)."""
    for pair in SHARED_PANELS:
        for one, other in combinations(pair, 2):
            assert distance(PALETTE[theme][one], PALETTE[theme][other], vision) >= 25


@pytest.mark.parametrize("theme", THEMES)
def test_no_curve_looks_like_an_alarm(theme):
    colours = PALETTE[theme]
    for role in DATA_ROLES:
        for priority in PRIORITY_ROLES[1:]:
            assert distance(colours[role], colours[priority], "normal") >= 25, (role, priority)


@pytest.mark.parametrize("theme", THEMES)
def test_alarm_colours_are_those_of_the_standard(theme):
    """IEC 60601-1-8:2006+A1+A2, Table 2 (seen as a quotation): high red, medium yellow, low cyan."""
    hues = {"high": (340, 15), "medium": (40, 62), "low": (180, 200)}
    for role, (low, high) in hues.items():
        red, green, blue = (int(PALETTE[theme][role][i : i + 2], 16) / 255 for i in (1, 3, 5))
        hue = colorsys.rgb_to_hls(red, green, blue)[0] * 360
        inside = low <= hue <= high if low < high else hue >= low or hue <= high
        assert inside, (role, hue)


def test_the_dim_room_stays_dim():
    """Little light and less blue than red in every large area and in all text."""
    colours = PALETTE["dim"]
    assert luminance(colours["page"]) < 0.01
    for role in ("page", "panel", "ink", "soft"):
        red, _, blue = linear(colours[role])
        assert blue < red / 2, role


def test_the_style_sheet_names_every_colour_it_uses():
    from pathlib import Path

    import dashboard

    css = (Path(dashboard.__file__).parent / "assets" / "nightkeel.css").read_text("utf-8")
    import re

    used = set(re.findall(r"var\(--([a-z]+)\)", css))
    assert used <= {*PALETTE["paper"], "serif", "sans"}
    assert not re.search(r"#[0-9A-Fa-f]{3,8}\b|rgba?\(", css), "colours belong in theme.py"
    for theme in THEMES:
        assert f'data-theme="{theme}"' in stylesheet()
