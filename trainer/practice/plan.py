"""What is to be played."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from trainer.coach import DURATION, present_tolerance
from trainer.drill import Climb, Drill
from trainer.harp import Harp
from trainer.sound import SourceSpec, trainer_notes
from trainer.store import Journal, JournalError, TakeRecord


@dataclass(frozen=True, slots=True)
class HandsFree:
    """How the passes of a take begin without a key.

    Attributes:
        first_s: time in seconds after which the first pass begins by itself, unless a note begins
            it before; 0 begins it at once, and None waits for a note.
        between_s: the same between two passes, after the last note has rung out.
    """

    first_s: float | None = None
    between_s: float = DURATION.between_takes_s


def follow_obstacle(drill: Drill) -> str:
    """Return why a player cannot keep their own time in a drill; empty if they can."""
    if drill.free:
        return f"{drill.name} has no beat and waits for you"
    if drill.solos:
        return f"the solos of {drill.name} are judged in time with a click"
    if trainer_notes(drill):
        return f"the trainer plays in {drill.name}, and needs the click for it"
    if drill.recording:
        return f"the recording of {drill.name} has its own time"
    return ""


@dataclass(frozen=True, slots=True)
class Plan:
    """One take, before it is played. It is pickled to the listener's process.

    Attributes:
        harp: the selected harp.
        source: where the sound comes from.
        drill: what is to be played; None only listens.
        tempo: beats per minute at the start; None takes the drill's own.
        bars: first and last bar to play, counted from 1; None plays all, or those that the drill
            loops.
        loop: whether to start again at the first bar after the last, until stopped; None follows
            the drill, if the source is live.
        hands_free: how passes begin without a key, again and again until stopped; None for one
            after the other in time if it loops, else for one pass.
        climb: how the tempo changes from pass to pass of a loop; None follows the drill, and a
            climb by 0 keeps the tempo.
        count_in: beats of count-in; None is `Drill.count_in_beats`.
        start: for a recording, the second on which the drill's first beat falls; None takes what
            the take was saved with, or searches for it.
        click: whether a recording was played to a click at the tempo; else it is searched for the
            player's own beat. Saved takes and recordings with a `start` have a click.
        follow: whether the player keeps their own time, without a click, and is followed as they
            play, in a drill that allows it. Such a take is one pass or more, and does not loop.
        as_played: whether a recording that is played on a harp of another key is marked on that
            harp.
        save: where to save the sound of the take (FLAC); None does not save it.
        journal: the journal that stores the result of each pass; None for none.
        player: who plays.
        harp_name: the player's name for the selected harp, if it is an own harp.
        tolerance: tolerance in cents instead of the one that the player has reached.
        scratch: a folder in which the sound is kept until the next take, to be heard again; None
            keeps none.
        keeps_sound: whether the sound is kept in `scratch`. A playback keeps none, so that the
            sound of the take before stays.
        sound_mb: megabytes that the journal's sounds may take; None stores no sound in it.
    """

    harp: Harp
    source: SourceSpec
    drill: Drill | None = None
    tempo: float | None = None
    bars: tuple[int, int] | None = None
    loop: bool | None = None
    hands_free: HandsFree | None = None
    climb: Climb | None = None
    count_in: int | None = None
    start: float | None = None
    click: bool = False
    follow: bool = False
    as_played: bool = False
    save: Path | None = None
    journal: Path | None = None
    player: str = ""
    harp_name: str | None = None
    sound_mb: float | None = None
    tolerance: float | None = None
    scratch: Path | None = None
    keeps_sound: bool = True

    @property
    def loops(self) -> bool:
        """Whether passes follow each other until stopped."""
        drill = self.drill
        if self.follows:
            return False
        if self.loop is not None or drill is None:
            return bool(self.loop)
        wanted = drill.loop is not None or self.ladder is not None
        return wanted and self.source.is_live

    @property
    def follows(self) -> bool:
        """Whether the player keeps their own time in this drill, and is followed."""
        return self.follow and self.drill is not None and not follow_obstacle(self.drill)

    @property
    def is_seamless(self) -> bool:
        """Whether the count-in of a pass follows in time on the last bar of the one before."""
        return self.loops and self.ladder is None and self.hands_free is None

    @property
    def ladder(self) -> Climb | None:
        """How the tempo changes where passes follow each other; None where it stays.

        A recording that is played along with keeps its tempo for the take.
        """
        climb = self.climb or (self.drill.climb if self.drill else None)
        plays_along = self.drill is not None and self.drill.recording is not None
        return climb if climb and climb.by and not plays_along else None

    @property
    def played_bars(self) -> tuple[int, int] | None:
        """First and last bar that are played; None for all."""
        if self.bars is not None or self.drill is None:
            return self.bars
        return self.drill.loop if self.loops else None

    def entry_bar(self, first: int) -> int:
        """Return the bar that the count-in leads to where a pass begins with a step.

        It is the bar of the step. For the first step that is played it is the first bar that is
        played, which may begin with rests.

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
        """Beats per minute of the first pass; 60 when only listening."""
        if self.tempo is not None:
            return self.tempo
        return self.drill.tempo if self.drill else 60.0

    def at_present_tolerance(self) -> Plan:
        """Return the plan with its drill at the tolerance that the player has reached.

        Without a journal, that is the tolerance of a new player.
        """
        if self.drill is None or (self.tolerance is None and self.drill.tightening is None):
            return self
        cents = self.tolerance
        if cents is None:
            cents = present_tolerance(self.drill, self._takes(self.drill.name))
        return replace(self, drill=self.drill.at_tolerance(cents))

    def _takes(self, drill: str) -> list[TakeRecord]:
        """Takes of a drill in the journal; none where it cannot be read."""
        with suppress(JournalError):
            if self.journal is not None:
                with Journal(self.journal) as journal:
                    return journal.takes(player=self.player, drill=drill, steps=False)
        return []
