"""What was heard, as data for programs and as lines for people: readings and notes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from trainer.ear import HeardNote, Reading
from trainer.ear.motion import Motion
from trainer.report.schemas.heard import HeardNoteData, ReadingData


def reading_data(reading: Reading) -> ReadingData:
    """A reading as data that JSON can hold; what is not known is null.

    `time` is the centre of what was analysed and `heard_at` the end of the last sample used, both
    in seconds; `cents` is from the target of `tab`; `leak_db` is the loudest other hole's level
    relative to the main one.
    """
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
    """A note as data that JSON can hold; times in seconds.

    What its pitch does is as in :class:`trainer.ear.motion.Motion`; vibrato and tremolo have a
    rate in Hz and a depth in plus and minus cents, or dB, and are null where there is none, as is
    a glide.
    """
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


WIDTH = 80
SCOOP_CENTS, SCOOP_MS = 15.0, 30.0
DRIFT_CENTS_S = 10.0
WOBBLE_CENTS = 3.0
"""What is less than these is not worth a word: every reed comes up to its pitch from below, in 15
to 70 ms."""
NOTE_HEAD = "  start     end  tab        Hz  off      holes"


def heard_note_text(note: HeardNote) -> str:
    """A note in a line under `NOTE_HEAD`; where it moves, more lines say how."""
    tab = "/".join([str(note.tab), *(str(other) for other in note.also)])
    holes = " ".join(str(hole) for hole in note.holes)
    leak = "" if note.leak_db is None or note.clean else f"  ({note.leak_db:.0f} dB)"
    line = (
        f"{note.start / note.rate:7.3f} {note.end / note.rate:7.3f}  {tab:<7} {note.hz:7.1f}  "
        f"{offset_text(note.cents):<8} {holes}{leak}"
    )
    moves = list(pitch_motion_phrases(note.motion))
    if note.tremolo is not None:
        moves.append(f"tremolo {note.tremolo.hz:.1f} Hz ±{note.tremolo.depth:.1f} dB")
    margin = " " * 17
    return "\n".join(
        [
            line,
            *textwrap.wrap(
                ", ".join(moves), WIDTH, initial_indent=margin, subsequent_indent=margin
            ),
        ]
    )


def pitch_motion_phrases(motion: Motion) -> Iterator[str]:
    """What a note's pitch does, in words, in the order in which it happens."""
    scoop, settle = motion.scoop_cents or 0.0, motion.settle_ms or 0.0
    if abs(scoop) >= SCOOP_CENTS and settle >= SCOOP_MS:
        yield f"scoops {_way(-scoop)}, settles in {settle:.0f} ms"
    if motion.glide is not None:
        back = "" if motion.glide.monotone else " and turns"
        yield f"glides {_way(motion.glide.cents)}{back}"
    if motion.vibrato is not None:
        yield f"vibrato {motion.vibrato.hz:.1f} Hz ±{motion.vibrato.depth:.0f}"
    if abs(motion.drift_cents_s or 0.0) >= DRIFT_CENTS_S:
        yield f"drifts {_way(motion.drift_cents_s or 0.0)} a second"
    if (motion.wobble_cents or 0.0) >= WOBBLE_CENTS:
        yield f"wobbles by {motion.wobble_cents:.0f}"


def _way(cents: float) -> str:
    """How far a pitch moves, such as ``100 down``."""
    return f"{abs(cents):.0f} {'up' if cents > 0 else 'down'}"


def offset_text(cents: float) -> str:
    """How far off a pitch is, such as ``12 flat``."""
    whole = round(abs(cents))
    if whole == 0:
        return "in tune"
    return f"{whole} {'sharp' if cents > 0 else 'flat'}"


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
