"""The measuring board: the reed to play, the sound heard, and the offset of each reed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from trainer.app.canvas import Canvas, TextRow
from trainer.app.widgets.board import board_width, centred, in_the_middle, large
from trainer.app.widgets.level_bar import level_bar_rows
from trainer.harp import HOLES, Breath, Harp, Tab
from trainer.practice import ReedRequested, ReedSounding
from trainer.report.formatting import signed_cents_text
from trainer.report.measuring_report import sounding_text

HOLE_CELLS, LABEL_CELLS = 6, 6
"""Width of a hole, and of the breath before them, in cells."""
TALL_ROWS, TALL_BAR_ROWS, TALL_MESSAGES = 24, 3, 6
"""Rows of a tall board, and its level bar's rows and messages."""


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
        level_db: input level in dB re full scale; None while the input is closed.
    """

    harp: Harp
    asked: ReedRequested | None = None
    sounding: ReedSounding | None = None
    cents: Mapping[Tab, float] = field(default_factory=dict)
    before: frozenset[Tab] = frozenset()
    messages: tuple[str, ...] = ()
    level_db: int | None = None


def measuring_rows(state: MeasuringState, width: int, height: int) -> list[TextRow]:
    """Draw the reed to play, the level, the sound heard, the reeds and the messages."""
    room, tall = board_width(width), height >= TALL_ROWS
    kept = TALL_MESSAGES if tall else 1
    messages: list[TextRow] = [
        ((message, "text" if i == 0 else "quiet"),)
        for i, message in enumerate(state.messages[:kept])
    ]
    holes = "".join(f"{hole:>{HOLE_CELLS}}" for hole in HOLES)
    below: list[TextRow] = [
        _asked_row(state),
        (),
        *level_bar_rows(state.level_db, room, TALL_BAR_ROWS if tall else 1),
        _sounding_row(state),
        (),
        ((f"{'':{LABEL_CELLS}}{holes}", "quiet"),),
        _offsets_row(state, Breath.BLOW),
        _offsets_row(state, Breath.DRAW),
        (),
        *messages,
        *[()] * (kept - len(messages)),
    ]
    asked = state.asked
    number = "" if asked is None else f"note {asked.done + 1} of {asked.of}"
    rows: list[TextRow] = [((number, "quiet"),), ()]
    if asked is not None:
        rows += large(str(asked.tab), "now", room, height - len(rows) - len(below) - 1)
        rows.append(())
    return in_the_middle([centred(row, room) for row in (*rows, *below)], width, height)


def _asked_row(state: MeasuringState) -> TextRow:
    asked = state.asked
    if asked is None:
        return ()
    return (
        (f"play {asked.tab}, hole {asked.tab.hole} {asked.tab.breath}, {asked.note}", "strong"),
        (": alone and steadily, for two seconds", "text"),
    )


def _sounding_row(state: MeasuringState) -> TextRow:
    if state.sounding is None:
        return (("silence" if state.asked else "", "quiet"),)
    asked = state.asked is not None and state.sounding.tab == state.asked.tab
    return (
        (f"{'●' if asked else '○'} {sounding_text(state.sounding)}", "good" if asked else "text"),
    )


def _offsets_row(state: MeasuringState, breath: Breath) -> TextRow:
    spans: list[tuple[str, str]] = [(f"{breath:<{LABEL_CELLS}}", "quiet")]
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
        return measuring_rows(state, width, height)
