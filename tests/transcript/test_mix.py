"""A harp among other sounds: spectra, network and decoder.

The network is checked on the recorded reeds of tests/reeds under noise and speech-like sound, whose
truth is the file that they were rendered from.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from tests.reeds.excerpts import BEAT_S, PHRASE_ZERO_S
from trainer.core.types import Floats
from trainer.harp import Harp, Tab
from trainer.report.transcript_report import transcript_text
from trainer.transcript import TranscriptError, TranscriptRequest, transcribe
from trainer.transcript.harp_network import FRAME_S, Activations, hear_harp, load_network
from trainer.transcript.mix_decoder import (
    decode_line,
    decode_pitches,
    polyphony,
    recording_a4,
    to_heard_notes,
)
from trainer.transcript.pitch_spectra import (
    BINS_PER_SEMITONE,
    HARMONICS,
    HOP,
    LOWEST_MIDI,
    PITCHES,
    RATE,
    SEMITONES,
    chunks,
    level_spectra,
    normalize,
    stack_harmonics,
)

C = Harp.of("C")
PHRASE = Path(__file__).parent.parent / "reeds" / "phrase.flac"


def tone(midi: float, seconds: float = 0.5) -> Floats:
    return np.sin(
        2.0 * np.pi * 440.0 * 2.0 ** ((midi - 69.0) / 12.0) * np.arange(seconds * RATE) / RATE
    )


def heard(*notes: tuple[str, float, float], cents: float = 0.0, onsets: bool = True) -> Activations:
    """Activations of tab with start and end in seconds, as a perfect network would give them."""
    frames = round(max(end for _, _, end in notes) / FRAME_S) + 20
    pitch = np.full((frames, PITCHES), 0.01, np.float32)
    onset = np.full((frames, SEMITONES), 0.01, np.float32)
    for tabs, start, end in notes:
        for tab in tabs.split("+"):
            midi = C.midi(Tab.parse(tab)) + cents / 100.0
            place = round((midi - LOWEST_MIDI) * BINS_PER_SEMITONE) + 1
            first, last = round(start / FRAME_S), round(end / FRAME_S)
            pitch[first:last, place] = 0.95
            if onsets:
                onset[first, round(midi) - LOWEST_MIDI] = 0.95
    return Activations(pitch, onset, pitch.max(axis=1))


def written(activations: Activations) -> list[tuple[str, float]]:
    return [
        ("+".join(map(str, note.tabs)), round(note.start, 1))
        for note in decode_line(activations, C)
    ]


def test_a_pitch_is_found_at_its_place_in_the_stack() -> None:
    stack = stack_harmonics(normalize(level_spectra(tone(60.0))))
    middle = stack[len(stack) // 2]
    place = (60 - LOWEST_MIDI) * BINS_PER_SEMITONE + 1
    for channel, harmonic in enumerate(HARMONICS):  # the long window comes first
        below = place - round(12 * BINS_PER_SEMITONE * np.log2(harmonic))
        if 0 <= below < PITCHES:
            assert middle[below, channel] == pytest.approx(middle[:, channel].max(), abs=0.01)


def test_a_quiet_recording_gives_the_same_spectra() -> None:
    loud = normalize(level_spectra(tone(70.0)))
    soft = normalize(level_spectra(0.01 * tone(70.0)))
    assert np.abs(loud - soft).max() < 0.01


def test_pieces_of_a_recording_give_what_the_whole_gives() -> None:
    sound = np.random.default_rng(1).standard_normal(HOP * 129)
    stack = stack_harmonics(normalize(level_spectra(sound)))
    whole, _ = load_network().run(stack)
    low, high, first, last = next(chunks(len(stack), 20, 96))
    piece, _ = load_network().run(stack[low:high])
    assert high < len(stack)
    assert np.abs(piece[first - low : last - low] - whole[first:last]).max() < 1e-3


def test_notes_repeats_chords_and_rests_are_read_off() -> None:
    line = heard(("4", 0.2, 0.5), ("4", 0.5, 0.8), ("-4", 1.2, 1.5), ("-4+-5", 1.5, 2.0))
    assert written(line) == [("4", 0.2), ("4", 0.5), ("-4", 1.2), ("-4+-5", 1.5)]


def test_a_bend_without_an_onset_is_one_note_with_a_path() -> None:
    start = heard(("-4", 0.2, 0.6))
    end = heard(("-4'", 0.6, 1.0), onsets=False)
    pitch = end.pitch.copy()
    onset = end.onset.copy()
    pitch[: len(start.pitch)] = np.maximum(pitch[: len(start.pitch)], start.pitch)
    onset[: len(start.onset)] = np.maximum(onset[: len(start.onset)], start.onset)
    line = Activations(pitch, onset, pitch.max(axis=1))
    notes = decode_line(line, C)
    joined, _ = to_heard_notes(line, notes, C, np.ones(RATE * 2), RATE, RATE)
    assert [str(note.tabs[0]) for note in notes] == ["-4", "-4'"]
    assert len(joined) == 1
    low, high = joined[0].path[-1][1], joined[0].path[0][1]
    assert 1200.0 * np.log2(high / low) == pytest.approx(100.0, abs=5.0)


def test_the_tuning_of_the_recording_is_found() -> None:
    line = heard(("4", 0.2, 0.5), ("-4", 0.6, 0.9), cents=33.0)
    a4 = recording_a4(line)
    assert 1200.0 * np.log2(a4 / 440.0) == pytest.approx(33.3, abs=1.0)
    off = 12.0 * np.log2(a4 / 440.0)
    pitches = [round(note.midi[0] - off) for note in decode_pitches(line, a4)]
    assert pitches == [C.midi(Tab.parse("4")), C.midi(Tab.parse("-4"))]


def test_chords_are_told_from_single_notes() -> None:
    assert polyphony(heard(("4", 0.2, 0.5))) == 0.0
    assert polyphony(heard(("4+5", 0.2, 0.5))) == 1.0


def test_silence_and_noise_have_no_notes() -> None:
    noise = np.random.default_rng(2).standard_normal(RATE)
    for sound in (np.zeros(RATE), 0.1 * noise):
        assert decode_line(hear_harp(sound, RATE), C) == []


def _buzz(length: int, rate: int) -> Floats:
    """Speech-like sound: a pitch that glides about 120 Hz, in syllables, with formants."""
    t = np.arange(length) / rate
    phase = 2.0 * np.pi * np.cumsum(120.0 + 25.0 * np.sin(2.0 * np.pi * 0.7 * t)) / rate
    sound = np.zeros(length)
    for order in range(1, 30):
        formants = sum(np.exp(-(((120.0 * order - hz) / 150.0) ** 2)) for hz in (500, 1500, 2500))
        sound += (0.05 + formants) * np.sin(order * phase)
    return sound * np.maximum(0.0, np.sin(2.0 * np.pi * 2.2 * t))


def test_a_guessed_harp_is_picked_by_its_number(tmp_path: Path) -> None:
    sound, rate = sf.read(PHRASE, frames=round(6.5 * 48_000))
    path = tmp_path / "phrase.wav"
    sf.write(path, sound[2 * rate :], rate)
    second = transcribe(TranscriptRequest(path, pick=2))
    assert second.harp == second.guesses[1].harp != second.guesses[0].harp
    text = transcript_text(second)
    for number, guess in enumerate(second.guesses[:3], start=1):
        assert f"\n  {number}  {guess.harp.name}" in text
        assert len(guess.opening.split()) == len(second.notes) - guess.missing
    with pytest.raises(TranscriptError, match="pick 1 to"):
        transcribe(TranscriptRequest(path, pick=1000))


def test_talk_before_the_music_is_not_written_down(tmp_path: Path) -> None:
    sound, rate = sf.read(PHRASE, frames=round(5.2 * 48_000))
    talk = _buzz(2 * rate, rate)
    talk *= np.sqrt(np.mean(sound**2) / np.mean(talk**2))
    path = tmp_path / "talk.wav"
    sf.write(path, np.concatenate([talk, sound]), rate)
    notes = transcribe(TranscriptRequest(path, harp=C)).notes
    assert [note.tab for note in notes] == ["4", "5", "4"]
    beats = [2.0 + PHRASE_ZERO_S + i * BEAT_S for i in range(3)]
    assert [note.start for note in notes] == pytest.approx(beats, abs=0.05)
