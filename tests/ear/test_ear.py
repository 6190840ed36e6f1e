"""Units of the ear: what it promises of its readings, and each stage by itself.

Sounds are recorded reeds where it matters that they are reeds, and sines and noise where the
right answer is known by arithmetic.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import cache

import numpy as np
import parselmouth
import pytest

from tests.reeds.excerpts import LEAD_S, RATE, Samples, cut, hear, load, speaks
from trainer.core import TrainerError
from trainer.ear import Ear, Reading, track_notes
from trainer.ear.ear import EarError
from trainer.ear.frontend import Frontend
from trainer.ear.harmonic_fit import fit_harmonics_once
from trainer.ear.level_gate import LevelGate, attack_start, rms_level_db
from trainer.ear.pitch_candidates import autocorrelation, candidate_periods
from trainer.ear.pitch_tracker import PitchEstimate, PitchTracker
from trainer.ear.reed_detector import unwarp
from trainer.ear.tab_tracker import TabTracker
from trainer.harp import Harp, Tab
from trainer.music import cents
from trainer.sound import Block, round_to_24_bits

C = Harp.of("C")
EAR_RATE = 24_000.0
SETTLED_S = 0.08


def sine(hz: float, seconds: float, rms_db: float, rate: int = RATE) -> Samples:
    t = np.arange(round(seconds * rate)) / rate
    return np.sqrt(2.0) * 10.0 ** (rms_db / 20.0) * np.sin(2.0 * np.pi * hz * t)


def noise(count: int, rms_db: float) -> Samples:
    return 10.0 ** (rms_db / 20.0) * np.random.default_rng(7).standard_normal(count)


def tabs(readings: Sequence[Reading]) -> Counter[str]:
    return Counter(str(reading.tab) for reading in readings if reading.tab)


# --- what a stream of readings promises -----------------------------------------------------


def two_notes() -> Samples:
    """A note, silence, and a bend."""
    return np.concatenate([cut("c-harp", "4"), cut("bends", "-4", after=0.2)])


@pytest.fixture(scope="module")
def whole() -> list[Reading]:
    return hear(two_notes(), C)


def test_there_are_readings_enough(whole: list[Reading]) -> None:
    assert len(whole) / (len(two_notes()) / RATE) >= 90.0


def test_a_reading_never_knows_more_than_was_heard(whole: list[Reading]) -> None:
    heard = [reading.heard for reading in whole]
    assert all(reading.heard >= reading.sample for reading in whole)
    assert all(reading.onset is None or reading.onset <= reading.heard for reading in whole)
    assert np.all(np.diff(heard) >= 0)
    assert heard[-1] <= len(two_notes())


@pytest.mark.parametrize("seconds", [0.2, 0.343, 0.71, 1.234, 1.6])
def test_readings_are_causal(whole: list[Reading], seconds: float) -> None:
    """Cut the sound off anywhere: what was said until then was the same, to the last digit."""
    count = round(seconds * RATE)
    before = hear(two_notes()[:count], C)
    assert before == whole[: len(before)]
    assert len(before) == sum(reading.heard <= count for reading in whole)


@pytest.mark.parametrize("block", [64, 1000, 8192])
def test_how_sound_is_cut_into_blocks_changes_nothing(whole: list[Reading], block: int) -> None:
    assert hear(two_notes(), C, block=block) == whole


def test_blocks_may_change_their_size(whole: list[Reading]) -> None:
    samples, ear, start, readings = round_to_24_bits(two_notes()), Ear(RATE, C), 0, []
    for size in np.random.default_rng(1).integers(0, 3000, 200):
        block = Block(start, samples[start : start + size], RATE)
        readings += ear.analyze(block)
        start = block.end
    assert start == len(samples)
    assert readings == whole


@pytest.mark.parametrize("rate", [16_000, 44_100, 96_000])
def test_other_rates_give_the_same_readings(whole: list[Reading], rate: int) -> None:
    """Resampled by Praat."""
    resampled = parselmouth.Sound(two_notes().astype(float), RATE).resample(rate, 50)
    other = hear(resampled.values[0], C, rate)
    assert {reading.rate for reading in other} == {rate}
    assert len(other) == pytest.approx(len(whole), rel=0.03)
    pitched = [reading for reading in whole if reading.hz]
    times, known = [r.time for r in pitched], [r.hz for r in pitched]
    again = [reading for reading in other if reading.hz]
    assert len(again) == pytest.approx(len(pitched), rel=0.02)
    off = np.abs([cents(r.hz or 0.0, np.interp(r.time, times, known)) for r in again])
    assert np.median(off) < 0.1
    assert np.mean(off < 5.0) >= 0.98
    for note, other_note in zip(track_notes(whole, C), track_notes(other, C), strict=True):
        assert note.tab == other_note.tab
        assert other_note.start / rate == pytest.approx(note.start / RATE, abs=0.005)
        assert other_note.end / rate == pytest.approx(note.end / RATE, abs=0.010)


@pytest.mark.parametrize("rate", [1, 4_000, 7_999])
def test_a_rate_that_cannot_hold_a_harp_is_refused(rate: int) -> None:
    with pytest.raises(EarError, match=f"{rate} are too few") as error:
        Ear(rate, C)
    assert isinstance(error.value, TrainerError)


# --- rooms and microphones ------------------------------------------------------------------


def is_deaf_to(samples: Samples) -> bool:
    """Whether nothing is reported as a note."""
    readings = hear(samples, C)
    assert readings
    return not any(reading.hz or reading.tab or reading.holes for reading in readings)


def test_silence_is_no_note() -> None:
    readings = hear(np.zeros(RATE), C)
    assert is_deaf_to(np.zeros(RATE))
    assert {reading.level_db for reading in readings} == {-120.0}
    assert not any(reading.sounding or reading.onset is not None for reading in readings)


def test_hum_is_no_note() -> None:
    assert is_deaf_to(sine(50.0, 2.0, -45.0))


def test_an_offset_is_no_note() -> None:
    assert is_deaf_to(np.full(RATE, 0.1))


@pytest.mark.parametrize("db", [-60.0, -50.0, -30.0])
def test_noise_is_no_note(db: float) -> None:
    assert is_deaf_to(noise(2 * RATE, db))


NOTES = ("1", "4", "8", "-2", "-5")


@cache
def undisturbed(tab: str) -> tuple[Samples, list[Reading]]:
    """A note with 0.2 s of silence before it, and its readings."""
    samples = cut("c-harp", tab, before=0.2).astype(float)
    return samples, hear(samples, C)


def disturbed(kind: str, samples: Samples) -> Samples:
    held = samples[round((LEAD_S + 0.2) * RATE) : round((LEAD_S + 0.6) * RATE)]
    db = 10.0 * np.log10(np.mean(held**2))
    match kind:
        case "hum":
            return samples + sine(50.0, len(samples) / RATE, -45.0)[: len(samples)]
        case "offset":
            return samples + 0.1
        case "noise":
            return samples + noise(len(samples), db - 20.0)
        case "clipped":
            return np.clip(12.0 * samples, -1.0, 1.0)
        case "quiet":
            return 0.01 * samples
    raise ValueError(kind)


@pytest.mark.parametrize("kind", ["hum", "offset", "noise", "clipped", "quiet"])
@pytest.mark.parametrize("tab", NOTES)
def test_a_note_is_heard_as_it_is_through_a_disturbance(kind: str, tab: str) -> None:
    """The reference is the ear's own reading of the undisturbed note, which Praat has checked."""
    plain, known = undisturbed(tab)
    # Quarter hops after an attack are where the attack is; whole hops are in both.
    heard = {reading.heard: reading for reading in hear(disturbed(kind, plain), C)}
    last = len(plain) - 0.02 * RATE
    held = [
        (known_reading, heard[known_reading.heard])
        for known_reading in known
        if (0.2 + SETTLED_S) * RATE < known_reading.sample < last
    ]
    off = np.array(
        [
            abs(cents(reading.hz, known_reading.hz or 0.0)) if reading.hz else np.inf
            for known_reading, reading in held
        ]
    )
    assert np.mean(off < 5.0) >= 0.97
    assert np.median(off) < (1.0 if kind == "noise" else 0.1)
    assert (
        np.mean([reading.holes == known_reading.holes for known_reading, reading in held]) >= 0.97
    )


