"""What keys do, in words: the help page and the command palette are made of the bindings.

The words of a binding are its tooltip, in a clause; its description is what the footer has room
for.
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
    """What one key does.

    Attributes:
        keys: how they are written.
        words: what they do.
        action: what is run, as Textual writes actions.
    """

    keys: str
    words: str
    action: str


def key_lines(owner: Screen[object] | App[object] | type) -> Iterator[KeyLine]:
    """What the keys of a screen, or of the app, do, in their order."""
    for binding in getattr(owner, "BINDINGS", ()):
        assert isinstance(binding, Binding)
        keys = " ".join(_name(key) for key in binding.key.split(","))
        yield KeyLine(keys, binding.tooltip or binding.description, binding.action)


def _name(key: str) -> str:
    return KEY_NAMES.get(key, format_key(key))
