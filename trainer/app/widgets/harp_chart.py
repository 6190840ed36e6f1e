"""The chart of a harp as it is held, and how far each of its reeds is off.

The holes run across; what is blown stands over them, what is drawn under them, and what moves a
note further from its reed stands further out. Cents stand next to their reed's note.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from trainer.app.canvas import Canvas, TextRow, TextSpan, truncate
from trainer.drill import Goal
from trainer.harp import (
    HOLES,
    Breath,
    Harp,
    ReedTuning,
    Tab,
    nearest_temperament,
    overall_a4_hz,
    reed_tunings,
)
from trainer.music import position_name
from trainer.reedcare.own_harps import measured_pitches, nominal_harp
from trainer.report.harp_chart import Chart, ChartEntry
from trainer.store import OwnHarp

REED_TOLERANCE_CENTS = Goal().tolerance
"""A reed that is further off than a note may be in tune is told of."""
LABEL_CELLS, MIN_CELL, MAX_CELL = 8, 5, 7
MAX_SENTENCE_CELLS = 96


@dataclass(frozen=True, slots=True)
class HarpState:
    """A harp, as far as it is known.

    Attributes:
        chart: all that it can play, seen from a position.
        name: what the player calls it; empty for no harp in particular.
        measured: the day when it was last measured.
        reeds: where each measured reed stands.
        a4: Hz of A4 to which its reeds are tuned as a whole.
        nearest: the temperament that its reeds are nearest to.
        degrees: whether notes are told by their degree in the key of the position.
        watched: what reed watch says of it, in sentences.
        trouble: why the harp cannot be shown as it is, in a sentence.
    """

    chart: Chart
    name: str = ""
    measured: date | None = None
    reeds: tuple[ReedTuning, ...] = ()
    a4: float = 0.0
    nearest: str = ""
    degrees: bool = False
    watched: str = ""
    trouble: str = ""

    @classmethod
    def of(
        cls,
        harp: Harp,
        own: OwnHarp | None = None,
        position: int = 1,
        *,
        degrees: bool = False,
        watched: str = "",
    ) -> HarpState:
        """A harp, and if it is one of the player's own, how its reeds stand.

        Raises:
            HarpError: its tuning is not at hand any more.
            MusicError: position is not 1 to 12.
        """
        chart = Chart.of(harp, position)
        if own is None:
            return cls(chart, degrees=degrees)
        plain, reeds = nominal_harp(own, harp.temperament.name), measured_pitches(own)
        return cls(
            chart,
            own.name,
            own.measured.astimezone().date(),
            reed_tunings(plain, reeds),
            overall_a4_hz(plain, reeds),
            nearest_temperament(plain, reeds)[0],
            degrees,
            watched,
        )


def reed_offset_text(off: float) -> str:
    """How far off a reed is, in words."""
    whole = round(abs(off))
    return f"{whole} cents {'sharp' if off > 0 else 'flat'}" if whole else "in tune"


def is_out_of_tune(reed: ReedTuning) -> bool:
    """Whether a reed is so far off that it is told of."""
    return abs(reed.from_temperament_cents) > REED_TOLERANCE_CENTS


def cents_span(reed: ReedTuning, cell: int) -> TextSpan:
    """A reed's cents, with a shape where it is off."""
    whole = round(reed.from_temperament_cents)
    figure = f"{whole:+d}" if whole else "0"
    if not is_out_of_tune(reed):
        return figure.ljust(cell), "quiet"
    shape, pen = ("▲", "sharp") if whole > 0 else ("▼", "flat")
    return f"{shape}{figure}".ljust(cell), pen


def _notes(state: HarpState, kind: str, bend: int, cell: int, pen: str) -> list[TextSpan]:
    """A row of one kind of note, a cell a hole; none where the harp has none of it."""
    row: dict[int, ChartEntry] = {
        entry.tab.hole: entry
        for entry in state.chart.entries
        if entry.tab.kind == kind and entry.tab.bend == bend
    }
    if not row:
        return []
    told = {hole: entry.degree if state.degrees else entry.note for hole, entry in row.items()}
    return [(told.get(hole, "").ljust(cell), pen) for hole in HOLES]


