"""The harp chart: the notes of every hole, and the offset of each measured reed.

Holes run across. Blow notes are above them, draw notes below; the deeper the bend, the further out.
Offsets in cents are next to the note of their reed.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from trainer.app.canvas import Canvas, TextRow, TextSpan, truncate
from trainer.core.quantities import quantity_text
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
from trainer.reedcare import measured_pitches, nominal_harp
from trainer.report.harp_chart import Chart, ChartEntry
from trainer.store import OwnHarp

OUT_OF_TUNE_CENTS = Goal().tolerance
"""Offset above which a reed counts as out of tune, in cents: the default tolerance of a note."""
LABEL_CELLS, MIN_CELL, MAX_CELL = 8, 5, 7
"""Width of the labels, and range of the width of a hole, in cells."""
MAX_SENTENCE_CELLS = 96
"""Maximum line length of a sentence in cells."""


@dataclass(frozen=True, slots=True)
class HarpState:
    """State of the chart.

    Attributes:
        chart: the notes of the harp in a position.
        name: the player's name for the harp; empty for none.
        measured: date of the last measurement.
        reeds: the measured reeds and their offsets.
        a4: A4 in hertz that fits its reeds best.
        nearest: the temperament that fits its reeds best.
        degrees: whether notes are shown as degrees in the key of the position.
        watched: report of the reed watch, in sentences.
        trouble: why the harp cannot be shown as measured, as a sentence.
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
        """Make the chart of a harp.

        Args:
            harp: the harp.
            own: its measurement, if it is the player's own.
            position: position, 1 to 12.
            degrees: whether notes are shown as degrees.
            watched: report of the reed watch.

        Raises:
            HarpError: its tuning is missing.
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
    """Return the offset of a reed in words."""
    whole, side = round(abs(off)), "sharp" if off > 0 else "flat"
    return f"{quantity_text(whole, 'cent')} {side}" if whole else "in tune"


def is_out_of_tune(reed: ReedTuning) -> bool:
    """Return whether a reed is out of tune."""
    return abs(reed.from_temperament_cents) > OUT_OF_TUNE_CENTS


def cents_span(reed: ReedTuning, cell: int) -> TextSpan:
    """Return the offset of a reed, with a shape if it is out of tune."""
    whole = round(reed.from_temperament_cents)
    figure = f"{whole:+d}" if whole else "0"
    if not is_out_of_tune(reed):
        return figure.ljust(cell), "quiet"
    shape, pen = ("▲", "sharp") if whole > 0 else ("▼", "flat")
    return f"{shape}{figure}".ljust(cell), pen


def _notes(state: HarpState, kind: str, bend: int, cell: int, pen: str) -> list[TextSpan]:
    """Return a row of one kind of note, a span a hole; empty if the harp has none."""
    row: dict[int, ChartEntry] = {
        entry.tab.hole: entry
        for entry in state.chart.entries
        if entry.tab.kind == kind and entry.tab.bend == bend
    }
    if not row:
        return []
    texts = {hole: entry.degree if state.degrees else entry.note for hole, entry in row.items()}
    return [(texts.get(hole, "").ljust(cell), pen) for hole in HOLES]


def _cents(reeds: Mapping[Tab, ReedTuning], breath: Breath, cell: int) -> list[TextSpan]:
    """Return a row of offsets, a span a hole; empty if no reed of the breath was measured."""
    offsets = {tab.hole: reed for tab, reed in reeds.items() if tab.breath is breath}
    if not offsets:
        return []
    return [
        cents_span(offsets[hole], cell) if hole in offsets else (" " * cell, "text")
        for hole in HOLES
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
    """Return the tab signs of a bend."""
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
    """Return the findings about a harp's reeds as sentences."""
    if state.trouble:
        return [state.trouble]
    if not state.reeds:
        return ["Not measured: nominal pitches of the tuning."]
    off = sorted(
        filter(is_out_of_tune, state.reeds), key=lambda reed: -abs(reed.from_temperament_cents)
    )
    if off:
        listed = ", ".join(
            f"{reed.tab} {reed_offset_text(reed.from_temperament_cents)}" for reed in off
        )
        sentences = [f"Off by more than {OUT_OF_TUNE_CENTS:g} cents: {listed}."]
    else:
        sentences = [f"No reed is off by more than {OUT_OF_TUNE_CENTS:g} cents."]
    if state.watched:
        sentences.append(f"Reed watch: {state.watched}")
    tuned = f"Best fit: A4 {state.a4:.1f} Hz"
    temperament = state.chart.harp.temperament.name
    near = "" if state.nearest == temperament else f", temperament {state.nearest}"
    sentences.append(f"{tuned}{near}.")
    missing = 2 * len(HOLES) - len(state.reeds)
    when = f"Measured on {state.measured}" if state.measured else "Measured"
    sentences.append(
        f"{when}, {quantity_text(missing, 'reed')} missing." if missing else f"{when}."
    )
    return sentences


def harp_rows(state: HarpState, width: int, height: int) -> list[TextRow]:
    """Draw head, chart and sentences, cut at the end if they do not fit."""
    rows: list[TextRow] = [*_head(state), (), *_grid(state, width), ()]
    room = min(width - 1, MAX_SENTENCE_CELLS)
    for sentence in harp_sentences(state):
        rows += [((part, "text"),) for part in textwrap.wrap(sentence, room)]
    return [truncate(row, width) for row in rows[:height]]


class HarpChart(Canvas[HarpState]):
    """The harp chart."""

    def draw(self, state: HarpState, width: int, height: int) -> Sequence[TextRow]:
        """Draw as many rows as fit."""
        return harp_rows(state, width, height)
