"""Own harps: how each is tuned, and how its reeds change over time.

Names are imported on first use, because most commands need no history of reeds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr

if TYPE_CHECKING:
    from trainer.reedcare.own_harps import (
        check_harp_name,
        find_own_harp,
        forget_own_harp,
        harp_to_measure,
        list_own_harps,
        measured_harp,
        measured_pitches,
        nominal_harp,
        select_harp,
    )
    from trainer.reedcare.reed_history import (
        REED_WATCH,
        DailyPitches,
        Detuning,
        ReedHistory,
        ReedNote,
        ReedState,
        reed_histories,
        upper_median,
    )
    from trainer.reedcare.reed_watch import HarpWatch, watch_harp
else:
    __getattr__ = lazy_getattr(
        __name__,
        {
            "own_harps": [
                "check_harp_name",
                "find_own_harp",
                "forget_own_harp",
                "harp_to_measure",
                "list_own_harps",
                "measured_harp",
                "measured_pitches",
                "nominal_harp",
                "select_harp",
            ],
            "reed_history": [
                "REED_WATCH",
                "DailyPitches",
                "Detuning",
                "ReedHistory",
                "ReedNote",
                "ReedState",
                "reed_histories",
                "upper_median",
            ],
            "reed_watch": ["HarpWatch", "watch_harp"],
        },
    )

__all__ = [
    "REED_WATCH",
    "DailyPitches",
    "Detuning",
    "HarpWatch",
    "ReedHistory",
    "ReedNote",
    "ReedState",
    "check_harp_name",
    "find_own_harp",
    "forget_own_harp",
    "harp_to_measure",
    "list_own_harps",
    "measured_harp",
    "measured_pitches",
    "nominal_harp",
    "reed_histories",
    "select_harp",
    "upper_median",
    "watch_harp",
]
