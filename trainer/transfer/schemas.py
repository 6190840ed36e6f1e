"""Shapes of a journal's JSON lines, as the published schema states them.

A converter that returns one of these is checked by mypy; ``python -m devtools.schemas`` writes the
JSON Schema from the types and the docstrings of their fields.
"""

from __future__ import annotations

from typing import Literal

from typing_extensions import TypedDict


class JournalHeadLine(TypedDict):
    """First line of an exported journal."""

    format: Literal["trainer journal"]
    """Name of the format."""
    version: int
    """Version of the format."""


class HarpTagData(TypedDict):
    """The harp of a take."""

    key: str
    """Key of the harp, such as ``C`` or ``low F``."""
    tuning: str
    """Name of its tuning, such as ``richter``."""
    a4: float
    """Reference pitch A4 in hertz."""
    temperament: str
    """Name of the temperament of its targets."""
    name: str | None
    """The player's name for the harp; null for no harp in particular."""


class StepRecordData(TypedDict):
    """A marked step, as the journal keeps it. A figure that could not be measured is null."""

    index: int
    """Number of the step in the drill, from 0."""
    tab: str
    """Tab of the step."""
    kind: str
    """``note``, ``chord``, ``glide`` or ``ladder``."""
    entry: str | None
    """Tab entry that is judged: the note, or the end of a glide; null for chords and ladders."""
    care: str
    """Cleanness rule: ``plain``, ``clean``, ``blur``, ``chord`` or ``around``."""
    beats: float
    """Length in beats."""
    score: float
    """Score, 0 to 100."""
    parts: dict[str, float]
    """Score of each judged criterion, 0 to 100."""
    sentence: str
    """Why it was marked so, in words."""
    heard: str | None
    """Tab of the held note."""
    cents: float | None
    """Mean offset of the held part from the target in cents; positive is sharp."""
    wobble_cents: float | None
    """Standard deviation of the held part about its slope in cents."""
    drift_cents: float | None
    """Change of pitch over the held part in cents."""
    scoop_cents: float | None
    """Offset of the onset from the target in cents."""
    settle_ms: float | None
    """Settling time in milliseconds."""
    leak_db: float | None
    """Level of the loudest unwanted hole in dB relative to the wanted one."""
    leak_hole: int | None
    """Number of that hole."""
    late_ms: float | None
    """Onset relative to the beat in milliseconds; negative is early."""
    hz: float | None
    """Held pitch in hertz."""


class SoloRecordData(TypedDict):
    """A marked solo."""

    bar: int
    """Number of the bar in which it begins, from 1; 0 in a pick-up."""
    beats: float
    """Length in beats."""
    score: float
    """Score, 0 to 100."""
    criteria: dict[str, float]
    """Points on each criterion that was judged, 0 to 100."""
    notes: int
    """Number of notes that were played."""
    sentence: str
    """The reason for the lowest of the points."""


class TakeSummaryData(TypedDict):
    """A take without its steps."""

    id: str
    """Unique id of the take."""
    player: str
    """Name of the player."""
    began: str
    """Start, ISO 8601 with time zone."""
    day: str
    """The player's local date of the start, ISO 8601."""
    drill: str
    """Name of the drill."""
    title: str
    """Title of the drill."""
    skills: tuple[str, ...]
    """Skills of the drill, the main one first."""
    harp: HarpTagData
    """The harp that was played."""
    tempo: float
    """Tempo in beats per minute."""
    source: str
    """``microphone``, ``recording`` or ``player`` (the built-in player)."""
    score: float
    """Score, 0 to 100."""
    passed: bool
    """Whether the score reached the drill's pass mark."""
    whole: bool
    """Whether the whole drill was played."""
    seconds: float
    """Duration in seconds."""
    extras: tuple[str, ...]
    """Sentences on extra notes."""
    first_bar: int | None
    """First bar that was played; null if not all steps of the bars were."""
    last_bar: int | None
    """Last bar that was played; null if not all steps of the bars were."""
    tolerance: float | None
    """Tolerance of its marks in cents; null if unknown."""
    solos: tuple[SoloRecordData, ...]
    """The marked solos, in order."""


class TakeLine(TakeSummaryData):
    """A take as a line of an exported journal."""

    kind: Literal["take"]
    """Kind of the line."""
    steps: tuple[StepRecordData, ...]
    """The marked steps, in order."""


class ReedRecordData(TypedDict):
    """A measured reed."""

    tab: str
    """Tab of its natural note."""
    hz: float
    """Pitch in hertz."""
    spread_cents: float
    """Spread of its readings in cents."""


class OwnHarpLine(TypedDict):
    """A harp that the player has measured, as a line of an exported journal."""

    kind: Literal["harp"]
    """Kind of the line."""
    player: str
    """Name of the player."""
    name: str
    """The player's name for the harp."""
    tag: HarpTagData
    """Key, tuning and reference pitch."""
    measured: str
    """Time of measurement, ISO 8601 with time zone."""
    reeds: tuple[ReedRecordData, ...]
    """The measured reeds."""


class CalibrationRecordData(TypedDict):
    """A measured round trip from the output to the microphone."""

    input: str
    """Name of the input device."""
    output: str
    """Name of the output device."""
    rate: int
    """Sample rate in hertz."""
    latency_ms: float
    """Round-trip latency in milliseconds."""
    spread_ms: float
    """Spread of single clicks in milliseconds."""
    measured: str
    """Time of measurement, ISO 8601 with time zone."""
    by_hand: bool
    """Whether the player entered the latency."""


class CalibrationLine(CalibrationRecordData):
    """A round trip as a line of an exported journal."""

    kind: Literal["calibration"]
    """Kind of the line."""


class FocusLine(TypedDict):
    """What a player wants to work on, as a line of an exported journal."""

    kind: Literal["focus"]
    """Kind of the line."""
    player: str
    """Name of the player."""
    name: str
    """A tab entry, such as ``-3''``, or the name of a skill."""
    since: str
    """First day, ISO 8601."""
    until: str
    """Last day, ISO 8601."""


class PlacementLine(TypedDict):
    """A level that a player has without having passed its drills, as a line of an export."""

    kind: Literal["placement"]
    """Kind of the line."""
    player: str
    """Name of the player."""
    skill: str
    """Name of the skill."""
    level: int
    """Highest level of drills that are taken for known."""
    day: str
    """Day on which it was found, ISO 8601."""
    by_hand: bool
    """Whether the player named the skill, instead of playing for it."""
