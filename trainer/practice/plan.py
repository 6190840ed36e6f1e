"""What is to be played."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trainer.drill import Drill
from trainer.harp import Harp
from trainer.sound import SourceSpec


@dataclass(frozen=True, slots=True)
class Plan:
    """One take, before it is played. Travels to the listener's process whole.

    Attributes:
        harp: the harp in hand.
        source: where the sound comes from.
        drill: what is to be played; None only listens.
        tempo: beats a minute; None takes the drill's own.
        bars: first and last bar to play, from 1; None plays all.
        loop: whether to start again at the first bar when the last is done, until stopped.
        count_in: beats of count-in; None is one bar.
        start: for a recording, the second on which the drill's first beat falls; None takes what
            the take was saved with, or finds it.
        save: where to keep the sound of the take (FLAC), if anywhere.
    """

    harp: Harp
    source: SourceSpec
    drill: Drill | None = None
    tempo: float | None = None
    bars: tuple[int, int] | None = None
    loop: bool = False
    count_in: int | None = None
    start: float | None = None
    save: Path | None = None
