"""The head line: title, harp, tempo, bars, and the phase of the take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, justify
from trainer.app.take_state import Phase, TakeState
from trainer.report.take_lines import plan_phrases

PHASE_SIGNS = {
    Phase.READY: "■",
    Phase.OPENING: "…",
    Phase.COUNTING: "●",
    Phase.PLAYING: "▶",
    Phase.WAITING: "○",
    Phase.LISTENING: "▶",
    Phase.PAUSED: "‖",
    Phase.NO_SOUND: "‖",
    Phase.FAILED: "×",
    Phase.ENDED: "■",
}
PHASE_PENS = {
    Phase.COUNTING: "now",
    Phase.PLAYING: "now",
    Phase.LISTENING: "now",
    Phase.WAITING: "now",
    Phase.PAUSED: "now",
}


@dataclass(frozen=True, slots=True)
class HeadState:
    """State of the head line.

    Attributes:
        title: title of the drill.
        about: harp, tempo, bars and loop, each in a few words.
        phase: phase of the take.
        beat: beat of the bar, from 1; None without a beat.
        meter: beats in a bar; 0 without a beat.
    """

    title: str
    about: tuple[str, ...]
    phase: Phase
    beat: int | None = None
    meter: int = 0

    @classmethod
    def of(cls, take: TakeState) -> HeadState:
        """Make the head line of a take."""
        drill, words = take.drill, plan_phrases(take.plan, take.tempo)
        if drill is None:
            return cls("What am I playing?", words, take.phase)
        beat = None
        is_early = take.phase is Phase.COUNTING and not take.counted_beats
        if take.running and take.playhead.position is not None and not (drill.free or is_early):
            beat = math.floor(take.playhead.position) % drill.meter[0] + 1
        return cls(drill.title, words, take.phase, beat, 0 if drill.free else drill.meter[0])


def head_row(state: HeadState, width: int) -> TextRow:
    """Draw the head line."""
    sign, pen = PHASE_SIGNS[state.phase], PHASE_PENS.get(state.phase, "quiet")
    pen = "wrong" if state.phase in (Phase.FAILED, Phase.NO_SOUND) else pen
    right: list[tuple[str, str]] = []
    for part in state.about:
        right += [(part, "text"), ("  ", "quiet")]
    right.append((f"{sign} {state.phase.value}", pen))
    if state.meter and width >= 100:
        beats = "".join("●" if n == state.beat else "·" for n in range(1, state.meter + 1))
        right.append((f"  {beats}", pen))
    right.append((" ", "text"))
    return justify(((f" {state.title}", "strong"),), tuple(right), width)


class HeadLine(Canvas[HeadState]):
    """The head line."""

    def draw(self, state: HeadState, width: int, height: int) -> Sequence[TextRow]:
        """Draw one row."""
        return [head_row(state, width)]
