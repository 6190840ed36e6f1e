"""What the built-in player makes of everything that a drill can ask for, measured in its sound.

Pitch is the instantaneous frequency of one partial's analytic signal: shifted to 0 Hz and smoothed
by a Hann window of 20 ms (24 ms below 300 Hz), whose first zero rejects the neighbouring partials.
The noise of the breath makes it scatter by about a cent.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from trainer.drill import Drill, DrillError, Step, parse_drill
from trainer.harp import Harp, HarpError, Tab
from trainer.sound import (
    BuiltInPlayer,
    Fault,
    PlayerSpec,
    SoundError,
    accompaniment_steps,
    parse_fault,
)

RATE = 48_000


def drill_of(tab: str, tempo: float = 60.0, **fields: Any) -> Drill:
    head = "".join(f"{name} = {value!r}\n" for name, value in fields.items())
    text = f'title = "Slipway"\nharp = "C"\ntempo = {tempo}\n{head}tab = """\n{tab}\n"""\n'
    return parse_drill(text, "slipway")


class Played:
    """A drill as it was played."""

    def __init__(
        self,
        drill: Drill | str,
        faults: Mapping[int, Fault] | None = None,
        *,
        spec: PlayerSpec | None = None,
        **more: Any,
    ) -> None:
        self.drill = drill_of(drill) if isinstance(drill, str) else drill
        self.harp = Harp.of("C")
        spec = replace(spec or PlayerSpec(), faults=faults or {})
        player = BuiltInPlayer(self.drill, self.harp, spec=spec, **more)
        self.clock = player.clock
        self.samples = np.concatenate([block.samples for block in player.blocks()]).astype(float)

    def cut(self, step: Step | int, start: float = 0.0, end: float = 1.0) -> np.ndarray:
        """A part of a step, from and to shares of its length."""
        step = self.drill.steps[step] if isinstance(step, int) else step
        at, until = self.clock.sample(step.start), self.clock.sample(step.end)
        return self.samples[at + round(start * (until - at)) : at + round(end * (until - at))]

    def cents(
        self, tab: str, step: int = 0, start: float = 0.0, end: float = 1.0
    ) -> tuple[np.ndarray, np.ndarray]:
        """Momentary pitch in cents from a tab entry's target, and the shares of the step."""
        return self.cents_of(self.drill.steps[step], tab, start, end)

    def cents_of(
        self, step: Step, tab: str, start: float, end: float
    ) -> tuple[np.ndarray, np.ndarray]:
        hz = self.harp.hz(Tab.parse(tab))
        base = partial(self.cut(step, start, end), hz)
        off = np.diff(np.unwrap(np.angle(base))) * RATE / (2 * np.pi)
        times = start + (np.arange(len(off)) + window_of(hz) / 2) / len(self.cut(step))
        return 1200 * np.log2(1 + off / hz), times

    def level(self, tab: str, step: int = 0, start: float = 0.2, end: float = 0.8) -> float:
        """RMS of a tab entry's first four partials, resolved from others 4 Hz away."""
        cut, hz = self.cut(step, start, end), self.harp.hz(Tab.parse(tab))
        window = np.hanning(len(cut))
        spectrum = np.abs(np.fft.rfft(cut * window)) / window.sum() * 2
        bins = [round(k * hz * len(cut) / RATE) for k in range(1, 5)]
        return math.sqrt(sum(spectrum[at - 3 : at + 4].max() ** 2 for at in bins) / 2)


def beats(at: int, length: int) -> Step:
    """A stretch of beats, to be cut out as a step is."""
    return Step(0, ((Tab.parse("4"),),), Fraction(at), Fraction(length))


def window_of(hz: float) -> int:
    return round((0.02 if hz > 300 else 0.024) * RATE)


def partial(samples: np.ndarray, hz: float) -> np.ndarray:
    """The analytic signal of what sounds near a frequency, shifted to 0 Hz."""
    window = np.hanning(window_of(hz))
    turned = samples * np.exp(-2j * np.pi * hz / RATE * np.arange(len(samples)))
    size = len(samples) + len(window)
    smooth = np.fft.ifft(np.fft.fft(turned, size) * np.fft.fft(window / window.sum(), size))
    return smooth[len(window) - 1 : len(samples)]


