"""Beats on the sample clock, with a tempo that changes evenly by beats."""

from __future__ import annotations

import re
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from trainer.drill import BeatClock, Drill, DrillError, TempoChange, parse_drill, write_drill
from trainer.sound.click import ClickTrack

RATE = 48_000


def drill_of(tab: str, head: str = "") -> Drill:
    source = f'title = "T"\nharp = "C"\n{head}\ntab = """{tab}"""\n'
    return parse_drill(source, "t")


def test_an_even_change_of_tempo_is_the_integral_of_the_beats() -> None:
    """The time of a beat against the numerical integral of 60 / tempo over the beats."""
    drill = drill_of("|: 4:4 :|8", "tempo = 80\ntempo_to = 140")
    clock = drill.clock(RATE)
    assert clock.change == TempoChange(0.0, 32.0, 1.75)
    for beat in (0.5, 1, 7.25, 16, 31.5, 32):
        seconds, _ = quad(lambda b: 60.0 / (80.0 + 60.0 * b / 32.0), 0.0, beat)
        assert clock.sample(beat) / RATE == pytest.approx(seconds, abs=1e-4)
    assert 60.0 / clock.beat_s(0) == pytest.approx(80.0)
    assert 60.0 / clock.beat_s(16) == pytest.approx(110.0)
    assert 60.0 / clock.beat_s(32) == pytest.approx(140.0)
    assert drill.seconds == pytest.approx(32.0 * np.log(1.75) / 0.75 * 60.0 / 80.0)


@given(
    st.floats(-8, 8),
    st.floats(1, 200),
    st.floats(0.2, 5).filter(lambda ratio: abs(ratio - 1.0) > 1e-6),
    st.floats(-20, 300),
)
def test_a_beat_is_read_back_from_its_time(
    start: float, length: float, ratio: float, beat: float
) -> None:
    change = TempoChange(start, start + length, ratio)
    assert change.beat(change.elapsed(beat)) == pytest.approx(beat, abs=1e-6)
    assert change.elapsed(beat + 0.01) > change.elapsed(beat)
    if beat <= start:
        assert change.elapsed(beat) == beat


@given(st.integers(-(10**6), 10**7), st.sampled_from([Fraction(0), Fraction(-1)]))
def test_a_sample_is_read_back_from_its_beat(sample: int, start: Fraction) -> None:
    change = TempoChange(float(start), 40.0, 0.5)
    clock = BeatClock(12_345, 120.0, RATE, change=change)
    assert abs(clock.sample(clock.beat(sample)) - sample) <= 1


def test_swing_stays_within_its_beat() -> None:
    drill = drill_of("|: 4:0.5 4:0.5 4:3 :|4", "tempo = 60\ntempo_to = 120\nswing = 2")
    clock = drill.clock(RATE)
    for beat in (0, 8):
        first = clock.sample(beat + Fraction(1, 2)) - clock.sample(beat)
        second = clock.sample(beat + 1) - clock.sample(beat + Fraction(1, 2))
        assert first / second == pytest.approx(2.0, rel=0.1)


def test_a_pass_that_begins_later_has_the_tempo_of_its_bars() -> None:
    """Beat 0 is on its sample; the count-in to bar 5 has the tempo that the drill has there."""
    drill = drill_of("4:1 | |: 4:4 :|8", "tempo = 80\ntempo_to = 140\npickup = 1")
    whole = ClickTrack.of(drill).clock_from(0, RATE)
    part = ClickTrack.of(drill, bars=(5, 6)).clock_from(0, RATE)
    assert whole.sample(Fraction(-8)) == 0
    assert part.sample(Fraction(12)) == 0
    lengths = [clock.sample(Fraction(20)) - clock.sample(Fraction(16)) for clock in (whole, part)]
    assert abs(lengths[0] - lengths[1]) <= 1
    clicks = [sample for sample, _ in ClickTrack.of(drill, bars=(5, 6)).beats_from(part.zero, RATE)]
    assert clicks == [part.sample(beat) for beat in range(12, 24)]
    counted = np.diff([sample for sample, _ in ClickTrack.of(drill).beats_from(0, RATE)][:5])
    assert set(counted) == {RATE * 60 // 80}
    faster = drill.clock(RATE, tempo=160.0)
    assert faster.beat_s(32) == pytest.approx(60.0 / 280.0)


def test_a_change_of_tempo_is_read_and_written() -> None:
    drill = drill_of("4:4 | 4:4", "tempo = 120\ntempo_to = 60.5")
    assert drill.tempo_to == 60.5
    assert drill.fastest_tempo == 120
    assert parse_drill(write_drill(drill), "t") == drill
    assert drill_of("4:4", "tempo = 60").tempo_change is None


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("tempo_to = 60", "leave out 'tempo_to': it is the drill's tempo"),
        ('tempo_to = 90\nclock = "free"', "leave out 'tempo_to' or the free clock"),
        ("tempo_to = 9", "'tempo_to' must be the beats per minute at the end"),
        (
            'tempo_to = 90\nloop = "1"\nclimb = { by = 4, to = 90 }',
            "leave out 'tempo_to' or 'climb': each pass of a climb keeps one tempo",
        ),
    ],
)
def test_a_wrong_change_of_tempo_is_explained(head: str, expected: str) -> None:
    with pytest.raises(DrillError, match=re.escape(expected)):
        drill_of("4:4", f"tempo = 60\n{head}")
