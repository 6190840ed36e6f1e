"""A number with its unit, as every message writes it."""

from __future__ import annotations


def quantity_text(number: float, unit: str) -> str:
    """Return a number and its unit, in the plural unless it is 1: ``1 bar``, ``0.5 seconds``."""
    return f"{number:g} {unit}{'' if number == 1 else 's'}"
