"""Find a count-off before the music: spoken numbers, stick clicks or foot taps.

A count-off is a row of three to eight sounds at equal distances which are no reeds', with nothing
as loud between them, after which the music begins. The sounds are found in the level: each begins
where the level has come near to its peak, which for spoken words lies near their perceptual centre,
the beginning of the vowel (Marcus 1981, Perception and Psychophysics 30).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats


@dataclass(frozen=True, slots=True)
class CountOffParameters:
    """Constants of the search, chosen by hand on voices and clicks of tests/transcript."""

    hop_s: float = 0.005
    """Distance between levels, seconds."""
    window_s: float = 0.02
    """Length of the window of a level, seconds."""
    before_s: float = 15.0
    """Maximum time before the first note in which a count-off is searched, seconds."""
    after_s: float = 0.2
    """Time after the start of the first note whose level counts as well, seconds."""
    rise_db: float = 9.0
    """Minimum rise of the level at a sound, dB."""
    rise_s: float = 0.08
    """Time within which it rises, seconds."""
    peak_s: float = 0.15
    """Time after the rise within which the sound reaches its peak, seconds."""
    begin_db: float = -9.0
    """Level re the peak at which a sound begins, dB."""
    quiet_db: float = -22.0
    """Level re the loudest sound below which there is none, dB."""
    min_gap_s: float = 0.13
    """Minimum distance between two sounds, seconds."""
    period_s: tuple[float, float] = (0.27, 1.5)
    """Shortest and longest distance of two counts, seconds: 220 to 40 a minute."""
    off_s: float = 0.05
    """Maximum deviation of a count, seconds."""
    off_fraction: float = 0.06
    """The same as a fraction of the distance between counts."""
    counts: tuple[int, ...] = (8, 6, 4, 3)
    """Numbers of counts, most first."""
    wait_counts: float = 9.5
    """Maximum time from the last count to the first note, counts."""
    pick_up_counts: float = 0.3
    """Time after the last count from which a note may be a pick-up, counts."""

    @property
    def shortest_s(self) -> float:
        """Shortest time from the start of a recording to music after a count-off, seconds."""
        return (min(self.counts) - 1 + self.pick_up_counts) * self.period_s[0]


COUNT_OFF = CountOffParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class CountOff:
    """A count-off.

    Attributes:
        times: seconds of the counts.
        period: seconds from count to count.
    """

    times: tuple[float, ...]
    period: float

    @property
    def first_beat(self) -> float:
        """Second of the first beat after the count-off."""
        return self.times[-1] + self.period

    @property
    def music(self) -> float:
        """Second from which notes are music: pick-ups begin after the last count."""
        return self.times[-1] + COUNT_OFF.pick_up_counts * self.period


def find_count_off(samples: Floats, rate: float, first: float) -> CountOff | None:
    """Return the count-off before the music, if there is one.

    Args:
        samples: the sound up to `after_s` past the first note or further, shape (n,); any scale.
        rate: samples per second.
        first: second at which the first note begins that is surely played by reeds.

    Returns:
        The last row of counts before the first note; None without one.
    """
    p = COUNT_OFF
    begin = max(0.0, first - p.before_s)
    until = min(len(samples) / rate, first + p.after_s)
    inside = samples[round(begin * rate) : round(until * rate)]
    sounds = [begin + at for at in _sounds(inside, rate) if begin + at < first - p.off_s]
    for count in p.counts:
        if len(sounds) < count:
            continue
        count_off = _row(np.array(sounds[-count:]), first)
        if count_off is not None:
            return count_off
    return None


def _row(times: Floats, first: float) -> CountOff | None:
    """The count-off of these sounds if they are equally spaced and the music follows."""
    p = COUNT_OFF
    index = np.arange(len(times))
    period, start = np.polyfit(index, times, 1)
    off = float(np.max(np.abs(times - (start + period * index))))
    steady = off <= max(p.off_s, p.off_fraction * period)
    usual = p.period_s[0] <= period <= p.period_s[1]
    wait = (first - times[-1]) / period
    if not (steady and usual and p.pick_up_counts <= wait <= p.wait_counts):
        return None
    fitted = tuple(float(start + period * i) for i in index)
    return CountOff(fitted, float(period))


def _sounds(samples: Floats, rate: float) -> list[float]:
    """Seconds at which sounds begin."""
    p = COUNT_OFF
    hop, window = round(p.hop_s * rate), round(p.window_s * rate)
    if len(samples) < 2 * window:
        return []
    power = np.convolve(samples**2, np.ones(window) / window, "same")[::hop]
    level = 10.0 * np.log10(power + 1e-12)
    rise, peak = round(p.rise_s / p.hop_s), round(p.peak_s / p.hop_s)
    times: list[float] = []
    loudest = float(level.max())
    i = rise
    while i < len(level):
        low = float(level[i - rise : i].min())
        if level[i] - low < p.rise_db or level[i] < loudest + p.quiet_db:
            i += 1
            continue
        top = float(level[i : i + peak].max())
        near = i + int(np.argmax(level[i : i + peak] >= top + p.begin_db))
        at = near * p.hop_s
        if not times or at - times[-1] >= p.min_gap_s:
            times.append(at)
        i = near + round(p.min_gap_s / p.hop_s)
    return times
