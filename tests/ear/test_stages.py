"""Each stage of the ear on its own, on synthetic signals with known answers.

The expected values are properties of the signal, not the stage's own constants. Where a threshold
matters, a test goes well to both sides of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from trainer.core.types import Floats
from trainer.ear import Ear, FrameSpectrum, HeardNote, NoteTracker, Reading, ReedMixture, power_db
from trainer.ear.ear import (
    DEFAULT_EAR,
    EarParameters,
    _LevelMeter,
    _NoteState,
    _Pitches,
    _ReedSchedule,
    _Spans,
)
from trainer.ear.frontend import Frontend
from trainer.ear.harmonic_fit import (
    HarmonicFit,
    _solve,
    _taper,
    _transforms,
    fit_harmonics,
    fit_harmonics_once,
    partial_count,
)
from trainer.ear.level_gate import LevelGate, attack_start
from trainer.ear.motion import (
    Motion,
    estimate_motion,
    estimate_tremolo,
    held_parts,
    initial_pitch,
    resample_evenly,
)
from trainer.ear.note_tracker import end_of_sound
from trainer.ear.octave_split import OctaveDetector
from trainer.ear.partial_fit import hann_lobe
from trainer.ear.pitch_candidates import autocorrelation, candidate_periods
from trainer.ear.pitch_tracker import PitchTracker
from trainer.ear.reed_detector import ReedDetector, ReedEstimate
from trainer.ear.tab_tracker import TabTracker
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents
from trainer.sound import Block, round_to_24_bits

C, RATE = Harp.of("C"), 24_000
HOP_S = 0.005


def hz(tab: str) -> float:
    return C.hz(Tab.parse(tab))


def reed(f0: float, seconds: float, level: float = 0.1, slope: float = 1.0) -> Floats:
    """A sum of partials at 1 / k ** slope with fixed phases."""
    t = np.arange(round(seconds * RATE)) / RATE
    count = int(9000 / f0)
    return np.asarray(
        level
        * np.sum(
            [np.sin(2 * np.pi * k * f0 * t + k * k) / k**slope for k in range(1, count + 1)], axis=0
        )
    )


# Level gate


def attacks(levels: Sequence[float], several: bool = False, pitched: bool = True) -> list[int]:
    """Indices of the levels at which an attack begins, after 100 hops of quiet and 100 of -30."""
    gate = LevelGate(HOP_S)
    for level in [-80.0] * 100 + [-30.0] * 100:
        gate.update(level, pitched and level > -60.0, several)
    return [i for i, level in enumerate(levels) if gate.update(level, pitched, several)]


def test_the_gate_has_hysteresis() -> None:
    gate = LevelGate(HOP_S)
    for _ in range(1000):
        gate.update(-70.0, False)
    assert gate.floor_db == pytest.approx(-70.0)
    gate.update(-59.0, True)
    assert not gate.open
    gate.update(-57.0, True)
    assert gate.open
    gate.update(-61.5, True)
    assert gate.open
    gate.update(-62.5, True)
    assert not gate.open


def test_a_beat_is_no_attack_just_after_several_reeds_sounded() -> None:
    beat = [-24.0, -23.0, -20.7, -18.0, -18.2, -20.0]  # 33 Hz, as blow 2 and 3 of a low C harp
    gate = LevelGate(HOP_S)
    for level in [-80.0] * 100 + beat * 10:
        gate.update(level, level > -60.0, level > -60.0)
    assert not any(gate.update(level, True, False) for level in beat)
    assert attacks(beat * 4)  # of one reed it would be


def test_the_floor_falls_faster_than_it_rises_and_has_bounds() -> None:
    gate = LevelGate(HOP_S)
    before = gate.floor_db
    gate.update(-80.0, False)
    fall = before - gate.floor_db
    assert fall == pytest.approx(60.0 * HOP_S)
    before = gate.floor_db
    gate.update(-40.0, False)
    assert gate.floor_db - before == pytest.approx(12.0 * HOP_S)
    for _ in range(2000):
        gate.update(-120.0, False)
    assert -100.0 < gate.floor_db < -85.0  # not digital silence
    for _ in range(2000):
        gate.update(0.0, False)
    assert -35.0 < gate.floor_db < -25.0  # loud noise does not close the gate for good


@pytest.mark.parametrize(("dip", "begins"), [(5.0, False), (9.0, True)])
def test_a_rise_out_of_a_slow_dip_is_an_attack_if_it_is_deep(dip: float, begins: bool) -> None:
    down = list(np.linspace(-30.0, -30.0 - dip, 20))
    up = list(np.linspace(-30.0 - dip, -30.0, 7))
    assert bool(attacks([*down, *up, *[-30.0] * 20])) is begins


@pytest.mark.parametrize(("rise", "begins"), [(4.3, False), (5.2, True)])
def test_a_small_rise_is_an_attack_only_if_it_is_quick(rise: float, begins: bool) -> None:
    assert bool(attacks([*[-30.0 - rise] * 3, *[-30.0] * 20])) is begins
    slow = np.linspace(-30.0 - rise, -30.0, 15)
    down = np.linspace(-30.0, -30.0 - rise, 15)
    assert not attacks([*down, *slow, *[-30.0] * 20])


def test_one_rise_is_one_attack_and_the_next_may_follow_after_a_while() -> None:
    dip = [*[-42.0] * 4, *np.linspace(-42.0, -30.0, 10), *[-30.0] * 12]
    assert len(attacks(dip)) == 1
    assert len(attacks([*dip, *dip])) == 2
    assert len(attacks([-42.0, -30.0, -42.0, -30.0, -42.0, -30.0, *[-30.0] * 20])) == 1


def test_a_reed_that_speaks_slowly_is_one_attack() -> None:
    gate = LevelGate(HOP_S)
    levels = [*[-80.0] * 100, *np.arange(-50.0, -34.0, 1.0), *[-34.0] * 20]
    assert sum(gate.update(float(level), level > -60.0) for level in levels) == 1


def test_a_beat_of_several_reeds_is_no_attack() -> None:
    beat = [-30.0, -30.0, -36.0, -38.0, -36.0, -30.0] * 8
    assert attacks(beat)
    assert not attacks(beat, several=True)
    assert attacks([*[-50.0] * 10, *[-30.0] * 10], several=True)


def test_an_attack_starts_within_a_step_of_its_first_sample() -> None:
    rng = np.random.default_rng(0)
    for start in (300, 500, 700):
        sound = 1e-4 * rng.standard_normal(1200)
        sound[start:] += 0.3 * np.sin(0.3 * np.arange(1200 - start))
        assert attack_start(sound, 24) == pytest.approx(start, abs=24)


def test_an_attack_on_top_of_a_held_sound_starts_at_its_step() -> None:
    envelope = np.where(np.arange(1200) < 600, 0.1, 0.15)
    assert attack_start(envelope * np.sin(0.3 * np.arange(1200)), 24) == pytest.approx(600, abs=24)


def test_a_slow_attack_starts_low_on_its_rise() -> None:
    envelope = np.interp(np.arange(1200), [400, 700], [1e-4, 0.3])
    assert attack_start(envelope * np.sin(0.3 * np.arange(1200)), 24) == pytest.approx(430, abs=36)


def test_an_attack_out_of_a_ringing_note_starts_after_the_dip() -> None:
    envelope = np.concatenate(
        [np.linspace(0.3, 0.03, 600), np.linspace(0.03, 0.3, 100), np.full(300, 0.3)]
    )
    sound = envelope * np.sin(0.3 * np.arange(1000))
    assert attack_start(sound, 24) == pytest.approx(610, abs=48)


def test_an_offset_of_the_sound_card_is_no_level() -> None:
    frontend = Frontend(RATE, 0.2)
    sound = 0.1 * np.sin(2 * np.pi * 500.0 * np.arange(RATE) / RATE) + 0.05
    frontend.resample(sound)
    meter = _LevelMeter(frontend, _Spans(frontend.rate, DEFAULT_EAR))
    assert meter.level_db(frontend.count) == pytest.approx(20 * np.log10(0.1 / np.sqrt(2)), abs=0.2)
    window = meter.without_offset(frontend.count, 960)
    assert abs(window.mean()) < 0.002


def test_levels_that_were_measured_ahead_are_those_of_each_hop() -> None:
    frontend, spans = Frontend(RATE, 0.2), _Spans(RATE, DEFAULT_EAR)
    meter = _LevelMeter(frontend, spans)
    rng = np.random.default_rng(0)
    for blocks in (1, 2, 9):
        frontend.resample(0.1 * rng.standard_normal(blocks * 500))
        meter.measure_ahead()
        ends = range(spans.hop, frontend.count + 1, spans.hop)
        alone = _LevelMeter(frontend, spans)
        ahead = [end for end in ends if end in meter._ahead]
        assert len(ahead) >= blocks * 500 // spans.hop
        assert [meter.level_db(end) for end in ahead] == [alone.level_db(end) for end in ahead]


def test_a_constant_offset_has_no_step_at_its_start() -> None:
    frontend = Frontend(48_000, 0.1)
    frontend.resample(np.full(4800, 0.5))
    assert frontend.window(frontend.count, frontend.count + 200) == pytest.approx(0.5, abs=1e-6)


# Pitch


def test_the_fit_gives_power_and_residual() -> None:
    rng = np.random.default_rng(0)
    n = 648
    t = np.arange(n) / RATE
    tone = np.cos(2 * np.pi * 440.0 * t) + 0.5 * np.sin(2 * np.pi * 880.0 * t)
    fit = fit_harmonics(tone, RATE, (438.0,))
    assert fit is not None
    assert fit.hz[0] == pytest.approx(440.0, abs=0.01)
    assert fit.powers[0][:3] == pytest.approx([1.0, 0.25, 0.0], abs=2e-3)
    assert sum(fit.powers[0]) == pytest.approx(1.25, rel=4e-3)
    assert fit.unexplained < 1e-4
    noise = rng.standard_normal(n) * np.sqrt(np.mean(tone**2))
    noisy = fit_harmonics(tone + noise, RATE, (440.0,))
    assert noisy is not None
    assert 0.4 < noisy.unexplained < 0.6


def test_a_fit_that_is_far_off_fails_and_a_near_one_converges() -> None:
    tone = reed(440.0, 0.027)[:648]
    assert fit_harmonics(tone, RATE, (440.0 * 2 ** (45 / 1200),)) is not None
    for guess in (300.0, 700.0):
        fit = fit_harmonics(tone, RATE, (guess,))
        assert fit is None or fit.unexplained > 0.5


@pytest.mark.parametrize("length", [240, 949, 1032])
def test_sums_over_a_window_follow_from_the_transform_of_its_weights(length: int) -> None:
    pole = np.pi / (length + 1)
    # Two partials as far apart as the transform's pole, and some almost so.
    beside = [0.05 + pole * (1.0 + off) for off in (0.0, 1e-9, 1e-4, 0.02)]
    angles, taper = np.array([0.0, 0.05, *beside, 1.1, 2.7]), _taper(length)
    time = np.arange(length) - 0.5 * (length - 1)
    for sign, values in zip((1.0, -1.0), _transforms(angles, taper), strict=True):
        turns = (angles[:, None] + sign * angles)[..., None] * time
        sums = (
            np.cos(turns) @ taper.weight,
            np.sin(turns) @ (taper.weight * time),
            np.cos(turns) @ (taper.weight * time**2),
        )
        for power, (value, direct) in enumerate(zip(values, sums, strict=True)):
            assert value == pytest.approx(0.5 * direct, abs=1e-9 * length ** (power + 1))


def test_singular_equations_have_no_solution_and_move_nothing() -> None:
    assert _solve(np.zeros((2, 2)), np.ones(2)) == [0.0, 0.0]
    assert _solve(np.zeros((1, 1)), np.ones(1)) == [0.0]
    solved = _solve(np.array([[2.0, 1.0], [1.0, 3.0]]), np.array([3.0, 5.0]))
    assert solved == pytest.approx([0.8, 1.4], rel=1e-6)


def test_the_fundamental_ratio_of_a_sub_octave_is_small() -> None:
    powers = [1e-6, 1.0, 1e-6, 0.5, 1e-6, 0.3]
    assert HarmonicFit((220.0,), (powers,), 0.0).fundamental_ratio < 0.01
    room = [1e-6, 0.5, 1.0, 0.5, 0.04, 0.3]  # a room cancels the fundamental
    assert HarmonicFit((220.0,), (room,), 0.0).fundamental_ratio == pytest.approx(0.2)
    twelfth = [1e-6, 1.0, 1.0, 0.5, 1e-6, 0.3]
    assert HarmonicFit((220.0,), (twelfth,), 0.0).fundamental_ratio < 0.01
    assert HarmonicFit((220.0,), ([0.25, 1.0],), 0.0).fundamental_ratio == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("f0", "rate", "count"), [(200.0, 24_000, 6), (2000.0, 24_000, 4), (2000.0, 8_000, 1)]
)
def test_partials_stay_under_the_nyquist_frequency(f0: float, rate: int, count: int) -> None:
    assert partial_count(f0, rate) == count


def test_the_joint_fit_converges_from_both_sides() -> None:
    sound = reed(523.25, 0.043)[:1032] + 0.3 * reed(659.26, 0.043)[:1032]
    for off in (-20.0, 20.0):
        ratio = 2 ** (off / 1200)
        fit = fit_harmonics(sound, RATE, (523.25 * ratio, 659.26 / ratio))
        assert fit is not None
        assert fit.hz == pytest.approx((523.25, 659.26), rel=3e-4)
        assert fit.unexplained < 0.08
        low, high = map(sum, fit.powers)
        assert high / low == pytest.approx(0.3**2, rel=0.1)
    once = fit_harmonics_once(sound, RATE, (523.25, 659.26))
    assert once.hz == pytest.approx((523.25, 659.26), rel=3e-4)


@pytest.mark.parametrize("f0", [196.0, 440.0, 987.0, 2093.0])
def test_the_period_of_a_reed_has_a_clarity_near_one(f0: float) -> None:
    window = reed(f0, 0.027)
    period, clarity = candidate_periods(autocorrelation(window, 200), 8)[0]
    assert RATE / period == pytest.approx(f0, rel=4e-3)
    assert 0.97 < clarity < 1.05


def test_candidates_start_at_the_shortest_period_that_is_nearly_the_clearest() -> None:
    lags = np.arange(401)
    correlation = np.cos(2 * np.pi * lags / 100) - 0.05 * (lags < 150)
    periods = [period for period, _ in candidate_periods(correlation, 8)]
    assert periods == pytest.approx([50.0, 100.0, 150.0], abs=0.6)
    correlation = np.cos(2 * np.pi * lags / 100) * np.where(lags < 150, 0.7, 1.0)
    assert candidate_periods(correlation, 8)[0][0] == pytest.approx(100.0, abs=0.6)
    assert candidate_periods(np.cos(2 * np.pi * lags / 100), 80)[0][0] == pytest.approx(100, abs=1)


def test_the_common_sub_octave_of_two_reeds_is_no_pitch() -> None:
    frontend = Frontend(RATE, 0.5)
    frontend.resample(reed(400.0, 0.5) + reed(500.0, 0.5))
    tracker = PitchTracker(frontend, 240, 90.0, 3000.0)
    estimate = tracker.estimate(frontend.count, frontend.count - 9000)
    assert estimate is None or estimate.hz > 380.0


# Tab


def test_a_pitch_outside_the_reach_of_its_hole_leaves_it() -> None:
    for off, held in ((60.0, "4"), (95.0, "4'")):
        tracker = TabTracker(C)
        for step in np.arange(0.0, off, 5.0):
            tab, _ = tracker.assign(hz("4") * 2 ** (step / 1200), young=False)
        assert (str(tab) == "4") is (held == "4")


def test_an_entry_that_fits_better_for_long_takes_over() -> None:
    """Between draw 4 and its bend, but exactly on another entry: blow 4's neighbour."""
    low_f = Harp.of("C")
    tracker = TabTracker(low_f)
    glide = hz("-3") * 2 ** (np.linspace(0.0, -150.0, 60) / 1200)
    for f0 in glide:
        tab, _ = tracker.assign(float(f0), young=False)
    assert tab.hole == 3
    names = [str(tracker.assign(float(glide[-1]), young=False)[0]) for _ in range(100)]
    assert names[0][:2] == "-3"


