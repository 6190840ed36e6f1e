"""The dials of every screen that follows a take: gauge, readout and hole strip."""

from __future__ import annotations

from textual.widget import Widget

from trainer.app.take_state import TakeState
from trainer.app.widgets.gauge import Gauge, GaugeState
from trainer.app.widgets.hole_strip import HoleStrip, HoleStripState
from trainer.app.widgets.readout import Readout, ReadoutState


class Dials:
    """Gauge, readout and hole strip. Not a container widget: that costs a paint every frame."""

    def __init__(self) -> None:
        self._gauge = Gauge(id="gauge")
        self._readout = Readout(id="readout")
        self._holes = HoleStrip(id="holes")

    @property
    def widgets(self) -> tuple[Widget, ...]:
        """The widgets that a screen yields."""
        return self._gauge, self._readout, self._holes

    def show(self, take: TakeState) -> None:
        """Show a take."""
        reading = take.displayed
        self._gauge.show(GaugeState.of(reading))
        self._readout.show(ReadoutState.of(take))
        self._holes.show(HoleStripState.of(reading))
