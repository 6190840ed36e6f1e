"""The readings of a take, kept compactly: 50 bytes each, so an hour takes some 50 MB at most."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.ear import Reading
from trainer.harp import HOLES, Tab
from trainer.marking.target import absolute_cents, sounding_mask

_FIRST_ROOM = 4096
_FIELDS: dict[str, tuple[type[np.generic], float]] = {
    "sample": (np.int64, 0),
    "onset": (np.int64, -1),
    "pitch": (np.float64, np.nan),
    "reeds": (np.int32, 0),
    "name": (np.int16, -1),
}


class ReadingHistory:
    """The readings so far, as columns.

    Attributes (arrays with a row for each reading; those beyond `len` are not used yet):
        sample: centre of what was analysed.
        onset: sample of the attack that became known with the reading; -1 for none.
        pitch: cents from A4 = 440 Hz; NaN where there is none.
        reeds: the holes that sound, as in :mod:`trainer.marking.target`.
        name: which of `names` was heard; -1 for none.
        pitches: by number of reading, (hole, cents from A4 = 440 Hz) of each reed, where several
            sounded.
        levels: dB of each of the ten holes relative to the main one; NaN where not measured.
    """

    sample: NDArray[np.int64]
    onset: NDArray[np.int64]
    pitch: NDArray[np.float64]
    reeds: NDArray[np.int32]
    name: NDArray[np.int16]
    levels: NDArray[np.float16]

    def __init__(self) -> None:
        self._count = 0
        for field, (kind, empty) in _FIELDS.items():
            setattr(self, field, np.full(_FIRST_ROOM, empty, kind))
        self.levels = np.full((_FIRST_ROOM, len(HOLES)), np.nan, np.float16)
        self.names: list[tuple[Tab, ...]] = []
        self.pitches: dict[int, tuple[tuple[int, float], ...]] = {}
        self._number_of: dict[tuple[Tab, ...], int] = {}

    def __len__(self) -> int:
        return self._count

    def append(self, reading: Reading) -> None:
        """Keep a reading."""
        i = self._count
        if i == len(self.sample):
            self._grow()
        self._count += 1
        self.sample[i] = reading.sample
        if reading.onset is not None:
            self.onset[i] = reading.onset
        if reading.hz is not None:
            self.pitch[i] = absolute_cents(reading.hz)
        if len(reading.pitches) > 1:
            self.pitches[i] = tuple((hole, absolute_cents(hz)) for hole, hz in reading.pitches)
        self.reeds[i] = sounding_mask(reading)
        if reading.tab is not None:
            self.name[i] = self._number((reading.tab, *reading.also))
            self._keep_levels(i, reading, reading.tab)

    def _number(self, tabs: tuple[Tab, ...]) -> int:
        number = self._number_of.setdefault(tabs, len(self.names))
        if number == len(self.names):
            self.names.append(tabs)
        return number

    def _keep_levels(self, i: int, reading: Reading, main: Tab) -> None:
        row = self.levels[i]
        row[main.hole - 1] = 0.0
        if reading.leak_db is not None and reading.leak_hole is not None:
            row[reading.leak_hole - 1] = reading.leak_db
        for hole, level in reading.levels:
            row[hole - 1] = level

    def _grow(self) -> None:
        """Make room for as many again."""
        for field, (_, empty) in _FIELDS.items():
            setattr(self, field, _doubled(getattr(self, field), empty))
        self.levels = _doubled(self.levels, np.nan)


def _doubled(column: NDArray[Any], empty: float) -> NDArray[Any]:
    return np.concatenate([column, np.full_like(column, empty)])
