"""The palette stays legible and tellable apart; its arithmetic agrees with values published elsewhere."""

import itertools

import numpy as np
import pytest

from fleet.present import theme
from fleet.present.theme import DARK, LIGHT, contrast, difference, lightness

PALETTES = pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda palette: palette.name)
BLINDNESS = pytest.mark.parametrize("blindness", [None, "protan", "deutan", "tritan"])


def test_contrast_agrees_with_published_ratios():
    # WCAG 2.2, W3C (2023): black on white is 21:1; its understanding pages give #767676 on white as 4.54:1
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)


def test_lightness_agrees_with_published_values():
    # CIE 15 with the sRGB primaries of IEC 61966-2-1: L* of pure red, green and blue (widely tabulated; from memory)
    assert [round(lightness(color), 1) for color in ("#FF0000", "#00FF00", "#0000FF")] == [53.2, 87.7, 32.3]
    assert lightness("#FFFFFF") == pytest.approx(100.0, abs=0.01)
    assert lightness("#000000") == 0.0


def test_color_blindness_leaves_grey_alone():
    # the rows of each matrix sum to one, so that white stays white (Machado, Oliveira and Fernandes 2009)
    for matrix in theme._BLINDNESS.values():
        assert np.allclose(matrix.sum(axis=1), 1.0, atol=2e-6)


def test_red_and_green_of_the_same_lightness_meet_for_a_deuteranope():
    # the pair of a classic confusion: far apart for most, near for a deuteranope
    assert difference("#B05A2A", "#7A7A1E", blindness="deutan") < difference("#B05A2A", "#7A7A1E") / 2


def test_the_light_palette_is_the_one_agreed_on():
    assert (LIGHT.paper, LIGHT.ink, LIGHT.rule, LIGHT.quiet) == ("#FCFBF8", "#1E2A32", "#E4DFD5", "#5E6973")
    assert LIGHT.marks() == {
        "brick": "#9C3A1F", "steel": "#3C7DB5", "pine": "#5BAA8B", "ochre": "#E3AE2E", "slate": "#5E6973",
    }  # fmt: skip
    assert DARK.paper == "#14191D"


def test_text_contrast_is_as_promised():
    assert contrast(LIGHT.ink, LIGHT.paper) == pytest.approx(14, abs=0.5)
    assert contrast(LIGHT.quiet, LIGHT.paper) == pytest.approx(5.4, abs=0.1)


@PALETTES
def test_text_can_be_read(palette):
    for ground in (palette.paper, palette.card):
        assert contrast(palette.ink, ground) >= 7
        assert contrast(palette.quiet, ground) >= 4.5
        assert contrast(palette.link, ground) >= 4.5


def test_dark_marks_have_the_contrast_of_text():
    assert all(contrast(color, DARK.paper) >= 4.5 for color in DARK.marks().values())


@PALETTES
def test_marks_step_in_lightness_in_the_agreed_order(palette):
    marks = palette.marks()
    steps = [lightness(marks[name]) for name in ("brick", "slate", "steel", "pine", "ochre")]
    assert all(after - before >= 4.5 for before, after in itertools.pairwise(steps)), steps


@PALETTES
@BLINDNESS
def test_marks_can_be_told_apart(palette, blindness):
    for one, other in itertools.combinations(palette.marks().values(), 2):
        assert difference(one, other, blindness=blindness) >= 12, (one, other)


def test_the_theme_is_chosen_by_name():
    assert theme.palette_for("dark") is DARK
    assert theme.palette_for("light") is LIGHT
    assert theme.palette_for(None) is LIGHT


def test_the_chart_configuration_uses_the_palette():
    config = theme.chart_config(DARK)
    assert config["title"]["color"] == DARK.ink
    assert config["axis"]["labelColor"] == DARK.quiet
    assert config["font"] == theme.FONT
