"""The recording that a drill was written down from, to be played along with."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from trainer.drill.clock import RecordedTempo

MIN_BEATS, MAX_BEATS = 2, 4000
"""Number of beats of a recording. Chosen: up to ten minutes at 400 beats a minute."""
MIN_BEAT_S = 0.1
"""Shortest beat of a recording in seconds. Chosen: 600 beats a minute."""

MAX_TEMPO_RATIO = 1.5
"""Ratio of long beats to short ones, without the outermost tenths, over which a recording is in
free time. Chosen: a speed-up to half as fast again is still a tempo."""


@dataclass(frozen=True, slots=True)
class DrillRecording:
    """A recording and its beats.

    Attributes:
        file: its path as written in the drill file: absolute, or beside that file.
        times: (n,), n at least 2, seconds of its consecutive beats, ascending.
        first: the drill's number of the first of these beats; negative before the first full bar.
        channel: as in :class:`trainer.sound.RecordingSpec`.
        fade_db: by how much the harp in it is turned down, in dB.
        doubtful: numbers of the drill's notes, from 1, that were written down from it with doubt
            and nobody has checked by ear; ascending.
        second_doubtful: the same of its second part.
        folder: where the drill file lies; not part of the drill.
    """

    file: str
    times: tuple[float, ...]
    first: int = 0
    channel: int | None = None
    fade_db: float = 0.0
    doubtful: tuple[int, ...] = ()
    second_doubtful: tuple[int, ...] = ()
    folder: str = field(default="", compare=False)

    @property
    def path(self) -> Path:
        """Where the recording is."""
        return Path(self.folder) / self.file

    @property
    def is_in_free_time(self) -> bool:
        """Whether its long beats last too long beside its short ones for it to have a tempo."""
        lengths = sorted(after - before for before, after in pairwise(self.times))
        edge = len(lengths) // 10
        return lengths[-1 - edge] > MAX_TEMPO_RATIO * lengths[edge]

    def with_parts_swapped(self) -> DrillRecording:
        """Return it for the drill with its two parts in each other's place."""
        return replace(self, doubtful=self.second_doubtful, second_doubtful=self.doubtful)

    def beside(self, drill_file: Path) -> DrillRecording:
        """Return it as the recording of a drill in a file."""
        return replace(self, folder=str(drill_file.parent))

    def moved_beside(self, drill_file: Path) -> DrillRecording:
        """Return it for a drill in another file: relative to its folder if it lies in that."""
        path, folder = self.path.resolve(), drill_file.resolve().parent
        file = path.relative_to(folder).as_posix() if path.is_relative_to(folder) else str(path)
        return replace(self, file=file).beside(drill_file)

    def second(self, beat: Fraction | float) -> float:
        """Return the time of a beat in the recording, in seconds; before its start it is below 0.

        Beyond the known beats, the tempo is that of the nearest ones.
        """
        return RecordedTempo(self.first, self.times).elapsed(float(beat))

    def beat(self, second: float) -> float:
        """Return the beat at a time of the recording in seconds; the inverse of :meth:`second`."""
        return RecordedTempo(self.first, self.times).beat(second)

    def tempo_map(self, tempo: float) -> RecordedTempo:
        """Return its tempo in relation to a drill's.

        Args:
            tempo: the drill's beats per minute.
        """
        return RecordedTempo(self.first, tuple(time * tempo / 60.0 for time in self.times))
