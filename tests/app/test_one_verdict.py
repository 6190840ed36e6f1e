"""The number, the needle and the words of one frame say the same."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from tests.reeds.excerpts import path_of
from trainer.app.display_smoothing import DisplayedReading, DisplaySmoother
from trainer.app.widgets.gauge import FLAT, SHARP, GaugeState, half_cell, needle_row
from trainer.app.widgets.readout import readout_of
from trainer.drill import find_drill
from trainer.harp import Harp, Tab
from trainer.practice import Plan, ReadingHeard, run_take
from trainer.sound import Fault, PlayerSpec, RecordingSpec

FRAME_S = 1 / 60
WIDTH = 100
NEEDLES = "█▐▌"
FAULTS = {
    i: Fault(cents=cents, scoop_cents=70.0, wobble_cents=4.0)
    for i, cents in enumerate((9.0, -9.0, 14.0, 10.4, -10.6, 0.3, 30.0, -28.0, 11.0))
}


def frames(plan: Plan, wanted: Tab | None, tolerance: float) -> Iterator[DisplayedReading]:
    """What is displayed, frame by frame."""
    smoother = DisplaySmoother(plan.harp, tolerance)
    next_frame = 0.0
    for event in run_take(plan):
        if not isinstance(event, ReadingHeard):
            continue
        reading = event.reading
        smoother.add(reading, (wanted,) if wanted else ())
        if reading.heard / reading.rate >= next_frame:
            next_frame = reading.heard / reading.rate + FRAME_S
            yield smoother.displayed


PLANS = {
    "built-in player": Plan(
        Harp.of("C"), PlayerSpec(faults=FAULTS), drill=find_drill("half-step-on-four")
    ),
    "recorded reeds": Plan(Harp.of("C"), RecordingSpec(path_of("bends"))),
}


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("tolerance", [10.0, 15.0])
def test_number_needle_and_words_agree_in_every_frame(name: str, tolerance: float) -> None:
    room = WIDTH - len(FLAT) - len(SHARP)
    band = [half_cell(side * tolerance, room) // 2 for side in (-1, 1)]
    seen = {"good": 0, "flat": 0, "sharp": 0}
    for displayed in frames(PLANS[name], None, tolerance):
        readout = readout_of(displayed)
        if displayed.state not in seen or displayed.pitch_pending:
            continue
        seen[displayed.state] += 1
        match = re.search(r"(\d+) cents? (flat|sharp)", readout.words)
        number = 0 if match is None else int(match[1]) * (-1 if match[2] == "flat" else 1)
        assert ("in tune" in readout.words) == (abs(number) <= tolerance)
        if readout.second == "IN TUNE":
            assert "in tune" in readout.words
        else:
            assert readout.second == f"{abs(number)} {'FLAT' if number < 0 else 'SHARP'}"
        text = "".join(part for part, _ in needle_row(GaugeState.of(displayed), WIDTH))
        text = text[len(FLAT) : len(FLAT) + room]
        if abs(number) > 50:
            assert text[:2] == "◀◀" or text[-2:] == "▶▶"
            continue
        cells = [x for x, cell in enumerate(text) if cell in NEEDLES]
        assert cells[0] == half_cell(number, room) // 2
        if "in tune" in readout.words:
            assert band[0] <= cells[0] <= band[1]
    assert sum(seen.values()) > 100
    assert seen["good"]
