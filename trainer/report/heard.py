"""What was heard, as data for programs and as lines for people: readings and notes."""

from __future__ import annotations

from typing import Any

from trainer.ear import HeardNote, Reading


def reading_dict(reading: Reading) -> dict[str, Any]:
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


def note_dict(note: HeardNote) -> dict[str, Any]:
    """A note as data that JSON can hold; times in seconds."""
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
    }


NOTE_HEAD = "  start     end  tab        Hz  off      holes"


def note_line(note: HeardNote) -> str:
    """A note in a line under `NOTE_HEAD`."""
    tab = "/".join([str(note.tab), *(str(other) for other in note.also)])
    holes = " ".join(str(hole) for hole in note.holes)
    leak = "" if note.leak_db is None or note.clean else f"  ({note.leak_db:.0f} dB)"
    return (
        f"{note.start / note.rate:7.3f} {note.end / note.rate:7.3f}  {tab:<7} {note.hz:7.1f}  "
        f"{cents_in_words(note.cents):<8} {holes}{leak}"
    )


def cents_in_words(cents: float) -> str:
    """How far off a pitch is, such as ``12 flat``."""
    whole = round(abs(cents))
    if whole == 0:
        return "in tune"
    return f"{whole} {'sharp' if cents > 0 else 'flat'}"


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
