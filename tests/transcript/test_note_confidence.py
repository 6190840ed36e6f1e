"""Confidence of notes: the map from what is explained, and its measurement on made sounds."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from trainer.core.types import Floats
from trainer.ear import HeardNote, Motion
from trainer.harp import Harp, Tab
from trainer.sound import Recording
from trainer.transcript import confidence
from trainer.transcript.confidence import (
    estimate_confidence,
    explained_fractions,
    pitch_around,
    reed_frequencies,
    unexplained_db,
)

C, RATE = Harp.of("C"), 24_000


def heard(
    tab: str, start: float, end: float, path: list[tuple[float, float]] | None = None
) -> HeardNote:
    entries = [Tab.parse(entry) for entry in tab.split("+")]
    hz = C.hz(entries[0])
    return HeardNote(
        start=round(start * RATE),
        end=round(end * RATE),
        rate=RATE,
        tab=entries[0],
        hz=hz,
        cents=0.0,
        also=(),
        holes=tuple(sorted(entry.hole for entry in entries)),
        leak_db=None,
        leak_hole=None,
        level_db=-20.0,
        path=tuple((round(at * RATE), f0) for at, f0 in path or ()),
        motion=Motion(),
        tremolo=None,
    )


def reed(hz: float, seconds: float) -> Floats:
    t = np.arange(round(seconds * RATE)) / RATE
    partials = [np.sin(2 * np.pi * k * hz * t + k) / k for k in range(1, 8)]
    return np.asarray(0.1 * np.sum(partials, axis=0))


def fractions(
    sound: Floats, path: Path, *notes: HeardNote, others: tuple[HeardNote, ...] = ()
) -> list[float]:
    sf.write(path, sound, RATE, subtype="FLOAT")
    recording = Recording(path)
    try:
        return explained_fractions(recording, notes, C, others)
    finally:
        recording.close()


def test_unexplained_energy_in_decibels() -> None:
    assert unexplained_db(0.0) == 0.0
    assert unexplained_db(0.9) == pytest.approx(-10.0)
    assert unexplained_db(0.99) == pytest.approx(-20.0)
    assert unexplained_db(1.0) == -60.0
    assert unexplained_db(1.1) == -60.0


def test_confidence_is_a_probability_that_rises_with_what_is_explained() -> None:
    explained = 1.0 - np.logspace(-6, 0, 50)[::-1]
    values = [estimate_confidence(float(fraction)) for fraction in explained]
    assert all(0.0 < value < 1.0 for value in values)
    assert all(a <= b for a, b in pairwise(values))
    assert values[0] < 0.15  # nothing is explained: hardly a note
    assert values[-1] > 0.98  # everything is: hardly an error


def test_half_of_the_energy_is_too_little_and_all_but_a_hundredth_is_fair() -> None:
    assert estimate_confidence(0.5) < 0.2
    assert 0.7 < estimate_confidence(0.99) < 0.95


def test_reverberation_and_a_second_player_lower_the_confidence() -> None:
    for fraction in (0.3, 0.9, 0.999):
        alone = estimate_confidence(fraction)
        values = [estimate_confidence(fraction, ratio) for ratio in (0.0, 0.01, 0.03, 0.1)]
        assert values[0] == alone
        assert all(a > b for a, b in pairwise(values))
        assert values[-1] > 0.6 * alone
        two = estimate_confidence(fraction, with_second_player=True)
        assert 0.8 * alone < two < alone


def test_a_reed_alone_explains_all_and_noise_nothing(tmp_path: Path) -> None:
    note = heard("4", 0.0, 1.0)
    noise = 0.1 * np.random.default_rng(1).standard_normal(RATE)
    (alone,) = fractions(reed(C.hz(Tab.parse("4")), 1.0), tmp_path / "a.wav", note)
    (nothing,) = fractions(noise, tmp_path / "b.wav", note)
    assert alone > 0.999
    assert nothing < 0.08


def test_a_foreign_tone_of_the_same_energy_leaves_less_than_half(tmp_path: Path) -> None:
    hz = C.hz(Tab.parse("4"))
    reed_tone = reed(hz, 1.0)
    other = reed(1.37 * hz, 1.0)
    other *= np.sqrt(np.mean(reed_tone**2) / np.mean(other**2))
    (fraction,) = fractions(reed_tone + other, tmp_path / "a.wav", heard("4", 0.0, 1.0))
    assert 0.3 < fraction < 0.5  # less than half, as some of it is covered by chance


def test_another_player_explains_a_part(tmp_path: Path) -> None:
    sound = reed(C.hz(Tab.parse("4")), 1.0) + reed(C.hz(Tab.parse("-8")), 1.0)
    note = heard("4", 0.0, 1.0)
    alone, with_other, away = (
        fractions(sound, tmp_path / "a.wav", note, others=others)[0]
        for others in ((), (heard("-8", 0.0, 1.0),), (heard("-8", 2.0, 3.0),))
    )
    assert with_other > 0.99
    assert alone < 0.7
    assert away == alone


def test_each_note_is_measured_where_it_sounds(tmp_path: Path) -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal(RATE)
    sound = np.concatenate(
        [reed(C.hz(Tab.parse("4")), 1.0), noise, reed(C.hz(Tab.parse("5")), 3.0)]
    )
    notes = [heard("4", 0.0, 1.0), heard("4", 1.0, 2.0), heard("5", 2.0, 5.0)]
    first, second, third = fractions(sound, tmp_path / "a.wav", *notes)
    assert first > 0.99
    assert second < 0.1
    assert third > 0.99


def test_no_part_of_a_long_note_is_forgotten_before_it_is_measured(tmp_path: Path) -> None:
    noise = np.random.default_rng(1).standard_normal(RATE)
    sound = np.concatenate(
        [reed(C.hz(Tab.parse("4")), 2.0), noise, reed(C.hz(Tab.parse("5")), 9.0)]
    )
    first, second = fractions(
        sound, tmp_path / "a.wav", heard("4", 0.0, 2.0), heard("5", 2.0, 12.0)
    )
    assert first > 0.99
    assert second < 0.5  # a tenth of the frames are loud noise


def mixed(seconds: float) -> Floats:
    """A reed under noise that rises from -40 to 0 dB over the sound."""
    sound = reed(C.hz(Tab.parse("4")), seconds)
    noise = np.random.default_rng(2).standard_normal(len(sound)) * sound.std()
    return np.asarray(sound + noise * 10.0 ** np.linspace(-2.0, 0.0, len(sound)))


SPANS = ((0.3, 0.9), (4.0, 4.6), (4.2, 6.5), (6.6, 6.7), (9.0, 11.8))
"""Notes with rests, an overlap and a short one, in seconds."""


def test_a_note_has_the_same_fraction_among_others_as_alone(tmp_path: Path) -> None:
    sound, notes = mixed(12.0), [heard("4", *span) for span in SPANS]
    together = fractions(sound, tmp_path / "a.wav", *notes)
    alone = [fractions(sound, tmp_path / "a.wav", note)[0] for note in notes]
    assert together == pytest.approx(alone, abs=1e-12)
    assert sorted(together, reverse=True) == together  # as the noise rises
    assert together[0] - together[-1] > 0.1


def test_no_more_sound_is_kept_than_a_note_needs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[tuple[int, int, HeardNote]] = []

    def fraction(
        sound: Floats, first: int, note: HeardNote, harp: Harp, others: Sequence[HeardNote]
    ) -> float:
        seen.append((first, first + len(sound), note))
        return 0.5

    monkeypatch.setattr(confidence, "_fraction", fraction)
    notes = [heard("4", *span) for span in SPANS]
    assert fractions(mixed(12.0), tmp_path / "a.wav", *notes) == [0.5] * len(notes)
    block = max(end for _, end, _ in seen[:1]) - notes[0].end  # what is read at once
    for (first, end, note), before in zip(seen, [None, *notes], strict=False):
        assert first <= note.start
        assert note.end <= end
        since = note.start if before is None else min(before.end, note.start)
        assert end - first <= note.end - since + RATE + 2 * block


def test_frames_lie_evenly_inside_the_note(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    centres: list[int] = []

    def energies(
        frame: Floats, notes: Sequence[HeardNote], harp: Harp, centre: int
    ) -> tuple[float, float]:
        assert len(frame) == size
        centres.append(centre)
        return 1.0, 2.0

    size = round(0.085 * RATE)
    monkeypatch.setattr(confidence, "_frame_energies", energies)
    note = heard("4", 1.0, 4.0)
    assert fractions(mixed(6.0), tmp_path / "a.wav", note) == [0.5]
    assert len(centres) == 12
    assert np.ptp(np.diff(centres)) <= 1  # to a sample
    edge = round(0.02 * RATE) + size // 2
    assert centres[0] == pytest.approx(note.start + edge, abs=1)
    assert centres[-1] == pytest.approx(note.end - edge, abs=1)
    centres.clear()
    fractions(mixed(6.0), tmp_path / "a.wav", heard("4", 1.0, 1.3))
    assert len(centres) == 5  # 0.26 s in half steps of 42.5 ms
    centres.clear()
    fractions(mixed(6.0), tmp_path / "a.wav", heard("4", 2.0, 2.09))
    assert centres == [pytest.approx(round(2.045 * RATE), abs=1)]


def test_attacks_at_the_edges_of_a_note_do_not_count(tmp_path: Path) -> None:
    sound = reed(C.hz(Tab.parse("4")), 1.0)
    edge = round(0.018 * RATE)
    sound[:edge] = sound[-edge:] = np.random.default_rng(1).standard_normal(edge)
    assert fractions(sound, tmp_path / "a.wav", heard("4", 0.0, 1.0))[0] > 0.99


def test_a_short_note_is_measured_as_a_whole(tmp_path: Path) -> None:
    sound = reed(C.hz(Tab.parse("4")), 0.5)
    assert fractions(sound, tmp_path / "a.wav", heard("4", 0.2, 0.26))[0] > 0.99
    assert fractions(sound, tmp_path / "a.wav", heard("5", 0.2, 0.26))[0] < 0.5


def test_pitch_and_movement_around_a_sample() -> None:
    note = heard("4", 0.0, 1.0, [(0.1, 500.0), (0.2, 510.0), (0.3, 520.0), (0.9, 600.0)])
    hz, moves = pitch_around(note, round(0.2 * RATE), round(0.21 * RATE))
    assert hz == 510.0
    assert moves == pytest.approx(600.0 * np.log2(520 / 500))
    assert pitch_around(note, round(0.5 * RATE), 10) == (520.0, 0.0)  # the nearest reading
    assert pitch_around(heard("4", 0, 1), 0, 10) == (C.hz(Tab.parse("4")), 0.0)


def test_neighbours_of_a_note_have_their_nominal_pitch() -> None:
    assert reed_frequencies(heard("-4'+-5", 0, 1), C, 560.0) == [560.0, C.hz(Tab.parse("-5"))]
    assert reed_frequencies(heard("4", 0, 1), C, 520.0) == [520.0]
