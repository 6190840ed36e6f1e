"""Quantization of times and offsets, and merging of notes into a line."""

from __future__ import annotations

from fractions import Fraction

import pytest

from trainer.exchange.time_grid import (
    TimedNote,
    drop_leading_bars,
    merge_into_line,
    quantize_beat,
    quantize_offset,
)


@pytest.mark.parametrize(
    ("beat", "quantized"),
    [
        (Fraction(1), Fraction(1)),
        (Fraction(41, 40), Fraction(1)),  # within 1/40 beat of a whole beat
        (Fraction(21, 20), Fraction(13, 12)),  # 1/20 beat away: 13/12 is nearer than 1
        (Fraction(10, 30), Fraction(1, 3)),
        (Fraction(36, 100), Fraction(3, 8)),  # 1/3 is further than 1/40 beat away
        (Fraction(5, 12), Fraction(5, 12)),
        (Fraction(-1, 2), Fraction(-1, 2)),
    ],
)
def test_beats_snap_to_the_simplest_division_nearby(beat: Fraction, quantized: Fraction) -> None:
    assert quantize_beat(beat) == quantized


@pytest.mark.parametrize(
    ("cents", "quantized"), [(0.0, 0.0), (24.9, 0.0), (25.0, 25.0), (-41.0, -40.0), (43.0, 45.0)]
)
def test_offsets_are_rounded_and_small_ones_dropped(cents: float, quantized: float) -> None:
    assert quantize_offset(cents) == quantized


def timed(start: float, end: float, *path: float) -> TimedNote:
    return TimedNote(Fraction(start), Fraction(end), path)


def test_simultaneous_notes_are_a_chord_from_low_to_high() -> None:
    line, shortened = merge_into_line([timed(0, 1, 67.0), timed(0, 2, 60.0), timed(0, 1, 60.0)])
    assert shortened == 0
    (chord,) = line
    assert (chord.start, chord.beats) == (0, 2)
    assert chord.path[0].notes == (60, 67)


def test_short_notes_are_extended_to_an_eighth_of_a_beat() -> None:
    ((note,), _) = merge_into_line([timed(1, 1.01, 60.0)])
    assert (note.start, note.beats) == (1, Fraction(1, 8))


@pytest.mark.parametrize(("end", "reported"), [(1.25, 0), (1.5, 1)])
def test_overlapping_notes_are_shortened_and_long_cuts_counted(end: float, reported: int) -> None:
    line, shortened = merge_into_line([timed(0, end, 60.0), timed(1, 2, 62.0)])
    assert [(note.start, note.beats) for note in line] == [(0, 1), (1, 1)]
    assert shortened == reported


def test_intended_offsets_of_a_note_are_kept() -> None:
    ((note,), _) = merge_into_line([timed(0, 1, 59.6, 60.0)])
    assert [(pitch.notes, pitch.offset_cents) for pitch in note.path] == [
        ((60,), -40.0),
        ((60,), 0.0),
    ]


def test_repeated_pitches_of_a_path_are_one() -> None:
    ((note,), _) = merge_into_line([timed(0, 1, 60.0, 60.1, 62.0)])
    assert [pitch.notes for pitch in note.path] == [(60,), (62,)]


@pytest.mark.parametrize(("start", "dropped"), [(0, 0), (3, 0), (4, 4), (9, 8)])
def test_empty_leading_bars_are_dropped(start: int, dropped: int) -> None:
    line, _ = merge_into_line([timed(start, start + 1, 60.0)])
    (note,) = drop_leading_bars(line, (4, 4))
    assert note.start == start - dropped
    assert drop_leading_bars((), (4, 4)) == ()
