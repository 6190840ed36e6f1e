"""Hz, cents, names, temperaments and positions, against libraries and published tables."""

from __future__ import annotations

from fractions import Fraction
from math import log2

import librosa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.music import (
    POSITIONS,
    TEMPERAMENTS,
    MusicError,
    cents,
    degree_name,
    harp_key_for,
    hz_to_midi,
    key_in_position,
    midi_to_hz,
    note_name,
    parse_note,
    parse_pitch_class,
    parse_song_key,
    pitch_class_name,
    position_for,
    position_name,
    temperament_named,
)

# MIDI Tuning Standard (MIDI Manufacturers Association), table of frequency data; from memory.
# Two of them lie one unit, 100/16384 cents, above their note.
MIDI_TUNING_STANDARD = {
    0: 8.1758,
    69 + 1 / 16384: 440.0016,
    1: 8.6620,
    12: 16.3516,
    60: 261.6256,
    69: 440.0000,
    120: 8372.0181,
    120 + 1 / 16384: 8372.0476,
    127: 12543.8540,
}

# Equal temperament at A4 = 440 Hz (ISO 16), as tabled in H. F. Olson, Music, Physics and
# Engineering, 2nd ed. 1967; to three decimals, from memory.
EQUAL_TABLE = {
    "A0": 27.500,
    "C1": 32.703,
    "A1": 55.000,
    "C2": 65.406,
    "C3": 130.813,
    "G3": 195.998,
    "A3": 220.000,
    "C4": 261.626,
    "D4": 293.665,
    "E4": 329.628,
    "F4": 349.228,
    "G4": 391.995,
    "A4": 440.000,
    "B4": 493.883,
    "C5": 523.251,
    "C6": 1046.502,
    "C7": 2093.005,
    "C8": 4186.009,
}

# Helmholtz, On the Sensations of Tone, tr. Ellis 1885, appendix XX D; to three decimals, from
# memory. Each interval with its size in cents.
ELLIS = {
    "16/15": 111.731,
    "9/8": 203.910,
    "6/5": 315.641,
    "5/4": 386.314,
    "4/3": 498.045,
    "21/16": 470.781,
    "45/32": 590.224,
    "3/2": 701.955,
    "8/5": 813.686,
    "5/3": 884.359,
    "27/16": 905.865,
    "7/4": 968.826,
    "9/5": 1017.596,
    "15/8": 1088.269,
}


class TestPitch:
    @pytest.mark.parametrize(("midi", "hz"), MIDI_TUNING_STANDARD.items())
    def test_hertz_agree_with_the_midi_tuning_standard(self, midi: float, hz: float) -> None:
        assert midi_to_hz(midi) == pytest.approx(hz, abs=6e-5)

    @pytest.mark.parametrize(("note", "hz"), EQUAL_TABLE.items())
    def test_hertz_agree_with_the_published_table(self, note: str, hz: float) -> None:
        assert midi_to_hz(parse_note(note)) == pytest.approx(hz, abs=6e-4)

    def test_notes_and_hertz_agree_with_librosa(self) -> None:
        for midi in range(128):
            name = note_name(midi)
            assert parse_note(name) == midi == librosa.note_to_midi(name)
            assert midi_to_hz(midi) == pytest.approx(librosa.midi_to_hz(midi), rel=1e-12)

    @given(st.floats(10.0, 20_000.0), st.floats(400.0, 480.0))
    def test_hz_to_midi_inverts_midi_to_hz(self, hz: float, a4: float) -> None:
        assert midi_to_hz(hz_to_midi(hz, a4), a4) == pytest.approx(hz, rel=1e-12)

    @given(st.floats(10.0, 20_000.0), st.floats(-1200.0, 1200.0))
    def test_cents_are_hundredths_of_a_half_step(self, hz: float, interval: float) -> None:
        assert cents(hz * 2.0 ** (interval / 1200.0), hz) == pytest.approx(interval, abs=1e-9)

    @pytest.mark.parametrize("hz", [0.0, -440.0, float("nan"), float("inf")])
    def test_frequencies_without_pitch_are_refused(self, hz: float) -> None:
        with pytest.raises(MusicError, match="has no pitch"):
            hz_to_midi(hz)


