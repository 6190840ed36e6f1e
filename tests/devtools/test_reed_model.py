"""The simulated pair of reeds bends as far as published models and players say."""

from __future__ import annotations

import numpy as np
import pytest

from devtools.reed_model import Blown, natural, simulate, sounding

HZ = 587.0


@pytest.fixture(scope="module")
def bends() -> dict[int, np.ndarray]:
    """Half steps from the higher reed, by interval of the two and falling pitch of the mouth."""
    mouths = np.linspace(9.0, -6.0, 11)
    intervals = np.repeat([1, 2, 3, 4], len(mouths))
    closing = np.full(len(intervals), HZ)
    mouth = HZ * 2.0 ** (np.tile(mouths, 4) / 12.0)
    blown = Blown(closing, HZ * 2.0 ** (-intervals / 12.0), np.full(len(closing), 500.0), mouth)
    course = simulate(blown, 0.18, min_rate=60_000.0, steps_per_period=100)
    ends = [sounding(course, case, HZ, 4) for case in range(len(closing))]
    loud = np.array([end.closing + end.opening > 1e-4 for end in ends])
    steps = np.array([12.0 * np.log2(end.hz / HZ) for end in ends])
    steps[~loud] = np.nan
    return {interval: steps[intervals == interval] for interval in (1, 2, 3, 4)}


def test_the_reed_sounds_slightly_flat_with_an_open_mouth(bends: dict[int, np.ndarray]) -> None:
    assert all(-0.4 < steps[0] < 0.05 for steps in bends.values())


@pytest.mark.parametrize("interval", [1, 2, 3, 4])
def test_a_bend_ends_above_the_opening_reed(bends: dict[int, np.ndarray], interval: int) -> None:
    """Nominally a half step above it (Johnston 1987), which must be within reach."""
    deepest = float(np.nanmin(bends[interval]))
    assert -interval < deepest < -(interval - 1) - 0.1


def test_the_pitch_follows_the_mouth_without_a_gap(bends: dict[int, np.ndarray]) -> None:
    steps = bends[3]
    on_the_way = steps[: int(np.nanargmin(steps)) + 1]
    assert np.all(np.diff(on_the_way) < 0.05)
    assert -np.min(np.diff(on_the_way)) < 1.0


def test_a_louder_breath_makes_a_wider_swing() -> None:
    blown = natural(np.full(2, HZ), 2.0, np.array([300.0, 600.0]))
    course = simulate(blown, 0.18, min_rate=60_000.0, steps_per_period=100)
    soft, loud = (sounding(course, case, HZ, 8) for case in (0, 1))
    assert loud.closing > 1.2 * soft.closing
    assert abs(loud.partials[0]) > 1.2 * abs(soft.partials[0])
