"""The inputs and outputs there are, asked for in a process of its own: the one that draws must not
open the sound system, which writes where the screen is drawn."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence

from trainer.sound import MicrophoneSpec
from trainer.sound.devices import Device

LIST = (sys.executable, "-m", "trainer", "sound", "list", "--format", "json")
CALIBRATE = (sys.executable, "-m", "trainer", "sound", "calibrate")
PATIENCE_S, CLICKS_S = 20.0, 60.0


def there() -> tuple[Device, ...] | str:
    """What there is; or why that cannot be told, in a sentence. Takes up to some seconds."""
    said, failed = _answer(LIST, PATIENCE_S)
    if failed:
        return said or "the sound devices cannot be listed"
    return tuple(Device(**one) for one in json.loads(said))


def round_trip(spec: MicrophoneSpec) -> str:
    """Measure how late a click comes back, and keep it; what came of it, in a sentence or two.

    Twelve clicks sound, for ten seconds.
    """
    asked = {"device": spec.device, "output": spec.output, "channel": spec.channel}
    options = [f"--{name}={value}" for name, value in asked.items() if value is not None]
    said, failed = _answer([*CALIBRATE, *options], CLICKS_S)
    if failed:
        return f"× {said.splitlines()[-1] if said else 'the round trip cannot be measured'}"
    return f"✓ {' '.join(said.split())}"


def _answer(command: Sequence[str], patience_s: float) -> tuple[str, bool]:
    """What a command says, or complains of, and whether it failed."""
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=patience_s, stdin=subprocess.DEVNULL
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error), True
    return (done.stderr if done.returncode else done.stdout).strip(), bool(done.returncode)
