"""A stored round trip of a click, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trainer.sound import RoundTrip
    from trainer.store import Calibration


def calibration_text(calibration: Calibration, trip: RoundTrip | None) -> str:
    """Describe a stored round trip in two or three lines.

    Args:
        calibration: what was stored.
        trip: how it was measured; None if the player gave it.
    """
    how = "as entered"
    if trip is not None:
        how = (
            f"± {calibration.spread_ms:.1f} ms from click to click, {trip.heard} of "
            f"{trip.clicks} heard"
        )
    lines = [
        f"round trip {calibration.latency_ms:.1f} ms, {how}",
        f"stored for input {calibration.input} with output {calibration.output} at "
        f"{calibration.rate} Hz",
    ]
    if "default" in (calibration.input, calibration.output):
        lines.append("'default' is the system's choice: calibrate again after changing devices")
    return "\n".join(lines)
