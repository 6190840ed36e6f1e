"""The readings of a pass as columns: 62 bytes a reading, some 60 MB an hour."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.ear import LEVEL_WINDOW_S, MINIMUM_LEVEL_DB, Reading
from trainer.harp import HOLES, Tab
from trainer.marking.target import absolute_cents, sounding_mask

_FIRST_CAPACITY = 4096
"""Readings that fit before the columns grow: 20 s."""
_FIELDS: dict[str, tuple[type[np.generic], float]] = {
    "sample": (np.int64, 0),
    "level_at": (np.int64, 0),
    "level": (np.float32, MINIMUM_LEVEL_DB),
    "onset": (np.int64, -1),
    "pitch": (np.float64, np.nan),
    "reeds": (np.int32, 0),
    "name": (np.int16, -1),
    "level_db": (np.float32, -120.0),
}


class ReadingHistory:
    """The readings so far, as columns.

    Arrays have a row for each reading. Rows from ``len(history)`` on are not filled yet.

    Attributes:
        sample: centre of the analysis window.
        level_at: centre of the window of the level, which is shorter.
        level: RMS level in dB re full scale.
        onset: sample of the attack that was detected with the reading; -1 for none.
        pitch: cents from A4 = 440 Hz; NaN where there is none.
        reeds: bit mask of the sounding reeds, as in :mod:`trainer.marking.target`.
        name: index in `names`; -1 where no entry was identified.
        names: entries that the ear has identified. Several in one item share a pitch.
        pitches: by index of the reading, where several reeds sounded: (hole, cents from
            A4 = 440 Hz) of each.
        level_db: RMS level in dB re full scale.
        levels: level in dB of each of the ten holes relative to the main one; NaN where not
            measured.
    """

    sample: NDArray[np.int64]
    level_at: NDArray[np.int64]
    level: NDArray[np.float32]
    onset: NDArray[np.int64]
    pitch: NDArray[np.float64]
    reeds: NDArray[np.int32]
    name: NDArray[np.int16]
    level_db: NDArray[np.float32]
    levels: NDArray[np.float16]

    def __init__(self) -> None:
        self._count = 0
        for field, (dtype, empty) in _FIELDS.items():
            setattr(self, field, np.full(_FIRST_CAPACITY, empty, dtype))
        self.levels = np.full((_FIRST_CAPACITY, len(HOLES)), np.nan, np.float16)
        self.names: list[tuple[Tab, ...]] = []
        self.pitches: dict[int, tuple[tuple[int, float], ...]] = {}
        self._index_of: dict[tuple[Tab, ...], int] = {}

    def __len__(self) -> int:
        return self._count

    def append(self, reading: Reading) -> None:
        """Add a reading."""
        i = self._count
        if i == len(self.sample):
            self._grow()
        self._count += 1
        self.sample[i] = reading.sample
        self.level_at[i] = reading.heard - round(0.5 * LEVEL_WINDOW_S * reading.rate)
        self.level[i] = reading.level_db
        if reading.onset is not None:
            self.onset[i] = reading.onset
        if reading.hz is not None:
            self.pitch[i] = absolute_cents(reading.hz)
        if len(reading.pitches) > 1:
            self.pitches[i] = tuple((hole, absolute_cents(hz)) for hole, hz in reading.pitches)
        self.reeds[i] = sounding_mask(reading)
        self.level_db[i] = reading.level_db
        if reading.tab is not None:
            self.name[i] = self._name_index((reading.tab, *reading.also))
            self._store_levels(i, reading, reading.tab)

    def _name_index(self, tabs: tuple[Tab, ...]) -> int:
        index = self._index_of.setdefault(tabs, len(self.names))
        if index == len(self.names):
            self.names.append(tabs)
        return index

    def _store_levels(self, i: int, reading: Reading, main: Tab) -> None:
        row = self.levels[i]
        row[main.hole - 1] = 0.0
        if reading.leak_db is not None and reading.leak_hole is not None:
            row[reading.leak_hole - 1] = reading.leak_db
        for hole, level in reading.levels:
            row[hole - 1] = level

    def _grow(self) -> None:
        """Double the capacity."""
        for field, (_, empty) in _FIELDS.items():
            setattr(self, field, _doubled(getattr(self, field), empty))
        self.levels = _doubled(self.levels, np.nan)


def _doubled(column: NDArray[Any], empty: float) -> NDArray[Any]:
    return np.concatenate([column, np.full_like(column, empty)])