def in_noise(tab: str, snr_db: float, seed: int, seconds: float) -> tuple[Samples, int]:
    """The start of a note in white noise, 0.15 s before it, and the sample where it begins."""
    plain = cut("c-harp", tab, before=0.15).astype(float)
    held = plain[round(0.4 * RATE) :]
    level = np.sqrt(np.mean(held**2)) * 10.0 ** (-snr_db / 20.0)
    hiss = level * np.random.default_rng(seed).standard_normal(len(plain))
    return (plain + hiss)[: round((0.15 + seconds) * RATE)], speaks(plain)


@pytest.mark.parametrize("snr_db", [60.0, 40.0, 30.0])
def test_onsets_are_right_in_a_noisy_room(snr_db: float) -> None:
    for tab in ("4", "8", "-1"):
        for seed in range(5):
            samples, begun = in_noise(tab, snr_db, seed, 0.2)
            onsets = [reading.onset for reading in hear(samples, C) if reading.onset is not None]
            assert min(abs(onset - begun) for onset in onsets) <= 0.015 * RATE


def test_noise_never_stops_the_ear() -> None:
    samples, _ = in_noise("4", 30.0, 7, 0.7)
    assert len(hear(samples, C)) > 150


# --- one stage by itself --------------------------------------------------------------------


