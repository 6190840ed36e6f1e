"""Text of any size, legible from two steps away: a bitmap font of 7 rows, scaled by whole numbers.

A pixel of the font is half a cell high and one cell wide, so that it is about square. At scale k a
glyph is 3.5 k rows high.

Legibility. ISO 9241-303 recommends characters of 20 to 22 minutes of arc, and accepts no less than
16 (0.27 degrees). A screen of 14 inches at 16:9 is 174 mm high. In a window of 24 rows, a glyph of
scale 2 is 51 mm high: 1.5 degrees from 2 m. In one of 60 rows, a glyph of scale 4 is 41 mm high:
1.2 degrees. ``tests/app/test_far_view.py`` computes both.
"""

from __future__ import annotations

import math

FONT_ROWS = 7
"""Height of a glyph in pixels."""
_FONT = {
    "0": ".###.|#...#|#..##|#.#.#|##..#|#...#|.###.",
    "1": ".#.|##.|.#.|.#.|.#.|.#.|###",
    "2": ".###.|#...#|....#|..##.|.#...|#....|#####",
    "3": ".###.|#...#|....#|..##.|....#|#...#|.###.",
    "4": "...#.|..##.|.#.#.|#..#.|#####|...#.|...#.",
    "5": "#####|#....|####.|....#|....#|#...#|.###.",
    "6": "..##.|.#...|#....|####.|#...#|#...#|.###.",
    "7": "#####|....#|...#.|..#..|..#..|.#...|.#...",
    "8": ".###.|#...#|#...#|.###.|#...#|#...#|.###.",
    "9": ".###.|#...#|#...#|.####|....#|...#.|.##..",
    "-": "....|....|....|####|....|....|....",
    "+": ".....|..#..|..#..|#####|..#..|..#..|.....",
    "'": "#|#|#|.|.|.|.",
    "o": ".....|.....|.###.|#...#|#...#|#...#|.###.",
    "@": ".###.|#...#|#.###|#.#.#|#.###|#....|.###.",
    "/": "....#|....#|...#.|..#..|.#...|#....|#....",
    ".": ".|.|.|.|.|.|#",
    "▲": ".....|..#..|..#..|.###.|.###.|#####|#####",
    "▼": "#####|#####|.###.|.###.|..#..|..#..|.....",
    "A": ".###.|#...#|#...#|#####|#...#|#...#|#...#",
    "E": "#####|#....|#....|####.|#....|#....|#####",
    "I": "###|.#.|.#.|.#.|.#.|.#.|###",
    "K": "#...#|#..#.|#.#..|##...|#.#..|#..#.|#...#",
    "L": "#....|#....|#....|#....|#....|#....|#####",
    "N": "#...#|##..#|#.#.#|#.#.#|#.#.#|#..##|#...#",
    "O": ".###.|#...#|#...#|#...#|#...#|#...#|.###.",
    "T": "#####|..#..|..#..|..#..|..#..|..#..|..#..",
    "U": "#...#|#...#|#...#|#...#|#...#|#...#|.###.",
    "V": "#...#|#...#|#...#|#...#|#...#|.#.#.|..#..",
    "a": ".....|.....|.###.|....#|.####|#...#|.####",
    "b": "#....|#....|####.|#...#|#...#|#...#|####.",
    "d": "....#|....#|.####|#...#|#...#|#...#|.####",
    "i": ".#.|...|##.|.#.|.#.|.#.|###",
    "j": "..#|...|.##|..#|..#|#.#|.#.",
    "m": ".....|.....|##.#.|#.#.#|#.#.#|#.#.#|#.#.#",
    "v": ".....|.....|#...#|#...#|#...#|.#.#.|..#..",
    " ": "..|..|..|..|..|..|..",
}
_GLYPHS = {character: tuple(rows.split("|")) for character, rows in _FONT.items()}
_UNKNOWN = _GLYPHS[" "]


def far_width(text: str, scale: int) -> int:
    """Return the width of a text in cells."""
    pixels = sum(len(_GLYPHS.get(character, _UNKNOWN)[0]) + 1 for character in text)
    return scale * max(0, pixels - 1)


def far_height(scale: int) -> int:
    """Return the height of a text in rows."""
    return math.ceil(FONT_ROWS * scale / 2)


def far_scale(text: str, width: int, height: int) -> int:
    """Return the largest scale at which a text fits, at least 1."""
    by_height = 2 * height // FONT_ROWS
    by_width = width // max(1, far_width(text, 1))
    return max(1, min(by_height, by_width))


def far_rows(text: str, scale: int) -> list[str]:
    """Return the rows of a text.

    Args:
        text: digits, tab signs, arrows, the names of chords in the key, and the letters of IN TUNE,
            NOT, NO and LEAK; anything else is left blank.
        scale: 1 or more.
    """
    glyphs = [_GLYPHS.get(character, _UNKNOWN) for character in text]
    lines = []
    for y in range(FONT_ROWS):
        pixels = ".".join(glyph[y] for glyph in glyphs)
        lines += ["".join(pixel * scale for pixel in pixels)] * scale
    if len(lines) % 2:
        lines.append("." * len(lines[0]))
    blocks = {"..": " ", "#.": "▀", ".#": "▄", "##": "█"}
    return [
        "".join(blocks[upper + lower] for upper, lower in zip(above, below, strict=True))
        for above, below in zip(lines[::2], lines[1::2], strict=True)
    ]