def test_the_held_entry_is_that_of_the_last_pitch_and_restarts() -> None:
    tracker = TabTracker(C)
    assert tracker.held is None
    tracker.assign(hz("-4"), young=False)
    assert tracker.held == Tab.parse("-4")
    tracker.override(Tab.parse("5"))
    assert tracker.held == Tab.parse("5")
    tracker.restart()
    assert tracker.held is None
    assert tracker.assign(hz("8"), young=False) == (Tab.parse("8"), False)


def test_a_step_of_a_vibrato_is_no_jump_and_a_step_to_a_bend_is() -> None:
    for step, jumps in ((20.0, False), (-20.0, False), (45.0, True), (-100.0, True)):
        tracker = TabTracker(C)
        tracker.assign(hz("-4"), young=False)
        _, jumped = tracker.assign(hz("-4") * 2 ** (step / 1200), young=False)
        assert jumped is jumps


# Reeds in a frame


@pytest.mark.parametrize("db", [0.0, -10.0, -24.0])
def test_a_mixture_has_the_levels_of_its_reeds(db: float) -> None:
    level = 10 ** (db / 20)
    frame = reed(hz("4"), 0.085) + level * reed(hz("5") * 2 ** (12 / 1200), 0.085)
    mixture = ReedMixture(FrameSpectrum(frame, RATE), (hz("4"), hz("5")))
    assert mixture.hz == pytest.approx((hz("4"), hz("5") * 2 ** (12 / 1200)), rel=5e-4)
    assert mixture.level_db(1) == pytest.approx(db, abs=0.4)
    assert mixture.has_fundamental(0)
    assert mixture.has_fundamental(1)
    alone = ReedMixture(FrameSpectrum(frame, RATE), (hz("4"),))
    assert alone.unexplained > 20 * mixture.unexplained
    assert mixture.explains(alone)


