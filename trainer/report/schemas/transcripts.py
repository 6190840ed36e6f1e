"""Shapes of transcripts."""

from __future__ import annotations

from typing_extensions import TypedDict


class TranscribedNoteData(TypedDict):
    """A note of a transcript; also a row of its CSV, where lists are joined by ``; ``.

    What is unknown is null, or empty in CSV.
    """

    part: int
    """1, or 2 for the second player."""
    start: float
    """Onset in seconds."""
    end: float
    """Offset in seconds."""
    tab: str
    """Its tab."""
    others: list[str]
    """Other ways to play it."""
    bar: int | None
    """Number of the bar; 0 is the pick-up."""
    beat: str | None
    """Beat in the bar from 1, an exact fraction such as ``5/2``."""
    beats: str | None
    """Length in beats, an exact fraction."""
    note: str
    """Names of its notes with octaves, such as ``C4``."""
    hz: float
    """Fundamental frequency in hertz."""
    cents: float
    """Offset from the target in cents; positive is sharp."""
    holes: list[int]
    """Sounding holes, 1 to 10."""
    clean: bool
    """Whether one hole sounds alone."""
    leak_db: float | None
    """Level of the loudest other hole in dB relative to the main one."""
    leak_hole: int | None
    """Number of that hole."""
    level_db: float
    """Loudest level in dB relative to full scale."""
    care: str
    """Cleanness rule: ``plain``, ``clean``, ``blur`` or ``chord``."""
    slurred: bool
    """Whether it follows the note before without an onset of its own."""
    trust: float | None
    """Estimated probability that the note is right, 0 to 1."""


class TranscriptHarpData(TypedDict):
    """The harp of a transcript."""

    key: str
    """Key of the harp."""
    tuning: str
    """Name of its tuning."""
    a4: float
    """Reference pitch A4 in hertz."""


class HarpGuessData(TypedDict):
    """A harp on which the recording may have been played."""

    key: str
    """Key of the harp."""
    tuning: str
    """Name of its tuning."""
    share: float
    """Estimated probability, 0 to 1."""
    position: str | None
    """Position, such as ``2nd``."""
    missing: int
    """Number of notes that it cannot play."""
    effort: float
    """Difficulty of the notes on it."""
    reason: str
    """What supports or contradicts it, in words."""
    opening: str
    """Tab of the first notes on it."""


class MeterData(TypedDict):
    """The beats of a transcript."""

    meter: str
    """Meter, such as ``4/4``."""
    tempo: float
    """Median tempo in beats per minute."""
    swing: float
    """Ratio of the first to the second half of a beat, 1 to 3; 1 is straight."""
    first_beat: int
    """Number of the first entry of `beats`; 0 begins the first full bar."""
    beats: list[float]
    """Times of the beats in seconds."""
    steady: bool
    """Whether the tempo is constant."""
    near: float
    """Fraction of the notes whose onset is near its place on the grid, 0 to 1."""
    given: list[str]
    """Which of tempo, meter and first beat were given as options."""


class TranscriptHeadData(TypedDict):
    """The whole of a transcript: the first line of JSON lines."""

    recording: str
    """Name of the recording."""
    harp: TranscriptHarpData
    """The harp that the tab is written for."""
    harps: int
    """Number of players, 1 or 2."""
    position: str | None
    """Position, such as ``2nd``; null if the key is unknown."""
    guesses: list[HarpGuessData]
    """Harps that were considered, the most probable first; empty if the harp was given."""
    meter: MeterData | None
    """The beats; null if none were found."""
    warnings: list[str]
    """Sentences on what may be wrong."""