class TestNames:
    @given(st.integers(-24, 140), st.sampled_from(["C", "G", "F#", "Gb", "Bb", "E", "Db"]))
    def test_a_name_reads_back_in_every_key(self, midi: int, key: str) -> None:
        assert parse_note(note_name(midi, key)) == midi
        assert parse_pitch_class(pitch_class_name(midi, key)) == midi % 12

    @pytest.mark.parametrize(
        ("written", "midi"),
        {
            **{"C4": 60, "c4": 60, "Bb3": 58, "bb3": 58, "b3": 59, "BB3": 58, "B♭3": 58},
            **{"F#5": 78, "F♯5": 78, "Cb4": 59, "B#3": 60, "C-1": 0, " A4 ": 69},
        }.items(),
    )
    def test_spellings(self, written: str, midi: int) -> None:
        assert parse_note(written) == midi

    @pytest.mark.parametrize("text", ["", "H4", "C", "4", "C##4", "Cx4", "C4.5", "B flat 4"])
    def test_a_text_that_is_no_note_is_refused(self, text: str) -> None:
        with pytest.raises(MusicError, match=f"'{text}' is not a note"):
            parse_note(text)

    @pytest.mark.parametrize("text", ["", "H", "C4", "bbb"])
    def test_a_text_that_is_no_pitch_class_is_refused(self, text: str) -> None:
        with pytest.raises(MusicError, match=f"'{text}' is not the name of a note"):
            parse_pitch_class(text)

    @pytest.mark.parametrize("key", ["C", "G", "D", "A", "E", "B", "F", "Bb", "Eb", "Ab", "Db"])
    def test_a_major_scale_is_spelled_as_librosa_spells_it(self, key: str) -> None:
        names = librosa.key_to_notes(f"{key}:maj", unicode=False)
        for pitch_class in librosa.key_to_degrees(f"{key}:maj"):
            assert pitch_class_name(int(pitch_class), key) == names[pitch_class]

    def test_white_keys_keep_their_plain_names(self) -> None:
        assert pitch_class_name(5, "F#") == "F"
        assert pitch_class_name(11, "Gb") == "B"


class TestTemperament:
    def test_equal_is_equal(self) -> None:
        assert temperament_named("equal").offsets == (0.0,) * 12

    def test_five_limit_is_the_usual_scale_as_librosa_has_it(self) -> None:
        ratios = librosa.interval_frequencies(12, fmin=1.0, intervals="ji5")
        expected = [1200.0 * log2(ratio) - 100.0 * i for i, ratio in enumerate(ratios)]
        assert temperament_named("just5").offsets == pytest.approx(expected, abs=1e-9)

    @pytest.mark.parametrize(
        ("name", "ratios"),
        [
            ("just5", "16/15 9/8 6/5 5/4 4/3 45/32 3/2 8/5 5/3 9/5 15/8"),
            ("just7", "16/15 9/8 6/5 5/4 21/16 45/32 3/2 8/5 27/16 7/4 15/8"),
        ],
    )
    def test_intervals_have_the_size_that_ellis_gives(self, name: str, ratios: str) -> None:
        table = temperament_named(name)
        for half_steps, ratio in enumerate(ratios.split(), start=1):
            size = 100.0 * half_steps + table.offset(half_steps)
            assert size == pytest.approx(ELLIS[ratio], abs=6e-4)
            assert size == pytest.approx(1200.0 * log2(Fraction(ratio)), abs=1e-9)

    @pytest.mark.parametrize(
        ("name", "half_steps", "ratios"),
        [
            ("just7", (0, 4, 7), (4, 5, 6)),
            ("just7", (7, 11, 14, 17, 21), (4, 5, 6, 7, 9)),
            ("just7", (7, 11, 14, 18), (8, 10, 12, 15)),
            ("just5", (0, 4, 7), (4, 5, 6)),
            ("just5", (5, 9, 12), (4, 5, 6)),
            ("just5", (7, 11, 14), (4, 5, 6)),
            ("just5", (0, 3, 7), (10, 12, 15)),
            ("just5", (7, 10, 14, 17), (10, 12, 15, Fraction(160, 9))),
        ],
        ids=["blow", "draw", "country draw", "I", "IV", "V", "minor blow", "natural minor draw"],
    )
    def test_chords_stand_in_small_ratios(
        self, name: str, half_steps: tuple[int, ...], ratios: tuple[Fraction, ...]
    ) -> None:
        table = temperament_named(name)
        sizes = [100.0 * step + table.offset(step) for step in half_steps]
        for size, ratio in zip(sizes, ratios, strict=True):
            assert size - sizes[0] == pytest.approx(1200.0 * log2(ratio / ratios[0]), abs=1e-9)

    def test_the_tonic_keeps_its_place(self) -> None:
        assert all(table.offset(0) == 0.0 == table.offset(-12) for table in TEMPERAMENTS.values())

    def test_an_unknown_name_is_refused_with_the_known_ones(self) -> None:
        with pytest.raises(MusicError, match=r"'just9'; there are equal, just5, just7, half-just5"):
            temperament_named("just9")


