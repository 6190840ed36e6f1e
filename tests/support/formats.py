"""A check that data are exactly of a published format."""

from __future__ import annotations

import json
from typing import Any

from pydantic import ConfigDict, TypeAdapter

from devtools.schemas import FORMATS

BY_NAME = {format_.name: format_ for format_ in FORMATS}
"""The published formats by name."""


def check_format(name: str, data: Any) -> None:
    """Check that data are of a published format: every field, no other, and the right types.

    Args:
        name: name of the format.
        data: what a converter returned.

    Raises:
        pydantic.ValidationError: they are not.
    """
    listed: Any = list.__class_getitem__(BY_NAME[name].type)  # hands its configuration down
    config = ConfigDict(strict=True, extra="forbid")
    TypeAdapter(listed, config=config).validate_json(json.dumps([data], allow_nan=False))


def columns_of(name: str) -> list[str]:
    """Return the columns of a published table."""
    return list(BY_NAME[name].type.__annotations__)
