"""A drill that was written down from a recording, and the harps that it may have been played on."""

from __future__ import annotations

from dataclasses import replace

from devtools import scripted
from trainer.drill import DrillRecording
from trainer.harp import Harp
from trainer.transcript import HarpGuess

HEARD = replace(
    scripted.DRILL,
    name="heard",
    recording=DrillRecording("heard.wav", tuple(0.5 * n for n in range(20)), doubtful=(2, 4)),
)
"""A drill with two doubtful notes; there are no files of it."""
PICKS = tuple(
    HarpGuess(Harp.of(key), position, probability, 0, 1.0, "", opening)
    for key, position, probability, opening in (
        ("C", 2, 0.7, "-4 -4' -4 -4 -4' -4'>-4 5 -5 -4 4"),
        ("F", 1, 0.2, "-2 -2' -2 -2 -2' -2'>-2 3 -3 -2 -2''"),
        ("Bb", 3, 0.06, "5 -4 5 5 -4 -4>5 -5 6 5 -4'"),
    )
)
"""Guesses of its harp, most likely first."""
