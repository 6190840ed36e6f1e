"""Seasons of practice whose trends are known, for the tests of trends.

The players are of an evening class in Skarvehavn. Harder drills come later in the season. Errors
are normal, with a standard deviation for each note that falls at a known rate; evenings and takes
are better or worse as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.support.evenings import TODAY
from trainer.coach.step_table import StepTable
from trainer.coach.trend_model import TrendModel

MEAN_ABS = (2.0 / np.pi) ** 0.5
"""Mean of the absolute value of a standard normal variable."""
ENTRIES = {
    **{f"{hole}": 6.0 for hole in (4, 5, 6, 7)},
    **{f"-{hole}": 8.0 for hole in (1, 2, 4, 5)},
    **{"-1'": 16.0, "-4'": 14.0, "-2''": 20.0, "-3''": 22.0, "-6'": 15.0},
}
"""Standard deviation of each entry's error in cents, at the end of the season."""


@dataclass(frozen=True)
class Season:
    """A simulated season.

    Attributes:
        model: the model of its steps.
        names: name of the entry of each step's index.
        gain: true gain in cents per 28 days of each entry, by index.
        drill: drill of each step.
    """

    model: TrendModel
    names: tuple[str, ...]
    gain: np.ndarray
    drill: np.ndarray

    def rows(self, name: str) -> np.ndarray:
        """Steps of an entry, as a mask."""
        return np.asarray(self.model.entry == self.names.index(name))


def season(
    rng: np.random.Generator,
    *,
    gain: float = 0.0,
    gaining: str = "",
    days: int = 38,
    span: int = 42,
    night: float = 0.15,
    take: float = 0.1,
) -> Season:
    """Make a season.

    Args:
        rng: random generator.
        gain: true gain in cents per 28 days.
        gaining: what entries that gain have in their name; empty for all.
        days: days of practice.
        span: days of the season.
        night: standard deviation of the logarithm of the errors' size from evening to evening.
        take: the same from take to take.
    """
    names = tuple(ENTRIES)
    sd = np.array(list(ENTRIES.values()))
    rate = np.array([gain if gaining in name else 0.0 for name in names])
    drills = [rng.choice(len(names), 5, replace=False) for _ in range(30)]
    harder = np.linspace(1.0, 1.6, len(drills))
    back = np.sort(rng.choice(span, days, replace=False))[::-1]
    parts = []
    take_number = 0
    for day in back:
        evening = night * rng.normal()
        known = max(4, round(len(drills) * (1.0 - day / span)))
        for drill in rng.choice(range(max(0, known - 15), known), 4):
            for _ in range(2):
                step = np.tile(drills[drill], 4)
                mood = np.exp(evening + take * rng.normal())
                scale = (sd[step] * harder[drill] + rate[step] * day / 28.0 / MEAN_ABS) * mood
                parts.append(
                    np.column_stack(
                        [
                            np.full(len(step), TODAY.toordinal() - day),
                            np.full(len(step), take_number),
                            step,
                            np.full(len(step), drill),
                            scale * rng.normal(size=len(step)),
                        ]
                    )
                )
                take_number += 1
    table = np.concatenate(parts)
    day_, take_, step_, drill_ = table[:, :4].astype(np.int64).T
    cents = table[:, 4]
    values = {
        "cents": np.abs(cents),
        "bias_cents": cents,
        "in_tune": (np.abs(cents) < 15.0).astype(float),
        "score": np.clip(100.0 - 2.0 * np.abs(cents), 0.0, 100.0),
    }
    steps = StepTable(day_, take_, step_, values)
    kinds = np.array([("-" in name) + 2 * ("'" in name) for name in names])
    model = TrendModel(
        steps, drill_ * len(names) + step_, step_, (kinds[step_], drill_ // 8), TODAY
    )
    return Season(model, names, rate, drill_)
