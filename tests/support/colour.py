"""Contrast of painted text, by WCAG 2.2."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from rich.color import ColorSystem
from rich.segment import Segment

Rgb = NDArray[np.float64]


def light(colour: str) -> Rgb:
    """Return the linear red, green and blue of an sRGB colour (IEC 61966-2-1)."""
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two colours by WCAG 2.2, from relative luminances."""
    low, high = sorted(float(light(c) @ (0.2126, 0.7152, 0.0722)) for c in (first, second))
    return (high + 0.05) / (low + 0.05)


def too_faint(segment: Segment) -> bool:
    """Return whether a segment has too little contrast, in true colour or with 256 colours.

    WCAG 2.2 asks for 4.5 for text (1.4.3) and for 3 for all else (1.4.11).
    """
    style = segment.style
    if not segment.text.strip() or style is None or style.color is None or style.bgcolor is None:
        return False
    if style.color.is_default:  # the terminal's own, in the plain theme
        return False
    pair = (style.color, style.bgcolor)
    fewer = [colour.downgrade(ColorSystem.EIGHT_BIT) for colour in pair]
    ratios = [contrast(*(c.get_truecolor().hex for c in colours)) for colours in (pair, fewer)]
    written = any(character.isalnum() for character in segment.text)
    return min(ratios) < (4.5 if written else 3.0)
