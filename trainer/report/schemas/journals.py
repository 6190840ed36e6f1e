"""Shapes of the journal's lists, and of its own state."""

from __future__ import annotations

from typing import NotRequired

from typing_extensions import TypedDict

from trainer.transfer.schemas import StepRecordData, TakeSummaryData


class ListedTakeData(TakeSummaryData):
    """A take in a list, without its steps."""

    audio: str | None
    """Name of its sound file in the journal's folder; null if the sound was not kept."""


class TakeData(ListedTakeData):
    """A take with its steps."""

    steps: tuple[StepRecordData, ...]
    """The marked steps, in order."""


class PlayerSummaryData(TypedDict):
    """What the journal holds of a player."""

    player: str
    """Name of the player."""
    takes: int
    """Number of takes."""
    days: int
    """Number of days with takes."""
    first: str | None
    """First of those days, ISO 8601; null without takes."""
    last: str | None
    """Last of those days, ISO 8601; null without takes."""
    harps: tuple[str, ...]
    """Names of the player's measured harps."""


class JournalData(TypedDict):
    """Where a journal is stored and what it holds; `path` and `exists` alone if it is missing."""

    path: str
    """Path of the file."""
    exists: bool
    """Whether the file exists."""
    file_bytes: NotRequired[int]
    """Size of the file and its log in bytes."""
    takes: NotRequired[int]
    """Number of takes."""
    harps: NotRequired[int]
    """Number of measured harps."""
    calibrations: NotRequired[int]
    """Number of measured round trips."""
    players: NotRequired[list[PlayerSummaryData]]
    """What it holds of each player."""
    sounds: NotRequired[int]
    """Number of takes with sound."""
    sound_bytes: NotRequired[int]
    """Size of all sound in bytes."""
    sounds_missing: NotRequired[list[str]]
    """Ids of takes whose sound was kept and is missing."""
    sounds_of_no_take: NotRequired[list[str]]
    """Paths of sound files that belong to no take."""


class JournalRow(TypedDict):
    """A step of a take as a row of CSV; every row repeats the fields of its take.

    A take without steps is one row with an empty `step`. What is unknown is empty. Several skills
    or extra notes are joined by `` | ``.
    """

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
    skills: str
    """Skills of the drill, the main one first."""
    tempo: float
    """Tempo in beats per minute."""
    source: str
    """``microphone``, ``recording`` or ``player``."""
    score: float
    """Score of the take, 0 to 100."""
    passed: str
    """``yes`` or ``no``."""
    whole: str
    """Whether the whole drill was played, ``yes`` or ``no``."""
    seconds: float
    """Duration in seconds."""
    extras: str
    """Sentences on extra notes."""
    first_bar: int | None
    """First bar that was played; empty if a step of the bars was not due."""
    last_bar: int | None
    """Last bar that was played."""
    tolerance: float | None
    """Tolerance in cents; empty where it is not known."""
    harp_key: str
    """Key of the harp."""
    harp_tuning: str
    """Name of its tuning."""
    harp_a4: float
    """Reference pitch A4 in hertz."""
    harp_temperament: str
    """Name of the temperament of its targets."""
    harp_name: str | None
    """The player's name for the harp."""
    solos: str
    """The marked solos as JSON, see the lines of an exported journal; empty for none."""
    step: int | None
    """Number of the step, from 1."""
    tab: str
    """Tab of the step."""
    kind: str
    """``note``, ``chord``, ``glide`` or ``ladder``."""
    entry: str | None
    """Tab entry that is judged."""
    care: str
    """Cleanness rule: ``plain``, ``clean``, ``blur``, ``chord`` or ``around``."""
    beats: float
    """Length in beats."""
    step_score: float
    """Score of the step, 0 to 100."""
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
    part_pitch: float | None
    """Score for pitch, 0 to 100."""
    part_steadiness: float | None
    """Score for steadiness, 0 to 100."""
    part_attack: float | None
    """Score for the attack, 0 to 100."""
    part_motion: float | None
    """Score for the motion between notes, 0 to 100."""
    part_cleanness: float | None
    """Score for cleanness, 0 to 100."""
    part_time: float | None
    """Score for timing, 0 to 100."""
    part_articulation: float | None
    """Score for articulation, 0 to 100."""
    part_dynamics: float | None
    """Score for dynamics, 0 to 100."""
