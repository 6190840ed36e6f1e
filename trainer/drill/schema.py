"""The JSON Schema of drill files, from the model that checks them.

Editors that know it complete fields and check values while a drill is typed. It says what
:mod:`trainer.drill.header` says about fields; the music has to be checked by reading it.
"""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from trainer.drill.header import DrillTable
from trainer.harp import STANDARD_KEYS, tuning_names

DIALECT = "https://json-schema.org/draft/2020-12/schema"
KEY_RANGES = ("low", "double-low", "high")


def drill_schema() -> dict[str, Any]:
    """The schema, ready for JSON: draft 2020-12, with titles, descriptions and defaults."""
    made = DrillTable.model_json_schema(schema_generator=_Generator)
    fields = made["properties"]
    keys = [*STANDARD_KEYS, *(f"{range_} {key}" for range_ in KEY_RANGES for key in STANDARD_KEYS)]
    fields["harp"] |= {"pattern": _KEY, "examples": keys}
    fields["tuning"]["examples"] = list(tuning_names())
    for name, table in made["$defs"].items():
        table["title"] = name.removesuffix("Table")
        table["description"] = table["description"].replace("``", "")
    made["title"] = "Drill file"
    made["description"] = "One thing to practise on the ten-hole diatonic harmonica."
    return {"$schema": DIALECT, **made}


def _any_case(word: str) -> str:
    return "".join(f"[{c.upper()}{c}]" if c.isalpha() else c for c in word)


_RANGE = "|".join(map(_any_case, ("double[- ]?low", "low", "high", "ll", "l", "h")))
_KEY = f"^ *(({_RANGE})[- ]?)?[A-Ga-g][#bB♯♭]? *$"
"""A key, as :func:`trainer.harp.parse_key` reads it: patterns here cannot leave capitals open."""


class _Generator(GenerateJsonSchema):
    """Fields without titles of their own, and without null, which TOML has not."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        made = super().default_schema(schema)
        return {name: value for name, value in made.items() if (name, value) != ("default", None)}
