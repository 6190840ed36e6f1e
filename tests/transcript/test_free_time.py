"""Recordings without a beat are written so that their beats fall on the notes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st

from trainer.drill import Drill, DrillRecording, parse_drill, write_drill
from trainer.harp import Harp, Tab
from trainer.practice import PassEnded, Plan, run_take
from trainer.sound import PlayerSpec
from trainer.sound.sources.player import BuiltInPlayer
from trainer.transcript import (
    TranscribedNote,
    Transcript,
    TranscriptRequest,
    draft_drill,
    transcribe,
)

C = Harp.of("C")
BARS = "4 -4 5 6|-6 6 5 -4|4 -3 4 5|6 7 -7 -6|6 5 -4 5|-4 4 -3 4"
"""A tune of this test's own, in bars of four notes."""
TUNE = BARS.replace("|", " ").split(" ")


def note(tab: str, start: float, end: float) -> TranscribedNote:
    sounds = ((Tab.parse(tab),),)
    return TranscribedNote(start, end, sounds, 0.0, C.hz(sounds[0][0]))


def drafted(*notes: TranscribedNote, second: tuple[TranscribedNote, ...] = ()) -> Drill:
    return draft_drill(Transcript("take.wav", C, notes, second=second), "x", recording="take.wav")


@given(
    st.lists(st.tuples(st.floats(0.16, 4.0), st.floats(0.3, 1.0)), min_size=1, max_size=40),
    st.floats(0.0, 60.0),
)
def test_each_note_begins_where_it_was_played(
    intervals: list[tuple[float, float]], start: float
) -> None:
    notes = []
    for (interval, held), tab in zip(intervals, 2 * TUNE, strict=False):
        notes.append(note(tab, start, start + held * interval))
        start += interval
    drill = drafted(*notes)
    recording = drill.recording
    assert recording is not None
    for step, played in zip(drill.steps, notes, strict=True):
        assert step.start.denominator == 1
        assert recording.second(step.start) == pytest.approx(played.start, abs=0.001)
        beat_s = recording.second(step.start + 1) - recording.second(step.start)
        assert abs(recording.second(step.end) - played.end) < 0.5 * beat_s + 0.15
    assert parse_drill(write_drill(drill), "x") == drill
    assert drill.about.startswith("Free time")


def test_notes_that_follow_at_once_keep_their_order_within_a_beat() -> None:
    drill = drafted(note("4", 1.0, 1.03), note("-4", 1.04, 1.4), note("5", 1.5, 2.0))
    assert [step.start for step in drill.steps] == [0, Fraction(1, 4), 1]


def test_two_parts_share_their_beats() -> None:
    drill = drafted(
        note("4", 1.0, 1.4), note("5", 2.1, 2.5), second=(note("6", 1.5, 2.0), note("7", 2.1, 2.6))
    )
    assert drill.recording is not None
    assert drill.steps[1].start == drill.second[1].start
    assert drill.recording.second(drill.second[0].start) == pytest.approx(1.5)


def test_one_note_is_enough() -> None:
    drill = drafted(note("4", 0.5, 0.52))
    assert [step.start for step in drill.steps] == [0]
    assert drill.steps[0].beats == Fraction(1, 4)


def test_a_recording_in_free_time_is_played_along_with(tmp_path: Path) -> None:
    random = np.random.default_rng(3)
    times = 0.5 + np.cumsum([0.0, *random.lognormal(np.log(0.5), 0.45, len(TUNE)).clip(0.2, 2.0)])
    tab = BARS.replace(" ", ":1 ").replace("|", ":1 | ") + ":1 |"
    text = f'title = "Free"\nharp = "C"\ntempo = 120\ntab = """\n{tab}\n"""\n'
    source = parse_drill(text, "free")
    source = replace(
        source, recording=DrillRecording("free.wav", tuple(float(t) for t in times.round(3)))
    )
    player = BuiltInPlayer(source, C, count_in=0)
    zero_s = player.first_pass().zero / player.rate
    sound = np.concatenate([block.samples for block in player.blocks()])
    sf.write(tmp_path / "free.wav", sound, player.rate, subtype="PCM_16")

    transcript = transcribe(TranscriptRequest(tmp_path / "free.wav", harp=C, free_time=True))
    assert transcript.meter is None
    assert not transcript.warnings
    drill = draft_drill(transcript, "free", recording=str(tmp_path / "free.wav"))
    assert drill.recording is not None
    assert drill.recording.is_in_free_time
    starts = [drill.recording.second(step.start) for step in drill.steps]
    assert starts == pytest.approx(list(zero_s + times[:-1] - times[0]), abs=0.02)

    (result,) = (
        event.result
        for event in run_take(Plan(C, PlayerSpec(seed=2), drill=drill))
        if isinstance(event, PassEnded)
    )
    assert result.score >= 95.0


def test_a_tempo_that_drifts_or_stops_once_is_no_free_time() -> None:
    drifting = np.cumsum(0.5 + 0.1 * np.sin(np.arange(40) / 6.0))
    assert not DrillRecording("x.wav", tuple(drifting)).is_in_free_time
    stopped = np.cumsum([0.5] * 10 + [3.0] + [0.5] * 10)
    assert not DrillRecording("x.wav", tuple(stopped)).is_in_free_time
    assert not DrillRecording("x.wav", (0.0, 0.5)).is_in_free_time
