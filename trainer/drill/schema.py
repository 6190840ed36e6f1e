"""The JSON Schema of drill files, generated from the model that validates them.

Editors with JSON Schema support use it to complete fields and to check values. It covers the
fields of :mod:`trainer.drill.header`; the music is checked by the parser only.
"""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from trainer.drill.header import DrillTable
from trainer.harp import STANDARD_KEYS, tuning_names

DIALECT = "https://json-schema.org/draft/2020-12/schema"
"""Dialect of the schema, draft 2020-12."""
KEY_RANGES = ("low", "double-low", "high")
"""Prefixes of harp keys outside the standard range."""


def drill_schema() -> dict[str, Any]:
    """Return the schema as JSON data: draft 2020-12, with titles, descriptions and defaults."""
    schema = DrillTable.model_json_schema(schema_generator=_Generator)
    fields = schema["properties"]
    keys = [*STANDARD_KEYS, *(f"{range_} {key}" for range_ in KEY_RANGES for key in STANDARD_KEYS)]
    fields["harp"] |= {"pattern": _KEY, "examples": keys}
    fields["tuning"]["examples"] = list(tuning_names())
    for name, table in schema["$defs"].items():
        table["title"] = name.removesuffix("Table")
        table["description"] = table["description"].replace("``", "")
    schema["title"] = "Drill file"
    schema["description"] = "An exercise for the ten-hole diatonic harmonica."
    return {"$schema": DIALECT, **schema}


def _any_case(word: str) -> str:
    return "".join(f"[{c.upper()}{c}]" if c.isalpha() else c for c in word)


_RANGE = "|".join(map(_any_case, ("double[- ]?low", "low", "high", "ll", "l", "h")))
_KEY = f"^ *(({_RANGE})[- ]?)?[A-Ga-g][#bB♯♭]? *$"
"""A key as :func:`trainer.harp.parse_key` accepts it; JSON Schema patterns cannot ignore case."""


class _Generator(GenerateJsonSchema):
    """Generator without titles of fields and without null, which TOML lacks.

    Names that a table does not allow are refused, too.
    """

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def dict_schema(self, schema: core_schema.DictSchema) -> JsonSchemaValue:
        generated = super().dict_schema(schema)
        if "patternProperties" in generated:
            generated["additionalProperties"] = False
        return generated

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        generated = super().default_schema(schema)
        return {
            name: value for name, value in generated.items() if (name, value) != ("default", None)
        }