@pytest.mark.parametrize(("low", "high"), [("4", "6"), ("2", "4"), ("-4", "-6")])
@pytest.mark.parametrize("db", [0.0, -8.0])
def test_levels_hold_where_partials_coincide(low: str, high: str, db: float) -> None:
    frame = reed(hz(low), 0.085) + 10 ** (db / 20) * reed(hz(high), 0.085)
    mixture = ReedMixture(FrameSpectrum(frame, RATE), (hz(low), hz(high)))
    assert mixture.hz == pytest.approx((hz(low), hz(high)), rel=1e-3)
    assert mixture.level_db(1) == pytest.approx(db, abs=1.0)


@pytest.mark.parametrize("seed", range(6))
def test_noise_beside_a_reed_is_no_reed(seed: int) -> None:
    sound = reed(hz("4"), 0.085)
    noise = np.random.default_rng(seed).standard_normal(len(sound))
    noise *= 10 ** (-12 / 20) * np.sqrt(np.mean(sound**2))
    assert detect(sound + noise, "4").others == ()


def test_the_residual_shows_the_other_reed_and_not_one_that_is_absent() -> None:
    frame = reed(hz("4"), 0.085) + 0.3 * reed(hz("5"), 0.085)
    alone = ReedMixture(FrameSpectrum(frame, RATE), (hz("4"),))
    grid = hz("5") * 2 ** (np.arange(-56.0, 57.0, 4.0) / 1200)
    peak = alone.search(grid)
    assert peak is not None
    assert peak[0] == pytest.approx(hz("5"), rel=3e-3)
    assert 0.3 < peak[1] / (0.3**2 * alone.energies[0]) < 1.5
    both = alone.with_reed(peak[0])
    assert both.hz[1] == pytest.approx(hz("5"), rel=3e-4)
    absent = hz("3") * 2 ** (np.arange(-56.0, 57.0, 4.0) / 1200)
    absent_peak = both.search(absent)
    assert absent_peak is None or absent_peak[1] < 1e-3 * alone.energies[0]
    wrong = both.with_reed(hz("3"))
    assert not wrong.explains(both) or not wrong.has_fundamental(-1) or wrong.level_db(-1) < -40.0


def test_a_common_sub_octave_has_no_fundamental() -> None:
    spectrum = FrameSpectrum(reed(440.0, 0.085), RATE)
    assert spectrum.has_fundamental(440.0)
    assert not spectrum.has_fundamental(220.0)
    assert not spectrum.has_fundamental(440.0 * 2 ** (200 / 1200))
    assert spectrum.lowest_strong_peak(100.0) == pytest.approx(440.0, rel=2e-3)
    assert spectrum.lowest_strong_peak(460.0) == pytest.approx(880.0, rel=2e-3)


def test_interpolated_amplitudes_are_those_of_the_partials() -> None:
    t = np.arange(2041) / RATE
    spectrum = FrameSpectrum(0.25 * np.cos(2 * np.pi * 443.21 * t), RATE)
    assert abs(spectrum.at(np.array([443.21 * spectrum.per_hz]))[0]) == pytest.approx(
        0.25, rel=1e-3
    )
    _, rise = spectrum.at_and_beside(np.array([443.21 * spectrum.per_hz - 0.3]))
    offset = spectrum.slope(rise, np.array([0.25 + 0.0j]), None)[0]
    assert abs(offset) / 0.25 == pytest.approx(0.3, rel=0.05)


