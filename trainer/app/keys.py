"""Descriptions of key bindings, for the help page and the command palette.

A binding's tooltip is the full description; its `description` is the short one of the footer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from textual.app import App
from textual.binding import Binding
from textual.keys import format_key
from textual.screen import Screen

KEY_NAMES = {
    "left_square_bracket": "[",
    "right_square_bracket": "]",
    "less_than_sign": "<",
    "greater_than_sign": ">",
    "plus": "+",
    "equals_sign": "=",
    "minus": "-",
    "comma": ",",
    "question_mark": "?",
    "escape": "esc",
    "enter": "enter",
    "tab": "tab",
    "pageup": "page up",
    "pagedown": "page down",
    "delete": "del",
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
}


@dataclass(frozen=True, slots=True)
class KeyLine:
    """One binding, described.

    Attributes:
        keys: the keys as the player knows them, separated by spaces.
        description: what they do.
        action: the Textual action they run.
    """

    keys: str
    description: str
    action: str


def bindings_of(owner: Screen[object] | App[object] | type) -> Iterator[Binding]:
    """Yield the bindings of a screen or of the app, in their order."""
    for binding in getattr(owner, "BINDINGS", ()):
        assert isinstance(binding, Binding)
        yield binding


def key_lines(owner: Screen[object] | App[object] | type) -> Iterator[KeyLine]:
    """Yield a line for each binding of a screen or of the app, in their order."""
    for binding in bindings_of(owner):
        keys = " ".join(key_name(key) for key in binding.key.split(","))
        yield KeyLine(keys, binding.tooltip or binding.description, binding.action)


def key_name(key: str) -> str:
    """Return a key as the player knows it: its sign, or its name in lower case."""
    return KEY_NAMES.get(key, format_key(key))
