"""Readings and heard notes as lines of text and as JSON data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trainer.ear import HeardNote, Motion, Reading
from trainer.report.formatting import fill
from trainer.report.schemas.heard import HeardNoteData, ReadingData


def reading_data(reading: Reading) -> ReadingData:
    """Return a reading as JSON data; what is unknown is null."""
    return {
        "time": round(reading.time, 6),
        "heard_at": round(reading.heard_at, 6),
        "hz": _rounded(reading.hz, 4),
        "level_db": round(reading.level_db, 2),
        "tab": None if reading.tab is None else str(reading.tab),
        "also": [str(tab) for tab in reading.also],
        "cents": _rounded(reading.cents, 3),
        "breath": None if reading.breath is None else str(reading.breath),
        "holes": list(reading.holes),
        "clean": reading.clean,
        "leak_db": _rounded(reading.leak_db, 2),
        "leak_hole": reading.leak_hole,
    }


def heard_note_data(note: HeardNote) -> HeardNoteData:
    """Return a heard note as JSON data; what is unknown is null."""
    motion, glide = note.motion, note.motion.glide
    return {
        "start": round(note.start / note.rate, 6),
        "end": round(note.end / note.rate, 6),
        "tab": str(note.tab),
        "also": [str(tab) for tab in note.also],
        "hz": round(note.hz, 4),
        "cents": round(note.cents, 3),
        "holes": list(note.holes),
        "clean": note.clean,
        "leak_db": _rounded(note.leak_db, 2),
        "leak_hole": note.leak_hole,
        "level_db": round(note.level_db, 2),
        "scoop_cents": _rounded(motion.scoop_cents, 2),
        "settle_ms": _rounded(motion.settle_ms, 1),
        "drift_cents_s": _rounded(motion.drift_cents_s, 2),
        "wobble_cents": _rounded(motion.wobble_cents, 3),
        "vibrato": None
        if motion.vibrato is None
        else {"hz": round(motion.vibrato.hz, 3), "cents": round(motion.vibrato.depth, 2)},
        "tremolo": None
        if note.tremolo is None
        else {"hz": round(note.tremolo.hz, 3), "db": round(note.tremolo.depth, 2)},
        "glide": None
        if glide is None
        else {
            "start_hz": round(glide.start_hz, 4),
            "end_hz": round(glide.end_hz, 4),
            "monotone": glide.monotone,
        },
    }


@dataclass(frozen=True, slots=True)
class MotionThresholds:
    """Motion of a note's pitch that is worth mentioning; less is left out.

    Every reed rises to its pitch from below within 15 to 70 ms, so that small values mean nothing.
    All were chosen by ear.

    Attributes:
        scoop_cents: minimum scoop.
        scoop_ms: minimum settling time of a scoop.
        drift_cents_s: minimum drift in cents per second.
        wobble_cents: minimum wobble.
    """

    scoop_cents: float = 15.0
    scoop_ms: float = 30.0
    drift_cents_s: float = 10.0
    wobble_cents: float = 3.0


THRESHOLDS = MotionThresholds()
NOTE_HEAD = "  start     end  tab        Hz  off      holes"
"""Head of the columns of :func:`heard_note_text`."""
_MOTION_INDENT = " " * 17


def heard_note_text(note: HeardNote) -> str:
    """Return a note as a line under `NOTE_HEAD`, with further lines on how its pitch moves."""
    tab = "/".join([str(note.tab), *(str(other) for other in note.also)])
    holes = " ".join(str(hole) for hole in note.holes)
    leak = "" if note.leak_db is None or note.clean else f"  ({note.leak_db:.0f} dB)"
    line = (
        f"{note.start / note.rate:7.3f} {note.end / note.rate:7.3f}  {tab:<7} {note.hz:7.1f}  "
        f"{offset_text(note.cents):<8} {holes}{leak}"
    )
    phrases = list(pitch_motion_phrases(note.motion))
    if note.tremolo is not None:
        phrases.append(f"tremolo {note.tremolo.hz:.1f} Hz ±{note.tremolo.depth:.1f} dB")
    motion = fill(", ".join(phrases), first=_MOTION_INDENT, rest=_MOTION_INDENT)
    return "\n".join([line, *motion.splitlines()])


def pitch_motion_phrases(motion: Motion) -> Iterator[str]:
    """Yield how a note's pitch moves, in words and in order of time."""
    scoop, settling = motion.scoop_cents or 0.0, motion.settle_ms or 0.0
    drift, wobble = motion.drift_cents_s or 0.0, motion.wobble_cents or 0.0
    if abs(scoop) >= THRESHOLDS.scoop_cents and settling >= THRESHOLDS.scoop_ms:
        yield f"scoops {_distance_text(-scoop)}, settles in {settling:.0f} ms"
    if motion.glide is not None:
        turn = "" if motion.glide.monotone else " and turns"
        yield f"glides {_distance_text(motion.glide.cents)}{turn}"
    if motion.vibrato is not None:
        yield f"vibrato {motion.vibrato.hz:.1f} Hz ±{motion.vibrato.depth:.0f}"
    if abs(drift) >= THRESHOLDS.drift_cents_s:
        yield f"drifts {_distance_text(drift)} a second"
    if wobble >= THRESHOLDS.wobble_cents:
        yield f"wobbles by {wobble:.0f}"


def _distance_text(cents: float) -> str:
    """Return a distance in cents and its direction: ``100 down``."""
    return f"{abs(cents):.0f} {'up' if cents > 0 else 'down'}"


def offset_text(cents: float) -> str:
    """Return an offset in whole cents: ``12 flat``, ``in tune``."""
    whole = round(abs(cents))
    if whole == 0:
        return "in tune"
    return f"{whole} {'sharp' if cents > 0 else 'flat'}"


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
