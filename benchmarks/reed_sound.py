"""Features of the sound of one reed, the same for recorded and for synthesized ones.

Conventions. A note begins on sample 0 or later, is held for at least 1 s, and has one reed. Levels
are in dB re the RMS of the held note. Times are seconds from the first sample within 40 dB of the
peak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats

PARTIALS = 12
"""Partials whose levels are compared."""
TOP_HZ = 10_000.0
"""Highest partial that is compared, in hertz."""
FLOOR_DB = -60.0
"""Levels below this count as this: nobody hears them beside the others."""
GLIDE_S = (0.02, 0.03, 0.04, 0.06, 0.08, 0.1)
"""Times at which the pitch of an attack is read."""
SOFT_DB = (-18.0, -12.0, -6.0)
"""Levels of an attack re the held note at which its partials are read."""
HELD = (0.40, 0.60)
"""Part of a note in which it is held, in seconds: before the loops of most samples end."""


@dataclass(frozen=True)
class Features:
    """What is compared of a note.

    Attributes:
        hz: median f0 while it is held.
        levels_db: levels of the partials while it is held, shape (`PARTIALS`,); NaN above `TOP_HZ`.
        rise_s: time in which the level rises from -20 dB to -1 dB.
        half_rise_s: time in which it rises from -20 to -6 dB.
        glide_cents: pitch at the times `GLIDE_S` re the held one; NaN where no window fits.
        soft_db: levels of the partials re the fundamental at `SOFT_DB` in the attack, less those
            while it is held, shape (3, `PARTIALS`).
        noise_db: level of what lies between the partials from 1 to 10 kHz; NaN where they leave no
            room.
    """

    hz: float
    levels_db: Floats
    rise_s: float
    half_rise_s: float
    glide_cents: Floats
    soft_db: Floats
    noise_db: float


def pitch_track(samples: Floats, rate: float, near_hz: float) -> tuple[Floats, Floats]:
    """Track f0 by heterodyning the fundamental over three periods.

    Args:
        samples: shape (n,).
        rate: samples per second.
        near_hz: f0, within a few half steps.

    Returns:
        Times of the windows' centres in seconds, and cents re `near_hz`, shape (m,).
    """
    length = round(3.0 * rate / near_hz)
    window = np.hanning(length + 2)[1:-1]
    turned = samples * np.exp(-2j * np.pi * near_hz / rate * np.arange(len(samples)))
    size = 1 << (len(samples) + length).bit_length()
    smooth = np.fft.ifft(np.fft.fft(turned, size) * np.fft.fft(window / window.sum(), size))
    base = smooth[length - 1 : len(samples)]
    turns = np.diff(np.unwrap(np.angle(base))) * rate / (2.0 * np.pi)
    times = (np.arange(len(turns)) + length / 2.0) / rate
    return times, 1200.0 * np.log2(np.maximum(1.0 + turns / near_hz, 1e-3))


def partial_levels(samples: Floats, rate: float, hz: float, count: int) -> Floats:
    """Return RMS amplitudes of the partials in a short cut, by weighted least squares.

    Args:
        samples: shape (n,), at least three periods.
        rate: samples per second.
        hz: f0.
        count: number of partials.
    """
    n = np.arange(len(samples)) - len(samples) / 2.0
    weights = np.sqrt(np.hanning(len(samples) + 2)[1:-1])[:, None]
    waves = np.exp(2j * np.pi * hz / rate * np.outer(n, np.arange(1, count + 1)))
    basis = np.hstack([waves.real, -waves.imag])
    fitted = np.linalg.lstsq(weights * basis, weights[:, 0] * samples, rcond=None)[0]
    return np.hypot(fitted[:count], fitted[count:]) / np.sqrt(2.0)


def envelope(samples: Floats, rate: float, hz: float) -> Floats:
    """Return the RMS level over two periods, at least 4 ms, centred, shape (n,)."""
    length = max(round(2.0 * rate / hz), round(0.004 * rate))
    power = np.convolve(samples**2, np.hanning(length + 2)[1:-1], "same")
    return np.sqrt(np.maximum(power, 1e-20) / np.hanning(length + 2).sum())


def features(samples: Floats, rate: float, near_hz: float) -> Features:
    """Analyse a note.

    Args:
        samples: shape (n,), mono, at least 0.8 s from the start of the note.
        rate: samples per second.
        near_hz: f0, within a half step.
    """
    size = np.abs(samples)
    first = int(np.argmax(size > 0.01 * size.max()))
    lead = round(0.05 * rate)
    samples = np.concatenate([np.zeros(max(0, lead - first)), samples[max(0, first - lead) :]])
    at = lead
    times, cents = pitch_track(samples, rate, near_hz)
    times = times - at / rate
    held_cents = float(np.median(cents[(times > HELD[0]) & (times < HELD[1])]))
    hz = near_hz * 2.0 ** (held_cents / 1200.0)
    held = samples[at + round(HELD[0] * rate) : at + round(HELD[1] * rate)]
    rms = float(np.sqrt(np.mean(held**2)))
    count = min(PARTIALS, int(TOP_HZ / hz))
    levels = np.full(PARTIALS, np.nan)
    held_levels = partial_levels(held, rate, hz, count)
    levels[:count] = np.maximum(20.0 * np.log10(held_levels / rms + 1e-9), FLOOR_DB)
    rise = 20.0 * np.log10(envelope(samples, rate, hz)[at:] / rms)
    reaches = [int(np.argmax(rise > db)) / rate for db in (-20.0, -6.0, -1.0)]
    glide = np.interp(GLIDE_S, times, cents) - held_cents
    glide[np.asarray(GLIDE_S) < 1.5 / hz] = np.nan
    soft = np.full((len(SOFT_DB), PARTIALS), np.nan)
    for i, db in enumerate(SOFT_DB):
        middle = at + int(np.argmax(rise > db))
        half = round(1.5 * rate / hz)
        cut = samples[max(0, middle - half) : middle + half]
        near = hz * 2.0 ** (np.interp(middle / rate - at / rate, times, cents - held_cents) / 1200)
        soft_levels = partial_levels(cut, rate, float(near), count)
        change = soft_levels / held_levels
        soft[i, :count] = 20.0 * np.log10(change / change[0] + 1e-9)
        soft[i, :count][levels[:count] < -40.0] = np.nan  # in the noise when softer
    return Features(
        hz, levels, reaches[2] - reaches[0], reaches[1] - reaches[0], glide, soft,
        noise_level(held, rate, hz, rms),
    )  # fmt: skip


def noise_level(held: Floats, rate: float, hz: float, rms: float) -> float:
    """Return the level in dB re `rms` of what lies between the partials from 1 to 10 kHz.

    The median of the power spectrum between partials, which no partial raises, times the bandwidth.
    """
    window = np.blackman(len(held))
    spectrum = np.abs(np.fft.rfft(held * window)) ** 2 / np.sum(window**2)
    bins = np.fft.rfftfreq(len(held), 1.0 / rate)
    beside = np.abs(bins / hz - np.round(bins / hz)) * hz
    between = (bins > 1_000.0) & (bins < TOP_HZ) & (beside > 5.0 * rate / len(held))
    if not np.any(between):
        return float("nan")
    density = float(np.median(spectrum[between])) / np.log(2.0)  # the mean of an exponential
    power = 2.0 * density * (TOP_HZ - 1_000.0) / rate
    return 10.0 * float(np.log10(power / rms**2 + 1e-12))
