"""Values of a TOML file: checked by what reads them, and shown when they are wrong."""

from __future__ import annotations

from collections.abc import Callable

from pydantic import AfterValidator

from trainer.core import TrainerError


def parsable_by(reader: Callable[[str], object]) -> AfterValidator:
    """A check that the reader, of a key or a tuning for example, knows the text."""

    def check(text: str) -> str:
        try:
            reader(text)
        except TrainerError as error:
            raise ValueError(str(error)) from error
        return text

    return AfterValidator(check)


def describe_value(value: object) -> str:
    """A value as it stands in the file, or what kind of thing it is."""
    match value:
        case str():
            text = value.replace("\n", "\\n")
            return f'"{text[:40]}…"' if len(text) > 40 else f'"{text}"'
        case bool():
            return str(value).lower()
        case int():
            return str(value) if abs(value) < 10**15 else "so large a number"
        case float():
            return f"{value:g}"
        case list():
            return "a list"
        case dict():
            return "a table"
    return "a date or time"
