"""The loop strip: the waveform of a recording, the looped passage, and how it is played.

The waveform is drawn as the peak of each bin; below it are the ends of the passage and the playback
position.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.app.widgets.reference_tone import HEADPHONE_CAUTION
from trainer.sound import Passage

_EIGHTHS = " ▁▂▃▄▅▆▇█"
MARGIN_CELLS = 2
"""Margin at both sides of the waveform in cells."""
OFF, READYING, SOUNDS = "off", "getting ready", "sounds"
"""Phases of a loop."""


@dataclass(frozen=True, slots=True)
class LoopState:
    """State of the loop.

    Attributes:
        passage: the passage, with speed, transposition and count-in.
        seconds: length of the recording in seconds; None until it is known.
        peaks: peaks of the recording in bins of equal length, 0 to 1.
        phase: `OFF`, `READYING` or `SOUNDS`.
        played: seconds since playback began, count-in included; None while it is off.
        trouble: why it cannot be played, as a sentence; empty if it can.
    """

    passage: Passage
    seconds: float | None = None
    peaks: tuple[float, ...] = ()
    phase: str = OFF
    played: float | None = None
    trouble: str = ""

    @property
    def place(self) -> float | None:
        """Playback position in the recording in seconds; None while off and in a count-in."""
        if self.played is None or self.played < self.passage.lead_s:
            return None
        round_s = (self.played - self.passage.lead_s) % self.passage.seconds
        return self.passage.first + round_s * self.passage.speed

    @property
    def rounds(self) -> int:
        """Number of the round, from 1; 0 in the count-in."""
        if self.played is None or self.played < self.passage.lead_s:
            return 0
        return int((self.played - self.passage.lead_s) / self.passage.seconds) + 1


def loop_rows(state: LoopState, width: int) -> list[TextRow]:
    """Draw four rows: waveform, ends of the passage, passage in words, and phase."""
    wide = max(10, width - 2 * MARGIN_CELLS)
    length = state.seconds or state.passage.last
    first, last = (
        _cell(end_s, length, wide) for end_s in (state.passage.first, state.passage.last)
    )
    return [
        truncate(_waveform_row(state, wide, first, last), width),
        truncate(_ends_row(state, wide, first, last, length), width),
        truncate(((f"  {loop_text(state.passage)}", "strong"),), width),
        truncate(_phase_row(state), width),
    ]


def loop_text(passage: Passage) -> str:
    """Return the passage, its speed, pitch and count-in in words."""
    moved = passage.half_steps
    pitch = "pitch as recorded"
    if moved:
        unit = "half step" if abs(moved) == 1.0 else "half steps"
        pitch = f"{abs(moved):g} {unit} {'up' if moved > 0 else 'down'}"
    count_in = f"count-in {passage.count_in}" if passage.count_in else "no count-in"
    return (
        f"{passage.first:.2f} to {passage.last:.2f} s   {100.0 * passage.speed:.0f} % speed   "
        f"{pitch}   {count_in}"
    )


def _phase_row(state: LoopState) -> TextRow:
    if state.trouble:
        return ((f"  × {state.trouble}", "wrong"),)
    if state.phase == OFF:
        return (("  ■ space plays it; ", "quiet"), (HEADPHONE_CAUTION, "quiet"))
    if state.phase == READYING or state.played is None:
        return (("  … getting ready", "now"),)
    if not state.rounds:
        beat = int(state.played * state.passage.tempo * state.passage.speed / 60.0) + 1
        return ((f"  ● count-in {beat} of {state.passage.count_in}", "now"),)
    return ((f"  ▶ round {state.rounds}, {state.place or 0.0:6.2f} s", "now"),)


def _cell(second: float, length: float, wide: int) -> int:
    return min(max(int(second / max(length, 0.01) * wide), 0), wide - 1)


def _waveform_row(state: LoopState, wide: int, first: int, last: int) -> TextRow:
    peaks = state.peaks or (0.0,)
    bars = ""
    for cell in range(wide):
        low = cell * len(peaks) // wide
        high = max(low + 1, (cell + 1) * len(peaks) // wide)
        bars += _EIGHTHS[min(8, round(8.0 * max(peaks[low:high])))]
    return (
        (" " * MARGIN_CELLS + bars[:first], "faint"),
        (bars[first : last + 1], "good"),
        (bars[last + 1 :], "faint"),
    )


def _ends_row(state: LoopState, wide: int, first: int, last: int, length: float) -> TextRow:
    line = [" "] * wide
    for cell in range(first, last + 1):
        line[cell] = "─"
    line[first], line[last] = "├", "┤"
    place = None if state.place is None else _cell(state.place, length, wide)
    if place is None:
        return ((" " * MARGIN_CELLS + "".join(line), "text"),)
    text = "".join(line)
    return (
        (" " * MARGIN_CELLS + text[:place], "text"),
        ("▲", "now"),
        (text[place + 1 :], "text"),
    )


class LoopStrip(Canvas[LoopState]):
    """The loop strip."""

    def draw(self, state: LoopState, width: int, height: int) -> Sequence[TextRow]:
        """Draw four rows."""
        return loop_rows(state, width)[:height]
