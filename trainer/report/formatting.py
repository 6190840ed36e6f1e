"""Scores, quantities and days as every report writes them."""

from __future__ import annotations

from datetime import date


def score_text(score: float) -> str:
    """Return a score as a whole number, never rounded up to one that was not reached."""
    return str(int(score + 1e-9))


def quantity_text(number: float, unit: str) -> str:
    """Return a number and its unit, in the plural unless it is 1: ``1 bar``, ``0.5 seconds``."""
    return f"{number:g} {unit}{'' if number == 1 else 's'}"


def day_text(day: date, today: date) -> str:
    """Return a day as ``5 Nov``, with its year if that differs from the year of `today`."""
    return f"{day.day} {day:%b}" + ("" if day.year == today.year else f" {day.year}")
