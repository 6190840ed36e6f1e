"""What is to be played."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trainer.drill import Climb, Drill
from trainer.harp import Harp
from trainer.sound import MicrophoneSpec, SourceSpec


@dataclass(frozen=True, slots=True)
class Plan:
    """One take, before it is played. Travels to the listener's process whole.

    Attributes:
        harp: the harp in hand.
        source: where the sound comes from.
        drill: what is to be played; None only listens.
        tempo: beats a minute to begin with; None takes the drill's own.
        bars: first and last bar to play, from 1; None plays all, or those that the drill loops.
        loop: whether to start again at the first bar when the last is done, until stopped; None
            does what the drill says, when a microphone listens.
        climb: how the tempo climbs from pass to pass of a loop; None does what the drill says,
            and one that climbs by 0 leaves it as it is.
        count_in: beats of count-in; None is one bar.
        start: for a recording, the second on which the drill's first beat falls; None takes what
            the take was saved with, or finds it.
        save: where to keep the sound of the take (FLAC), if anywhere.
        journal: the journal that remembers each pass; None for none.
        player: who plays.
        harp_name: what the player calls the harp in hand, if it is one of their own.
        scratch: a folder where the sound is left to be heard again, until the next take; None
            leaves none.
        sound_mb: megabytes that the journal's sounds may take; None keeps no sound in it.
    """

    harp: Harp
    source: SourceSpec
    drill: Drill | None = None
    tempo: float | None = None
    bars: tuple[int, int] | None = None
    loop: bool | None = None
    climb: Climb | None = None
    count_in: int | None = None
    start: float | None = None
    save: Path | None = None
    journal: Path | None = None
    player: str = ""
    harp_name: str | None = None
    sound_mb: float | None = None
    scratch: Path | None = None

    @property
    def loops(self) -> bool:
        """Whether passes follow each other until stopped."""
        drill = self.drill
        if self.loop is not None or drill is None:
            return bool(self.loop)
        asked = drill.loop is not None or self.ladder is not None
        return asked and isinstance(self.source, MicrophoneSpec)

    @property
    def ladder(self) -> Climb | None:
        """How the tempo climbs where passes follow each other; None where it stays."""
        climb = self.climb or (self.drill.climb if self.drill else None)
        return climb if climb and climb.by else None

    @property
    def played_bars(self) -> tuple[int, int] | None:
        """First and last bar that are played; None for all."""
        if self.bars is not None or self.drill is None:
            return self.bars
        return self.drill.loop if self.loops else None

    def entered(self, first: int) -> int:
        """The bar that the count-in leads to where a pass begins with a step.

        It is that of the step, but where that is the first to be played, the first that is played:
        it may begin with a bar of rests.

        Args:
            first: index of the step.
        """
        assert self.drill is not None
        bars = self.played_bars or (1, self.drill.bars)
        if first == self.drill.step_range(*bars).start:
            return bars[0]
        return self.drill.steps[first].bar

    @property
    def first_tempo(self) -> float:
        """Beats a minute of the first pass; 60 when only listening."""
        if self.tempo is not None:
            return self.tempo
        return self.drill.tempo if self.drill else 60.0
