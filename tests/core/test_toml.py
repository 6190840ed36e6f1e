"""Positions and descriptions of the keys and values of TOML files."""

from __future__ import annotations

import tomllib
from datetime import date

import pytest

from trainer.core import TrainerError
from trainer.core.toml_positions import (
    Span,
    find_overdeep_key,
    key_spans,
    string_content_at,
)
from trainer.core.toml_values import describe_value, parsable_by

SOURCE = '''\
title = "a = b # no comment"  # tempo = 3
  tempo = 60
tab = """
level = 1
"""
[goal]  # a table
weights.pitch = 40
"quoted key" = [1,
2]
'''


def test_keys_and_values_have_their_places() -> None:
    spans = key_spans(SOURCE)
    assert set(spans) == {
        ("title",),
        ("tempo",),
        ("tab",),
        ("goal",),
        ("goal", "weights", "pitch"),
        ("goal", "quoted key"),
    }
    assert spans["title",].key == Span(1, 1, 5)
    assert spans["title",].value == Span(1, 9, 20)
    assert (spans["tempo",].key, spans["tempo",].value) == (Span(2, 3, 5), Span(2, 11, 2))
    assert spans["goal",].key == Span(6, 2, 4)
    assert spans["goal", "weights", "pitch"].value == Span(7, 17, 2)


def test_content_of_strings() -> None:
    spans = key_spans(SOURCE)
    assert string_content_at(SOURCE, spans["title",].value) == ("a = b # no comment", 1, 10)
    assert string_content_at(SOURCE, spans["tab",].value) == ("level = 1\n", 4, 1)
    assert string_content_at(SOURCE, spans["tempo",].value) is None


@pytest.mark.parametrize("text", ["''", '""', "''''''", '""""""', '"""x"""', "'''y'''"])
def test_empty_and_long_strings(text: str) -> None:
    source = f"tab = {text}\n"
    content = string_content_at(source, key_spans(source)["tab",].value)
    assert content is not None
    assert content[0] == tomllib.loads(source)["tab"]
    assert content[1:] == (1, 7 + (3 if len(text) >= 6 else 1))


@pytest.mark.parametrize(("parts", "line"), [(50, None), (51, 3)])
def test_overdeep_keys(parts: int, line: int | None) -> None:
    assert find_overdeep_key("a = 1\n\n" + ".".join("a" * parts) + " = 1") == line


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("a\nb", r'"a\nb"'),
        ("x" * 40, f'"{"x" * 40}"'),
        ("x" * 41, f'"{"x" * 40}…"'),
        (True, "true"),
        (12, "12"),
        (10**15, "too large a number"),
        (0.5, "0.5"),
        ([1], "a list"),
        ({}, "a table"),
        (date(2026, 1, 2), "a date or time"),
    ],
)
def test_values_in_messages(value: object, text: str) -> None:
    assert describe_value(value) == text


def test_validation_by_a_parser() -> None:
    def reject(text: str) -> None:
        raise TrainerError(f"'{text}' is wrong")

    with pytest.raises(ValueError, match="'x' is wrong"):
        parsable_by(reject).func("x")  # type: ignore[call-arg]
    assert parsable_by(len).func("x") == "x"  # type: ignore[call-arg]
