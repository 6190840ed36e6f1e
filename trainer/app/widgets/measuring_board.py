"""The measuring board: the reed to play, the sound heard, and the offset of each reed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.harp import HOLES, Breath, Harp, Tab
from trainer.practice import ReedRequested, ReedSounding
from trainer.report.formatting import signed_cents_text
from trainer.report.measuring_report import sounding_text

HOLE_CELLS = 6
"""Width of a hole in cells."""


@dataclass(frozen=True, slots=True)
class MeasuringState:
    """Progress of a measurement.

    Attributes:
        harp: the harp that is measured.
        asked: the reed to play; None for none.
        sounding: the sound heard now; None for silence.
        cents: measured offset of each reed from its nominal pitch, in cents.
        before: reeds that were measured earlier.
        messages: messages about the last notes, newest first.
    """

    harp: Harp
    asked: ReedRequested | None = None
    sounding: ReedSounding | None = None
    cents: Mapping[Tab, float] = field(default_factory=dict)
    before: frozenset[Tab] = frozenset()
    messages: tuple[str, ...] = ()


def measuring_rows(state: MeasuringState, width: int, height: int) -> list[TextRow]:
    """Draw the reed to play, the sound heard, the reeds and the messages."""
    drawn = [_asked_row(state), _sounding_row(state), ()]
    holes = "".join(f"{hole:>{HOLE_CELLS}}" for hole in HOLES)
    drawn += [((f"       {holes}", "quiet"),), _offsets_row(state, Breath.BLOW)]
    drawn += [_offsets_row(state, Breath.DRAW), ()]
    drawn += [
        ((f" {message}", "text" if i == 0 else "quiet"),)
        for i, message in enumerate(state.messages)
    ]
    return [truncate(row, width) if row else row for row in drawn[:height]]


def _asked_row(state: MeasuringState) -> TextRow:
    asked = state.asked
    if asked is None:
        return ((" getting ready", "quiet"),)
    return (
        (f" note {asked.done + 1} of {asked.of}  ", "quiet"),
        (f"play {asked.tab}", "now"),
        (f"  hole {asked.tab.hole} {asked.tab.breath}, {asked.note}", "strong"),
        (", alone and steadily, for two seconds", "text"),
    )


def _sounding_row(state: MeasuringState) -> TextRow:
    if state.sounding is None:
        return ((" silence", "quiet"),)
    asked = state.asked is not None and state.sounding.tab == state.asked.tab
    return (
        (f" {'●' if asked else '○'} {sounding_text(state.sounding)}", "good" if asked else "text"),
    )


def _offsets_row(state: MeasuringState, breath: Breath) -> TextRow:
    spans: list[tuple[str, str]] = [(f" {breath:<6}", "quiet")]
    for hole in HOLES:
        tab = Tab(hole, breath)
        if state.asked is not None and state.asked.tab == tab:
            spans.append((f"{'▶':>{HOLE_CELLS}}", "now"))
        elif tab in state.cents:
            spans.append((f"{signed_cents_text(state.cents[tab]):>{HOLE_CELLS}}", "text"))
        else:
            spans.append((f"{'·' if tab not in state.before else '✓':>{HOLE_CELLS}}", "quiet"))
    return tuple(spans)


class MeasuringBoard(Canvas[MeasuringState]):
    """The board of a measurement."""

    def draw(self, state: MeasuringState, width: int, height: int) -> Sequence[TextRow]:
        """Draw as many rows as fit."""
        drawn = measuring_rows(state, width, height)
        return drawn + [()] * (height - len(drawn))