def test_the_lobe_of_a_hann_window() -> None:
    assert hann_lobe(np.array([0.0, 1.0, 2.0, 3.0])) == pytest.approx(
        [1.0, 0.5, 0.0, 0.0], abs=1e-6
    )
    assert hann_lobe(np.array([0.5]))[0] == pytest.approx(0.8488, abs=1e-3)


def test_power_in_decibels() -> None:
    assert power_db(100.0) == pytest.approx(20.0)
    assert power_db(0.0) == -120.0


def detect(sound: Floats, tab: str, **kwargs: bool) -> ReedEstimate:
    detector = ReedDetector(C, RATE)
    estimate = detector.detect(sound, hz(tab), Tab.parse(tab), **kwargs)
    assert estimate is not None
    return estimate


@pytest.mark.parametrize(("db", "sounds"), [(-6.0, True), (-29.0, True), (-38.0, False)])
def test_a_neighbour_sounds_from_a_certain_level_on(db: float, sounds: bool) -> None:
    other = 10 ** (db / 20) * reed(hz("5"), 0.085)
    estimate = detect(reed(hz("4"), 0.085) + other, "4")
    assert bool(estimate.others) is sounds
    assert estimate.tab == Tab.parse("4")
    assert estimate.breath is Breath.BLOW
    levels = dict(estimate.levels)
    if sounds:
        assert levels[5] == pytest.approx(db, abs=1.5)
    assert 3 not in levels or levels[3] < -33.0
    assert 4 not in levels


def test_a_chord_grows_outward_and_the_loudest_leads() -> None:
    sound = reed(hz("-4"), 0.085) + 0.8 * reed(hz("-5"), 0.085) + 0.6 * reed(hz("-6"), 0.085)
    estimate = detect(sound, "-4")
    assert {hole for hole, db in estimate.levels if db > -33.0} == {5, 6}
    assert estimate.others == pytest.approx((hz("-5"), hz("-6")), rel=1e-3)
    down = 0.6 * reed(hz("-4"), 0.085) + 0.8 * reed(hz("-5"), 0.085) + reed(hz("-6"), 0.085)
    estimate = detect(down, "-6")
    assert {hole for hole, db in estimate.levels if db > -33.0} == {4, 5}
    louder = detect(0.4 * reed(hz("-4"), 0.085) + reed(hz("-5"), 0.085), "-4")
    assert louder.tab == Tab.parse("-5")
    assert louder.hz == pytest.approx(hz("-5"), rel=1e-3)
    assert dict(louder.levels)[4] == pytest.approx(20 * np.log10(0.4), abs=1.0)


def test_a_split_with_the_tongue_between_is_detected() -> None:
    estimate = detect(reed(hz("-3"), 0.085) + 0.7 * reed(hz("-6"), 0.085), "-3")
    assert {hole for hole, db in estimate.levels if db > -33.0} == {6}


@pytest.mark.parametrize(("db", "detected"), [(-6.6, True), (-7.1, False)])
def test_a_split_leaves_a_fifth_of_the_energy_to_the_other_reed(db: float, detected: bool) -> None:
    other = 10 ** (db / 20) * reed(hz("-6"), 0.085)
    estimate = detect(reed(hz("-3"), 0.085) + other, "-3")
    assert (6 in dict(estimate.levels)) is detected


@pytest.mark.parametrize(
    ("upper", "lower", "db"), [("4", "1", -20.0), ("-8", "-4", -26.0), ("-7", "-3", -10.0)]
)
def test_a_soft_reed_an_octave_below_is_found(upper: str, lower: str, db: float) -> None:
    """Half of its partials are those of the upper reed; the other half show its level."""
    sound = reed(hz(upper), 0.085) + 10 ** (db / 20) * reed(hz(lower), 0.085)
    estimate = detect(sound, upper)
    assert estimate.tab == Tab.parse(upper)
    assert dict(estimate.levels)[Tab.parse(lower).hole] == pytest.approx(db, abs=2.0)


def test_draw_two_alone_does_not_show_its_breath_and_with_a_neighbour_does() -> None:
    assert detect(reed(hz("-2"), 0.085), "-2").breath is None
    both = detect(reed(hz("-2"), 0.085) + 0.3 * reed(hz("-3"), 0.085), "-2")
    assert both.breath is Breath.DRAW
    blow = detect(reed(hz("3"), 0.085) + 0.3 * reed(hz("4"), 0.085), "3")
    assert (blow.breath, blow.tab.hole) == (Breath.BLOW, 3)


def test_a_neighbour_too_soft_to_sound_does_not_show_the_breath() -> None:
    soft = 10 ** (-38 / 20) * reed(hz("-3"), 0.085)
    assert detect(reed(hz("-2"), 0.085) + soft, "-2").breath is None


def test_a_soft_reed_beside_a_sounding_neighbour_is_found() -> None:
    sound = reed(hz("-4"), 0.085) + reed(hz("-5"), 0.085) + 0.2 * reed(hz("-6"), 0.085)
    assert {hole for hole, db in detect(sound, "-4").levels if db > -33.0} == {5, 6}


@pytest.mark.parametrize(("held", "breath"), [("-2", Breath.DRAW), ("3", Breath.BLOW)])
def test_of_two_explanations_the_held_entry_wins(held: str, breath: Breath) -> None:
    sound = reed(hz("-2"), 0.085) + 0.3 * (reed(hz("4"), 0.085) + reed(hz("-3"), 0.085))
    assert detect(sound, held).breath is breath


def test_a_pitch_without_a_fundamental_is_replaced_by_the_lowest_peak() -> None:
    detector = ReedDetector(C, RATE)
    estimate = detector.detect(reed(hz("4"), 0.085), hz("4") / 2.0, None)
    assert estimate is not None
    assert estimate.hz == pytest.approx(hz("4"), rel=2e-3)
    assert estimate.tab == Tab.parse("4")
    assert detector.detect(np.zeros(2040) + 1e-12, None, None) is None


def test_an_octave_split_is_detected_by_its_beats() -> None:
    def run(upper: float, off: float) -> list[object]:
        detector = OctaveDetector()
        sound = reed(hz("1"), 1.2) + upper * reed(2 * hz("1") + off, 1.2)
        results = []
        for end in range(2040, len(sound), 480):
            mixture = ReedMixture(FrameSpectrum(sound[end - 2040 : end], RATE), (hz("1"),))
            results.append(
                detector.observe((end - 1020) / RATE, 0.085, mixture.hz[0], mixture.partials)
            )
        return results

    last = run(0.5, 2.0)[-1]
    assert last is not None
    assert last.hz == pytest.approx(2 * hz("1") + 2.0, abs=0.15)  # type: ignore[attr-defined]
    assert last.level_db == pytest.approx(-6.0, abs=1.5)  # type: ignore[attr-defined]
    assert run(0.5, -3.0)[-1].hz == pytest.approx(2 * hz("1") - 3.0, abs=0.15)  # type: ignore[attr-defined]
    assert not any(run(0.0, 0.0))
    assert not any(run(0.5, 2.0)[:8])  # too early


