"""Text three rows high, made of half blocks, legible from a step away."""

from __future__ import annotations

_GLYPHS = {
    "0": ("█▀█", "█ █", "▀▀▀"),
    "1": ("▀█ ", " █ ", "▀▀▀"),
    "2": ("▀▀█", "█▀▀", "▀▀▀"),
    "3": ("▀▀█", " ▀█", "▀▀▀"),
    "4": ("█ █", "▀▀█", "  ▀"),
    "5": ("█▀▀", "▀▀█", "▀▀▀"),
    "6": ("█▀▀", "█▀█", "▀▀▀"),
    "7": ("▀▀█", "  █", "  ▀"),
    "8": ("█▀█", "█▀█", "▀▀▀"),
    "9": ("█▀█", "▀▀█", "▀▀▀"),
    "-": ("  ", "▀▀", "  "),
    "'": ("█", " ", " "),
    "o": ("   ", "█▀█", "▀▀▀"),
    "+": (" ▄ ", "▀█▀", "   "),
    ">": ("▀▄ ", " ▄▀", "▀  "),
    "A": ("▄▀▄", "█▀█", "▀ ▀"),
    "E": ("█▀▀", "█▀ ", "▀▀▀"),
    "F": ("█▀▀", "█▀ ", "▀  "),
    "H": ("█ █", "█▀█", "▀ ▀"),
    "I": ("█", "█", "▀"),
    "K": ("█ █", "█▀▄", "▀ ▀"),
    "L": ("█  ", "█  ", "▀▀▀"),
    "N": ("█▄ █", "█ ▀█", "▀  ▀"),
    "O": ("█▀█", "█ █", "▀▀▀"),
    "P": ("█▀▄", "█▀ ", "▀  "),
    "R": ("█▀▄", "█▀▄", "▀ ▀"),
    "S": ("▄▀▀", " ▀▄", "▀▀ "),
    "T": ("▀█▀", " █ ", " ▀ "),
    "U": ("█ █", "█ █", "▀▀▀"),
    " ": (" ", " ", " "),
}


def large_rows(text: str) -> tuple[str, str, str]:
    """Return the three rows of a text.

    Args:
        text: digits, tab signs and the letters of FLAT, SHARP, IN TUNE, NOT, NO and LEAK.

    Raises:
        KeyError: the text has another character.
    """
    glyphs = [_GLYPHS[character] for character in text]
    top, middle, foot = (" ".join(glyph[row] for glyph in glyphs) for row in range(3))
    return top, middle, foot
