"""The reference tone: its note, whether it sounds, and the caution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.harp import Harp, Tab

HEADPHONE_CAUTION = "headphones, moderate level"


@dataclass(frozen=True, slots=True)
class ReferenceToneState:
    """State of the reference tone.

    Attributes:
        harp: the harp whose note it is.
        tab: the note; None until one has been played or chosen.
        octave: octaves by which the tone is lowered.
        sounds: whether it sounds.
        trouble: why it cannot sound, as a sentence; empty if it can.
    """

    harp: Harp
    tab: Tab | None = None
    octave: int = 0
    sounds: bool = False
    trouble: str = ""

    @property
    def hz(self) -> float | None:
        """Frequency of the tone in hertz."""
        return None if self.tab is None else self.harp.hz(self.tab) / 2.0**self.octave

    def moved(self, by: int) -> Tab:
        """Return the note a number of places higher among all notes of the harp."""
        entries = sorted(self.harp.entries, key=self.harp.hz)
        place = entries.index(self.tab) if self.tab in entries else len(entries) // 3
        return entries[min(max(place + by, 0), len(entries) - 1)]


def tone_row(state: ReferenceToneState, width: int) -> TextRow:
    """Draw the line about the tone."""
    if state.trouble:
        return truncate(((f" × {state.trouble}", "wrong"),), width)
    if state.tab is None or state.hz is None:
        return truncate(
            ((" d plays the note you last played; ↑ ↓ choose another", "quiet"),), width
        )
    lower = ", octave lower" if state.octave else ""
    note = f"{state.tab}  {state.harp.note(state.tab)}{lower}  {state.hz:.1f} Hz"
    if state.sounds:
        return truncate(((f" ♪ {note}  ", "now"), (HEADPHONE_CAUTION, "text")), width)
    return truncate(((f" d plays {note}; ", "text"), (HEADPHONE_CAUTION, "quiet")), width)


class ReferenceTone(Canvas[ReferenceToneState]):
    """The line about the tone."""

    def draw(self, state: ReferenceToneState, width: int, height: int) -> Sequence[TextRow]:
        """Draw one row."""
        return [tone_row(state, width)]