def test_octaves_are_forgotten_when_the_pitch_moves() -> None:
    detector = OctaveDetector()
    for i in range(40):
        f0 = 262.0 * (1.0 if i < 30 else 1.03)
        partials = np.exp(1j * 0.3 * i * np.arange(1, 7))
        partials[1::2] *= np.exp(1j * 0.5 * i)
        result = detector.observe(0.02 * i, 0.085, f0, partials)
        if 30 <= i < 38:
            assert result is None
    detector.restart()
    assert detector.observe(1.0, 0.085, 262.0, np.ones(6, complex)) is None


def test_the_lowest_peak_of_near_silence_is_a_number() -> None:
    """A frame whose spectrum is under 1e-12, as rounding leaves of a filter's ringing."""
    t = np.arange(1024) / RATE
    spectrum = FrameSpectrum(1e-18 * np.sin(2.0 * np.pi * 440.0 * t), RATE)
    peak = spectrum.lowest_strong_peak(100.0)
    assert peak is not None
    assert peak == pytest.approx(440.0, rel=0.05)


def test_a_known_reed_whose_fundamental_a_room_cancels_keeps_it() -> None:
    t = np.arange(round(0.085 * RATE)) / RATE

    def spectrum(*orders: int) -> FrameSpectrum:
        sound = sum(np.cos(2.0 * np.pi * k * 392.0 * t + k) / k for k in orders)
        return FrameSpectrum(np.asarray(sound), RATE)

    cancelled, fifth = spectrum(2, 3, 4, 5, 6, 7), spectrum(2, 4, 6, 8, 3, 9, 12)
    assert spectrum(1, 2, 3).has_fundamental(392.0)
    assert not cancelled.has_fundamental(392.0)
    assert cancelled.has_fundamental(392.0, is_known=True)
    assert not fifth.has_fundamental(392.0, is_known=True), "the sub-octave of two reeds"


def test_a_reed_stays_where_it_is_when_its_fundamental_fades() -> None:
    """Blow 4 of a G harp in a room whose echo cancels 392 Hz from 0.2 s on."""
    t = np.arange(RATE) / RATE
    fundamental = np.clip(1.0 - (t - 0.2) / 0.05, 0.01, 1.0)
    sound = fundamental * np.sin(2.0 * np.pi * 392.0 * t)
    sound += sum(np.sin(2.0 * np.pi * k * 392.0 * t + k) / k for k in range(2, 8))
    ear = Ear(RATE, Harp.of("G"))
    readings = ear.analyze(Block(0, 0.1 * sound * np.clip(t / 0.01, 0.0, 1.0), RATE))
    later = [reading for reading in readings if reading.sample > 0.1 * RATE]
    assert len(later) > 150
    assert {str(reading.tab) for reading in later} == {"4"}
    assert all(reading.hz == pytest.approx(392.0, rel=1e-3) for reading in later)


# The schedule of detections


def schedule(**changes: float) -> tuple[_ReedSchedule, _NoteState, int]:
    spans = _Spans(RATE, EarParameters(schedule=replace(DEFAULT_EAR.schedule, **changes)))  # type: ignore[arg-type]
    result = _ReedSchedule(spans, DEFAULT_EAR.schedule)
    note = _NoteState(44)
    note.segment = 0
    result.last, result.unexplained, result.usual = 100 * spans.hop, 0.1, 0.1
    return result, note, spans.hop


def first_due(result: _ReedSchedule, note: _NoteState, hop: int) -> int:
    return next(n for n in range(1, 50) if result.is_due(result.last + n * hop, note))


def test_reeds_are_detected_seldom_while_nothing_changes() -> None:
    result, note, hop = schedule()
    note.segment = result.last - 90 * hop
    assert first_due(result, note, hop) == 8
    result.moved_cents = 4.0
    assert first_due(result, note, hop) == 4
    result.moved_cents = 0.0
    note.reeds = ReedEstimate(440.0, Tab.parse("4"), None, (), ())
    assert first_due(result, note, hop) == 16
    note.reeds = replace(note.reeds, others=(500.0,))
    assert first_due(result, note, hop) == 8


def test_several_reeds_are_detected_seldom_once_they_are_found_again() -> None:
    result, note, hop = schedule()
    note.segment = result.last - 200 * hop
    note.reeds = ReedEstimate(440.0, Tab.parse("4"), None, (), (500.0,))
    result.record(result.last, (4, 5))
    assert first_due(result, note, hop) == 8
    result.record(result.last, (4, 5))
    assert first_due(result, note, hop) == 16
    result.moved_cents = 9.0
    assert first_due(result, note, hop) == 16
    result.moved_cents = 11.0
    assert first_due(result, note, hop) == 8
    result.moved_cents = 9.0
    for _ in range(3):
        result.record(result.last, (4, 5))
    assert first_due(result, note, hop) == 32
    result.moved_cents = 11.0
    result.record(result.last, (4, 3))
    assert first_due(result, note, hop) == 4


def test_several_reeds_are_detected_at_once_if_the_level_of_one_changes() -> None:
    result, note, hop = schedule()
    note.segment = result.last - 90 * hop
    note.reeds = ReedEstimate(440.0, Tab.parse("4"), None, (), (500.0,))
    for _ in range(2):
        result.record(result.last, (4, 5))
    for levels, due in (((1.0, 0.2), 16), ((2.0, 0.5), 16), ((2.0, 0.6), 2), ((1.0, 0.13), 2)):
        result.watch(HarmonicFit((440.0, 500.0), tuple([x**2] for x in levels), 0.1), 23.0)
        assert first_due(result, note, hop) == due


def test_partials_that_coincide_say_nothing_of_a_reed_s_level() -> None:
    """A fit of a just fifth gives either reed most of the energy of the partials they share."""
    result, note, hop = schedule()
    note.segment = result.last - 90 * hop
    note.reeds = ReedEstimate(400.0, Tab.parse("4"), None, (), (601.0,))
    for _ in range(2):
        result.record(result.last, (4, 5))
    for shared in (0.01, 4.0):
        powers = [1.0, 0.5, shared, 0.1, 0.1, 0.0], [0.1, 4.01 - shared, 0.1, 0.0, 0.0, 0.0]
        result.watch(HarmonicFit((400.0, 601.0), powers, 0.1), 23.0)
        assert first_due(result, note, hop) == 16
    result.watch(HarmonicFit((400.0, 601.0), ([1.0, 0.5], [0.5, 1.0]), 0.1), 23.0)
    assert first_due(result, note, hop) == 2


def test_partials_apart() -> None:
    fit = HarmonicFit((400.0, 601.0), ([1.0] * 6, [1.0] * 4), 0.1)
    assert fit.partials_apart(1.0) == [[0, 1, 2, 3, 4, 5], [0, 1, 2, 3]]
    assert fit.partials_apart(3.0) == [[0, 1, 3, 4, 5], [0, 2, 3]]
    assert fit.partials_apart(5.0) == [[0, 1, 3, 4], [0, 2]]
    assert fit.powers_in([[0, 1], [3, 9]]) == pytest.approx([2.0, 1.0])
    octave = HarmonicFit((400.0, 800.0), ([1.0], [1.0, 0.5]), 0.1)
    assert octave.partials_apart(2000.0) == [[0], [0, 1]], "none stands apart"


