"""The note list: the last notes heard without a drill, with offset, cleanness and steadiness.

The newest note has two lines, each earlier one has one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.app.take_state import TakeState
from trainer.ear import HeardNote
from trainer.harp import Harp
from trainer.report.heard_report import offset_text, pitch_motion_phrases

IN_TUNE_CENTS = 10.0
"""Offset up to which a note counts as in tune, in cents (common practice)."""
OFFSET_SIGNS = {"flat": "▼", "sharp": "▲", "good": "●"}
STEADY_WOBBLE_CENTS = (3.0, 8.0)
"""Wobble up to which a note is called steady, and fairly steady, in cents (common practice)."""


@dataclass(frozen=True, slots=True)
class NoteListState:
    """The notes, newest first, and the harp they were played on."""

    harp: Harp
    notes: tuple[HeardNote, ...] = ()

    @classmethod
    def of(cls, take: TakeState) -> NoteListState:
        """Make the list of a take."""
        return cls(take.plan.harp, take.notes)


def note_rows(state: NoteListState, width: int, height: int) -> list[TextRow]:
    """Draw the newest note in two rows, each earlier one in one row."""
    if not state.notes:
        return [((" Play a note: its figures appear here when it ends.", "quiet"),)]
    newest, *earlier = state.notes
    drawn: list[TextRow] = [
        _line(newest, state.harp, "strong"),
        truncate(((f"     {', '.join(motion_phrases(newest))}", "text"),), width),
    ]
    drawn += [_line(note, state.harp, "quiet") for note in earlier]
    return [truncate(row, width) for row in drawn[:height]]


def _line(note: HeardNote, harp: Harp, pen: str) -> TextRow:
    """Draw a note in a row: tab, name, offset, cleanness and length."""
    state = "good" if abs(note.cents) <= IN_TUNE_CENTS else "sharp" if note.cents > 0 else "flat"
    tab = "/".join(str(entry) for entry in (note.tab, *note.also))
    return (
        (f" {tab:<8}", pen),
        (f"{harp.note(note.tab):<5}", pen),
        (f"{OFFSET_SIGNS[state]} {offset_text(note.cents):<9}", state),
        (f"{_clean(note):<24}", "text" if note.clean else "leak"),
        (f"{(note.end - note.start) / note.rate:4.1f} s", "quiet"),
    )


def _clean(note: HeardNote) -> str:
    if note.clean:
        return "clean"
    if note.leak_hole is None or note.leak_db is None:
        return f"holes {' '.join(map(str, note.holes))}"
    return f"hole {note.leak_hole} too, {abs(note.leak_db):.0f} dB down"


def motion_phrases(note: HeardNote) -> list[str]:
    """Return how a note was held and how it moved, each in a few words."""
    motion = note.motion
    phrases = []
    if motion.wobble_cents is not None:
        word = next(
            (
                w
                for w, most in zip(("steady", "fairly steady"), STEADY_WOBBLE_CENTS, strict=True)
                if motion.wobble_cents <= most
            ),
            "unsteady",
        )
        phrases.append(f"{word} (wobble {motion.wobble_cents:.1f} cents)")
    if motion.settle_ms is not None:
        phrases.append(f"settled in {motion.settle_ms:.0f} ms")
    phrases += [
        phrase for phrase in pitch_motion_phrases(motion) if not phrase.startswith("wobbles")
    ]
    if note.tremolo is not None:
        phrases.append(f"tremolo {note.tremolo.hz:.1f} Hz")
    return phrases or ["too short to judge steadiness"]


class NoteList(Canvas[NoteListState]):
    """The note list."""

    def draw(self, state: NoteListState, width: int, height: int) -> Sequence[TextRow]:
        """Draw as many notes as fit."""
        drawn = note_rows(state, width, height)
        return drawn + [()] * (height - len(drawn))