def rms(samples: np.ndarray, size: int = 960) -> np.ndarray:
    """Levels of stretches of 20 ms."""
    whole = samples[: len(samples) // size * size].reshape(-1, size)
    return np.sqrt(np.mean(whole**2, axis=1))


def swing_of(track: np.ndarray, hz: float) -> tuple[float, float]:
    """Rate and amplitude of a swing near a rate, by the best of many sines."""
    t = np.arange(len(track)) / RATE
    track = track - np.mean(track)
    rates = np.arange(hz - 1.0, hz + 1.0, 0.02)
    fits = [2 * abs(np.mean(track * np.exp(-2j * np.pi * rate * t))) for rate in rates]
    return float(rates[np.argmax(fits)]), float(max(fits))


def starts(drill: Drill, spec: PlayerSpec | None = None, **more: Any) -> list[int]:
    """The first sample of each step, found as the first that changes when it is left out."""
    whole = Played(drill, spec=spec, **more)
    onsets = []
    for step in drill.steps:
        without = Played(drill, {step.index: Fault(skip=True)}, spec=spec, **more)
        size = min(len(whole.samples), len(without.samples))
        onsets.append(int(np.flatnonzero(whole.samples[:size] != without.samples[:size])[0]))
    return onsets


# --- pitch ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "tab", "off"),
    [("-3@-40:4", "-3", -40.0), ("-3'@+12.5:4", "-3'", 12.5), ("6o@-7:4", "6o", -7.0)],
)
def test_a_target_in_cents_is_met(text: str, tab: str, off: float) -> None:
    track, _ = Played(text).cents(tab, 0, 0.1, 0.9)
    assert np.mean(track) == pytest.approx(off, abs=0.2)
    assert np.std(track) < 1.5


def test_cents_and_a_fault_add_up_and_a_chord_goes_whole() -> None:
    played = Played("-3@-40:2 -4+5@+20:2", {0: Fault(cents=15.0)})
    assert np.mean(played.cents("-3", 0, 0.2, 0.8)[0]) == pytest.approx(-25.0, abs=0.2)
    for tab in ("-4", "-5"):
        assert np.mean(played.cents(tab, 1, 0.2, 0.8)[0]) == pytest.approx(20.0, abs=0.5)


def test_each_rung_of_a_ladder_is_held_and_the_breath_goes_on() -> None:
    played = Played("-3=-3'@-20=-3''=-3':4")
    step = played.drill.steps[0]
    targets = [0.0, -120.0, -200.0, -100.0]
    track, times = played.cents("-3", 0, 0.0, 0.9)
    for place, target in enumerate(targets):
        begin, end = step.rest_interval(place)
        held = track[(times > begin + 0.01) & (times < min(end, 0.9) - 0.01)]
        assert np.mean(held) == pytest.approx(target, abs=0.3)
        assert np.std(held) < 2.5
    wanted = np.interp([step.path_position(t) for t in times], range(4), targets)
    inside = times > 0.03
    assert np.max(np.abs(track - wanted)[inside]) < 4.0  # smoothed at the corners, and no jump
    levels = rms(played.cut(0, 0.05, 0.9))
    assert levels.min() > 0.8 * levels.max()


def test_a_bend_is_glided_to_its_cents_and_a_slide_lands_on_its_own() -> None:
    played = Played("-3@-30>-3':2 4>5@-25:2")
    track, times = played.cents("-3", 0, 0.05, 0.9)
    wanted = np.interp(
        [played.drill.steps[0].path_position(t) for t in times], [0, 1], [-30.0, -100.0]
    )
    assert np.max(np.abs(track - wanted)) < 2.0
    assert np.mean(played.cents("5", 1, 0.8, 0.9)[0]) == pytest.approx(-25.0, abs=0.5)


@pytest.mark.parametrize(("hz", "cents"), [(5.0, 20.0), (3.0, 60.0), (7.5, 8.0)])
def test_a_vibrato_has_its_rate_and_depth_and_the_notes_own_pitch(hz: float, cents: float) -> None:
    played = Played(f"-4@-15:4{{vibrato {hz:g} {cents:g}}}")
    track, times = played.cents("-4", 0, 0.0, 0.985)
    # It ends with the note, 60 ms before the step; two seconds hold whole cycles of each rate.
    held = track[times < 1.0 - 0.07 / 4][-2 * RATE :]
    rate, depth = swing_of(held, hz)
    assert rate == pytest.approx(hz, abs=0.05)
    assert depth == pytest.approx(cents, rel=0.03)
    assert np.mean(held) == pytest.approx(-15.0, abs=0.3)
    attack = track[(times > 0.05 / 4) & (times < 0.09 / 4)]
    assert np.max(np.abs(attack + 15.0)) < 1.0


