"""The note under the cursor of a transcript, in words, and what sounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.app.canvas import Canvas, TextRow, justify, truncate
from trainer.app.shapes import DOUBTFUL_SIGN
from trainer.app.widgets.reference_tone import HEADPHONE_CAUTION
from trainer.drill import EditedDrill
from trainer.harp import Harp
from trainer.report.directions import written_tab


@dataclass(frozen=True, slots=True)
class NoteCardState:
    """State of the card.

    Attributes:
        edited: the drill and its cursor.
        harp: the harp that it is written for, at the recording's pitch.
        grid: beats by which a correction moves or lengthens a note.
        speed: speed of a loop, as a fraction of the recorded speed.
        sounding: what sounds, in words; empty for nothing.
    """

    edited: EditedDrill
    harp: Harp
    grid: Fraction
    speed: float
    sounding: str = ""


def note_card_rows(state: NoteCardState, width: int) -> list[TextRow]:
    """Draw two rows: the note, and what sounds with the step of corrections."""
    edited, step = state.edited, state.edited.step
    drill = edited.drill
    beat = float(step.start % drill.meter[0]) + 1.0
    where = f"bar {step.bar}, beat {beat:.3g}" if step.bar else f"pick-up, beat {beat:.3g}"
    names = state.harp.notes(step.first)
    doubts = sorted(edited.doubtful)
    if edited.cursor in edited.doubtful:
        doubt = (f"{DOUBTFUL_SIGN} doubtful: enter if it is right", "sharp")
    elif doubts:
        doubt = (f"{DOUBTFUL_SIGN} {len(doubts)} doubtful: n goes there", "sharp")
    else:
        doubt = ("no doubtful notes", "quiet")
    note: TextRow = (
        (f" {written_tab(step)}", "strong"),
        (f"  {names}  {beats_text(step.beats)}", "text"),
        (f"  {where}, note {edited.cursor + 1} of {len(drill.steps)}", "quiet"),
    )
    sounding: TextRow = (
        ((f" ▶ {state.sounding}", "now"),)
        if state.sounding
        else (
            (" a and d compare; ", "quiet"),
            (HEADPHONE_CAUTION, "quiet"),
        )
    )
    facts = f"step {beats_text(state.grid)}  loop at {100.0 * state.speed:.0f} % "
    return [
        truncate(justify(note, (doubt, (" ", "text")), width), width),
        truncate(justify(sounding, ((facts, "quiet"),), width), width),
    ]


def beats_text(beats: Fraction) -> str:
    """Return a length in words: ``1 beat``, ``1/2 beat``, ``1 1/2 beats``."""
    whole, part = divmod(beats, 1)
    text = " ".join([*([str(whole)] if whole else []), *([str(part)] if part else [])])
    return f"{text} beat" if beats <= 1 else f"{text} beats"


class NoteCard(Canvas[NoteCardState]):
    """The card of the note under the cursor."""

    def draw(self, state: NoteCardState, width: int, height: int) -> Sequence[TextRow]:
        """Draw two rows."""
        return note_card_rows(state, width)[:height]
