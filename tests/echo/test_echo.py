"""The trainer's own sound is taken out of what the microphone hears.

The measure is echo return loss enhancement (ITU-T G.168, from memory): how much less of the echo
is left behind the canceller. Rooms are synthetic: a delay and exponentially dying noise. The
player is recorded reeds (`tests/reeds/`), but where a pitch has to be exact.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from tests.reeds.excerpts import RATE, hear, load
from trainer.core.types import Samples
from trainer.ear import Reading
from trainer.echo import EchoCanceller
from trainer.harp import Harp
from trainer.music import cents
from trainer.sound import REFERENCE_LEAD_S, round_to_24_bits, tone
from trainer.sound.click import click, mix

BEAT_S = 0.625
FIRST_S = 0.5
COUNTED_S = FIRST_S + 4 * BEAT_S
"""The count-in's four clicks are over: what a room is like is known."""
C = Harp.of("C")


def clicks(seconds: float) -> Samples:
    own = np.zeros(round(seconds * RATE), np.float32)
    for beat in range(int((seconds - FIRST_S) / BEAT_S)):
        at = round((FIRST_S + beat * BEAT_S) * RATE)
        mix(own, 0, click(RATE, accented=beat % 4 == 0), at)
    return own


def held(hz: float, seconds: float) -> Samples:
    own = np.zeros(round(seconds * RATE), np.float32)
    mix(own, 0, tone(hz, seconds - 1.0, RATE), round(FIRST_S * RATE))
    return own


def room(own: Samples, delay_s: float = 0.02) -> np.ndarray:
    """What comes back: after `delay_s`, reverberating for 0.3 s, 3 dB of it direct."""
    t = np.arange(round(0.4 * RATE)) / RATE
    way = np.random.default_rng(2).standard_normal(len(t)) * 10.0 ** (-3.0 * t / 0.3)
    way *= 10.0 ** (-3.0 / 20.0) / np.sqrt(np.sum(way**2))
    way[0] += 1.0
    delayed = np.concatenate([np.zeros(round(delay_s * RATE)), own])[: len(own)]
    n = 2 * len(own)
    return np.fft.irfft(np.fft.rfft(delayed, n) * np.fft.rfft(way, n), n)[: len(own)]


def noise(count: int) -> np.ndarray:
    return 10.0 ** (-66.0 / 20.0) * np.random.default_rng(3).standard_normal(count)


def ahead(own: Samples) -> Samples:
    early = round(REFERENCE_LEAD_S * RATE)
    return np.concatenate([own[early:], np.zeros(early, np.float32)])


def cleaned(heard: np.ndarray, own: Samples | None, step: int = 512) -> np.ndarray:
    echo, whole = EchoCanceller(RATE), round_to_24_bits(heard)
    starts = range(0, len(whole), step)
    pieces = [slice(at, at + step) for at in starts]
    return np.concatenate(
        [echo.cancel(whole[piece], None if own is None else own[piece]) for piece in pieces]
    )


def onsets(readings: Sequence[Reading]) -> np.ndarray:
    return np.array([reading.onset / RATE for reading in readings if reading.onset is not None])


def reeds(count: int, at_s: float) -> np.ndarray:
    """Recorded reeds of a C harp from `at_s` on."""
    played = load("c-harp").astype(float)[: count - round(at_s * RATE)]
    samples = np.zeros(count)
    samples[round(at_s * RATE) : round(at_s * RATE) + len(played)] = played
    return samples


@pytest.mark.parametrize("delay_s", [0.0, 0.02, 0.115])
@pytest.mark.parametrize("own", [clicks(10.0), held(440.0, 10.0)], ids=["clicks", "tone"])
def test_an_echo_is_taken_out(own: Samples, delay_s: float) -> None:
    echo, quiet = room(own, delay_s), noise(len(own))
    left = cleaned(quiet + echo, ahead(own)) - quiet
    late = slice(round(COUNTED_S * RATE), 9 * RATE)
    assert 10.0 * np.log10(np.sum(left[late] ** 2) / np.sum(echo[late] ** 2)) < -20.0


@pytest.mark.parametrize("own", [None, clicks(8.0), held(392.0, 8.0)])
def test_without_an_echo_samples_pass_bit_for_bit(own: Samples | None) -> None:
    count = 8 * RATE
    heard = round_to_24_bits(reeds(count, 1.0) + noise(count))
    playing = None if own is None else ahead(own)
    assert np.array_equal(cleaned(heard, playing), heard)


def test_how_it_is_cut_into_blocks_makes_no_difference() -> None:
    own = clicks(6.0)
    heard = room(own) + reeds(len(own), 3.5)
    whole = cleaned(heard, ahead(own), len(own))
    for step in (64, 777):
        assert np.array_equal(cleaned(heard, ahead(own), step), whole)


def test_clicks_in_rests_are_no_onsets() -> None:
    own = clicks(20.0)
    heard = noise(len(own)) + room(own)
    counted = [at for at in onsets(hear(heard, C)) if at > COUNTED_S]
    assert len(counted) > 15  # what it is for
    assert not [at for at in onsets(hear(heard, C, reference=ahead(own))) if at > COUNTED_S]


def test_onsets_of_notes_stay_where_they_are() -> None:
    own = clicks(14.0)
    near = noise(len(own)) + reeds(len(own), COUNTED_S + 0.3)
    alone = onsets(hear(near, C))
    detected = onsets(hear(near + room(own), C, reference=ahead(own)))
    assert len(alone) > 5
    for at in alone[alone > COUNTED_S]:
        assert np.abs(detected - at).min() < 0.015


@pytest.mark.parametrize("off", [-30.0, 12.0, 0.0])
def test_a_note_over_the_reference_tone_keeps_its_pitch(off: float) -> None:
    """The player's note is a steady sum of partials, `off` cents from the tone's own pitch."""
    hz = 523.25
    own = held(hz, 6.0)
    echo = room(own)
    t = np.arange(2 * RATE) / RATE
    played = hz * 2.0 ** (off / 1200.0)
    wave = sum(np.sin(2.0 * np.pi * played * k * t + k) / k for k in range(1, 8))
    loud = np.sqrt(np.mean(echo[2 * RATE : 4 * RATE] ** 2) / np.mean(wave**2)) * 10.0 ** (10 / 20)
    near = noise(len(own))
    near[2 * RATE : 4 * RATE] += loud * wave
    readings = [
        reading
        for reading in hear(near + echo, C, reference=ahead(own))
        if 2.1 * RATE < reading.sample < 3.9 * RATE and reading.sounding
    ]
    assert len(readings) > 300
    errors = np.array(
        [abs(cents(reading.hz, played)) if reading.hz else np.inf for reading in readings]
    )
    assert np.mean(errors < 5.0) > 0.98
