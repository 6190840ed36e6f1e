"""General pitch detectors to compare with.

Conventions. A live detector has a reading at the end of its buffer (`Track.heard`). Its libraries
give no time stamp, so each is tried at several positions of its buffer, and the best one counts.
The offline detectors (Praat, pYIN) stamp the centres of their frames themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import aubio
import librosa
import numpy as np
import parselmouth

from benchmarks.corpus import Item
from benchmarks.measure import Track
from trainer.core.types import Floats

HOP = 240
"""Samples from reading to reading: 5 ms at 48 kHz, as this ear."""
LOWEST_HZ, HIGHEST_HZ = 80.0, 3_600.0
STAMPS = (0.0, 0.25, 0.375, 0.5, 0.625, 0.75)
"""Fractions of its buffer by which a live peer's readings are stamped before its end."""


@dataclass(frozen=True)
class Peer:
    """A pitch detector.

    Attributes:
        name: in tables.
        run: samples, float64 of shape (n,), and rate to a track.
        buffer: samples of a live one's buffer; 0 for one that needs the whole recording.
        slow: whether it is too slow for more than a few notes.
    """

    name: str
    run: Callable[[Floats, int], Track]
    buffer: int
    slow: bool = False

    def track(self, item: Item) -> Track:
        """Return its estimates of an item, stamped at the end of the buffer if it is live."""
        return self.run(item.samples, item.rate)

    def stamped(self, estimates: Track, share: float, rate: int) -> Track:
        """Return the same estimates, stamped a fraction of its buffer earlier."""
        return replace(estimates, times=estimates.heard - share * self.buffer / rate)


def aubio_track(method: str, buffer: int, hop: int, samples: Floats, rate: int) -> Track:
    """Run one of aubio's detectors with its default threshold and no silence gate."""
    detector = aubio.pitch(method, buffer, hop, rate)
    detector.set_unit("Hz")
    detector.set_silence(-90.0)
    whole = samples[: len(samples) // hop * hop].astype(np.float32).reshape(-1, hop)
    hz = np.array([detector(piece)[0] for piece in whole], dtype=float)
    heard = (np.arange(len(whole)) + 1.0) * hop / rate
    return Track(heard, heard, np.where(hz > 0.0, hz, np.nan))


def praat_track(samples: Floats, rate: int) -> Track:
    """Run Praat's autocorrelation (Boersma 1993) over the whole range, with frames of 37 ms.

    Its `very accurate` windows, twice as long, are worse in bends.
    """
    pitch = parselmouth.Sound(samples.astype(float), rate).to_pitch_ac(
        time_step=HOP / rate,
        pitch_floor=LOWEST_HZ,
        pitch_ceiling=HIGHEST_HZ,
        max_number_of_candidates=15,
    )
    hz = pitch.selected_array["frequency"]
    return Track(pitch.xs(), pitch.xs(), np.where(hz > 0.0, hz, np.nan))


def pyin_track(samples: Floats, rate: int) -> Track:
    """Run pYIN (Mauch and Dixon 2014) with librosa's defaults, at this ear's hop."""
    hz, _, _ = librosa.pyin(
        samples.astype(np.float32),
        sr=rate,
        fmin=LOWEST_HZ,
        fmax=HIGHEST_HZ,
        frame_length=2048,
        hop_length=HOP,
    )
    times = librosa.times_like(hz, sr=rate, hop_length=HOP)
    return Track(times, times, hz)


def _aubio(method: str, buffer: int) -> Peer:
    def run(samples: Floats, rate: int) -> Track:
        return aubio_track(method, buffer, HOP, samples, rate)

    return Peer(f"aubio {method} {buffer}", run, buffer)


PEERS = {
    peer.name: peer
    for peer in (
        _aubio("yinfast", 2048),
        _aubio("yinfft", 2048),
        _aubio("mcomb", 4096),
        Peer("Praat (offline)", praat_track, 0),
        Peer("pYIN (offline)", pyin_track, 0, slow=True),
    )
}