@pytest.mark.parametrize("sign", [">", "="])
def test_a_vibrato_rides_on_a_glide_and_on_a_ladder(sign: str) -> None:
    played = Played(f"-3{sign}-3':4{{vibrato 5 20}}")
    track, times = played.cents("-3", 0, 0.1, 0.9)
    place = [played.drill.steps[0].path_position(t) for t in times]
    riding = (track - np.interp(place, [0, 1], [0.0, -100.0]))[: 3 * RATE]
    rate, depth = swing_of(riding, 5.0)
    assert rate == pytest.approx(5.0, abs=0.05)
    assert depth == pytest.approx(20.0, rel=0.05)
    assert np.mean(riding) == pytest.approx(0.0, abs=0.3)


def test_a_note_too_short_for_a_cycle_is_played_plainly() -> None:
    track, times = Played("-4:0.25{vibrato 3 50} r:3.75").cents("-4", 0, 0.0, 0.75)
    assert np.max(np.abs(track[times > 0.2])) < 1.0


# --- hands, care, silence -------------------------------------------------------------------


@pytest.mark.parametrize("wahs", [2.0, 5.0])
def test_hands_modulate_the_level_and_dull_high_partials(wahs: float) -> None:
    played = Played(f"-2:4{{wah {wahs:g}}} | -2:4")
    whole = played.cut(0, 0.05, 0.95)
    levels = 20 * np.log10(rms(whole, 480))
    rate, _ = swing_of(np.repeat(levels, 480), wahs)
    assert rate == pytest.approx(wahs, abs=0.05)
    loud, soft = np.percentile(levels, (95, 5))
    assert loud - soft == pytest.approx(6.0, abs=1.0)
    assert loud == pytest.approx(20 * np.log10(np.std(played.cut(1, 0.05, 0.95))), abs=0.7)
    hz = played.harp.hz(Tab.parse("-2"))
    swings = [np.ptp(20 * np.log10(np.abs(partial(whole, k * hz)))) for k in (1, 3, 5)]
    assert swings[0] + 4.0 < swings[1]
    assert swings[1] + 4.0 < swings[2]


@pytest.mark.parametrize(("tab", "beside"), [("-4", "-3"), ("1", "2"), ("-3'", "-2")])
def test_a_neighbour_joins_where_a_chord_is_asked_for_and_only_there(tab: str, beside: str) -> None:
    played = Played(
        f"{tab}:4{{chord}} | {tab}:4{{blur}} | {tab}:4{{chord}}", {2: Fault(alone=True)}
    )
    assert played.level(beside, 0) == pytest.approx(played.level(tab, 0), rel=0.35)
    powers = [np.std(played.cut(step, 0.2, 0.8)) for step in range(3)]
    assert powers[0] == pytest.approx(powers[1], rel=0.1)
    for alone in (1, 2):
        assert played.level(beside, alone) < 0.02 * played.level(tab, alone)


def test_of_two_holes_the_first_is_played() -> None:
    first, second, either = (Played(f"{tab}:4").samples for tab in ("-2", "3", "-2/3"))
    assert np.array_equal(either, first)
    assert not np.array_equal(either, second)