def test_known_reeds_are_not_detected_again_while_they_are_released() -> None:
    result, note, hop = schedule()
    result.unexplained = 0.5
    note.reeds = ReedEstimate(440.0, Tab.parse("4"), None, (), (500.0,))
    assert result.is_due(result.last + 2 * hop, note)
    result.falls = True
    assert not result.is_due(result.last + 40 * hop, note)
    note.reeds = None  # a short note that is not known yet
    assert result.is_due(result.last + 2 * hop, note)


@pytest.mark.parametrize(("fall_db", "falls"), [(4.8, False), (5.2, True)])
def test_a_release_falls_by_five_decibels_in_three_hops(fall_db: float, falls: bool) -> None:
    ear = Ear(RATE, C)
    hop = ear._spans.hop
    per_hop = 10.0 ** (-fall_db / 3.0 / 20.0)
    t = np.arange(60 * hop)
    envelope = per_hop ** np.clip((t - 30 * hop) / hop, 0.0, None)
    tone = 0.3 * np.sin(2.0 * np.pi * hz("4") * t / RATE) * envelope
    ear.analyze(Block(0, tone, RATE))
    assert ear._schedule.falls is falls


def test_a_young_note_is_analysed_as_it_grows() -> None:
    result, note, hop = schedule()
    note.segment = result.last - 9 * hop
    assert first_due(result, note, hop) == 3  # 3 >= (9 + 3) / 4
    note.reeds = ReedEstimate(440.0, Tab.parse("4"), None, (), (500.0,))
    assert first_due(result, note, hop) == 3, "a shake is quick"
    note.reeds = None
    note.segment = result.last
    assert first_due(result, note, hop) == 2


def test_reeds_are_detected_at_once_if_more_is_unexplained() -> None:
    result, note, hop = schedule()
    result.unexplained = 0.12
    assert first_due(result, note, hop) == 8
    result.unexplained = 0.15
    assert first_due(result, note, hop) == 2
    result.unexplained = None
    assert first_due(result, note, hop) == 2
    result.expect(young=False)
    assert first_due(result, note, hop) == 8  # the fit failed at the last detection, too


def test_what_was_left_unexplained_stays_usual_for_a_while_if_nothing_else_was_found() -> None:
    result, _, _ = schedule()
    result.unexplained = 0.02
    result.record(0, (4,))
    result.expect(young=False)
    assert result.usual == 0.02  # other holes than before
    result.usual = 0.1
    result.record(0, (4,))
    result.expect(young=False)
    assert result.usual == pytest.approx(0.08)
    result.expect(young=True)
    assert result.usual == 0.02


# Motion


def even(seconds: float) -> Floats:
    return np.arange(0.01, seconds, HOP_S)


def moved(cents_at: Floats, t: Floats, length: float) -> Motion:
    return estimate_motion(t, 440.0 * 2 ** (cents_at / 1200), length)


@pytest.mark.parametrize("slope", [-25.0, 25.0])
def test_drift_has_the_sign_of_the_slope(slope: float) -> None:
    t = even(1.0)
    motion = moved(slope * t, t, 1.0)
    assert motion.drift_cents_s == pytest.approx(slope, rel=0.02)
    assert motion.wobble_cents == pytest.approx(0.0, abs=0.1)
    assert motion.scoop_cents == pytest.approx(0.0, abs=1.0)
    assert motion.settle_ms == 0.0
    assert motion.vibrato is None


@pytest.mark.parametrize("scoop", [-80.0, 60.0])
def test_a_scoop_has_its_size_sign_and_settling_time(scoop: float) -> None:
    t = even(0.8)
    motion = moved(np.interp(t, [0.0, 0.12], [scoop, 0.0]), t, 0.8)
    assert motion.scoop_cents == pytest.approx(scoop, abs=8.0)
    settled = 1000 * 0.12 * (1 - 10.0 / abs(scoop))
    assert motion.settle_ms == pytest.approx(settled, abs=12.0)
    assert motion.drift_cents_s == pytest.approx(0.0, abs=2.0)


@pytest.mark.parametrize("to", [-100.0, 100.0])
def test_a_glide_has_its_ends_and_direction(to: float) -> None:
    t = even(1.0)
    motion = moved(np.interp(t, [0.3, 0.6], [0.0, to]), t, 1.0)
    assert motion.glide is not None
    assert motion.glide.cents == pytest.approx(to, abs=3.0)
    assert motion.glide.monotone
    back = moved(np.interp(t, [0.25, 0.4, 0.6, 0.75], [0.0, to, to, 0.0]), t, 1.0)
    assert back.glide is not None
    assert back.glide.cents == pytest.approx(0.0, abs=3.0)
    assert not back.glide.monotone


def test_a_small_movement_is_no_glide() -> None:
    t = even(1.0)
    assert moved(np.interp(t, [0.3, 0.6], [0.0, 25.0]), t, 1.0).glide is None
    assert moved(np.interp(t, [0.3, 0.6], [0.0, 36.0]), t, 1.0).glide is not None


def test_a_glide_that_goes_on_at_the_end_has_the_last_pitch() -> None:
    t = even(0.6)
    motion = moved(np.interp(t, [0.3, 0.6], [0.0, 120.0]), t, 0.6)
    assert motion.glide is not None
    assert motion.glide.cents == pytest.approx(104.0, abs=8.0)  # without the last 40 ms


def test_the_held_part_is_the_longest_rest() -> None:
    t = even(1.2)
    path = np.interp(t, [0.3, 0.5, 1.2], [0.0, -100.0, -114.0])
    motion = moved(path, t, 1.2)
    assert motion.drift_cents_s == pytest.approx(-20.0, abs=3.0)
    parts = held_parts(t, 440.0 * 2 ** (path / 1200), 1.2)
    assert len(parts) == 2
    assert parts[0].end == pytest.approx(0.3, abs=0.03)
    assert parts[1].start == pytest.approx(0.5, abs=0.03)
    assert parts[1].end == pytest.approx(1.16, abs=0.01)
    assert cents(parts[0].hz, 440.0) == pytest.approx(0.0, abs=2.0)
    assert cents(parts[1].hz, 440.0) == pytest.approx(-107.0, abs=2.0)
    first_is_longer = moved(
        np.interp(t, [0.7, 0.9], [0.0, -100.0]) + 20.0 * np.minimum(t, 0.7), t, 1.2
    )
    assert first_is_longer.drift_cents_s == pytest.approx(20.0, abs=3.0)


@pytest.mark.parametrize(("rest_s", "count"), [(0.08, 0), (0.085, 1)])
def test_a_short_note_rests_for_half_of_its_length(rest_s: float, count: int) -> None:
    t = even(0.16)
    path = np.interp(t, [0.0, rest_s, 0.16], [0.0, 0.0, 1200.0 * (0.16 - rest_s)])
    assert len(held_parts(t, 440.0 * 2 ** (path / 1200), 0.16)) == count


def test_rests_at_one_pitch_are_one() -> None:
    t = even(1.0)
    path = np.interp(t, [0.4, 0.44, 0.48], [0.0, 15.0, 0.0])
    assert len(held_parts(t, 440.0 * 2 ** (path / 1200), 1.0)) == 1


