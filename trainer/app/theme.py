"""Colours, and the pens that widgets draw with.

The hues are the colour-blind-safe set of Okabe and Ito, "Color Universal Design" (2008,
https://jfly.uni-koeln.de/color/); each goes with a shape or a word on the screen, so that
nothing is told by colour alone. The greys are ours.
"""

from __future__ import annotations

from dataclasses import dataclass

from textual.theme import Theme

ORANGE = "#e69f00"
SKY_BLUE = "#56b4e9"
BLUISH_GREEN = "#009e73"
YELLOW = "#f0e442"
VERMILLION = "#d55e00"
REDDISH_PURPLE = "#cc79a7"

NIGHT = "#0f151b"
QUAY = "#121a21"
CHALK = "#e8edf2"
FOG = "#9aa8b5"
SLATE = "#5c6b79"


@dataclass(frozen=True, slots=True)
class Pen:
    """How a stretch of text is drawn.

    Attributes:
        color: of the letters.
        back: behind them; None is the widget's own background.
        bold, reverse, underline: said without colour too.
    """

    color: str
    back: str | None = None
    bold: bool = False
    reverse: bool = False
    underline: bool = False


PENS = {
    "text": Pen(CHALK),
    "strong": Pen(CHALK, bold=True),
    "quiet": Pen(FOG),
    "faint": Pen(SLATE),
    "good": Pen(BLUISH_GREEN, bold=True),
    "sharp": Pen(ORANGE, bold=True),
    "flat": Pen(SKY_BLUE, bold=True),
    "leak": Pen(REDDISH_PURPLE, bold=True),
    "wrong": Pen(VERMILLION, bold=True),
    "now": Pen(YELLOW, bold=True),
    "here": Pen(YELLOW, bold=True, reverse=True),
    "band": Pen("#387564"),
    "aim": Pen(BLUISH_GREEN),
    "trail": Pen(CHALK),
    "sounding": Pen(CHALK, bold=True, reverse=True),
}
"""Pens by name; pure drawing functions know only the names."""

THEME = Theme(
    name="harbour",
    primary=SKY_BLUE,
    secondary=BLUISH_GREEN,
    accent=YELLOW,
    warning=ORANGE,
    error=VERMILLION,
    success=BLUISH_GREEN,
    foreground=CHALK,
    background=NIGHT,
    surface=QUAY,
    panel=QUAY,
    dark=True,
    variables={
        "footer-background": NIGHT,
        "footer-key-foreground": YELLOW,
        "footer-description-foreground": FOG,
    },
)