def test_calls_are_left_to_the_trainer_and_rests_are_silent() -> None:
    played = Played("{call} 4:2 r:2 | {answer} -4:2 r:2")
    room = np.std(played.samples[: RATE // 4])
    for quiet in (played.cut(0, 0.0, 1.0), played.cut(beats(6, 2), 0.1, 1.0)):
        assert np.std(quiet) == pytest.approx(room, rel=0.2)
    assert np.std(played.cut(1, 0.1, 0.9)) > 0.09


# --- time -----------------------------------------------------------------------------------


def test_swung_eighths_and_written_triplets_fall_where_they_are_played() -> None:
    drill = drill_of("4:1/2 5:1/2 [4 5 6]:1 4:1/4 5:1/4 6:1/2 5:1", 120, swing=2.0)
    beats = [0, 2 / 3, 1, 1 + 1 / 3, 1 + 2 / 3, 2, 2 + 1 / 3, 2 + 2 / 3, 3]  # swing 2 to 1
    zero = RATE // 4 + 2 * RATE  # a quarter of a second of room, and four beats
    assert starts(drill) == [pytest.approx(zero + beat * RATE / 2, abs=1) for beat in beats]


@pytest.mark.parametrize(("pickup", "count_in"), [(0.5, 7), (1.0, 7), (1.5, 6)])
def test_a_pick_up_comes_before_the_bar_and_after_its_count_in(
    pickup: float, count_in: int
) -> None:
    drill = drill_of(f"5:{pickup:g} | 4:1 5:3", 120, pickup=pickup)
    assert drill.start == Fraction(-pickup)
    # The count-in goes on to the whole beat at or before the pick-up; at 120 a beat is RATE / 2.
    zero = RATE // 4 + (count_in + math.ceil(pickup)) * RATE // 2
    wanted = [zero - round(pickup * RATE / 2), zero, zero + RATE // 2]
    assert starts(drill) == wanted
    at_once = zero - count_in * RATE // 2  # with no count-in only the room is left
    assert starts(drill, count_in=0) == [at - zero + at_once for at in wanted]


def test_a_player_who_rushes_ends_as_much_faster_and_comes_ever_earlier() -> None:
    drill = drill_of("4:1 5:1 4:1 5:1 | 4:1 5:1 4:1 5:1", 120)
    onsets = starts(drill, PlayerSpec(rush=1.25))
    zero, beat = onsets[0], RATE / 2
    # 120 a minute at beat 0, 150 at beat 8; the time of a beat is the integral of 1 / tempo.
    for at, sample in enumerate(onsets):
        steps = (np.arange(20_000) + 0.5) / 20_000 * at
        asked = zero + beat * at * np.mean(1.0 / (1.0 + 0.25 * steps / 8.0)) if at else zero
        assert sample == pytest.approx(asked, abs=2)
    assert np.all(np.diff(np.diff(onsets)) < 0)
    slow = starts(drill, PlayerSpec(rush=0.8))
    assert all(a > zero + beat * i for i, a in enumerate(slow[1:], start=1))


def test_a_player_who_hesitates_is_late_from_there_on_and_plays_notes_in_full() -> None:
    drill = drill_of("4:1 5:1 4:1 5:1", 120)
    spec = PlayerSpec(hesitate={1: 200.0, 3: 150.0})
    zero, beat = RATE // 4 + 2 * RATE, RATE // 2
    late = [0, 9600, 9600, 16_800]
    assert starts(drill, spec) == [zero + i * beat + ms for i, ms in enumerate(late)]
    played = Played(drill, spec=spec)
    # The last one is held until 60 ms before its own end.
    end = zero + 4 * beat + 16_800
    last = played.samples[end - beat : end - 3000]
    assert rms(last)[3:].min() > 0.08
    assert len(played.samples) > end
    # What comes before the bars that are played is not waited for.
    drill = drill_of("4:4 | 5:4", 240)
    spec = PlayerSpec(hesitate={0: 300.0, 1: 100.0})
    late = Played(drill, spec=spec, bars=(2, 2))
    first = late.clock.sample(4) + round(0.1 * RATE)
    assert np.std(late.samples[first - 960 : first]) < 1e-3
    assert np.std(late.samples[first : first + 960]) > 1e-2


def test_a_free_clock_is_played_in_time_at_the_drills_tempo() -> None:
    drill = drill_of("4:2 -4:2 | -3'@-20:4", 120, clock="free")
    assert drill.free
    zero = RATE // 4 + 2 * RATE
    assert starts(drill) == [zero, zero + RATE, zero + 2 * RATE]
    assert np.mean(Played(drill).cents("-3'", 2, 0.2, 0.8)[0]) == pytest.approx(-20.0, abs=0.3)


def test_a_pass_can_go_at_another_tempo_with_the_same_faults() -> None:
    drill = drill_of("4:2 r:2 | -4:4", 240)
    spec = PlayerSpec(faults={0: Fault(cents=-12.0), 1: Fault(late_ms=40.0)})
    player = BuiltInPlayer(drill, Harp.of("C"), spec=spec)
    clocks, samples = [player.clock], []
    for block in player.blocks():
        samples.append(block.samples)
        if len(clocks) < 3 and block.end > clocks[-1].sample(6):
            clocks.append(player.next_pass(300 if len(clocks) == 1 else None))
    sound = np.concatenate(samples).astype(float)
    assert [clock.tempo for clock in clocks] == [240, 300, 300]
    for before, after in pairwise(clocks):
        assert after.sample(-4) == before.sample(8)  # its count-in follows on the last bar
    hz = Harp.of("C").hz(Tab.parse("4"))
    for clock in clocks:
        held = sound[clock.sample(0.5) : clock.sample(1.5)]
        off = np.diff(np.unwrap(np.angle(partial(held, hz)))) * RATE / (2 * np.pi)
        assert 1200 * np.log2(1 + np.mean(off) / hz) == pytest.approx(-12.0, abs=0.3)
        late = clock.sample(4) + round(0.04 * RATE)
        assert np.std(sound[late - 960 : late]) < 1e-3
        assert np.std(sound[late : late + 960]) > 1e-2


# --- what the trainer plays -----------------------------------------------------------------


TWO = """
-2:1 -3:1 r:2 | -4:4 | -3:4
\"\"\"
second = \"\"\"
r:2 -1:2 | 1:4 | -1:4
"""


def test_either_part_can_be_the_players() -> None:
    drill = drill_of(TWO, 120)
    assert [str(step.first[0]) for step in accompaniment_steps(drill)] == ["-1", "1", "-1"]
    assert [step.tab for step in accompaniment_steps(drill.part(2), (2, 3))] == ["-4", "-3"]
    played = Played(drill.part(2))
    assert np.std(played.cut(beats(0, 2), 0.0, 1.0)) < 1e-3
    for tab, at, length in (("-1", 2, 2), ("1", 4, 4), ("-1", 8, 4)):
        track, _ = played.cents_of(beats(at, length), tab, 0.3, 0.8)
        assert np.mean(track) == pytest.approx(0.0, abs=0.5)
    with pytest.raises(DrillError, match="slipway has no part 2; it has 1"):
        drill_of("4:4").part(2)
    faulty = Played(drill.part(2), {1: Fault(cents=20.0)})
    assert np.mean(faulty.cents_of(beats(4, 4), "1", 0.3, 0.8)[0]) == pytest.approx(20.0, abs=0.5)


def test_calls_and_the_other_part_come_in_order_of_time() -> None:
    drill = drill_of("{call} 4:4 | {answer} 4:4" + TWO[TWO.index('\n"') :].replace("1:4 | ", ""))
    assert [(step.tab, step.start) for step in accompaniment_steps(drill)] == [
        ("4", 0),
        ("-1", 2),
        ("-1", 4),
    ]
    assert accompaniment_steps(drill_of("4:4 | 5:4")) == ()


def aloud(drill: Drill, **more: Any) -> tuple[BuiltInPlayer, np.ndarray, np.ndarray]:
    """A drill played aloud: what is recorded, and what is heard beside it."""
    heard: list[np.ndarray] = []
    speaker = SimpleNamespace(play=heard.append, close=lambda: None)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("trainer.sound.sources.player.Speaker", lambda *given: speaker)
        patch.setattr("trainer.sound.sources.player.time.sleep", lambda seconds: None)
        player = BuiltInPlayer(drill, Harp.of("C"), spec=PlayerSpec(aloud=True), **more)
        recorded = np.concatenate([block.samples for block in player.blocks()])
    first = round(0.1 * RATE)  # silence, so that a block may come late
    return player, recorded, np.concatenate(heard)[first:] - recorded


def test_the_other_part_and_calls_are_heard_beside_the_player_and_not_recorded() -> None:
    for drill, tab, at, quiet in (
        (drill_of(TWO, 120), "1", 4, 0),
        (drill_of("{call} 4:2 r:2 | {answer} 4:4", 120), "4", 0, 4),
    ):
        player, recorded, beside = aloud(drill, count_in=0)
        assert np.array_equal(recorded, Played(drill, count_in=0).samples.astype(np.float32))
        clock = player.clock
        first = clock.sample(at)
        assert np.max(np.abs(beside[first - 100 : first])) == 0.0
        assert np.max(np.abs(beside[first : first + 10])) > 0.0
        held = beside[clock.sample(at + 0.5) : clock.sample(at + 1.5)].astype(float)
        assert np.std(held) == pytest.approx(0.1, rel=0.05)
        hz = Harp.of("C").hz(Tab.parse(tab))
        off = np.diff(np.unwrap(np.angle(partial(held, hz)))) * RATE / (2 * np.pi)
        assert 1200 * np.log2(1 + np.mean(off) / hz) == pytest.approx(0.0, abs=0.1)
        assert np.max(np.abs(beside[clock.sample(quiet) : clock.sample(quiet + 1.5)])) == 0.0


# --- faults ---------------------------------------------------------------------------------


def test_a_vibrato_can_be_too_slow_too_flat_or_out_of_place() -> None:
    faults = {
        0: Fault(vibrato_hz=4.0),
        1: Fault(vibrato_cents=9.0),
        2: Fault(vibrato_hz=6.0, vibrato_cents=12.0),
        3: Fault(vibrato_cents=0.0),
    }
    vibrato = "-4:4{vibrato 5 25}"
    played = Played(f"{vibrato} | {vibrato} | -4:4 | {vibrato}", faults)
    for step, hz, cents in ((0, 4.0, 25.0), (1, 5.0, 9.0), (2, 6.0, 12.0)):
        track, times = played.cents("-4", step, 0.0, 0.985)
        rate, depth = swing_of(track[times < 1.0 - 0.07 / 4][-2 * RATE :], hz)
        assert rate == pytest.approx(hz, abs=0.05)
        assert depth == pytest.approx(cents, rel=0.03)
    assert np.std(played.cents("-4", 3, 0.1, 0.9)[0]) < 1.5


def test_one_rung_can_be_off() -> None:
    played = Played(
        "-3=-3'=-3'':4 | -4'>-4:4",
        {0: Fault(rung=2, rung_cents=-20.0), 1: Fault(rung=2, rung_cents=-15.0)},
    )
    for place, target in enumerate((0.0, -120.0, -200.0)):
        begin, end = played.drill.steps[0].rest_interval(place)
        held, _ = played.cents("-3", 0, begin + 0.02, min(end, 0.95) - 0.02)
        assert np.mean(held) == pytest.approx(target, abs=0.3)
    assert np.mean(played.cents("-4", 1, 0.8, 0.95)[0]) == pytest.approx(-15.0, abs=0.3)


def test_a_glide_can_stray_from_its_way_or_turn_back() -> None:
    played = Played(
        "-3''>-3:4 | -3''>-3:4 | -3>-3':4",
        {0: Fault(stray_cents=30.0), 1: Fault(back_cents=40.0), 2: Fault(back_cents=15.0)},
    )
    step = played.drill.steps[0]
    track, times = played.cents("-3", 0, 0.05, 0.95)
    off = track - np.interp([step.path_position(t) for t in times], [0, 1], [-200.0, 0.0])
    assert off.max() == pytest.approx(30.0, abs=3.0)
    assert times[np.argmax(off)] == pytest.approx(0.5, abs=0.04)
    assert np.max(np.abs(off[(times < 0.2) | (times > 0.8)])) < 5.0
    for index, sign, back in ((1, 1.0, 40.0), (2, -1.0, 15.0)):
        track = sign * played.cents("-3", index, 0.05, 0.95)[0]
        fallen = np.maximum.accumulate(track) - track
        assert fallen.max() == pytest.approx(back, abs=4.0)


def test_a_step_can_stop_early() -> None:
    played = Played("4:2 4:2", {0: Fault(short_ms=500.0)})
    stop = 2.0 - 0.06 - 0.5
    assert np.std(played.cut(0, (stop - 0.1) / 2, stop / 2)) > 0.08
    assert np.std(played.cut(0, (stop + 0.1) / 2, 1.0)) < 1e-3


def test_an_extra_note_comes_in_the_gap_or_takes_the_steps_own_time() -> None:
    played = Played("4:1 r:1 4:1 4:1", {0: Fault(extra="-5"), 1: Fault(extra="-5")})
    # In the rest: in the middle of what is left of it; in time: 60 ms from both sides, 150 long.
    for step, middle, runs in ((0, 1.0 + (1.0 - 0.06) / 2, 2), (1, 1.0 - 0.06 - 0.075, 3)):
        around = beats(2 * step, 2)
        track, _ = played.cents_of(around, "-5", (middle - 0.04) / 2, (middle + 0.04) / 2)
        assert np.mean(track) == pytest.approx(0.0, abs=1.0)
        levels = rms(played.cut(around, 0.0, 0.98), 480)
        silent = np.concatenate([[True], levels < 0.02])
        assert np.sum(silent[:-1] & ~silent[1:]) == runs
        long = 0.01 * np.sum(levels[round(100 * middle) - 12 : round(100 * middle) + 12] > 0.02)
        assert long == pytest.approx(0.17, abs=0.03)  # and its release


def test_a_fault_a_step_cannot_have_is_an_error() -> None:
    for tab, fault, sentence in (
        ("4:4", Fault(rung=1, rung_cents=5.0), "play a rung off while it plays 4 in bar 1; name"),
        ("-3=-3':4", Fault(rung=3, rung_cents=5.0), "play a rung off"),
        ("-3=-3':4", Fault(rung_cents=5.0), "play a rung off"),
        ("4>6:4", Fault(stray_cents=5.0), "stray or turn back while it plays 4>6 in bar 1"),
        ("-3=-3':4", Fault(back_cents=5.0), "name a step that glides on its hole"),
        ("4:4", Fault(alone=True), "leave out the rest while"),
        ("4:4", Fault(short_ms=4000.0), "make the step longer"),
        ("4:4", Fault(instead="-4>4"), "cannot play it instead: a glide keeps one breath"),
        ("{chord} -4:4", Fault(leak_db=-9.0, leak_hole=3), "leak hole 3 while it plays -4"),
    ):
        with pytest.raises(SoundError, match=sentence):
            Played(tab, {0: fault})
    with pytest.raises(HarpError, match="not tab"):
        Played("4:4", {0: Fault(extra="x")})
    with pytest.raises(SoundError, match=r"cannot rush by 9; give 0.25 to 4, the tempo at the end"):
        Played("4:4", spec=PlayerSpec(rush=9.0))
    with pytest.raises(SoundError, match="cannot hesitate for -5 ms"):
        Played("4:4", spec=PlayerSpec(hesitate={0: -5.0}))
    with pytest.raises(SoundError, match="step 3 of slipway cannot have a fault: it has 1 steps"):
        Played("4:4", spec=PlayerSpec(hesitate={2: 5.0}))


def test_faults_are_read_as_they_are_written() -> None:
    assert parse_fault("2:rung=2,rung_cents=-20") == (1, Fault(rung=2, rung_cents=-20.0))
    assert parse_fault("1:vibrato_hz=4.5, vibrato_cents=0, short_ms=80") == (
        0,
        Fault(vibrato_hz=4.5, vibrato_cents=0.0, short_ms=80.0),
    )
    text = "3:stray_cents=-8,back_cents=12,extra=-5,alone,instead=-3+4"
    assert parse_fault(text) == (
        2,
        Fault(stray_cents=-8.0, back_cents=12.0, extra="-5", alone=True, instead="-3+4"),
    )
    for wrong in ("1:back_cents=-3", "1:rung=two", "1:hum=3", "0:alone", "1:short_ms=9e9"):
        with pytest.raises(SoundError, match=f"'{wrong}' is not a fault; .* rung_cents"):
            parse_fault(wrong)


ALL = (
    "-3@-40:1 -3=-3'=-3'':1 -4:1{vibrato 6 15} -2:1{wah 3} "
    "| -4'>-4:1 -4:1{chord} 1+4:1 4>6:1{blur,vibrato}"
)
FAULTS = {1: Fault(rung=2, rung_cents=9.0), 2: Fault(vibrato_hz=4.0), 4: Fault(back_cents=20.0)}


def test_the_same_seed_gives_the_same_samples_however_they_are_cut() -> None:
    first = Played(ALL, FAULTS, block=1000).samples
    assert Played(ALL, FAULTS, block=64).samples.tobytes() == first.tobytes()
    assert not np.array_equal(Played(ALL, FAULTS, spec=PlayerSpec(seed=2)).samples, first)
