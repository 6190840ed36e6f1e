"""The reference tone: which note it is, whether it sounds, and the caution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, Row, cut
from trainer.harp import Harp, Tab

CAUTION = "headphones, moderate level"


@dataclass(frozen=True, slots=True)
class TargetState:
    """What the tone is.

    Attributes:
        harp: whose note it is.
        tab: the note; None until something has been played or chosen.
        octave: octaves by which it sounds lower.
        sounds: whether it is heard.
        trouble: why it cannot be, in a sentence; empty if it can.
    """

    harp: Harp
    tab: Tab | None = None
    octave: int = 0
    sounds: bool = False
    trouble: str = ""

    @property
    def hz(self) -> float | None:
        """Its pitch."""
        return None if self.tab is None else self.harp.hz(self.tab) / 2.0**self.octave

    def moved(self, by: int) -> Tab:
        """The note so many places further among all that the harp has, low to high."""
        entries = sorted(self.harp.entries, key=self.harp.hz)
        place = entries.index(self.tab) if self.tab in entries else len(entries) // 3
        return entries[min(max(place + by, 0), len(entries) - 1)]


def row(state: TargetState, width: int) -> Row:
    """The line about the tone."""
    if state.trouble:
        return cut(((f" × {state.trouble}", "wrong"),), width)
    if state.tab is None or state.hz is None:
        return cut(((" d sounds the note you last played; ↑ ↓ choose another", "quiet"),), width)
    lower = ", octave lower" if state.octave else ""
    note = f"{state.tab}  {state.harp.note(state.tab)}{lower}  {state.hz:.1f} Hz"
    if state.sounds:
        return cut(((f" ♪ {note}  ", "now"), (CAUTION, "text")), width)
    return cut(((f" d sounds {note}; ", "text"), (CAUTION, "quiet")), width)


class Target(Canvas[TargetState]):
    """The line about the tone."""

    def draw(self, state: TargetState, width: int, height: int) -> Sequence[Row]:
        """One row."""
        return [row(state, width)]


if __name__ == "__main__":
    from devtools.scripted import show

    show(Target(), lambda take: TargetState(take.plan.harp, take.shown.tab))
