"""The last notes that were played without a drill: how far off, how clean, how steady each was.

The newest is told in full; those before it in a line each, as far as there is room.
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
"""Cents that still sound in tune (common practice)."""
OFFSET_SIGNS = {"flat": "▼", "sharp": "▲", "good": "●"}
STEADY_WOBBLE_CENTS = (3.0, 8.0)
"""Cents of wobble up to which a note is called steady, and fairly steady (common practice)."""


@dataclass(frozen=True, slots=True)
class NoteListState:
    """The notes to be told, the newest first, and the harp they were played on."""

    harp: Harp
    notes: tuple[HeardNote, ...] = ()

    @classmethod
    def of(cls, take: TakeState) -> NoteListState:
        """The notes of a take as it stands."""
        return cls(take.plan.harp, take.notes)


def note_rows(state: NoteListState, width: int, height: int) -> list[TextRow]:
    """The newest note in two rows, the ones before it in one each."""
    if not state.notes:
        return [((" The last note's figures stand here once it is over.", "quiet"),)]
    newest, *before = state.notes
    told: list[TextRow] = [
        _line(newest, state.harp, "strong"),
        truncate(((f"     {', '.join(motion_phrases(newest))}", "text"),), width),
    ]
    told += [_line(note, state.harp, "quiet") for note in before]
    return [truncate(row, width) for row in told[:height]]


def _line(note: HeardNote, harp: Harp, pen: str) -> TextRow:
    """A note in a row: tab, name, how far off, how clean, how long."""
    state = "good" if abs(note.cents) <= IN_TUNE_CENTS else "sharp" if note.cents > 0 else "flat"
    tab = "/".join(str(one) for one in (note.tab, *note.also))
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
    """How a note was held and how it moved, each in a few words."""
    motion = note.motion
    told = []
    if motion.wobble_cents is not None:
        word = next(
            (
                w
                for w, most in zip(("steady", "fairly steady"), STEADY_WOBBLE_CENTS, strict=True)
                if motion.wobble_cents <= most
            ),
            "unsteady",
        )
        told.append(f"{word} (wobble {motion.wobble_cents:.1f} cents)")
    if motion.settle_ms is not None:
        told.append(f"settled in {motion.settle_ms:.0f} ms")
    told += [one for one in pitch_motion_phrases(motion) if not one.startswith("wobbles")]
    if note.tremolo is not None:
        told.append(f"tremolo {note.tremolo.hz:.1f} Hz")
    return told or ["too short to tell how steady"]


class NoteList(Canvas[NoteListState]):
    """The last notes."""

    def draw(self, state: NoteListState, width: int, height: int) -> Sequence[TextRow]:
        """As many rows as there are notes to fill."""
        drawn = note_rows(state, width, height)
        return drawn + [()] * (height - len(drawn))
