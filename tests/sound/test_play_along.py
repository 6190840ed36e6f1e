"""A recording that is played along with: its beats, its sound, and marks on its clock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st

from trainer.core import TrainerError
from trainer.drill import (
    BeatClock,
    Drill,
    DrillError,
    RecordedTempo,
    find_drill,
    parse_drill,
    write_drill,
)
from trainer.harp import Harp
from trainer.practice import PassEnded, PassStarted, Plan, run_take
from trainer.report.result_report import result_data
from trainer.sound import PlayerSpec, RecordingSpec, SoundError
from trainer.sound.click import click
from trainer.sound.harp_fader import FadedNote, fade_harp
from trainer.sound.placed_sounds import PlacedSounds
from trainer.sound.play_along import render_play_along

RATE = 48_000
BEATS = tuple(round(0.5 + 0.6 * i + 0.05 * np.sin(i / 2.0), 3) for i in range(20))
"""A band at 100 beats a minute that pushes and drags by 5 %."""
TEXT = """
title = "Tide over the slip"
harp = "C"
tempo = 100
tab = \"\"\"
4:1 -4:1 5:1 -5:1 | 6:1 -6:1 6:1 5:1 | -4:1 4:1 -3:1 4:1 | 4:4 |
\"\"\"

[recording]
file = "band.wav"
first = -1
beats = [{}]
""".format(", ".join(map(str, BEATS)))


@pytest.fixture(scope="module")
def drill(tmp_path_factory: pytest.TempPathFactory) -> Drill:
    """A drill beside its recording, which has a click on each beat."""
    folder = tmp_path_factory.mktemp("band")
    sound = np.zeros(round((BEATS[-1] + 1.0) * RATE), np.float32)
    hit = click(RATE, accented=False)
    for beat in BEATS:
        at = round(beat * RATE)
        sound[at : at + len(hit)] += hit
    sf.write(folder / "band.wav", sound, RATE, subtype="FLOAT")
    (folder / "tide.toml").write_text(TEXT, encoding="utf-8")
    return find_drill(str(folder / "tide.toml"))


@given(
    st.lists(st.floats(0.3, 3.0), min_size=1, max_size=30), st.integers(-4, 4), st.floats(-9, 40)
)
def test_beats_and_times_of_a_recording_are_inverse(
    lengths: list[float], first: int, beat: float
) -> None:
    tempo = RecordedTempo(first, tuple(np.cumsum([0.5, *lengths])))
    assert tempo.beat(tempo.elapsed(beat)) == pytest.approx(beat, abs=1e-6)
    assert tempo.factor(first) == pytest.approx(1.0 / lengths[0])


def test_the_clock_has_the_recordings_beats(drill: Drill) -> None:
    clock = drill.clock(RATE, zero=RATE)
    zero = BEATS[1]  # the first beat is -1
    for i, second in enumerate(BEATS):
        assert clock.sample(Fraction(i - 1)) == pytest.approx(RATE * (1.0 + second - zero), abs=1.0)
    half = drill.clock(RATE, tempo=50.0)
    assert half.sample(7) == pytest.approx(2.0 * drill.clock(RATE).sample(7), abs=2.0)


def test_a_written_drill_keeps_its_recording(drill: Drill) -> None:
    assert parse_drill(write_drill(drill), drill.name) == drill
    assert drill.recording is not None
    assert drill.recording.path.exists()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("first = -1", "first = 1.5"), "'first' must be the drill's number"),
        (("beats = [", "beats = [7, "), "ascend by 0.1 s or more"),
        (("tempo = 100", 'tempo = 100\nclock = "free"'), "leave out .recording. or the free clock"),
        (("tempo = 100", "tempo = 100\ntempo_to = 120"), "leave out .recording. or the change"),
        (('file = "band.wav"', 'file = ""'), "'file' must be the recording's path"),
    ],
)
def test_a_wrong_recording_is_one_sentence(change: tuple[str, str], sentence: str) -> None:
    with pytest.raises(DrillError, match=sentence):
        parse_drill(TEXT.replace(*change), "tide")


@pytest.mark.parametrize("bars", [None, (2, 3)])
@pytest.mark.parametrize("tempo", [100.0, 60.0])
def test_the_sound_of_a_pass_lies_on_its_beats(
    drill: Drill, bars: tuple[int, int] | None, tempo: float
) -> None:
    rendered = render_play_along(drill, Harp.of("C"), tempo)
    assert rendered is not None
    beat, sound = rendered.bars(bars)
    clock = drill.clock(RATE, tempo=tempo)
    first, last = bars or (1, drill.bars)
    assert beat == 4.0 * (first - 1)
    start = clock.sample(beat)
    for each in range(4 * (first - 1) + 1, 4 * last):
        at = clock.sample(each) - start
        near = np.abs(sound[at - 1500 : at + 1500])
        peak = int(np.argmax(near)) - 1500
        assert -500 < peak < 600, (each, peak)  # stretching moves a click by up to 7 ms


def test_a_harp_in_another_key_moves_the_recording(drill: Drill, tmp_path: Path) -> None:
    t = np.arange(RATE * 12) / RATE
    sf.write(tmp_path / "band.wav", 0.2 * np.sin(2 * np.pi * 440.0 * t), RATE)
    assert drill.recording is not None
    moved = replace(drill, recording=replace(drill.recording, folder=str(tmp_path)))
    rendered = render_play_along(moved, Harp.of("A"), None)
    assert rendered is not None
    middle = rendered.samples[RATE * 2 : RATE * 6]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    assert np.argmax(spectrum) / 4.0 == pytest.approx(440.0 * 2 ** (-3 / 12), abs=0.5)


def test_what_cannot_be_played_is_one_sentence(drill: Drill, tmp_path: Path) -> None:
    with pytest.raises(SoundError, match="40 to 120 %"):
        render_play_along(drill, Harp.of("C"), 30.0)
    assert drill.recording is not None
    lost = replace(drill, recording=replace(drill.recording, folder=str(tmp_path)))
    with pytest.raises(TrainerError, match=r"band\.wav"):
        render_play_along(lost, Harp.of("C"), None)


def test_a_sound_that_is_broken_off_fades() -> None:
    placed, out = PlacedSounds(1000), np.zeros(500, np.float32)
    placed.place(100, np.ones(300, np.float32))
    placed.stop(200)
    placed.mix(out, 0)
    assert out[100:199].min() == out.max() == 1.0
    assert 0.0 < out[215] < 1.0
    assert not out[231:].any()


def passes(plan: Plan) -> Iterator[PassEnded]:
    events = list(run_take(plan))
    assert any(isinstance(event, PassStarted) for event in events)
    yield from (event for event in events if isinstance(event, PassEnded))


def test_notes_are_marked_on_the_recordings_beats_and_so_is_the_saved_take(
    drill: Drill, tmp_path: Path
) -> None:
    save = tmp_path / "take.flac"
    (ended,) = passes(Plan(Harp.of("C"), PlayerSpec(), drill=drill, save=save))
    assert ended.result.score > 98.0
    late = [mark.measured.late_ms for mark in ended.result.marks]
    assert max(abs(ms or 0.0) for ms in late) < 10.0
    (again,) = passes(Plan(Harp.of("C"), RecordingSpec(save), drill=drill))
    assert result_data(again.result) == result_data(ended.result)
    steady = replace(drill, recording=None)
    clock = BeatClock(0, 100.0, RATE)
    moved = [1000.0 * (drill.clock(RATE).sample(s.start) - clock.sample(s.start)) / RATE
             for s in drill.steps]  # fmt: skip
    assert max(moved) - min(moved) > 40.0, "the drill's own beat would be another one"
    assert steady.tempo_map is None


def test_the_harp_in_a_recording_is_turned_down_and_the_band_is_not(drill: Drill) -> None:
    """Levels of two known parts, before and after the same mask."""
    harp = Harp.of("C")
    rng, t = np.random.default_rng(3), np.arange(round(BEATS[-1] * RATE)) / RATE
    alone, band = np.zeros(len(t)), np.zeros(len(t))
    assert drill.recording is not None
    notes = []
    for step in drill.steps:
        start, end = (drill.recording.second(beat) for beat in (step.start, step.end))
        hz = harp.hz(step.tabs[0]) * 2.0 ** (rng.uniform(-8, 8) / 1200.0)
        inside = (t >= start) & (t < end - 0.03)
        alone += inside * sum(np.sin(2 * np.pi * k * hz * t) / k for k in range(1, 12))
        notes.append(FadedNote(start, end, *[harp.hz(step.tabs[0])] * 2))
    for beat in BEATS[:-1]:
        for midi in (40, 47, 56, 59, 64):
            since = np.maximum(0.0, t - beat)
            hz = 440.0 * 2.0 ** ((midi - 69) / 12.0)
            band += (
                (t >= beat)
                * np.exp(-since / 0.2)
                * sum(np.sin(2 * np.pi * k * hz * since) / k**1.5 for k in (1, 2, 3, 4))
            )
    faded = fade_harp((alone + band).astype(np.float32), RATE, notes, 20.0)
    inside = (t > drill.recording.second(0)) & (t < drill.recording.second(float(drill.end)))
    gains = [
        np.dot(faded[inside], part[inside]) / np.dot(part[inside], part[inside])
        for part in (alone, band)
    ]
    levels = 20.0 * np.log10(np.abs(gains))
    print(f"harp {levels[0]:.1f} dB, band {levels[1]:.1f} dB")
    assert levels[0] < -15.0
    assert levels[1] > -3.0
    untouched = fade_harp(band.astype(np.float32), RATE, [], 20.0)
    assert np.max(np.abs(untouched[RATE:-RATE] - band[RATE:-RATE])) < 1e-5
