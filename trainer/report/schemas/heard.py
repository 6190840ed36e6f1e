"""Shapes of readings and heard notes."""

from __future__ import annotations

from typing_extensions import TypedDict


class ReadingData(TypedDict):
    """The ear's estimate for one instant. What is unknown is null."""

    time: float
    """Centre of the analysed window in seconds from the start."""
    heard_at: float
    """End of the last sample that was used, in seconds."""
    hz: float | None
    """Fundamental frequency in hertz; null in silence."""
    level_db: float
    """RMS level of the last 10 ms in dB relative to full scale, -120 or more."""
    tab: str | None
    """Nearest tab entry on the sounding holes; null without a pitch."""
    also: list[str]
    """Other entries of the same pitch."""
    cents: float | None
    """Offset from the target of `tab` in cents; positive is sharp."""
    breath: str | None
    """``blow`` or ``draw``."""
    holes: list[int]
    """Sounding holes, 1 to 10."""
    clean: bool | None
    """Whether no other hole sounds audibly; null in silence."""
    leak_db: float | None
    """Level of the loudest other hole in dB relative to the main one."""
    leak_hole: int | None
    """Number of that hole."""


class VibratoData(TypedDict):
    """A vibrato."""

    hz: float
    """Rate in hertz."""
    cents: float
    """Depth to each side in cents."""


class TremoloData(TypedDict):
    """A tremolo."""

    hz: float
    """Rate in hertz."""
    db: float
    """Depth to each side in dB."""


class GlideData(TypedDict):
    """A glide of the pitch."""

    start_hz: float
    """Pitch at its start in hertz."""
    end_hz: float
    """Pitch at its end in hertz."""
    monotone: bool
    """Whether the pitch moved in one direction only."""


class HeardNoteData(TypedDict):
    """A note that was heard. What is unknown is null."""

    start: float
    """Onset in seconds."""
    end: float
    """Offset in seconds."""
    tab: str
    """Its tab entry."""
    also: list[str]
    """Other entries of the same pitch."""
    hz: float
    """Median fundamental frequency in hertz."""
    cents: float
    """Offset from the target in cents; positive is sharp."""
    holes: list[int]
    """Sounding holes, 1 to 10."""
    clean: bool
    """Whether no other hole sounds audibly."""
    leak_db: float | None
    """Level of the loudest other hole in dB relative to the main one."""
    leak_hole: int | None
    """Number of that hole."""
    level_db: float
    """Level in dB relative to full scale."""
    scoop_cents: float | None
    """Pitch at the onset relative to the held pitch in cents; negative is from below."""
    settle_ms: float | None
    """Time from the onset until the pitch stays within 10 cents of the held pitch, in ms."""
    drift_cents_s: float | None
    """Slope of the held pitch in cents per second."""
    wobble_cents: float | None
    """Standard deviation of the held pitch in cents."""
    vibrato: VibratoData | None
    """Vibrato; null if there is none."""
    tremolo: TremoloData | None
    """Tremolo; null if there is none."""
    glide: GlideData | None
    """Glide; null if there is none."""