def _cents(reeds: Mapping[Tab, ReedTuning], breath: Breath, cell: int) -> list[TextSpan]:
    """A row of cents, a cell a hole; none where no reed of a breath was measured."""
    mine = {tab.hole: reed for tab, reed in reeds.items() if tab.breath is breath}
    if not mine:
        return []
    return [
        cents_span(mine[hole], cell) if hole in mine else (" " * cell, "text") for hole in HOLES
    ]


def _grid(state: HarpState, width: int) -> Iterator[TextRow]:
    cell = min(max((width - LABEL_CELLS - 1) // len(HOLES), MIN_CELL), MAX_CELL)
    reeds = {reed.tab: reed for reed in state.reeds}
    deepest = max(entry.tab.bend for entry in state.chart.entries)
    bends = range(1, deepest + 1)

    def notes(
        label: str, kind: str, bend: int = 0, pen: str = "text"
    ) -> tuple[str, list[TextSpan]]:
        return label, _notes(state, kind, bend, cell, pen)

    lines = [
        *(notes(f"blow{bend_marks(bend)}", "blow bend", bend) for bend in reversed(bends)),
        notes("over", "overblow", pen="quiet"),
        ("cents", _cents(reeds, Breath.BLOW, cell)),
        notes("blow", "blow", pen="strong"),
        (
            "hole",
            [(f"{hole:─<{cell}}", "quiet") for hole in HOLES[:-1]] + [(str(HOLES[-1]), "quiet")],
        ),
        notes("draw", "draw", pen="strong"),
        ("cents", _cents(reeds, Breath.DRAW, cell)),
        *(notes(f"draw{bend_marks(bend)}", "draw bend", bend) for bend in bends),
        notes("over", "overdraw", pen="quiet"),
    ]
    for label, spans in lines:
        if spans:
            yield ((f"{label:<{LABEL_CELLS}}", "quiet"), *spans)


def bend_marks(bend: int) -> str:
    """The signs of a bend."""
    return "'" * bend


def _head(state: HarpState) -> Iterator[TextRow]:
    chart, harp = state.chart, state.chart.harp
    name = f"{state.name}: " if state.name else ""
    yield ((f"{name}{harp.key} harp, {harp.tuning.title}", "strong"),)
    shown = "degrees" if state.degrees else "notes"
    yield (
        (f"{position_name(chart.position)} position, {chart.key}: {shown}", "text"),
        (f"; A4 {harp.a4:.5g} Hz, {harp.temperament.name}", "quiet"),
    )


def harp_sentences(state: HarpState) -> list[str]:
    """What is to be said of a harp's reeds, each in a sentence."""
    if state.trouble:
        return [state.trouble]
    if not state.reeds:
        return ["Not one of your own: each reed is taken to be where the tuning has it."]
    off = sorted(
        filter(is_out_of_tune, state.reeds), key=lambda reed: -abs(reed.from_temperament_cents)
    )
    if off:
        listed = ", ".join(
            f"{reed.tab} {reed_offset_text(reed.from_temperament_cents)}" for reed in off
        )
        said = [f"Off by more than {REED_TOLERANCE_CENTS:g}: {listed}."]
    else:
        said = [f"No reed is off by more than {REED_TOLERANCE_CENTS:g} cents."]
    if state.watched:
        said.append(f"Reed watch: {state.watched}")
    tuned = f"As a whole it is tuned to A4 {state.a4:.1f} Hz"
    temperament = state.chart.harp.temperament.name
    near = "" if state.nearest == temperament else f", and its reeds lie nearest to {state.nearest}"
    said.append(f"{tuned}{near}.")
    missing = 2 * len(HOLES) - len(state.reeds)
    when = f"Measured on {state.measured}" if state.measured else "Measured"
    said.append(f"{when}, all reeds but {missing}." if missing else f"{when}.")
    return said


def harp_rows(state: HarpState, width: int, height: int) -> list[TextRow]:
    """Head, chart and sentences; what there is no room for is left out from the end."""
    rows: list[TextRow] = [*_head(state), (), *_grid(state, width), ()]
    room = min(width - 1, MAX_SENTENCE_CELLS)
    for sentence in harp_sentences(state):
        rows += [((part, "text"),) for part in textwrap.wrap(sentence, room)]
    return [truncate(row, width) for row in rows[:height]]


class HarpChart(Canvas[HarpState]):
    """A harp's chart."""

    def draw(self, state: HarpState, width: int, height: int) -> Sequence[TextRow]:
        """As many rows as there is room for."""
        return harp_rows(state, width, height)
