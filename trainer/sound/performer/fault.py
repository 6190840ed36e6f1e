"""Faults of the built-in player: deliberate errors of known size, one set for each step."""

from __future__ import annotations

from dataclasses import dataclass, fields

from trainer.sound.errors import SoundError

LARGEST_FAULT = 5_000.0
"""Limit of every number in a fault, in cents, ms or dB: four octaves, five seconds."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What the built-in player does wrong on one step; the default is nothing.

    Attributes:
        cents: deviation of the held pitch from the target; positive is sharp.
        scoop_cents: deviation at the start, above (positive) or below the held pitch.
        scoop_ms: duration of the glide from there.
        wobble_cents: standard deviation of a slow sinusoidal variation of the pitch.
        drift_cents: change of pitch from start to end of the step, about its middle.
        leak_db: level of a leaking neighbour relative to the wanted hole, negative; None for
            none.
        leak_hole: which neighbour; None picks the hole below, or above hole 1.
        late_ms: delay of the onset; negative is early.
        skip: leave the step out.
        instead: what it plays instead, in the tab of a drill.
        vibrato_hz: rate of the vibrato; None for what the step asks. On a step without vibrato
            this adds one.
        vibrato_cents: half of the vibrato's extent in cents; None for what the step asks, 0 for no
            vibrato.
        both_sides: swing a vibrato to both sides of the note, although its reed only dips.
        shake_hz: rate of a shake in cycles per second; None for what the step asks.
        shake_fraction: fraction of each cycle of a shake on its first sound.
        shake_db: level of a shake's other sound relative to the first.
        shake_spread: standard deviation of the lengths of a shake's cycles, relative to their mean.
        dip_cents: depth of a scoop or dip that the step asks for; None for what it asks, 0 for
            none.
        dip_ms: duration of it; None for what the step asks.
        fall_cents: depth of a fall; None for what the step asks, 0 for none. On a step without a
            fall this adds one.
        fall_ms: duration of it; None for what the step asks.
        grace_ms: length of a grace note; None for the usual one, 0 for none.
        short_ms: how much too early it stops.
        rung: which sound of a ladder or glide `rung_cents` applies to, counted from 1.
        rung_cents: deviation of that sound.
        stray_cents: largest deviation of a glide from an even path, in the middle of its first
            move; positive is sharp.
        back_cents: how far a glide turns back in the middle of its first move, before it goes on.
        extra: tab of a note of 150 ms that it plays after the step, in the gap before the next
            one if it fits there, else in the step's own time.
        alone: play only the first hole of a chord, the first sound of a shake, or a note without
            its slap.
        held: fraction of its written length for which it is held; None for what its articulation
            asks.
        gap_ms: time between its end and the next onset; None for what its articulation asks.
        run_on: begin without an attack: the step before sounds on until this one, or through it if
            the two are the same.
        accent_db: level relative to an ordinary note; None for what the step asks.
        swell_db: change of level from its start to its end; None for what the step asks.
        vibrato_db: depth of its hand vibrato, peak to peak, 0 for none; None for what the step
            asks.
        wah_hz: rate of its wah; None for what the step asks.
        wah_db: depth of its wah, 0 for none; None for 6 dB.
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
    both_sides: bool = False
    shake_hz: float | None = None
    shake_fraction: float = 0.5
    shake_db: float = 0.0
    shake_spread: float = 0.0
    dip_cents: float | None = None
    dip_ms: float | None = None
    fall_cents: float | None = None
    fall_ms: float | None = None
    grace_ms: float | None = None
    short_ms: float = 0.0
    rung: int | None = None
    rung_cents: float = 0.0
    stray_cents: float = 0.0
    back_cents: float = 0.0
    extra: str | None = None
    alone: bool = False
    held: float | None = None
    gap_ms: float | None = None
    run_on: bool = False
    accent_db: float | None = None
    swell_db: float | None = None
    vibrato_db: float | None = None
    wah_hz: float | None = None
    wah_db: float | None = None


_TEXTS = ("instead", "extra")
_FLAGS = ("skip", "alone", "both_sides", "run_on")
_INTEGERS = ("leak_hole", "rung")
_NOT_NEGATIVE = (
    "vibrato_hz",
    "vibrato_cents",
    "vibrato_db",
    "short_ms",
    "back_cents",
    "shake_hz",
    "shake_fraction",
    "shake_spread",
    "dip_cents",
    "dip_ms",
    "fall_cents",
    "fall_ms",
    "grace_ms",
    "held",
    "gap_ms",
    "wah_hz",
    "wah_db",
)
_LARGEST = {"shake_fraction": 1.0, "shake_spread": 0.5, "shake_hz": 20.0}
"""Limits of numbers that are no cents, ms or dB."""


def parse_fault(text: str) -> tuple[int, Fault]:
    """Parse a step's index and its fault, as in ``3:cents=-18,leak_db=-12`` (steps from 1).

    Raises:
        SoundError: the text has another form, or names an unknown fault.
    """
    number, _, rest = text.partition(":")
    names = {attribute.name for attribute in fields(Fault)}
    values: dict[str, object] = {}
    try:
        index = int(number) - 1
        for pair in rest.split(","):
            name, _, value = (part.strip() for part in pair.partition("="))
            if name in _TEXTS:
                values[name] = value
            elif name in _FLAGS:
                values[name] = value in ("", "yes", "true", "1")
            elif name in _INTEGERS:
                values[name] = int(value)
            elif name not in names:
                raise KeyError(name)
            else:
                values[name] = float(value)
                least = 0.0 if name in _NOT_NEGATIVE else -LARGEST_FAULT
                if not least <= float(value) <= _LARGEST.get(name, LARGEST_FAULT):
                    raise ValueError(value)
        if index < 0:
            raise ValueError(number)
        return index, Fault(**values)  # type: ignore[arg-type]
    except (KeyError, ValueError, TypeError):
        known = ", ".join(attribute.name for attribute in fields(Fault))
        raise SoundError(
            f"'{text}' is not a fault; write a step's number and its faults, as in "
            f"3:cents=-18,leak_db=-12, from {known}"
        ) from None
