"""The inputs and outputs there are, asked for in a process of its own: the one that draws must not
open the sound system, which writes where the screen is drawn."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass

LIST = (sys.executable, "-m", "trainer", "sound", "list", "--format", "json")
PATIENCE_S = 20.0


@dataclass(frozen=True, slots=True)
class Named:
    """An input or output.

    Attributes:
        name: what the settings call it.
        inputs, outputs: how many channels it has.
        is_default_input: whether the system takes it unless another is named.
    """

    name: str
    inputs: int
    outputs: int
    is_default_input: bool = False


def there() -> tuple[Named, ...] | str:
    """What there is; or why that cannot be told, in a sentence. Takes up to some seconds."""
    try:
        done = subprocess.run(
            LIST, capture_output=True, text=True, timeout=PATIENCE_S, stdin=subprocess.DEVNULL
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return f"the sound devices cannot be listed: {error}"
    if done.returncode:
        return done.stderr.strip() or "the sound devices cannot be listed"
    return tuple(
        Named(one["name"], one["inputs"], one["outputs"], one["is_default_input"])
        for one in json.loads(done.stdout)
    )
