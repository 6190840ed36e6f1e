"""Colours, and the pens that widgets draw with.

The hues are the colour-blind-safe set of Okabe and Ito, "Color Universal Design" (2008,
https://jfly.uni-koeln.de/color/); each goes with a shape or a word on the screen, so that no state
depends on colour alone. The greys are ours. On a white ground most of the hues are too pale to
read, so the light theme has darker ones with the same proportions of red, green and blue light.

A theme is one of `THEMES`. Canvases draw with its pens, `THEME_PENS`; all other text is styled with
`CSS_PENS`, whose colours are variables that each theme defines.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from textual.app import App
from textual.filter import NoColor
from textual.theme import Theme

BLACK = "#000000"
ORANGE = "#e69f00"
SKY_BLUE = "#56b4e9"
BLUISH_GREEN = "#009e73"
YELLOW = "#f0e442"
BLUE = "#0072b2"
VERMILION = "#d55e00"
REDDISH_PURPLE = "#cc79a7"

DARK_YELLOW = "#605c00"
DARK_ORANGE = "#936400"
DARK_GREEN = "#007c5a"
DARK_VERMILION = "#702e00"
"""Darker than contrast needs: otherwise it looks like the orange to eyes without red or green."""
DARK_PURPLE = "#8e5273"

NIGHT = "#0f151b"
QUAY = "#121a21"
CHALK = "#e8edf2"
FOG = "#9aa8b5"
SLATE = "#5c6b79"

PAPER = "#ffffff"
SAND = "#f3f2ee"
INK = "#1b232b"
PENCIL = "#55606a"
PEBBLE = "#808a93"

COLOUR_REMOVER = NoColor()
"""Line filter of the plain theme."""


@dataclass(frozen=True, slots=True)
class Pen:
    """How a span of text is drawn.

    Attributes:
        color: foreground.
        back: background; None for the widget's own.
        bold, reverse, underline: style that shows without colour, too.
    """

    color: str
    back: str | None = None
    bold: bool = False
    reverse: bool = False
    underline: bool = False


DARK_PENS: Mapping[str, Pen] = MappingProxyType(
    {
        "text": Pen(CHALK),
        "strong": Pen(CHALK, bold=True),
        "quiet": Pen(FOG),
        "faint": Pen(SLATE),
        "good": Pen(BLUISH_GREEN, bold=True),
        "fair": Pen(YELLOW, bold=True),
        "low": Pen(ORANGE, bold=True),
        "sharp": Pen(ORANGE, bold=True),
        "flat": Pen(SKY_BLUE, bold=True),
        "leak": Pen(REDDISH_PURPLE, bold=True),
        "wrong": Pen(VERMILION, bold=True),
        "now": Pen(YELLOW, bold=True),
        "here": Pen(YELLOW, bold=True, reverse=True),
        "key": Pen(YELLOW, bold=True),
        "band": Pen("#387564"),
        "aim": Pen(BLUISH_GREEN),
        "trail": Pen(CHALK),
        "sounding": Pen(CHALK, bold=True, reverse=True),
    }
)

LIGHT_PENS: Mapping[str, Pen] = MappingProxyType(
    {
        "text": Pen(INK),
        "strong": Pen(INK, bold=True),
        "quiet": Pen(PENCIL),
        "faint": Pen(PEBBLE),
        "good": Pen(DARK_GREEN, bold=True),
        "fair": Pen(DARK_YELLOW, bold=True),
        "low": Pen(DARK_ORANGE, bold=True),
        "sharp": Pen(DARK_ORANGE, bold=True),
        "flat": Pen(BLUE, bold=True),
        "leak": Pen(DARK_PURPLE, bold=True),
        "wrong": Pen(DARK_VERMILION, bold=True),
        "now": Pen(
            BLACK, YELLOW, bold=True
        ),  # a highlighter: yellow letters on white are illegible
        "here": Pen(BLACK, YELLOW, bold=True, reverse=True),
        "key": Pen(BLACK, bold=True),
        "band": Pen("#63937f"),
        "aim": Pen(DARK_GREEN),
        "trail": Pen(INK),
        "sounding": Pen(INK, bold=True, reverse=True),
    }
)

THEME_PENS: Mapping[str, Mapping[str, Pen]] = MappingProxyType(
    {"dark": DARK_PENS, "light": LIGHT_PENS, "plain": DARK_PENS}
)
"""The pens of each theme by name; drawing functions know only the names."""

CSS_PENS: Mapping[str, Pen] = MappingProxyType(
    {name: replace(pen, color=f"$pen-{name}", back=None) for name, pen in DARK_PENS.items()}
)
"""Pens whose colour is a theme variable, for content that Textual styles."""


def _theme(name: str, pens: Mapping[str, Pen], background: str, surface: str) -> Theme:
    return Theme(
        name=name,
        primary=pens["flat"].color,
        secondary=pens["good"].color,
        accent=pens["now"].color,
        warning=pens["sharp"].color,
        error=pens["wrong"].color,
        success=pens["good"].color,
        foreground=pens["text"].color,
        background=background,
        surface=surface,
        panel=surface,
        dark=pens is DARK_PENS,
        variables={
            "footer-background": background,
            "footer-key-foreground": pens["now"].color,
            "footer-description-foreground": pens["quiet"].color,
            "text-disabled": pens["quiet"].color,
            "scrollbar": pens["faint"].color,
            "scrollbar-hover": pens["quiet"].color,
            "scrollbar-active": pens["quiet"].color,
            "scrollbar-background": background,
            "scrollbar-background-hover": background,
            "scrollbar-background-active": background,
            **{f"pen-{name}": pen.color for name, pen in pens.items()},
        },
    )


THEMES = (
    _theme("dark", DARK_PENS, NIGHT, QUAY),
    _theme("light", LIGHT_PENS, PAPER, SAND),
    _theme("plain", DARK_PENS, NIGHT, QUAY),
)
"""Values of the setting `screen.theme`. `plain` is the dark theme without its colours."""


def apply_theme(app: App[Any], theme: str = "dark") -> None:
    """Replace Textual's themes in an app by these, and select one."""
    others = list(app.available_themes)
    for own in THEMES:
        app.register_theme(own)
    app.theme = theme
    for name in others:
        app.unregister_theme(name)


def pen_color(app: App[Any], pen: str) -> str:
    """Return the colour of a pen in the current theme."""
    return THEME_PENS[app.theme][pen].color


def effective_theme(theme: str) -> str:
    """Return the theme, or `plain` where NO_COLOR is set or the terminal has no colours.

    See https://no-color.org.
    """
    return theme if not os.environ.get("NO_COLOR") and _has_colours() else "plain"


def _has_colours() -> bool:
    """Return whether the terminal has colours, by the system's terminfo."""
    try:
        import curses
    except ImportError:  # Windows has no terminfo, and its terminals have colours
        return True
    try:
        curses.setupterm(fd=1)
    except curses.error:  # an unknown terminal most likely has colours
        return os.environ.get("TERM", "") not in ("", "dumb", "unknown")
    return curses.tigetnum("colors") > 0
