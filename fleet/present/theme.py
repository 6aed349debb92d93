"""What does a page look like? The palette in light and dark, its contrast arithmetic, and the chart configuration.

Color carries meaning and never stands alone. The five marks step in lightness, so that they stay apart in greyscale
and under the common color blindnesses; tests/unit/test_present_theme.py holds that.
Sources: relative luminance and contrast ratio after WCAG 2.2 (W3C, 2023, definitions "relative luminance" and
"contrast ratio"); lightness L* and difference CIE76 after CIE 15; simulation of color blindness after Machado, Oliveira
and Fernandes (2009), severity 1.0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """The colors of one theme, each named by what it means.

    Attributes
    ----------
    paper, ink, rule, quiet : str
        Background, text, pale lines, secondary text.
    brick : str
        Heat, failure, late.
    steel : str
        Measured; it happened.
    pine : str
        Expected; planned.
    ochre : str
        Attention; uncertain.
    slate : str
        The rest.
    link, card : str
        Links; the ground of side column and controls.
    """

    name: str
    paper: str
    ink: str
    rule: str
    quiet: str
    card: str
    brick: str
    steel: str
    pine: str
    ochre: str
    slate: str
    link: str

    def marks(self) -> dict[str, str]:
        """Return the five marks by name."""
        return {name: getattr(self, name) for name in ("brick", "steel", "pine", "ochre", "slate")}


LIGHT = Palette(
    name="light", paper="#FCFBF8", ink="#1E2A32", rule="#E4DFD5", quiet="#5E6973", card="#F4F1EA",
    brick="#9C3A1F", steel="#3C7DB5", pine="#5BAA8B", ochre="#E3AE2E", slate="#5E6973", link="#2F6796",
)  # fmt: skip
DARK = Palette(
    name="dark", paper="#14191D", ink="#ECE8E0", rule="#343D44", quiet="#A3AFB9", card="#1D242A",
    brick="#CD6647", steel="#66A3DE", pine="#86D8B7", ochre="#F8DC8A", slate="#87939D", link="#8DBDEC",
)  # fmt: skip

FONT = '"Source Sans", "Source Sans Pro", system-ui, sans-serif'
"""The one family; it comes with the dashboard's server, so no font is fetched."""

TEXT_PX = 16
SMALL_PX = 14


def palette_for(theme: str | None) -> Palette:
    """Return the palette of a theme's name; light where none is known."""
    return DARK if theme == "dark" else LIGHT


def rgb(color: str) -> npt.NDArray[np.float64]:
    """Return a #RRGGBB color as three shares of 1, gamma-encoded."""
    return np.array([int(color[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.float64) / 255.0


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colors, 1 to 21 (WCAG 2.2)."""
    bright, dim = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def lightness(color: str) -> float:
    """Return the CIE lightness L* of a color, 0 to 100."""
    return float(_lab(_linear(rgb(color)))[0])


def difference(one: str, other: str, *, blindness: str | None = None) -> float:
    """Return how far apart two colors look (CIE76), as seen by everyone or under a color blindness.

    Parameters
    ----------
    blindness : str, optional
        protan, deutan, tritan or grey.
    """
    return float(np.linalg.norm(_lab(_seen(one, blindness)) - _lab(_seen(other, blindness))))


def chart_config(palette: Palette = LIGHT) -> dict[str, Any]:
    """Return the chart configuration of a palette: paper, one font family, quiet axes, no frames."""
    text = {"labelColor": palette.quiet, "titleColor": palette.quiet, "labelFontSize": 13, "titleFontSize": 13}
    return {
        "background": "transparent",
        "font": FONT,
        "title": {
            "color": palette.ink, "fontSize": TEXT_PX, "fontWeight": "normal", "anchor": "start", "offset": 12,
            "subtitleColor": palette.quiet, "subtitleFontSize": 13, "frame": "bounds",
        },
        "axis": {
            **text, "titleFontWeight": "normal", "domain": False, "ticks": False, "gridColor": palette.rule,
            "labelPadding": 6, "titlePadding": 10,
        },
        "axisY": {"titleAngle": 0, "titleAlign": "left", "titleBaseline": "bottom", "titleX": 0, "titleY": -6},
        "legend": {**text, "orient": "top", "titleFontWeight": "normal", "symbolStrokeWidth": 1.5},
        "header": {"labelColor": palette.ink, "labelFontSize": SMALL_PX, "title": None},
        "view": {"stroke": None},
        "text": {"color": palette.ink, "fontSize": 13},
    }  # fmt: skip


def _luminance(color: str) -> float:
    return float(_linear(rgb(color)) @ np.array([0.2126, 0.7152, 0.0722]))


def _linear(encoded: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = np.array([0.95047, 1.0, 1.08883])

_BLINDNESS = {
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
    "grey": np.tile([0.2126, 0.7152, 0.0722], (3, 1)),
}


def _seen(color: str, blindness: str | None) -> npt.NDArray[np.float64]:
    linear = _linear(rgb(color))
    return linear if blindness is None else np.clip(_BLINDNESS[blindness] @ linear, 0.0, 1.0)


def _lab(linear: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    ratio = (_TO_XYZ @ linear) / _WHITE
    bent = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * bent[1] - 16, 500 * (bent[0] - bent[1]), 200 * (bent[1] - bent[2])])
