"""Values in TOML files: validation by a parser, and how they are quoted in messages."""

from __future__ import annotations

from collections.abc import Callable

from pydantic import AfterValidator

from trainer.core.errors import TrainerError

_MAX_SHOWN_CHARACTERS = 40


def parsable_by(parser: Callable[[str], object]) -> AfterValidator:
    """Return a pydantic validator that accepts the texts which a parser accepts.

    Args:
        parser: raises :class:`TrainerError` for a text that it rejects.
    """

    def check(text: str) -> str:
        try:
            parser(text)
        except TrainerError as error:
            raise ValueError(str(error)) from error
        return text

    return AfterValidator(check)


def describe_value(value: object) -> str:
    """Return a value as written in the file, or the name of its kind."""
    match value:
        case str():
            text = value.replace("\n", "\\n")
            shown = f"{text[:_MAX_SHOWN_CHARACTERS]}…"
            return f'"{shown}"' if len(text) > _MAX_SHOWN_CHARACTERS else f'"{text}"'
        case bool():
            return str(value).lower()
        case int():
            return str(value) if abs(value) < 10**15 else "too large a number"
        case float():
            return f"{value:g}"
        case list():
            return "a list"
        case dict():
            return "a table"
    return "a date or time"
