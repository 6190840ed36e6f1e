"""Where to take sound from, said in a few words that travel between processes.

A spec names a source without opening it, so that a plan for a take can be made on one side of a
process wall and the device opened on the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path

from trainer.sound.errors import SoundError

LARGEST_FAULT = 5_000.0
"""In cents, ms or dB: four octaves, five seconds."""


@dataclass(frozen=True, slots=True)
class MicrophoneSpec:
    """A microphone.

    Attributes:
        device: its name, a part of it, or its number; None for the system's default.
        output: where clicks, tones and what the trainer plays go, likewise; None for the system's
            default.
        channel: 1 for the first; None mixes the first two.
        rate: samples a second to ask for; None tries the usual ones.
        latency_ms: round trip from handing a click to the driver until it comes back from the
            microphone; None takes what the drivers report.
        clicks: whether the count-in and beats are to be heard. What the trainer plays itself, the
            other part and calls, is heard either way; headphones keep it out of the microphone.
    """

    device: str | int | None = None
    output: str | int | None = None
    channel: int | None = None
    rate: int | None = None
    latency_ms: float | None = None
    clicks: bool = True


@dataclass(frozen=True, slots=True)
class RecordingSpec:
    """A recording on disk.

    Attributes:
        path: WAV, FLAC, OGG or MP3.
        channel: 1 for the first; None mixes all.
        aloud: whether it is heard through the output, at its own pace.
        first, last: seconds between which it is heard then; None hears it to its end.
        output: where to, as in :class:`MicrophoneSpec`.
    """

    path: Path
    channel: int | None = None
    aloud: bool = False
    first: float = 0.0
    last: float | None = None
    output: str | int | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """What the built-in player does wrong on one step; the default is nothing.

    Attributes:
        cents: how far off the target it holds the pitch; positive is sharp.
        scoop_cents: how far above (positive) or below the target it starts.
        scoop_ms: how long the glide from there takes.
        wobble_cents: standard deviation of a slow sinusoidal wandering of the pitch.
        drift_cents: change of pitch from start to end of the step, about its middle.
        leak_db: level of a leaking neighbour relative to the wanted hole, negative; None for
            none.
        leak_hole: which neighbour; None picks the hole below, or above hole 1.
        late_ms: how late it starts; negative is early.
        skip: leave the step out.
        instead: what it plays for what is asked, as it is written in a drill.
        vibrato_hz: cycles a second of its vibrato; None for what is asked. On a step without
            vibrato this adds one.
        vibrato_cents: how far that swings to each side, likewise; 0 for not at all.
        short_ms: how much too early it stops.
        rung: which sound of a ladder or glide `rung_cents` is about, from 1.
        rung_cents: how far off that one is.
        stray_cents: how far a glide leaves its way and comes back, in the middle of the first
            move; positive is sharp.
        back_cents: how far a glide turns back, in the middle of the first move, before it goes on.
        extra: tab, as text, of a note of 150 ms that it plays after the step, in the gap to the
            next one if it fits in there, else in the step's own time.
        alone: play only the first hole of a chord.
    """

    cents: float = 0.0
    scoop_cents: float = 0.0
    scoop_ms: float = 120.0
    wobble_cents: float = 0.0
    drift_cents: float = 0.0
    leak_db: float | None = None
    leak_hole: int | None = None
    late_ms: float = 0.0
    skip: bool = False
    instead: str | None = None
    vibrato_hz: float | None = None
    vibrato_cents: float | None = None
    short_ms: float = 0.0
    rung: int | None = None
    rung_cents: float = 0.0
    stray_cents: float = 0.0
    back_cents: float = 0.0
    extra: str | None = None
    alone: bool = False


_TEXTS = ("instead", "extra")
_YES_OR_NO = ("skip", "alone")
_WHOLE = ("leak_hole", "rung")
_NOT_NEGATIVE = ("vibrato_hz", "vibrato_cents", "short_ms", "back_cents")


def parse_fault(text: str) -> tuple[int, Fault]:
    """A step's index and its fault, written as ``3:cents=-18,leak_db=-12`` (steps from 1).

    Raises:
        SoundError: it is not written so, or there is no such fault.
    """
    number, _, rest = text.partition(":")
    kinds = {one.name: one for one in fields(Fault)}
    values: dict[str, object] = {}
    try:
        index = int(number) - 1
        for pair in rest.split(","):
            name, _, value = (part.strip() for part in pair.partition("="))
            if name in _TEXTS:
                values[name] = value
            elif name in _YES_OR_NO:
                values[name] = value in ("", "yes", "true", "1")
            elif name in _WHOLE:
                values[name] = int(value)
            else:
                kinds[name]
                values[name] = float(value)
                least = 0.0 if name in _NOT_NEGATIVE else -LARGEST_FAULT
                if not least <= float(value) <= LARGEST_FAULT:
                    raise ValueError(value)
        if index < 0:
            raise ValueError(number)
        return index, Fault(**values)  # type: ignore[arg-type]
    except (KeyError, ValueError, TypeError):
        raise SoundError(
            f"'{text}' is not a fault; write a step's number and what is wrong, as in "
            f"3:cents=-18,leak_db=-12, with any of {', '.join(kinds)}"
        ) from None


@dataclass(frozen=True, slots=True)
class PlayerSpec:
    """The built-in player, performing the drill of the plan.

    Attributes:
        faults: what it does wrong, by step index.
        rush: how many times as fast a pass ends as it begins, 0.25 to 4; the tempo changes evenly
            from beat to beat. 1 keeps time.
        hesitate: how many ms later it plays, from a step on, by that step's index.
        realtime: whether its blocks come at the pace of a clock, as from a microphone.
        aloud: whether it is heard through the output while it plays.
        output: where to, as in :class:`MicrophoneSpec`.
        rate: samples a second.
        seed: of its breath noise and small irregularities; the same seed, the same sound.
    """

    faults: Mapping[int, Fault] = field(default_factory=dict)
    rush: float = 1.0
    hesitate: Mapping[int, float] = field(default_factory=dict)
    realtime: bool = False
    aloud: bool = False
    output: str | int | None = None
    rate: int = 48_000
    seed: int = 1


SourceSpec = MicrophoneSpec | RecordingSpec | PlayerSpec