@pytest.mark.parametrize(("rate", "depth"), [(4.0, 8.0), (5.5, 25.0), (8.0, 15.0)])
def test_vibrato_does_not_count_as_wobble_or_scoop(rate: float, depth: float) -> None:
    t = even(1.2)
    motion = moved(depth * np.sin(2 * np.pi * rate * t) - 10.0 * t, t, 1.2)
    assert motion.vibrato is not None
    assert motion.vibrato.hz == pytest.approx(rate, rel=0.03)
    assert motion.vibrato.depth == pytest.approx(depth, rel=0.08)
    assert motion.wobble_cents == pytest.approx(0.0, abs=1.0)
    assert motion.drift_cents_s == pytest.approx(-10.0, abs=3.0)
    assert abs(motion.scoop_cents or 0.0) < 3.0
    assert motion.glide is None


@pytest.mark.parametrize(
    ("rate", "depth", "cycles", "has"),
    [(5.0, 2.0, 6, False), (5.0, 4.0, 6, True), (5.0, 6.0, 2, False), (5.0, 20.0, 2, True)],
)
def test_a_shallow_vibrato_needs_more_cycles(
    rate: float, depth: float, cycles: int, has: bool
) -> None:
    length = cycles / rate + 0.05 + 0.01
    t = even(length)
    motion = moved(depth * np.sin(2 * np.pi * rate * t), t, length)
    assert (motion.vibrato is not None) is has


def test_tremolo_has_rate_and_depth_and_a_slow_swell_has_none() -> None:
    t = even(1.2)
    swing = estimate_tremolo(t, -20.0 + 3.0 * np.sin(2 * np.pi * 6.0 * t))
    assert swing is not None
    assert (swing.hz, swing.depth) == pytest.approx((6.0, 3.0), rel=0.05)
    assert estimate_tremolo(t, -20.0 + 3.0 * np.sin(2 * np.pi * 1.0 * t)) is None
    assert estimate_tremolo(t, -20.0 + 0.6 * np.sin(2 * np.pi * 6.0 * t)) is None
    assert estimate_tremolo(t[:3], t[:3]) is None


def test_the_initial_pitch_is_extrapolated_within_bounds() -> None:
    t = np.arange(0.015, 0.1, 0.00125)
    assert initial_pitch(t, 800.0 * t) == pytest.approx(0.0, abs=0.1)
    assert initial_pitch(t, -800.0 * t) == pytest.approx(0.0, abs=0.1)
    steep = 4000.0 * t  # 60 cents in 15 ms: no more than 20 are believed
    assert initial_pitch(t, steep) == pytest.approx(60.0 - 20.0)
    late = np.arange(0.05, 0.1, 0.00125)
    assert initial_pitch(late, 500.0 * late) == pytest.approx(25.0 - 500.0 * 0.02)
    assert initial_pitch(t[:3], t[:3]) == t[0]


def test_resampling_takes_values_in_any_order() -> None:
    t = np.array([0.02, 0.0, 0.01])
    assert resample_evenly(t, 100.0 * t) == pytest.approx([0.0, 0.5, 1.0, 1.5])


# Notes


def reading(at: float, tab: str | None, **changes: object) -> Reading:
    sample = round(at * RATE)
    base = Reading(sample - 240, sample, RATE, level_db=-20.0, sounding=True)
    if tab is not None:
        entry = Tab.parse(tab)
        base = replace(
            base, hz=C.hz(entry), tab=entry, cents=0.0, breath=entry.breath, holes=(entry.hole,)
        )
    return replace(base, **changes)  # type: ignore[arg-type]


def tracked(readings: Sequence[Reading]) -> list[HeardNote]:
    tracker = NoteTracker(C)
    notes = [note for one_reading in readings for note in tracker.track(one_reading)]
    return notes + tracker.flush()


def steady(tab: str, start: float, end: float, **changes: object) -> list[Reading]:
    return [reading(float(at), tab, **changes) for at in np.arange(start, end, HOP_S)]


def with_onset(readings: list[Reading], at: float) -> list[Reading]:
    return [replace(readings[0], onset=round(at * RATE)), *readings[1:]]


def test_a_note_begins_at_its_onset_unless_that_is_long_ago() -> None:
    (note,) = tracked(with_onset(steady("4", 1.0, 1.5), 0.98))
    assert note.start == round(0.98 * RATE)
    (late,) = tracked(with_onset(steady("4", 1.0, 1.5), 0.7))
    assert late.start == round(1.0 * RATE) - 240


def test_a_note_ends_with_the_sound_or_after_a_short_gap() -> None:
    gone = [reading(1.5 + HOP_S * i, None, sounding=False, level_db=-80.0) for i in range(10)]
    (note,) = tracked([*with_onset(steady("4", 1.0, 1.5), 0.99), *gone])
    assert note.end == pytest.approx(1.5 * RATE, abs=0.012 * RATE)
    for gap, count in ((0.02, 1), (0.05, 2)):
        between = [reading(float(at), None) for at in np.arange(1.5, 1.5 + gap, HOP_S)]
        notes = tracked(
            [*with_onset(steady("4", 1.0, 1.5), 0.99), *between, *steady("4", 1.5 + gap, 2.0)]
        )
        assert len(notes) == count


def test_notes_shorter_than_a_blink_are_dropped() -> None:
    assert tracked(with_onset(steady("4", 1.0, 1.03), 0.995)) == []
    assert len(tracked(with_onset(steady("4", 1.0, 1.06), 0.995))) == 1


@pytest.mark.parametrize(("seconds", "count"), [(0.02, 1), (0.06, 3)])
def test_another_hole_must_last_to_be_a_note(seconds: float, count: int) -> None:
    notes = tracked(
        [
            *with_onset(steady("4", 1.0, 1.5), 0.99),
            *steady("6", 1.5, 1.5 + seconds),
            *steady("4", 1.5 + seconds, 2.0),
        ]
    )
    assert len(notes) == count
    if count == 3:
        assert notes[0].end == notes[1].start == pytest.approx(1.4925 * RATE, abs=0.006 * RATE)


def test_another_hole_while_the_reeds_begin_to_sound_is_no_note() -> None:
    early = tracked([*with_onset(steady("6", 1.0, 1.03), 0.99), *steady("4", 1.03, 1.5)])
    assert [str(note.tab) for note in early] == ["4"]
    assert early[0].start == round(0.99 * RATE)
    late = tracked([*with_onset(steady("6", 1.0, 1.12), 0.99), *steady("4", 1.12, 1.5)])
    assert [str(note.tab) for note in late] == ["6", "4"]


@pytest.mark.parametrize(("until", "tabs"), [(1.0575, ["4"]), (1.065, ["6", "4"])])
def test_the_reeds_begin_to_sound_for_60_milliseconds(until: float, tabs: list[str]) -> None:
    notes = tracked([*with_onset(steady("6", 1.0, until), 0.99), *steady("4", until, 1.5)])
    assert [str(note.tab) for note in notes] == tabs


