"""From a spec to a source: the one place where sound is opened."""

from __future__ import annotations

from trainer.drill import Drill
from trainer.harp import Harp
from trainer.sound.sources.source import DrillSetup, Source, SourceSpec


def open_source(
    spec: SourceSpec,
    *,
    drill: Drill | None = None,
    harp: Harp | None = None,
    tempo: float | None = None,
    bars: tuple[int, int] | None = None,
    count_in: int | None = None,
) -> Source:
    """Open the source that a spec names, ready to give blocks.

    Args:
        spec: which source.
        drill: what is to be played, as in :class:`trainer.sound.sources.source.DrillSetup`.
        harp: as in :class:`DrillSetup`.
        tempo: as in :class:`DrillSetup`.
        bars: as in :class:`DrillSetup`.
        count_in: as in :class:`DrillSetup`.

    Raises:
        SoundError: it cannot be opened; or the built-in player has nothing to play.
        DrillError: the drill has no such bars.
        HarpError: the harp cannot play a step.
    """
    return spec.open(DrillSetup(drill, harp, tempo, bars, count_in))