class TestPosition:
    def test_positions_walk_the_circle_of_fifths_as_librosa_has_it(self) -> None:
        for position in POSITIONS:
            fifth = librosa.fifths_to_note(unison="C", fifths=position - 1, unicode=False)
            assert key_in_position(0, position) == librosa.note_to_midi(f"{fifth}4") % 12

    def test_a_c_harp(self) -> None:
        """Common practice."""
        keys = " ".join(pitch_class_name(key_in_position(0, n)) for n in POSITIONS)
        assert keys == "C G D A E B Gb Db Ab Eb Bb F"

    @given(st.integers(0, 11), st.integers(1, 12))
    def test_harp_key_and_position_are_inverse(self, harp: int, position: int) -> None:
        song = key_in_position(harp, position)
        assert harp_key_for(song, position) == harp
        assert position_for(harp, song) == position

    @pytest.mark.parametrize("position", [0, 13, -1])
    def test_there_are_twelve(self, position: int) -> None:
        with pytest.raises(MusicError, match=f"no position {position}; positions run from 1 to 12"):
            key_in_position(0, position)
        with pytest.raises(MusicError, match=f"no position {position}"):
            harp_key_for(0, position)

    def test_their_names(self) -> None:
        names = " ".join(position_name(position) for position in POSITIONS)
        assert names == "1st 2nd 3rd 4th 5th 6th 7th 8th 9th 10th 11th 12th"

    def test_degrees_of_the_major_scale_are_plain_and_the_rest_flat(self) -> None:
        for tonic in range(12):
            degrees = [degree_name(tonic + step, tonic) for step in range(13)]
            major = [degrees[step] for step in (0, 2, 4, 5, 7, 9, 11, 12)]
            assert " ".join(major) == "1 2 3 4 5 6 7 1"
            assert " ".join(degrees[step] for step in (1, 3, 6, 8, 10)) == "b2 b3 b5 b6 b7"

    def test_a_songs_key_is_its_tonic(self) -> None:
        tonics = {"A": 9, "Am": 9, "Bbm": 10, "F#": 6, "bb": 10, "b": 11}
        assert {key: parse_song_key(key) for key in tonics} == tonics

    @pytest.mark.parametrize("key", ["", "m", "H", "Amm", "A4"])
    def test_a_text_that_is_no_key_is_refused(self, key: str) -> None:
        with pytest.raises(MusicError, match=f"'{key}' is not the key of a song"):
            parse_song_key(key)
