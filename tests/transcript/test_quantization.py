"""Tempo, bars and note values of notes made by hand."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from trainer.harp import Harp, Tab
from trainer.transcript import Meter, TranscribedNote
from trainer.transcript.bar_patterns import STRAIGHT, TICKS, page_cost
from trainer.transcript.beat_tracking import align_beats, candidate_grids, swung_position
from trainer.transcript.note_values import beat_of, quantize

C = Harp.of("C")
BEAT_S = 0.6


def note(start: float, seconds: float) -> TranscribedNote:
    tab = Tab.parse("4")
    return TranscribedNote(start, start + seconds, ((tab,),), 0.0, C.hz(tab))


def played(*beats: float, length: float = 0.9, beat_s: float = BEAT_S) -> list[TranscribedNote]:
    """Notes on beats, each up to the next one but for a tenth."""
    gaps = [*np.diff(beats), 1.0]
    return [
        note(beat * beat_s, length * gap * beat_s) for beat, gap in zip(beats, gaps, strict=True)
    ]


TUNE = (0, 1, 2, 2.5, 3, 4, 5, 6, 8, 8.5, 9, 10, 11, 12)


def test_a_tune_in_four_gets_its_places_lengths_and_beats() -> None:
    ((notes),), meter = quantize(played(*TUNE))
    assert meter is not None
    assert meter.meter == (4, 4)
    assert meter.tempo == pytest.approx(100.0, abs=0.2)
    assert meter.steady
    assert meter.near == 1.0
    assert meter.swing == 1.0
    assert meter.given == ()
    assert [n.at for n in notes] == [Fraction(beat) for beat in TUNE]
    gaps = [Fraction(gap) for gap in np.diff(TUNE)]
    assert [n.beats for n in notes][:-1] == gaps
    assert [n.bar for n in notes] == [int(beat // 4) + 1 for beat in TUNE]
    assert [n.beat for n in notes] == [Fraction(beat) % 4 + 1 for beat in TUNE]
    assert meter.first == 0
    assert meter.times[:3] == pytest.approx([0.0, BEAT_S, 2 * BEAT_S], abs=0.01)
    assert 12.9 * BEAT_S <= meter.times[-1] <= 15.1 * BEAT_S


def test_the_beats_go_on_to_the_end_of_a_long_last_note() -> None:
    notes = [*played(*TUNE)[:-1], note(12 * BEAT_S, 5.5 * BEAT_S)]
    _, meter = quantize(notes)
    assert meter is not None
    assert 17.5 * BEAT_S <= meter.times[-1] <= 19.6 * BEAT_S


@pytest.mark.parametrize(("pulses", "middle"), [(2, 1), (3, None), (4, 2)])
def test_notes_cost_least_on_the_first_beat_and_less_on_the_middle_one(
    pulses: int, middle: int | None
) -> None:
    def cost(beat: int) -> float:
        """A page of four bars with one note each, after a first bar with a note on each beat."""
        bars = [4 * pulses + beat, *(bar * pulses + beat for bar in range(5, 8))]
        places = [*range(pulses), *bars, 8 * pulses]
        return page_cost([TICKS * place for place in places], STRAIGHT, pulses, None)

    costs = [cost(beat) for beat in range(pulses)]
    assert costs[0] == min(costs)
    if middle is not None:
        others = [costs[beat] for beat in range(1, pulses) if beat != middle]
        assert all(costs[middle] < other for other in others)


def test_a_page_that_repeats_its_bars_costs_less() -> None:
    bars = [(0, 12, 18, 24), (0, 12, 24, 30), (0, 6, 12, 24), (0, 18, 24)]

    def cost(order: tuple[int, ...], melody: list[int] | None) -> float:
        places = [48 * i + tick for i, bar in enumerate(order) for tick in bars[bar]]
        return page_cost(places, STRAIGHT, 4, melody[: len(places)] if melody else None)

    assert cost((0, 1, 0, 1), None) < cost((0, 1, 2, 3), None)
    tune = [60, 62, 64, 65, 67, 65, 64, 62] * 2
    other = [60, 62, 64, 65, 67, 65, 64, 62, 60, 59, 57, 60, 67, 69, 71, 67]
    assert cost((0, 1, 0, 1), tune) < cost((0, 1, 0, 1), other)


def test_given_values_are_taken() -> None:
    ((notes),), meter = quantize(played(*TUNE), tempo=200.0, meter=(3, 4), first_beat=BEAT_S)
    assert meter is not None
    assert meter.tempo == pytest.approx(200.0, abs=0.5)
    assert meter.meter == (3, 4)
    assert meter.given == ("tempo", "meter", "first beat")
    assert notes[1].beat == 1
    assert notes[1].bar == 1
    assert notes[0].at == -2


def test_a_first_beat_after_and_before_the_first_note_counts_bars_from_it() -> None:
    for bars in (-2, 1, 3):
        ((notes),), _ = quantize(played(*TUNE), meter=(4, 4), first_beat=4 * bars * BEAT_S)
        assert notes[0].at == -4 * bars
        assert notes[0].bar == max(0, 1 - bars)


def test_too_few_notes_have_no_meter() -> None:
    notes = played(0, 1, 2, 3)
    parts, meter = quantize(notes)
    assert meter is None
    assert parts == (tuple(notes),)
    assert quantize(played(0, 1, 2, 3, 4))[1] is not None


def test_a_pick_up_stands_before_the_first_bar() -> None:
    ((notes),), _ = quantize(
        played(3, 4, 5, 6, 7, 8, 9, 10, 12, 13, 14, 15, 16), meter=(4, 4), first_beat=4 * BEAT_S
    )
    assert notes[0].at == -1
    assert notes[0].bar == 0
    assert notes[0].beat == 4
    assert notes[1].at == 0


def test_a_pick_up_is_recognised_by_where_long_notes_begin() -> None:
    beats = [3, *[bar * 4 + beat for bar in range(1, 7) for beat in (0, 2, 3)]]
    ((notes),), _ = quantize(played(*beats), meter=(4, 4), tempo=100.0)
    assert [n.at for n in notes[:3]] == [-1, 0, 2]
    assert [n.bar for n in notes[:3]] == [0, 1, 1]


@pytest.mark.parametrize(("sounds", "length"), [(0.45, 0.5), (0.72, 1.0), (1.1, 1.0)])
def test_a_note_before_a_long_silence_is_a_little_longer_than_it_sounds(
    sounds: float, length: float
) -> None:
    notes = [note(beat * BEAT_S, 0.9 * BEAT_S) for beat in (0, 1, 2, 3, 8, 9, 10, 11, 12)]
    notes[3] = note(3 * BEAT_S, sounds * BEAT_S)
    ((quantized),), _ = quantize(notes, meter=(4, 4))
    assert quantized[3].beats == Fraction(length)
    assert quantized[2].beats == 1


def test_a_note_released_early_is_written_up_to_the_next() -> None:
    ((notes),), _ = quantize([note(beat * BEAT_S, 0.58 * BEAT_S) for beat in TUNE])
    assert [n.beats for n in notes[:3]] == [1, 1, Fraction(1, 2)]
    ((short),), _ = quantize(
        [note(2 * beat * BEAT_S, 0.25 * BEAT_S) for beat in range(9)], tempo=100.0
    )
    assert {n.beats for n in short[:-1]} <= {Fraction(1, 2), Fraction(1, 4)}


def test_a_short_silence_before_the_next_note_is_not_written() -> None:
    beats = (0, 0.25, 0.75, 1, 2, 3, 4, 4.25, 4.75, 5, 6, 7, 8)
    notes = played(*beats)
    notes[1] = note(0.25 * BEAT_S, 0.2 * BEAT_S)  # 0.3 beats of silence follow
    ((quantized),), _ = quantize(notes, meter=(4, 4), tempo=100.0, first_beat=0.0)
    assert [n.at for n in quantized[:3]] == [0, Fraction(1, 4), Fraction(3, 4)]
    assert quantized[1].beats == Fraction(1, 2)


def test_notes_of_two_players_that_begin_together_have_one_place() -> None:
    first = played(*TUNE)
    second = [note(n.start + 0.02, n.seconds) for n in first[::2]]
    parts, meter = quantize(first, second)
    assert meter is not None
    assert [n.at for n in parts[1]] == [n.at for n in parts[0]][::2]


def test_swung_halves_are_recognised_and_measured() -> None:
    beats = [beat + part for beat in range(16) for part in (0.0, 0.64)]
    ((notes),), meter = quantize(played(*beats), tempo=100.0, meter=(4, 4))
    assert meter is not None
    assert meter.swing == pytest.approx(0.64 / 0.36, abs=0.15)
    assert {n.at % 1 for n in notes if n.at is not None} == {0, Fraction(1, 2)}


def test_a_drifting_tempo_is_not_steady_and_is_followed() -> None:
    beats = np.arange(33)
    seconds = np.cumsum([0.0, *(0.5 + 0.012 * beats[:-1])])
    ((notes),), meter = quantize([note(float(s), 0.4) for s in seconds], meter=(4, 4))
    assert meter is not None
    assert not meter.steady
    assert [n.at for n in notes] == [Fraction(int(b)) for b in beats]
    assert meter.fastest > 1.4 * meter.slowest
    assert meter.slowest == pytest.approx(60.0 / 0.86, rel=0.05)


def test_a_steady_tempo_has_equal_bars() -> None:
    meter = Meter(100.0, (2, 4), (0.0, 0.6, 1.2, 1.9))
    assert meter.fastest == pytest.approx(100.0)
    assert meter.slowest == pytest.approx(60.0 / 0.65)
    assert Meter(100.0, (4, 4), (0.0, 0.6)).slowest == pytest.approx(100.0)


def test_beats_are_extrapolated_outside_the_known_ones() -> None:
    meter = Meter(100.0, (4, 4), (1.0, 1.5, 2.5), first=-1)
    assert beat_of(1.25, meter) == pytest.approx(-0.5)
    assert beat_of(2.0, meter) == pytest.approx(0.5)
    assert beat_of(0.5, meter) == pytest.approx(-2.0)
    assert beat_of(3.5, meter) == pytest.approx(2.0)


def test_swing_moves_halves_and_leaves_beats() -> None:
    assert swung_position(Fraction(3), 2.0) == pytest.approx(3.0)
    assert swung_position(Fraction(7, 2), 2.0) == pytest.approx(3 + 2 / 3, abs=1e-5)
    assert swung_position(Fraction(7, 2), 1.0) == pytest.approx(3.5)


def test_onsets_that_scatter_keep_their_places() -> None:
    scatter = np.random.default_rng(3).normal(0.0, 0.015, len(TUNE))
    starts = np.array(TUNE) * BEAT_S + scatter
    alignment = align_beats(sorted(starts.tolist()), candidate_grids((4, 4)))
    assert alignment is not None
    assert list(alignment.at) == [Fraction(beat) for beat in TUNE]
    assert alignment.period == pytest.approx(BEAT_S, rel=0.06)


def test_a_waltz_and_a_jig_have_their_meter() -> None:
    waltz = [bar * 3 + beat for bar in range(8) for beat in ((0, 1, 2) if bar % 4 == 2 else (0, 2))]
    _, meter = quantize(played(*waltz))
    assert meter is not None
    assert meter.meter == (3, 4)
    jig = [bar * 2 + pulse for bar in range(8) for pulse in (0, 2 / 3, 1, 4 / 3, 5 / 3)]
    ((notes),), meter = quantize(played(*jig, beat_s=0.9), meter=(6, 8))
    assert meter is not None
    assert meter.meter == (6, 8)
    assert [n.at for n in notes[:5]] == [0, 2, 3, 4, 5]
    assert meter.tempo == pytest.approx(200.0, rel=0.02)