def test_a_leak_counts_if_it_is_there_for_half_of_the_note() -> None:
    leaking = {"leak_db": -20.0, "leak_hole": 5, "holes": (4, 5)}
    (most,) = tracked(with_onset([*steady("4", 1.0, 1.2), *steady("4", 1.2, 1.6, **leaking)], 0.99))
    assert (most.leak_db, most.leak_hole, most.holes) == (-20.0, 5, (4, 5))
    (few,) = tracked(with_onset([*steady("4", 1.0, 1.4), *steady("4", 1.4, 1.6, **leaking)], 0.99))
    assert (few.leak_db, few.leak_hole, few.holes) == (None, None, (4,))
    assert few.clean
    assert not most.clean


def test_a_leak_at_the_start_does_not_count() -> None:
    leaking = {"leak_db": -10.0, "leak_hole": 5, "holes": (4, 5)}
    (note,) = tracked(
        with_onset([*steady("4", 1.0, 1.05, **leaking), *steady("4", 1.05, 1.1)], 0.99)
    )
    assert note.leak_db is None


def test_a_note_has_the_median_pitch_and_the_loudest_level() -> None:
    flat = hz("4") * 2 ** (-10 / 1200)
    (note,) = tracked(
        with_onset([*steady("4", 1.0, 1.3, hz=flat, level_db=-15.0), *steady("4", 1.3, 1.4)], 0.99)
    )
    assert note.cents == pytest.approx(-10.0, abs=0.01)
    assert note.level_db == -15.0
    assert note.path[0][0] == round(1.0 * RATE) - 240


@pytest.mark.parametrize(("fall", "ends"), [(30.0, True), (12.0, False)])
def test_a_quick_fall_ends_a_note_and_a_slow_one_does_not(fall: float, ends: bool) -> None:
    readings = with_onset(steady("4", 1.0, 2.0), 0.99)
    falling = [replace(r, level_db=-20.0 - fall * max(0.0, r.heard / RATE - 1.5)) for r in readings]
    (note,) = tracked(falling)
    assert (note.end < 1.97 * RATE) is ends


def test_a_note_ends_where_its_level_has_fallen_to_half() -> None:
    readings = with_onset(steady("4", 1.0, 1.6), 0.99)
    falling = [
        replace(r, level_db=-20.0 - 200.0 * max(0.0, r.heard / RATE - 1.5)) for r in readings
    ]
    (note,) = tracked(falling)
    # 6 dB at 200 dB/s less 20 dB/s, read at the middle of a window of 10 ms
    assert note.end == pytest.approx((1.5 + 6.0 / 180.0 - 0.005) * RATE, abs=0.004 * RATE)


def test_the_end_of_a_sound_is_interpolated_between_levels() -> None:
    """It falls by 4 dB a step: by 6 dB after one and a half, less what a fading reed falls."""
    at = np.arange(20.0) * 480.0
    db = np.concatenate([np.zeros(10), -4.0 * np.arange(1.0, 11.0)])
    end = end_of_sound(at, db, 19 * 480, 48_000)
    assert end == pytest.approx((9 + 1.5) * 480, abs=0.1 * 480)


# What is not measured anew


def test_a_pitch_that_moves_evenly_is_measured_every_second_hop(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    measured: list[int] = []
    measure = Ear._measure_pitches

    def recorded(ear: Ear, *, whole_hop: bool) -> object:
        measured.append(ear._end)
        return measure(ear, whole_hop=whole_hop)

    monkeypatch.setattr(Ear, "_measure_pitches", recorded)
    t = np.arange(RATE) / RATE
    # Still, with a wobble of 2 cents, in a slow glide, and with a vibrato of 34 cents.
    for wobble, cents_s, most in (
        (0.0, 0.0, 0.55),
        (2.0, 0.0, 0.8),
        (0.0, 60.0, 0.55),
        (34.0, 0.0, 1.01),
    ):
        path = wobble * np.sin(2.0 * np.pi * 5.0 * t) + cents_s * t
        true = 440.0 * 2.0 ** (path / 1200.0)
        phase = 2.0 * np.pi * np.cumsum(true) / RATE
        sound = sum(0.1 / k * np.sin(k * phase + k) for k in range(1, 6))
        ear = Ear(RATE, C)
        measured.clear()
        readings = ear.analyze(Block(0, round_to_24_bits(np.asarray(sound)), RATE))
        late = [end for end in measured if end > RATE // 2]
        hops = sum(reading.heard > RATE // 2 for reading in readings)
        assert len(late) < most * hops
        assert wobble < 30.0 or len(late) > 0.9 * hops
        for reading in readings:
            if reading.hz is not None and reading.sample > RATE // 2:
                off = 1200.0 * np.log2(reading.hz / true[min(reading.sample, RATE - 1)])
                assert abs(off) < (1.0 if wobble > 30.0 else 0.4)


def test_known_reeds_are_confirmed_until_something_changes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    searches: list[float] = []
    search = ReedDetector._search

    def recorded(*args: object, **kwargs: object) -> object:
        searches.append(1.0)
        return search(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(ReedDetector, "_search", recorded)
    two = reed(hz("4"), 0.085) + 0.3 * reed(hz("5"), 0.085)
    three = two + 0.3 * reed(hz("3"), 0.085)
    detector, entry = ReedDetector(C, RATE), Tab.parse("4")
    counts = []
    for sound in (two, two, two, two, two, two, three, three):
        estimate = detector.detect(sound, hz("4"), entry)
        assert estimate is not None
        assert len(estimate.others) == (2 if sound is three else 1)
        counts.append(len(searches))
    # Three times confirmed, searched anew, confirmed once, then another reed sounds.
    assert counts == [1, 1, 1, 1, 2, 2, 3, 3]
    detector.restart()
    detector.detect(three, hz("4"), entry)
    assert len(searches) == 4


def test_a_pitch_that_other_reeds_have_misled_is_put_right() -> None:
    """In a low chord, the pitch may be tracked between two reeds, where no reed of theirs is."""
    harp = Harp.of("Ab")
    chord = sum(reed(harp.hz(Tab.parse(tab)), 0.085) for tab in ("1", "2", "3"))
    misled = harp.hz(Tab.parse("1")) * 2.0 ** (73.0 / 1200.0)
    detector = ReedDetector(harp, RATE)
    estimate = detector.detect(chord, misled, Tab.parse("-1'"))
    assert estimate is not None
    assert estimate.tab == Tab.parse("1")
    assert estimate.breath is Breath.BLOW
    assert estimate.hz == pytest.approx(harp.hz(Tab.parse("1")), rel=0.001)
    assert {hole for hole, db in estimate.levels if db > -10.0} == {2, 3}


def test_a_steep_pitch_before_a_gap_predicts_no_pitch_after_it() -> None:
    """Carried on over the gap, the fall would end below 0 Hz."""
    note, ear = _NoteState(8), EarParameters()
    for pitches in (
        _Pitches((880.0,), 0.0),
        _Pitches((440.0,), 480.0),
        None,
        _Pitches((440.0,), 9600.0),
        _Pitches((440.0,), 10080.0),
        _Pitches((440.0,), 10560.0),
    ):
        note.measure(pitches, ear, RATE)
    assert note.even == 2
    note.measure(_Pitches((220.0,), 11040.0), ear, RATE)
    note.measure(_Pitches((220.0,), 48_000.0), ear, RATE)
    assert note.even == 0
