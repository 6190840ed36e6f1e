"""A number with its unit, and things in a row, as every message writes them."""

from __future__ import annotations

from collections.abc import Sequence


def quantity_text(number: float, unit: str) -> str:
    """Return a number and its unit, in the plural unless it is 1: ``1 bar``, ``0.5 seconds``."""
    return f"{number:g} {unit}{'' if number == 1 else 's'}"


def series_text(names: Sequence[str]) -> str:
    """Return things in a row: ``a``, ``a and b``, ``a, b and c``; empty for none."""
    *most, last = names or ("",)
    return f"{', '.join(most)} and {last}" if most else last
