"""Contrast of what is painted, by the standards."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from rich.color import ColorSystem
from rich.segment import Segment

Rgb = NDArray[np.float64]


def light(colour: str) -> Rgb:
    """Shares of red, green and blue light in a colour of sRGB (IEC 61966-2-1)."""
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast as WCAG 2.2 defines it, from relative luminances."""
    low, high = sorted(float(light(c) @ (0.2126, 0.7152, 0.0722)) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def too_faint(segment: Segment) -> bool:
    """Whether letters or digits have less contrast than 4.5, or anything else less than 3, as WCAG
    2.2 asks for (1.4.3, 1.4.11), with all colours or on a terminal that has 256."""
    style = segment.style
    if not segment.text.strip() or style is None or style.color is None or style.bgcolor is None:
        return False
    if style.color.is_default:  # the terminal's own, in the plain theme
        return False
    pair = (style.color, style.bgcolor)
    fewer = [one.downgrade(ColorSystem.EIGHT_BIT) for one in pair]
    ratio = min(contrast(*(one.get_truecolor().hex for one in seen)) for seen in (pair, fewer))
    written = any(one.isalnum() for one in segment.text)
    return ratio < (4.5 if written else 3.0)
