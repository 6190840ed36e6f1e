"""Measuring a harp: which reed is asked for, what is heard, and what each reed measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.harp import HOLES, Breath, Harp, Tab
from trainer.practice.harp_measurement import ReedRequested, ReedSounding
from trainer.report.measuring_report import sounding_text

HOLE_CELLS = 6
"""Cells of a hole."""


@dataclass(frozen=True, slots=True)
class MeasuringState:
    """How far measuring is.

    Attributes:
        harp: what is measured.
        asked: the reed that is asked for; None where none is.
        sounding: what is heard now; None for nothing.
        cents: what each reed measured, from the harp's target.
        before: reeds that were measured before.
        said: what was said of the last notes, the newest first.
    """

    harp: Harp
    asked: ReedRequested | None = None
    sounding: ReedSounding | None = None
    cents: Mapping[Tab, float] = field(default_factory=dict)
    before: frozenset[Tab] = frozenset()
    said: tuple[str, ...] = ()


def measuring_rows(state: MeasuringState, width: int, height: int) -> list[TextRow]:
    """What to play, what is heard, the reeds, and what was said."""
    told = [_wanted(state), _heard(state), ()]
    holes = "".join(f"{hole:>{HOLE_CELLS}}" for hole in HOLES)
    told += [((f"       {holes}", "quiet"),), _reeds(state, Breath.BLOW)]
    told += [_reeds(state, Breath.DRAW), ()]
    told += [((f" {line}", "text" if i == 0 else "quiet"),) for i, line in enumerate(state.said)]
    return [truncate(row, width) if row else row for row in told[:height]]


def _wanted(state: MeasuringState) -> TextRow:
    asked = state.asked
    if asked is None:
        return ((" getting ready", "quiet"),)
    return (
        (f" {asked.done + 1} of {asked.of}  ", "quiet"),
        (f"play {asked.tab}", "now"),
        (f"  hole {asked.tab.hole} {asked.tab.breath}, {asked.note}", "strong"),
        (", alone and evenly, for two seconds", "text"),
    )


def _heard(state: MeasuringState) -> TextRow:
    if state.sounding is None:
        return ((" nothing sounds", "quiet"),)
    mine = state.asked is not None and state.sounding.tab == state.asked.tab
    return (
        (f" {'●' if mine else '○'} {sounding_text(state.sounding)}", "good" if mine else "text"),
    )


def _reeds(state: MeasuringState, breath: Breath) -> TextRow:
    spans: list[tuple[str, str]] = [(f" {breath:<6}", "quiet")]
    for hole in HOLES:
        tab = Tab(hole, breath)
        if state.asked is not None and state.asked.tab == tab:
            spans.append((f"{'▶':>{HOLE_CELLS}}", "now"))
        elif tab in state.cents:
            spans.append((f"{state.cents[tab]:>+{HOLE_CELLS}.1f}", "text"))
        else:
            spans.append((f"{'·' if tab not in state.before else '✓':>{HOLE_CELLS}}", "quiet"))
    return tuple(spans)


class MeasuringBoard(Canvas[MeasuringState]):
    """How far measuring is."""

    def draw(self, state: MeasuringState, width: int, height: int) -> Sequence[TextRow]:
        """As many rows as there are."""
        drawn = measuring_rows(state, width, height)
        return drawn + [()] * (height - len(drawn))
