"""Small and gross changes of bytes and texts."""

from __future__ import annotations

from random import Random

HOSTILE = (
    "\x1b[2J\x1b]0;x\x07",
    "\u202e\u2066",
    "<script>alert(1)</script>",
    '=HYPERLINK("x")',
    "@SUM(A1)",
    "\x00",
    "\ud800",
    "9" * 5000,
    "1e999999999",
    "-" * 300,
    "[" * 2000,
    "ß\u0301\u200b",
)
"""Texts that steer a terminal, a browser or a spreadsheet, or try a parser."""


def mutate(data: bytes, chance: Random) -> bytes:
    """Return data with a few changes: flipped bits, cuts, copies, runs of one byte, other text."""
    changed = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 4, 16))):
        at = chance.randrange(len(changed) + 1)
        length = min(chance.choice((1, 2, 8, 200)), len(changed) - at)
        match chance.randrange(7):
            case 0 if at < len(changed):
                changed[at] ^= 1 << chance.randrange(8)
            case 1:
                del changed[at : at + length]
            case 2:
                changed[at:at] = changed[at : at + length] * chance.choice((1, 2, 50))
            case 3:
                changed[at : at + length] = bytes([chance.choice((0, 255, 32, 65))]) * length
            case 4:
                text = chance.choice(HOSTILE)
                changed[at : at + length] = text.encode("utf-8", "surrogatepass")
            case 5 if chance.random() < 0.2:
                del changed[at:]
            case _:
                changed[at : at + length] = chance.randbytes(length)
    return bytes(changed)
