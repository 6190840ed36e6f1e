"""The inputs and outputs there are, asked for in a process of its own: the one that draws must not
open the sound system, which writes where the screen is drawn."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from trainer.sound import MicrophoneSpec

LIST = (sys.executable, "-m", "trainer", "sound", "list", "--format", "json")
CALIBRATE = (sys.executable, "-m", "trainer", "sound", "calibrate")
PATIENCE_S, CLICKS_S = 20.0, 60.0


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


def round_trip(spec: MicrophoneSpec) -> str:
    """Measure how late a click comes back, and keep it; what came of it, in a sentence or two.

    Twelve clicks sound, for ten seconds.
    """
    options: list[str] = []
    for name, value in (
        ("device", spec.device),
        ("output", spec.output),
        ("channel", spec.channel),
    ):
        options += [f"--{name}", str(value)] if value is not None else []
    return _told([*CALIBRATE, *options], CLICKS_S)


def _told(command: Sequence[str], patience_s: float) -> str:
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=patience_s, stdin=subprocess.DEVNULL
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return f"× the round trip cannot be measured: {error}"
    if done.returncode:
        return f"× {done.stderr.strip().splitlines()[-1] if done.stderr.strip() else 'it failed'}"
    return f"✓ {' '.join(done.stdout.split())}"
