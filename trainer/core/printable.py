"""Text from outside, such as file names, as it may be shown: no character steers a terminal."""

from __future__ import annotations

import unicodedata

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
_UNSAFE_CATEGORIES = ("Cc", "Cs")
"""Control characters, and the surrogates that stand for bytes that are no UTF-8 (PEP 383)."""
_BIDIRECTIONAL = frozenset(
    "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
"""Characters that change the direction of writing (Unicode Standard Annex 9)."""


def printable(text: str) -> str:
    """Return a text on one line, with every character that is unsafe to show replaced.

    Args:
        text: the text; line ends and tabs count as control characters.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(REPLACEMENT if _is_unsafe(character) else character for character in text)


def _is_unsafe(character: str) -> bool:
    return unicodedata.category(character) in _UNSAFE_CATEGORIES or character in _BIDIRECTIONAL