@pytest.mark.parametrize("rate", [48_000, 96_000])
def test_the_resampler_has_the_stop_band_of_its_kaiser_window(rate: int) -> None:
    """Kaiser 1974: beta = 0.1102 (A - 8.7), and A - 8 = 2.285 times taps and transition width."""
    attenuation_db = 6.0 / 0.1102 + 8.7
    half_width_hz = 0.5 * (attenuation_db - 8.0) / (2.285 * 24) / (2.0 * np.pi) * 24_000
    cutoff_hz = 0.9 * 12_000
    time = np.arange(rate // 4) / rate

    def level_db(hz: float) -> float:
        front = Frontend(rate, 0.2)
        front.resample(np.sin(2.0 * np.pi * hz * time))
        heard = front.window(front.count, 4_000)
        return 10.0 * float(np.log10(2.0 * np.mean(heard**2)))

    stop = np.linspace(cutoff_hz + half_width_hz, rate / 2 - 100.0, 60)
    assert -attenuation_db - 5.0 < max(level_db(hz) for hz in stop) < -attenuation_db + 1.5
    passed = np.linspace(100.0, cutoff_hz - half_width_hz, 30)
    assert max(abs(level_db(hz)) for hz in passed) < 0.02


@pytest.mark.parametrize(("rate", "factor"), [(16_000, 1), (44_100, 2), (48_000, 2), (96_000, 4)])
def test_the_front_end_divides_the_rate_and_keeps_the_clock(rate: int, factor: int) -> None:
    front = Frontend(rate, 1.0)
    assert (front.factor, front.rate) == (factor, rate / factor)
    click = np.zeros(rate // 4, np.float32)
    click[100 * factor] = 1.0
    front.resample(click)
    kept = front.window(front.count, front.count)
    assert front.source_sample(int(np.argmax(np.abs(kept)))) == 100 * factor
    assert front.heard(front.count) <= len(click) < front.heard(front.count + 1)


@pytest.mark.parametrize(("hz", "low", "high"), [(1000, -0.1, 0.1), (9000, -0.1, 0.1)])
def test_the_front_end_passes_what_a_harp_sounds(hz: float, low: float, high: float) -> None:
    front = Frontend(RATE, 1.0)
    front.resample(sine(hz, 0.4, -20.0).astype(np.float32))
    assert low < rms_level_db(np.mean(front.window(front.count, 4000) ** 2)) + 20.0 < high


@pytest.mark.parametrize("hz", [14_500, 18_000, 23_000])
def test_the_front_end_stops_what_would_fold_onto_a_harp(hz: float) -> None:
    """14.5 kHz would fold onto 9.5 kHz, the highest that is used."""
    front = Frontend(RATE, 1.0)
    front.resample(sine(hz, 0.4, -20.0).astype(np.float32))
    assert rms_level_db(np.mean(front.window(front.count, 4000) ** 2)) < -80.0


AMPLITUDES = np.array([1.0, 0.5, 0.3, 0.2])
PARTIALS = np.arange(1, 5)


def reed(hz: float, count: int, phase: float = 0.7) -> Samples:
    """Partials with their phases taken at the middle."""
    t = (np.arange(count) - (count - 1) / 2.0) / EAR_RATE
    waves = np.cos(2.0 * np.pi * hz * PARTIALS[:, None] * t + phase * PARTIALS[:, None])
    return AMPLITUDES @ waves


@pytest.mark.parametrize("hz", [175.0, 440.0, 1319.0])
def test_the_fit_of_one_reed_is_exact(hz: float) -> None:
    """What is left and the level are measured from a place up to half a cent away."""
    window = reed(hz, 650)
    guess = hz * 2.0 ** (20.0 / 1200.0)
    for _ in range(3):
        fitted = fit_harmonics_once(window, EAR_RATE, (guess,))
        guess = fitted.hz[0]
    assert cents(guess, hz) == pytest.approx(0.0, abs=1e-4)
    assert fitted.unexplained < 2e-4
    assert sum(fitted.powers[0]) == pytest.approx(float(np.sum(AMPLITUDES**2)), rel=2e-4)
    assert fitted.fundamental_ratio == pytest.approx(1.0)


def test_the_fit_of_two_reeds_takes_them_apart() -> None:
    """A major third, the upper 12 dB down, guesses 8 cents out in opposite directions."""
    low, high = 523.25, 659.26
    window = reed(low, 1032) + 10.0 ** (-12.0 / 20.0) * reed(high, 1032, 0.3)
    guesses: tuple[float, ...] = (low * 2.0 ** (8.0 / 1200.0), high * 2.0 ** (-8.0 / 1200.0))
    for _ in range(3):
        fitted = fit_harmonics_once(window, EAR_RATE, guesses)
        guesses = fitted.hz
    assert cents(guesses[0], low) == pytest.approx(0.0, abs=1e-3)
    assert cents(guesses[1], high) == pytest.approx(0.0, abs=1e-3)
    lower, upper = map(sum, fitted.powers)
    assert upper / lower == pytest.approx(10.0 ** (-12.0 / 10.0), rel=2e-3)


@pytest.mark.parametrize("hz", [196.0, 440.0, 1000.0])
def test_the_fit_comes_near_the_limit_in_noise(hz: float) -> None:
    """Cramer-Rao bound: var(w0) >= 24 s2 / (N (N2 - 1) sum k2 A2).

    Nehorai and Porat 1986, IEEE Trans. ASSP 34(5). The Hann weights, which keep other reeds out,
    cost about half as much again.
    """
    count, rng = 648, np.random.default_rng(3)
    power = 0.01 * np.sum(AMPLITUDES**2) / 2.0
    least = np.sqrt(24.0 * power / (count * (count**2 - 1) * np.sum((PARTIALS * AMPLITUDES) ** 2)))
    estimates = []
    for _ in range(150):
        window = reed(hz, count) + rng.normal(0.0, np.sqrt(power), count)
        guess = hz * 2.0 ** (10.0 / 1200.0)
        for _ in range(2):
            guess = fit_harmonics_once(window, EAR_RATE, (guess,)).hz[0]
        estimates.append(guess)
    spread = np.std(estimates) * 2.0 * np.pi / EAR_RATE
    assert 0.85 * least < spread < 2.0 * least
    assert abs(np.mean(estimates) - hz) * 2.0 * np.pi / EAR_RATE < 0.5 * least


@pytest.mark.parametrize("snr_db", [10.0, 20.0, 30.0])
def test_clarity_is_the_share_that_is_periodic(snr_db: float) -> None:
    """Boersma 1993, Proc. Inst. Phonetic Sciences 17: r / (1 - r) is the power ratio."""
    rng, t = np.random.default_rng(5), np.arange(2048) / EAR_RATE
    peaks = []
    for _ in range(30):
        wave = np.sin(2.0 * np.pi * 440.0 * t)
        window = wave + rng.normal(0.0, np.sqrt(0.5 * 10.0 ** (-snr_db / 10.0)), len(t))
        peaks.append(candidate_periods(autocorrelation(window, 200), 6)[0])
    period, clarity = np.mean(peaks, axis=0)
    assert EAR_RATE / period == pytest.approx(440.0, rel=1e-3)
    assert clarity == pytest.approx(1.0 / (1.0 + 10.0 ** (-snr_db / 10.0)), abs=0.01)


def test_the_best_period_is_the_shortest_of_those_as_good() -> None:
    """Every multiple of a period is one too."""
    candidates = candidate_periods(autocorrelation(reed(440.0, 1000), 500), 6)
    assert EAR_RATE / candidates[0][0] == pytest.approx(440.0, rel=1e-3)


def test_silence_has_no_period() -> None:
    assert candidate_periods(autocorrelation(np.zeros(1000), 500), 6) == []


def test_unwarping_makes_a_glide_stand_still() -> None:
    """A half step down in 83 ms."""
    track = 440.0 * 2.0 ** (np.linspace(0.0, -100.0, 2000) / 1200.0)
    phase = 2.0 * np.pi * np.cumsum(track) / EAR_RATE
    glide = np.cos(phase) + 0.5 * np.cos(2.0 * phase)
    still, mean = unwarp(glide, track), float(np.mean(track))
    for first in (100, 700, 1300):
        before = fit_harmonics_once(glide[first : first + 600], EAR_RATE, (mean,)).hz[0]
        after = fit_harmonics_once(still[first : first + 600], EAR_RATE, (mean,)).hz[0]
        assert abs(cents(after, mean)) < 0.1
        assert first == 700 or abs(cents(before, mean)) > 25.0


def test_levels_are_rms_re_full_scale() -> None:
    """A full-scale sine is 3.01 dB under a full-scale square wave."""
    assert rms_level_db(np.mean(np.sin(np.arange(24_000) * 0.1 * np.pi) ** 2)) == pytest.approx(
        -3.01, abs=0.01
    )
    assert rms_level_db(1.0) == pytest.approx(0.0, abs=1e-6)
    assert rms_level_db(0.0) == rms_level_db(-1e-18) == -120.0


def fed(gate: LevelGate, levels: Sequence[float], *, pitched: bool = False) -> list[bool]:
    return [gate.update(level, pitched) for level in levels]


def test_the_gate_opens_for_sound_and_closes_after_it() -> None:
    gate = LevelGate(0.005)
    assert not any(fed(gate, [-80.0] * 200))
    assert fed(gate, [-30.0] * 100, pitched=True) == [True] + [False] * 99
    assert gate.open
    assert not any(fed(gate, [-80.0] * 20))
    assert not gate.open


def test_the_gate_learns_the_room() -> None:
    """A fan is switched on: open at first, closed once the floor has come up to it."""
    gate = LevelGate(0.005)
    fed(gate, [-80.0] * 200)
    assert fed(gate, [-50.0])[0]
    fed(gate, [-50.0] * 1000)
    assert not gate.open
    assert gate.floor_db == pytest.approx(-50.0)
    assert fed(gate, [-30.0])[0]


def test_the_gate_does_not_take_a_held_note_for_the_room() -> None:
    gate = LevelGate(0.005)
    fed(gate, [-80.0] * 200)
    fed(gate, [-30.0] * 2000, pitched=True)
    assert gate.open
    assert gate.floor_db < -70.0


def test_a_dip_and_rise_is_a_new_attack_and_a_swell_is_none() -> None:
    gate = LevelGate(0.005)
    fed(gate, [-80.0] * 100 + [-30.0] * 100, pitched=True)
    assert sum(fed(gate, [-40.0] * 6 + [-30.0] * 50, pitched=True)) == 1
    swell = list(np.linspace(-30.0, -15.0, 200))
    assert not any(fed(gate, swell, pitched=True))


def test_an_attack_starts_where_its_envelope_rises() -> None:
    rise = np.concatenate([np.full(400, 1e-4), np.linspace(1e-4, 0.3, 300)])
    carrier = np.sin(2.0 * np.pi * 600.0 * np.arange(len(rise)) / EAR_RATE)
    assert attack_start(rise * carrier, 24) == pytest.approx(400, abs=60)


# --- which entry ----------------------------------------------------------------------------


def placed(*pitches: float) -> list[str]:
    placer = TabTracker(C)
    return [str(placer.assign(hz, young=False)[0]) for hz in pitches]


def test_a_glide_stays_on_its_hole() -> None:
    """Draw 3 bent by three half steps passes nothing that is another hole's."""
    glide = C.hz(Tab.parse("-3")) * 2.0 ** (np.linspace(0.0, -300.0, 100) / 1200.0)
    seen = list(dict.fromkeys(placed(*glide)))
    assert seen == ["-3", "-3'", "-3''", "-3'''"]


def test_a_leap_is_another_hole() -> None:
    placer = TabTracker(C)
    placer.assign(C.hz(Tab.parse("-4")), young=False)
    assert placer.assign(C.hz(Tab.parse("5")), young=False) == (Tab.parse("5"), True)
    assert placer.assign(C.hz(Tab.parse("5")), young=False) == (Tab.parse("5"), False)


def test_a_reed_that_still_comes_up_holds_no_hole() -> None:
    """A reed of A3 that starts 100 cents flat: A flat is an overblow of a low F harp's hole 1."""
    placer = TabTracker(Harp.of("low F"))
    rise = 220.0 * 2.0 ** (np.linspace(-100.0, 0.0, 20) / 1200.0)
    seen = [str(placer.assign(hz, young=True)[0]) for hz in rise]
    assert seen[-1] == "2"


def test_a_glide_past_what_a_hole_can_reach_leaves_it() -> None:
    """From draw 4 (D5) down to G4: hole 4 ends at C5."""
    glide = C.hz(Tab.parse("-4")) * 2.0 ** (np.linspace(0.0, -700.0, 300) / 1200.0)
    assert placed(*glide)[-1] in ("-2", "3")


def test_the_harp_in_hand_names_the_holes() -> None:
    """The same sound on a harp of another key: C5 is blow 4 of a C harp, draw 3 bent of an A."""
    heard = hear(load("c-harp")[round(3.0 * RATE) :][: round(0.9 * RATE)], Harp.of("A"))
    late = [reading for reading in heard if reading.time > 0.3 + SETTLED_S + 0.02]
    assert set(tabs(late)) == {str(Harp.of("A").nearest_entries(523.25)[0])}


def test_a_pitch_that_would_fall_to_nothing_is_not_believed() -> None:
    """Two estimates far apart gave a slope that led below 2 Hz.

    It occurs where notes overlap in a reverberant room; the window was longer than the buffer.
    """
    front = Frontend(RATE, 0.2)
    t = np.arange(RATE) / RATE
    front.resample(np.sin(2 * np.pi * 440.0 * t).astype(np.float32))
    tracker = PitchTracker(front, 120, 150.0, 3000.0)
    end = front.count - 200
    for slope in (-21.945, -22.0, -50.0, 200.0):
        tracker._last, tracker._slope = PitchEstimate(440.0, end - 300.0, end - 20, 0.0), slope
        estimate = tracker.estimate(end, end - 9_450)
        assert estimate is not None
        assert estimate.hz == pytest.approx(440.0, abs=0.1)
