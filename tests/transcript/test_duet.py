"""Two harps over each other, written as two parts.

What is played is known: a drill of the shelf that has two parts, by the built-in player, and
recorded reeds (tests/reeds) laid over each other. The pitches found in a mix are held against
Praat's (Boersma 1993, by praat-parselmouth) of each reed before it was mixed.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import mido
import numpy as np
import parselmouth
import pytest
import soundfile as sf

from tests.reeds.excerpts import LEAD_S, RATE, cut
from trainer.cli import main
from trainer.core.types import Floats
from trainer.drill import find_drill, parse_drill, write_drill
from trainer.harp import Harp, Tab
from trainer.report.transcript_report import transcript_csv, transcript_notes_data, transcript_text
from trainer.sound import BuiltInPlayer
from trainer.transcript import Transcript, TranscriptRequest, draft_drill, transcribe
from trainer.transcript.tones import Tone, find_tones
from trainer.transcript.two_parts import ToneGroup, group_tones, separate_players

pytestmark = pytest.mark.xdist_group("duet")

C = Harp.of("C")
SPAN = (250.0, 2200.0)
DUET = find_drill("two-at-the-rail")


def played(number: int) -> Floats:
    """A part of the duet, by the built-in player."""
    blocks = BuiltInPlayer(DUET.part(number), C).blocks()
    return np.concatenate([block.samples for block in blocks])


def over(first: Floats, second: Floats, db: float) -> Floats:
    """Two sounds over each second, the second brought to a level in dB beside the one's."""
    mix = np.zeros(max(len(first), len(second)))
    mix[: len(first)] += first
    mix[: len(second)] += 10.0 ** (db / 20.0) * second
    return 0.5 * mix / np.abs(mix).max()


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both parts of the duet, the second 6 dB under the first."""
    path = tmp_path_factory.mktemp("duet") / "rail.wav"
    sf.write(path, over(played(1), played(2), -6.0), RATE)
    return path


@pytest.fixture(scope="module")
def transcript(recording: Path) -> Transcript:
    return transcribe(TranscriptRequest(recording))


def on_a_partial(tab: Tab, low: Tab) -> bool:
    """Whether an entry is an octave, a twelfth or two octaves over another."""
    return C.midi(tab) - C.midi(low) in (12, 19, 24)


def test_each_part_of_a_duet_is_written_as_its_player_played_it(transcript: Transcript) -> None:
    zero = transcript.notes[0].start
    beat = 60.0 / DUET.tempo
    missed = 0
    for number, part in enumerate(transcript.parts, start=1):
        mine, others = DUET.part(number).steps, DUET.part(3 - number).steps
        for step in mine:
            near = [n for n in part if abs(n.start - zero - float(step.start) * beat) < 0.05]
            ways = [str(way[0][0]) for note in near for way in (note.sounds, *note.alternatives)]
            if step.tab not in ways:
                missed += 1
                beside = [
                    step_beside
                    for step_beside in others
                    if step_beside.start < step.end and step_beside.end > step.start
                ]
                tabs = [(step.sounds[0][0], step_beside.sounds[0][0]) for step_beside in beside]
                # The sound does not separate them; nothing else may be missed.
                assert any(on_a_partial(*pair) or on_a_partial(*pair[::-1]) for pair in tabs)
    assert missed <= 5
    assert transcript.harp.key.name == "C"
    assert any("two harps sound" in line for line in transcript.warnings)


def test_notes_are_as_long_as_their_own_part_has_them(transcript: Transcript) -> None:
    wanted = {step.start: step.beats for step in DUET.second}
    beats = {note.at: note.beats for note in transcript.second if note.at in wanted}
    assert len(beats) >= 0.8 * len(wanted)
    assert all(beats[at] == wanted[at] for at in beats)


def test_text_and_data_have_both_parts(transcript: Transcript) -> None:
    text = transcript_text(transcript)
    assert "Part 1, " in text
    assert f"Part 2, {len(transcript.second)} notes:" in text
    rows = transcript_notes_data(transcript)
    parts = [1] * len(transcript.notes) + [2] * len(transcript.second)
    assert [row["part"] for row in rows] == parts
    assert len(transcript_csv(transcript).splitlines()) == 1 + len(rows)


def test_the_drill_of_a_duet_has_both_parts_and_can_be_read_back(transcript: Transcript) -> None:
    drill = parse_drill(write_drill(draft_drill(transcript, "heard", "Heard at the rail")), "heard")
    assert [step.tab for step in drill.steps] == [note.tab for note in transcript.notes]
    assert [step.tab for step in drill.second] == [note.tab for note in transcript.second]


def test_the_command_takes_the_number_of_harps_and_writes_for_others(
    recording: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def run(*words: str) -> str:
        passage = ("--from", "3", "--to", "9")
        words = ("trainer", "tab", str(recording), "--harp", "C", *passage, *words)
        monkeypatch.setattr("sys.argv", list(words))
        with pytest.raises(SystemExit) as ended:
            main()
        assert not ended.value.code
        return capsys.readouterr().out

    assert {row["part"] for row in json.loads(run("--format", "json"))} == {1, 2}
    assert {row["part"] for row in json.loads(run("--format", "json", "--harps", "1"))} == {1}
    midi = tmp_path / "rail.mid"
    run("--out", str(midi))
    channels = {
        message.channel
        for track in mido.MidiFile(midi).tracks
        for message in track
        if message.type == "note_on"
    }
    assert len(channels) == 2
    assert "part" in run("--format", "csv").splitlines()[0]


def test_one_player_is_not_written_as_two(tmp_path: Path) -> None:
    path = tmp_path / "alone.wav"
    sf.write(path, 0.5 * played(1), RATE)
    assert not transcribe(TranscriptRequest(path, harp=C)).second
    asked = transcribe(TranscriptRequest(path, harp=C, harps=2))
    assert not asked.second
    assert "no second harp is heard" in asked.warnings


def test_what_is_struck_and_dies_away_is_no_second_player(tmp_path: Path) -> None:
    alone = played(1)[: 12 * RATE]
    t = np.arange(len(alone)) / RATE
    struck = np.zeros(len(alone))
    for at in np.arange(3.3, t[-1] - 1.0, 0.7):
        since = t - at
        dying = np.where(since >= 0.0, 10.0 ** (-30.0 * np.maximum(since, 0.0) / 20.0), 0.0)
        for hz in (293.7, 440.0):
            struck += dying * sum(np.sin(2 * np.pi * k * hz * since) / k for k in range(1, 7))
    rms = np.sqrt(np.mean(alone**2) / np.mean(struck**2))
    path = tmp_path / "beside.wav"
    sf.write(path, over(alone, rms * struck, -12.0), RATE)
    assert not transcribe(TranscriptRequest(path, harp=C)).second


# Tones


@pytest.mark.parametrize(("first", "other"), [("4", "-5"), ("-4", "2"), ("-6", "3"), ("5", "-2")])
@pytest.mark.parametrize("db", [0.0, -12.0])
def test_reeds_of_two_players_are_heard_as_praat_hears_each_alone(
    first: str, other: str, db: float
) -> None:
    # The second sets in 0.2 s after the first.
    reeds = [cut("c-harp", tab) for tab in (first, other)]
    rms = [float(np.sqrt(np.mean(reed[reed != 0.0] ** 2))) for reed in reeds]
    later = np.concatenate([np.zeros(round(0.2 * RATE)), reeds[1] * rms[0] / rms[1]])
    found_tones = find_tones(over(reeds[0], later, db), RATE, SPAN)
    for reed, tab, shift in zip(reeds, (first, other), (0.0, 0.2), strict=True):
        sound = parselmouth.Sound(reed.astype(float), RATE)
        praat = sound.to_pitch_ac(0.01, 75.0, pitch_ceiling=3000.0)
        at = np.arange(LEAD_S + 0.15, LEAD_S + 0.5, 0.02)
        alone = np.array([praat.get_value_at_time(second) for second in at])
        near = [
            tone_
            for tone_ in found_tones
            if abs(1200.0 * np.log2(tone_.held_hz / alone[-1])) < 50.0
        ]
        longest = max(near, key=lambda tone_: tone_.seconds)
        off = 1200.0 * np.log2(np.interp(at + shift, longest.at, longest.hz) / alone)
        assert np.median(np.abs(off)) < 1.0, tab
        assert longest.start == pytest.approx(LEAD_S + shift, abs=0.03), tab


# Parts


def tone(tab: str, start: float, end: float, db: float) -> Tone:
    at = np.arange(start, end, 0.02)
    return Tone(start, end, at, np.full(len(at), C.hz(Tab.parse(tab))), db, 0.0)


def tabs(notes: Sequence[ToneGroup]) -> list[str]:
    return [str(note.tabs[0]) for note in notes]


def test_tones_of_one_breath_side_by_side_are_one_note() -> None:
    groups = group_tones(
        [tone("4", 1.0, 1.5, -20), tone("5", 1.0, 1.5, -22), tone("-8", 1, 1.5, -20)], C
    )
    assert sorted(sorted(str(tab) for tab in note.tabs) for note in groups) == [["-8"], ["4", "5"]]


def test_a_later_neighbour_is_no_chord() -> None:
    assert len(group_tones([tone("4", 1.0, 1.5, -20), tone("5", 1.2, 1.5, -22)], C)) == 2


def test_parts_follow_how_loud_each_plays_where_they_cross() -> None:
    # Both go by step, one up and one down, through the same holes.
    up, down = ["2", "-3", "-4", "-5", "-6"], ["-7", "-6'", "5", "4", "-2"]
    some = [tone(tab, 1.0 + i, 1.9 + i, -18.0) for i, tab in enumerate(up)]
    others = [tone(tab, 1.3 + i, 2.1 + i, -26.0) for i, tab in enumerate(down)]
    others = [replace(late, end=late.end + 0.1) for late in others]
    result = separate_players(group_tones([*some, *others], C))
    assert tabs(result.first) == up
    assert len(result.second) == len(down)
    assert not result.left


def test_more_voices_are_left_out_and_speak_against_two_players() -> None:
    some = [tone(tab, 1.0, 3.0, -18.0) for tab in ("1", "-4", "7", "-9", "-6")]
    assert separate_players(group_tones(some[:2], C)).two
    result = separate_players(group_tones(some, C))
    assert len(result.left) == 3
    assert not result.two
