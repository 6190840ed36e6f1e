"""Export of drills as MIDI and MusicXML, import of melodies, and their arrangement for harps.

Checked against the W3C's MusicXML 4.0 schema (as the package musicxml on PyPI carries it) and, byte
by byte, against the Standard MIDI Files 1.0 specification (MIDI Association, RP-001).
"""

from __future__ import annotations

import math
import re
import zipfile
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import mido
import pytest
import xmlschema
from hypothesis import given
from hypothesis import strategies as st

from tests.support import shelf
from tests.support.command_line import Trainer
from tests.support.each import each_drill
from trainer.cli.exit_codes import ExitCode
from trainer.drill import (
    Articulation,
    Drill,
    Melody,
    MelodyNote,
    TargetPitch,
    arrange_as_written,
    arrange_on_harps,
    drill_position,
    find_drill,
    half_steps_to_position,
    parse_drill,
    read_drill,
    standard_harps,
    step_text,
)
from trainer.drill.melody import arrange_on_harp
from trainer.exchange import ExchangeError, read_midi, read_musicxml, write_midi, write_musicxml
from trainer.exchange.midi_out import drill_to_midi
from trainer.exchange.musicxml_out import drill_to_musicxml
from trainer.exchange.spelling import best_key_signature, natural_midi, signature_tonic, spell_note
from trainer.exchange.time_grid import quantize_beat
from trainer.harp import Harp

SHELF = shelf.SHELF.drills


def harp_of(drill: Drill) -> Harp:
    return Harp.of(drill.key, drill.tuning)


def same_music(made: Drill, drill: Drill) -> None:
    """Check that a drill came back with harp, tab, directions, rhythm, swing and both parts."""
    assert (made.key, made.tuning) == (drill.key, drill.tuning)
    assert made.meter == drill.meter
    assert made.tempo == pytest.approx(drill.tempo, abs=0.01)
    assert (made.tempo_to, made.swing, made.start) == (drill.tempo_to, drill.swing, drill.start)
    assert made.steps == drill.steps
    assert made.second == drill.second
    assert (made.solos, made.brief, made.ground) == (drill.solos, drill.brief, drill.ground)
    if drill.solos or drill.ground:
        assert made.position == drill.position


def drill_of(tab: str, head: str = "") -> Drill:
    text = f'title = "The crane"\nharp = "C"\ntempo = 96\n{head}\ntab = """\n{tab}\n"""\n'
    return parse_drill(text, "the-crane")


@cache
def schema() -> xmlschema.XMLSchema:
    folder = files("musicxml") / "generate_classes"
    names = {"http://www.w3.org/XML/1998/namespace": str(folder / "xml.xsd")}
    return xmlschema.XMLSchema(str(folder / "musicxml_4_0.xsd"), locations=names)


# --- spelling -------------------------------------------------------------------------------

CIRCLE = ((0, 60), (1, 67), (2, 62), (3, 69), (4, 64), (5, 71), (-1, 65), (-2, 70), (-3, 63))
"""Sharps, and the tonic of the major key that has them: the circle of fifths."""


def test_signatures_and_spellings_are_those_of_music_theory() -> None:
    """The circle of fifths and the major scale: common practice, in every handbook."""
    for fifths, tonic in CIRCLE:
        scale = [tonic + step for step in (0, 2, 4, 5, 7, 9, 11)]
        assert best_key_signature(scale) == fifths
        assert sorted(spell_note(note, fifths)[0] for note in scale) == sorted("ABCDEFG")
        assert sum(abs(spell_note(note, fifths)[1]) for note in scale) == abs(fifths)
        assert signature_tonic(fifths) == tonic % 12
    assert signature_tonic(0, "minor") == 9
    assert spell_note(61, -5) == ("D", -1, 4)
    assert spell_note(61, 2) == ("C", 1, 4)
    assert spell_note(59, -6) == ("C", -1, 4)  # Cb4 sounds as B3


@given(st.integers(20, 110), st.integers(-6, 6))
def test_spelling_keeps_the_pitch(note: int, fifths: int) -> None:
    letter, alter, octave = spell_note(note, fifths)
    assert natural_midi(letter, octave) + alter == note
    assert abs(alter) <= 2


# --- MIDI -----------------------------------------------------------------------------------


def test_a_midi_file_begins_as_the_standard_says(tmp_path: Path) -> None:
    path = tmp_path / "crane.mid"
    write_midi(drill_of("4:1 -4:1 -4':2 |"), Harp.of("C"), path)
    data = path.read_bytes()
    assert data[:4] == b"MThd"
    assert int.from_bytes(data[4:8], "big") == 6
    assert int.from_bytes(data[8:10], "big") == 1  # format 1
    assert int.from_bytes(data[10:12], "big") == 2  # tracks
    assert int.from_bytes(data[12:14], "big") == 960  # ticks of a quarter
    assert data[14:18] == b"MTrk"
    assert bytes([0xFF, 0x51, 0x03]) + (625_000).to_bytes(3, "big") in data  # 96 a minute
    assert bytes([0xFF, 0x58, 0x04, 4, 2]) in data  # 4/4
    assert bytes([0xC0, 22]) in data  # General MIDI's harmonica, number 23 counted from 1
    assert bytes([0xFF, 0x05, 3]) + b"-4'" in data  # a lyric
    assert data.endswith(bytes([0xFF, 0x2F, 0x00]))
    notes = [message for message in mido.MidiFile(path).tracks[1] if message.type == "note_on"]
    assert [message.note for message in notes] == [72, 74, 73]  # C5 D5 Db5 of a C harp
    assert mido.MidiFile(path).length == pytest.approx(2.5)


def test_bends_glides_and_vibrato_are_pitch_bend_within_the_range_that_is_set() -> None:
    drill = drill_of("-3'''>-3:4 | -4:4{vibrato 5 30} | 4@-30:4 |")
    track = drill_to_midi(drill, Harp.of("C")).tracks[1]
    controls = [message for message in track if message.type == "control_change"]
    bend_range = next(message.value for message in controls if message.control == 6)
    assert bend_range >= 3
    bends: dict[str, list[float]] = {}
    tab = ""
    for message in track:
        if message.type == "lyrics":
            tab = message.text
        elif message.type == "pitchwheel":
            bends.setdefault(tab, []).append(message.pitch / 8192 * bend_range)
    glide, vibrato, flat = bends["-3'''>-3"], bends["-4"], bends["4@-30"]
    assert (glide[0], glide[-1]) == (0.0, pytest.approx(3.0, abs=0.02))
    assert max(vibrato) == 0.0  # an open reed does not rise
    assert min(vibrato) == pytest.approx(-0.6, abs=0.02)
    assert flat[-1] == pytest.approx(-0.3, abs=0.01)
    plain = drill_to_midi(drill_of("4:4 |"), Harp.of("C")).tracks[1]
    assert 2 in [message.value for message in plain if message.type == "control_change"]


@each_drill(SHELF)
def test_a_drill_comes_back_from_midi(drill: Drill, tmp_path: Path) -> None:
    harp, path = harp_of(drill), tmp_path / "x.mid"
    write_midi(drill, harp, path)
    melody = read_midi(path)
    assert melody.title == drill.title[:80]
    assert melody.position == drill_position(drill, harp)
    made = arrange_as_written(melody)
    assert made is not None
    same_music(made.drill, drill)


@each_drill(SHELF)
def test_midi_has_the_notes_without_its_texts(drill: Drill, tmp_path: Path) -> None:
    """What another program reads of an exported drill: pitches and times."""
    harp, path = harp_of(drill), tmp_path / "x.mid"
    write_midi(drill, harp, path)
    without_texts(path)
    melody = read_midi(path, 2)
    assert (melody.harp, melody.swing) == (None, 1.0)
    assert melody.meter == drill.meter
    assert melody.tempo == pytest.approx(drill.tempo, abs=0.02)
    if any(step.shake or step.grace or step.slap for step in drill.steps):
        return
    if any(solo.start < drill.steps[0].start for solo in drill.solos):
        return  # bars of rest before the first note are dropped
    assert len(melody.notes) == len(drill.steps)
    early = drill.meter[0] if drill.start < 0 else 0
    for note, step in zip(melody.notes, drill.steps, strict=True):
        if drill.swing == 1.0 and step.articulation is Articulation.PLAIN:
            assert (note.start - early, note.beats) == (step.start, step.beats)
        if step.scoop or step.fall:  # a scoop and a fall are read as glides
            continue
        ends = [
            100.0 * min(harp.midi(tab) for tab in step.sounds[place]) + step.offset_cents(place)
            for place in (0, -1)
        ]
        cents = [
            100.0 * min(pitch.notes) + pitch.offset_cents for pitch in (note.path[0], note.path[-1])
        ]
        assert cents == pytest.approx(ends, abs=25.0)
        if not step.has_path and not step.offsets_cents:
            assert note.path[0].notes == tuple(sorted({harp.midi(tab) for tab in step.first}))


def without_texts(path: Path) -> None:
    """Save a file as a program that keeps no texts would."""
    file = mido.MidiFile(path)
    for track in file.tracks:
        waited, kept = 0, []
        for message in track:
            waited += message.time
            if message.type not in ("text", "lyrics", "marker"):
                kept.append(message.copy(time=waited))
                waited = 0
        track[:] = kept
    file.save(path)


def test_notes_that_another_program_changed_are_read_and_the_others_keep_their_tab(
    tmp_path: Path,
) -> None:
    path = tmp_path / "x.mid"
    write_midi(
        drill_of("-2:1 -3':1 3:2{vibrato} | r:1 -4:3 |"),
        Harp.of("C"),
        path,
    )
    file = mido.MidiFile(path)
    for message in file.tracks[1]:
        if message.type in ("note_on", "note_off") and message.note == 70:  # the bend on 3
            message.note = 72
    file.save(path)
    made = arrange_as_written(read_midi(path))
    assert made is not None
    assert [step.tab for step in made.drill.steps] == ["-2", "4", "3", "-4"]
    assert made.drill.steps[2].vibrato is not None
    assert [step.start for step in made.drill.steps] == [0, 1, 2, 5]


def test_the_neighbour_of_a_chord_written_by_one_hole_sounds_and_reads_back(tmp_path: Path) -> None:
    path = tmp_path / "x.mid"
    write_midi(drill_of("{chord} -2:1 1:1 -1+2:1 {clean} -2:1 |"), Harp.of("C"), path)
    neighbours = [m.note for m in mido.MidiFile(path).tracks[2] if m.type == "note_on"]
    assert neighbours == [62, 64]  # draw 1 below draw 2, blow 2 above blow 1
    melody = read_midi(path)
    assert [note.path[0].notes for note in melody.notes] == [(67,), (60,), (62, 67), (67,)]
    rules = [note.written.cleanness_rule for note in melody.notes if note.written]
    assert rules == ["chord", "chord", "chord", "clean"]


def test_a_note_stops_before_the_next_unless_it_is_legato(
    tmp_path: Path,
) -> None:
    path = tmp_path / "x.mid"
    write_midi(drill_of("-2:1 3:0.5 4:0.5 4:1{legato} 5:1 |"), Harp.of("C"), path)
    ends, now = [], 0
    for message in mido.MidiFile(path).tracks[1]:
        now += message.time
        if message.type == "note_off":
            ends.append(now / 960)
    assert ends == pytest.approx([0.904, 1.404, 1.904, 3.0, 4.0], abs=0.001)
    assert [note.beats for note in read_midi(path).notes] == [1, 0.5, 0.5, 1, 1]


def test_a_file_played_by_hand_is_quantized(tmp_path: Path) -> None:
    file = mido.MidiFile(ticks_per_beat=480)
    drums, track = mido.MidiTrack(), mido.MidiTrack()
    drums += [mido.Message("note_on", channel=9, note=36, time=10)] * 9
    for gap, note, length in ((9, 67, 470), (5, 69, 230), (9, 71, 225), (3, 72, 700)):
        track.append(mido.Message("note_on", note=note, velocity=80, time=gap))
        track.append(mido.Message("note_on", note=note, velocity=0, time=length))
    file.tracks += [drums, track]
    path = tmp_path / "by-hand.mid"
    file.save(path)
    melody = read_midi(path)
    assert [note.path[0].notes for note in melody.notes] == [(67,), (69,), (71,), (72,)]
    assert [note.start for note in melody.notes] == [0, 1, Fraction(3, 2), 2]
    assert melody.tempo == 120.0  # the default of the standard


@given(st.integers(0, 40), st.sampled_from([2, 3, 4, 6, 8]), st.floats(-0.02, 0.02))
def test_a_time_near_a_division_is_quantized_to_it(whole: int, part: int, off: float) -> None:
    exact = Fraction(whole, part)
    quantized = quantize_beat(exact + Fraction(off))
    assert abs(quantized - exact) <= Fraction(1, 20)
    assert quantized.denominator <= part


@pytest.mark.parametrize("data", [b"", b"MThd\x00\x00", b"nothing of the kind"])
def test_other_files_are_not_midi(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "wrong.mid"
    path.write_bytes(data)
    with pytest.raises(ExchangeError, match="is not a readable MIDI file"):
        read_midi(path)
    with pytest.raises(ExchangeError, match="there is no file"):
        read_midi(tmp_path / "none.mid")


def test_missing_and_empty_tracks_are_reported(tmp_path: Path) -> None:
    path = tmp_path / "crane.mid"
    write_midi(drill_of("4:4 |"), Harp.of("C"), path)
    with pytest.raises(ExchangeError, match="has no track 7; it has 2"):
        read_midi(path, 7)
    with pytest.raises(ExchangeError, match=r"track 1 of .* has no notes"):
        read_midi(path, 1)


TECHNIQUES = """
-4<>5:4 | -3<>4:2{shake 5} -2:2{scoop} | -4:2{scoop 1/4 150} -4:1{dip} 5:1{fall} |
^-5 -4:1 4:1{accent} 4:0.5{staccato} 5:0.5{staccato, accent} 6:1{tongued} |
{legato} 4:1 5:1 6:1 {} 5:1{dip 80, tongued} | -4:4{swell} | -4:2{fade} -4':2{swell 9} |
-4:2{vibrato} -4':2{vibrato 6 25} | -2:2{hand vibrato} 4:2{hand vibrato 4 8} |
4:2{wah} 5:2{wah 4} | -4:1{slap} 4:1{slap} -3/-3':1 -2:1{optional} |
{around} -1+2:1 -2+3:1 {} {chord} -2:1 -2:1 |
{call} -4:1{accent} ^4 5:1 {answer} -4:2 | -4'>-4:2{tongued} -3=-3'=-3'':2 | 1+4:4 |
4:0.25 5:0.25 6:0.25 5:0.25 [4 5 6]:1 -4:2{fall 3/2 200} | 4:1. ~:2.5 |
"""
"""Every technique, with and without numbers; some cross a bar line or another technique."""


@pytest.fixture(scope="module")
def techniques() -> Drill:
    return drill_of(TECHNIQUES, "tempo_to = 132")


def test_techniques_come_back_from_midi(techniques: Drill, tmp_path: Path) -> None:
    path = tmp_path / "x.mid"
    write_midi(techniques, Harp.of("C"), path)
    made = arrange_as_written(read_midi(path))
    assert made is not None
    same_music(made.drill, techniques)


def test_techniques_come_back_from_a_valid_score(techniques: Drill, tmp_path: Path) -> None:
    path = tmp_path / "x.musicxml"
    write_musicxml(techniques, Harp.of("C"), path)
    schema().validate(str(path))
    made = arrange_as_written(read_musicxml(path))
    assert made is not None
    same_music(made.drill, techniques)


@dataclass(frozen=True)
class PlayedNote:
    """A note of a MIDI track, in beats."""

    number: int
    velocity: int
    start: float
    end: float


def played_notes(track: mido.MidiTrack) -> list[PlayedNote]:
    notes, started, now = [], {}, 0
    for message in track:
        now += message.time
        if message.type == "note_on":
            started[message.note] = now, message.velocity
        elif message.type == "note_off":
            start, velocity = started.pop(message.note)
            notes.append(PlayedNote(message.note, velocity, start / 960, now / 960))
    assert not started
    return sorted(notes, key=lambda note: note.start)


def bends_of(tab: str, bend_range: int = 2) -> list[float]:
    """Pitch bends of a drill of one note, in half steps."""
    track = drill_to_midi(drill_of(tab), Harp.of("C")).tracks[1]
    controls = [message for message in track if message.type == "control_change"]
    assert bend_range in [message.value for message in controls if message.control == 6]
    return [m.pitch / 8192 * bend_range for m in track if m.type == "pitchwheel"]


def levels_of(tab: str) -> list[float]:
    """Levels of a drill of one note by controller 11, in dB: 40 log10 of the value over 127."""
    track = drill_to_midi(drill_of(tab), Harp.of("C")).tracks[1]
    controls = [message for message in track if message.type == "control_change"]
    return [40 * math.log10(m.value / 127) for m in controls if m.control == 11]


def test_a_shake_is_alternating_notes_at_its_rate() -> None:
    notes = played_notes(drill_to_midi(drill_of("-4<>5:4{shake 5} |"), Harp.of("C")).tracks[1])
    assert len(notes) == 25  # 2.5 s of 5 cycles a second
    assert [note.number for note in notes] == [74, 77] * 12 + [74]
    assert all(a.end == b.start for a, b in pairwise(notes))


def test_scoops_dips_and_falls_are_pitch_bend() -> None:
    scoop = bends_of("4:2{scoop 1 150} r:2 |")
    assert (scoop[0], scoop[-1]) == (pytest.approx(-1.5, abs=0.01), 0.0)
    assert scoop == sorted(scoop)
    fall = bends_of("4:2{fall 1/2 200} r:2 |", 3)
    assert (fall[0], fall[-1]) == (0.0, pytest.approx(-2.0, abs=0.05))
    dip = bends_of("4:2{dip} r:2 |")
    assert len(dip) < 0.2 * 125  # over by a sixth of a beat, of 125 messages


def test_throat_vibrato_of_an_open_reed_only_dips_and_of_a_bend_swings() -> None:
    """An open reed does not rise (common practice)."""
    open_reed, bend = bends_of("-4:4{vibrato 5 20} |"), bends_of("-3':4{vibrato 5 20} |")
    assert (max(open_reed), min(open_reed)) == (0.0, pytest.approx(-0.4, abs=0.01))
    assert max(bend) == pytest.approx(0.2, abs=0.01)
    assert min(bend) == pytest.approx(-0.2, abs=0.01)


def test_swells_and_hands_move_the_level() -> None:
    swell, fade = levels_of("4:4{swell} |"), levels_of("4:4{fade 9} |")
    assert swell[-1] - swell[0] == pytest.approx(6.0, abs=0.3)
    assert fade[-1] - fade[0] == pytest.approx(-9.0, abs=0.3)
    hands = levels_of("4:4{hand vibrato 5 8} |")
    assert max(hands) - min(hands) == pytest.approx(8.0, abs=0.4)
    assert levels_of("4:4 |") == []
    after = levels_of("4:2{fade} 4:2 |")
    assert after[-1] == 0.0  # the next note has its full level
    track = drill_to_midi(drill_of("4:4{wah} |"), Harp.of("C")).tracks[1]
    bright = [m.value for m in track if m.type == "control_change" and m.control == 74]
    assert min(bright) < 20 < 60 < max(bright)


def test_accents_lengths_grace_notes_and_slaps_are_notes() -> None:
    tab = "4:1 4:1{accent} 5:1{staccato} r:1 | -4:1 6:1{tongued} ^-5 -4:1 -4:1{slap} |"
    notes = played_notes(drill_to_midi(drill_of(tab), Harp.of("C")).tracks[1])
    plain, accent, staccato, before, tongued, grace, main, *slap = notes
    assert 40 * math.log10(accent.velocity / plain.velocity) > 3.0
    assert staccato.end - staccato.start < 0.5
    assert before.end < tongued.start
    assert grace.number == 77
    assert (tongued.end, grace.end) == (grace.start, main.start)
    assert (main.start - grace.start) / 96 * 60 == pytest.approx(0.08, abs=0.001)
    assert sorted(note.number for note in slap) == [67, 71, 74]  # draw 2 and 3 below 4
    short = [note.end - note.start for note in slap if note.number != 74]
    assert [length / 96 * 60 for length in short] == pytest.approx([0.05, 0.05], abs=0.001)


def test_the_upper_note_of_an_octave_is_three_cents_sharp() -> None:
    bends = bends_of("1+4:4 |")
    assert sorted(bends) == pytest.approx([0.0, 0.03], abs=0.001)


def test_a_change_of_tempo_is_in_both_formats(tmp_path: Path) -> None:
    drill = drill_of("4:4 | 4:4 | 4:4 | 4:4 |", "tempo_to = 128")
    track = drill_to_midi(drill, Harp.of("C")).tracks[0]
    tempos = [60e6 / message.tempo for message in track if message.type == "set_tempo"]
    assert (tempos[0], tempos[-1]) == (pytest.approx(96), pytest.approx(127, abs=0.1))
    seconds = drill_to_midi(drill, Harp.of("C")).length
    clock = drill.clock(1000)
    assert seconds == pytest.approx((clock.sample(drill.end) - clock.sample(0)) / 1000, abs=0.01)
    assert tempos == sorted(tempos)
    text = drill_to_musicxml(drill, Harp.of("C"))
    assert re.findall(r'tempo="([^"]*)"', text) == ["96", "104", "112", "120"]


# --- MusicXML -------------------------------------------------------------------------------


@each_drill(SHELF)
def test_each_drill_is_a_valid_score_and_comes_back(drill: Drill, tmp_path: Path) -> None:
    harp, path = harp_of(drill), tmp_path / "x.musicxml"
    write_musicxml(drill, harp, path)
    schema().validate(str(path))
    melody = read_musicxml(path)
    assert melody.position == drill_position(drill, harp)
    assert melody.tempo == pytest.approx(drill.tempo, abs=0.01)
    made = arrange_as_written(melody)
    assert made is not None
    same_music(made.drill, drill)


@each_drill(SHELF)
def test_a_score_has_the_notes_without_its_lyrics(drill: Drill, tmp_path: Path) -> None:
    """What another program reads of an exported drill: pitches and times."""
    harp, path = harp_of(drill), tmp_path / "x.musicxml"
    text = drill_to_musicxml(drill, harp)
    path.write_text(re.sub(r"(?s)<miscellaneous>.*?</miscellaneous>|<lyric>.*?</lyric>", "", text))
    melody = read_musicxml(path)
    assert melody.harp is None
    assert (melody.meter, melody.start) == (drill.meter, drill.start)
    wanted = []
    for step in drill.steps:
        if step.shake or step.grace:
            return
        pitches = [
            tuple(sorted({harp.midi(tab) for tab in (*sound, *step.implied_neighbour(sound))}))
            for sound in step.sounds
        ]
        if step.ladder:  # read as its notes
            share = step.beats / len(pitches)
            wanted += [(step.start + i * share, share, (pitch,)) for i, pitch in enumerate(pitches)]
        else:
            wanted.append((step.start, step.beats, tuple(pitches)))
    notes = [(n.start, n.beats, tuple(pitch.notes for pitch in n.path)) for n in melody.notes]
    assert [times[:2] for times in notes] == [times[:2] for times in wanted]
    if not any(step.offsets_cents for step in drill.steps):  # 60 cents up may be read as 40 down
        assert notes == wanted


def test_a_score_agrees_with_the_tab() -> None:
    text = drill_to_musicxml(drill_of("-4':3 4+5:1 | 6o:2 -2''>-2:2 |", "swing = 2"), Harp.of("C"))
    assert "<text>-4'</text>" in text
    assert "<bend-alter>-1</bend-alter>" in text
    assert "<other-technical>overblow</other-technical>" in text
    assert text.count("<chord />") == 1
    assert '<slide type="start" number="1" />' in text
    assert text.index("<first>2</first>") < text.index("<second>1</second>")


SCORE = """<?xml version="1.0"?>
<score-partwise version="3.1"><part-list><score-part id="P1"><part-name>M</part-name></score-part>
</part-list><part id="P1">{}</part></score-partwise>"""
ATTRIBUTES = (
    "<attributes><divisions>2</divisions><key><fifths>1</fifths></key>"
    "<time><beats>2</beats><beat-type>4</beat-type></time></attributes>"
)


def note(step: str, duration: int, more: str = "", octave: int = 4) -> str:
    return (
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>"
        f"<duration>{duration}</duration>{more}</note>"
    )


def bar(number: int, inside: str) -> str:
    return f'<measure number="{number}">{inside}</measure>'


def played(tmp_path: Path, measures: str) -> Melody:
    path = tmp_path / "score.musicxml"
    path.write_text(SCORE.format(measures))
    return read_musicxml(path)


def letters(melody: Melody) -> str:
    return "".join("C D EF G A B"[note.path[0].notes[0] % 12] for note in melody.notes)


REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'
FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'


def ending(number: str, *, back: bool) -> tuple[str, str]:
    end = '<repeat direction="backward"/>' if back else ""
    return (
        f'<barline location="left"><ending number="{number}" type="start"/></barline>',
        f'<barline location="right"><ending number="{number}" type="stop"/>{end}</barline>',
    )


def test_repeats_and_endings_are_played_out(tmp_path: Path) -> None:
    first, second = ending("1", back=True), ending("2", back=False)
    measures = (
        bar(1, ATTRIBUTES + note("C", 4))
        + bar(2, FORWARD + note("D", 4))
        + bar(3, first[0] + note("E", 4) + first[1])
        + bar(4, second[0] + note("F", 4) + second[1])
        + bar(5, FORWARD + note("G", 4) + REPEAT)
        + bar(6, note("A", 4))
    )
    melody = played(tmp_path, measures)
    assert letters(melody) == "CDEDFGGA"
    assert [note.start for note in melody.notes] == [2 * i for i in range(8)]
    assert melody.tonic == 7


@pytest.mark.parametrize("times", ["1, 2, 3", "1,2,3", "1-3"])
def test_an_ending_for_a_list_of_times(tmp_path: Path, times: str) -> None:
    often, last = ending(times, back=True), ending("4", back=False)
    measures = (
        bar(1, ATTRIBUTES + FORWARD + note("C", 4))
        + bar(2, often[0] + note("D", 4) + often[1])
        + bar(3, last[0] + note("E", 4) + last[1])
    )
    assert letters(played(tmp_path, measures)) == "CDCDCDCE"


def test_marks_of_other_programs_become_directions(tmp_path: Path) -> None:
    def marked(*marks: str) -> str:
        inside = "".join(f"<{mark}/>" for mark in marks)
        return f"<notations><articulations>{inside}</articulations></notations>"

    measures = bar(
        1, ATTRIBUTES + note("C", 2, marked("accent", "staccato"), 5) + note("D", 2, octave=5)
    ) + bar(2, note("E", 2, marked("scoop"), 5) + note("F", 2, marked("falloff"), 5))
    melody = played(tmp_path, measures)
    made = arrange_on_harp(melody, Harp.of("C")).drill
    assert [step_text(step) for step in made.steps] == [
        "4:1{staccato, accent}",
        "-4:1",
        "5:1{scoop}",
        "-5:1{fall}",
    ]


def test_a_score_agrees_with_the_techniques(techniques: Drill) -> None:
    text = drill_to_musicxml(techniques, Harp.of("C"))
    for element in (
        '<tremolo type="start">3</tremolo>',
        "<scoop />",
        "<falloff />",
        "<accent />",
        "<staccato />",
        "<detached-legato />",
        '<grace slash="yes"',
        '<wedge type="crescendo" />',
        '<wedge type="diminuendo" />',
        '<wavy-line type="start"',
        '<notehead parentheses="yes">',
        "<other-technical>slap</other-technical>",
        "<words>hand vibrato 4 8</words>",
        "<words>legato</words>",
        '<slur type="start" number="2" />',
        '<type size="cue">',
    ):
        assert element in text, element


def test_a_score_without_the_field_of_the_harp_keeps_its_tab(tmp_path: Path) -> None:
    """Programs that drop miscellaneous fields keep the name of the part."""
    drill = find_drill("ferry-home")
    path = tmp_path / "x.musicxml"
    text = drill_to_musicxml(drill, harp_of(drill))
    path.write_text(re.sub(r"(?s)<miscellaneous>.*?</miscellaneous>", "", text))
    made = arrange_as_written(read_musicxml(path))
    assert made is not None
    same_music(made.drill, drill)


def test_notes_of_a_score_that_were_changed_are_read_and_the_others_keep_their_tab(
    tmp_path: Path,
) -> None:
    path = tmp_path / "x.musicxml"
    text = drill_to_musicxml(drill_of("-2:1 -3':1 3:2{vibrato} | r:1 -4:3 |"), Harp.of("C"))
    bend = re.search(r"(?s)<note>\s*<pitch>\s*<step>B</step>.*?</pitch>", text)
    assert bend is not None
    c5 = "<note><pitch><step>C</step><octave>5</octave></pitch>"
    path.write_text(text.replace(bend[0], c5))
    made = arrange_as_written(read_musicxml(path))
    assert made is not None
    assert [step.tab for step in made.drill.steps] == ["-2", "4", "3", "-4"]
    assert made.drill.steps[2].vibrato is not None


def test_three_endings_and_a_repeat_without_a_beginning(tmp_path: Path) -> None:
    twice, last = ending("1, 2", back=True), ending("3", back=False)
    measures = (
        bar(1, ATTRIBUTES + note("C", 4))
        + bar(2, twice[0] + note("D", 4) + twice[1])
        + bar(3, last[0] + note("E", 4) + last[1])
        + bar(4, note("F", 4))
    )
    assert letters(played(tmp_path, measures)) == "CDCDCEF"


def chord(letter: str, kind: str, more: str = "") -> str:
    root = f"<root><root-step>{letter}</root-step></root>"
    return f"<harmony>{root}<kind>{kind}</kind>{more}</harmony>"


def test_chord_symbols_of_a_score_become_a_ground(tmp_path: Path) -> None:
    offset = "<offset>2</offset>"  # the second of two beats
    measures = (
        bar(1, ATTRIBUTES + chord("G", "dominant") + note("G", 4)),
        bar(2, note("D", 4)),
        bar(3, chord("C", "minor") + note("C", 2) + chord("D", "suspended-fourth") + note("D", 2)),
        bar(4, chord("G", "major") + chord("G", "none") + chord("D", "augmented", offset))
        .replace("</measure>", note("G", 4) + "</measure>"),
    )  # fmt: skip
    melody = played(tmp_path, "".join(measures))
    assert melody.ground is not None
    bars = [" ".join(chord.in_key for chord in chords) for chords in melody.ground.bars]
    assert bars == ["I7", "I7", "iv V5", "I V"]
    assert melody.notices == ("2 chord symbols became simpler chords: augmented, suspended-fourth",)
    for harp, half_steps, position in (("C", 0, 2), ("G", 0, 1), ("C", -7, 1)):
        drill = arrange_on_harp(melody, Harp.of(harp), half_steps).drill
        assert (drill.position, drill.ground) == (position, melody.ground)


SOLO = """title = "T"
harp = "C"
tempo = 90
position = 2
tab = '''
-2:4 | solo:4 | solo:3 r:1 | -2:4 | solo:4 | -2:4 |
'''
[ground]
play = "drone"
chords = '''
I7 | IV7 |
'''
[solo]
scale = "blues"
phrase = 1
"""


def test_the_words_over_calls_end_at_a_solo() -> None:
    tab = "{call} -2:2 -3:2 | {answer} solo:4 | {call} 4:2 5:2 | {answer} solo:4 | -2:4 |"
    calls = re.sub(r"(?m)^-2:4 \\| solo.*$", tab, SOLO)
    text = drill_to_musicxml(parse_drill(calls, "t"), Harp.of("C"))
    assert text.count("<words>call</words>") == 2
    assert text.count('<dashes type="start" />') == text.count('<dashes type="stop" />') == 2


def test_a_solo_whose_bars_were_filled_by_another_program_is_none(tmp_path: Path) -> None:
    drill, path = parse_drill(SOLO, "t"), tmp_path / "x.musicxml"
    text = drill_to_musicxml(drill, Harp.of("C"))
    before, rest, after = text.partition('<rest measure="yes" />')
    pitch = "<pitch><step>G</step><octave>4</octave></pitch>"
    path.write_text(before + pitch + after)
    assert rest
    melody = read_musicxml(path)
    assert [solo.start for solo in melody.solos] == [16]
    path.write_text(text.replace("<rehearsal>solo</rehearsal>", "<rehearsal>A</rehearsal>", 1))
    melody = read_musicxml(path)  # a mark without its length lasts to the next note
    assert [(solo.start, solo.beats) for solo in melody.solos] == [(16, 4)]
    path.write_text(text.replace("<root-step>C", "<root-step>D"))
    melody = read_musicxml(path)
    assert melody.ground is not None
    assert [bar[0].in_key for bar in melody.ground.bars] == ["I7", "V7"]
    assert melody.ground.style == "drone"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("drone I7", "zither I7"),
        ("drone I7", "drone I99"),
        ('"blues"', '"no"'),
        ('"phrase_bars": 1', '"phrase_bars": "x"'),
        ('"phrase_bars": 1', '"bars": 1'),
        ("8 4", "0 x"),
    ],
)
def test_damaged_fields_of_a_score_cost_the_tab_only(tmp_path: Path, old: str, new: str) -> None:
    path = tmp_path / "x.musicxml"
    text = drill_to_musicxml(parse_drill(SOLO.replace("solo:3 r:1", "solo:4"), "t"), Harp.of("C"))
    text = text.replace("&quot;", '"')
    assert old in text
    path.write_text(text.replace(old, new))
    melody = read_musicxml(path)
    assert (melody.harp, melody.solos) == (None, ())
    assert len(melody.notes) == 3


def test_ties_chords_voices_rests_and_grace_notes(tmp_path: Path) -> None:
    tie = '<tie type="start"/>', '<tie type="stop"/>'
    grace = "<note><grace/><pitch><step>B</step><octave>4</octave></pitch></note>"
    chord = note("E", 2).replace("<note>", "<note><chord/>")
    rest = "<note><rest/><duration>2</duration></note>"
    second = "<backup><duration>4</duration></backup>" + note("F", 4, "<voice>2</voice>", 3)
    first_bar = ATTRIBUTES + grace + note("C", 2) + chord + note("D", 2, tie[0])
    measures = bar(1, first_bar) + bar(2, note("D", 2, tie[1]) + rest + second)
    melody = played(tmp_path, measures)
    assert [(n.start, n.beats, n.path[0].notes) for n in melody.notes] == [
        (0, 1, (60, 64)),
        (1, 2, (62,)),
    ]
    assert any("1 grace notes" in notice for notice in melody.notices)
    assert any("1 notes of other voices" in notice for notice in melody.notices)


def test_the_tutorials_first_score_is_read() -> None:
    """The whole C of the MusicXML tutorial's "Hello World", as the package musicxml carries it."""
    score = files("musicxml") / "parser" / "test_hello_world.xml"
    melody = read_musicxml(Path(str(score)))
    assert [(n.start, n.beats, n.path) for n in melody.notes] == [(0, 4, (TargetPitch((60,)),))]


def test_compressed_scores_and_files_that_are_no_score(tmp_path: Path) -> None:
    path = tmp_path / "score.mxl"
    container = '<container><rootfiles><rootfile full-path="a/b.xml"/></rootfiles></container>'
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("META-INF/container.xml", container)
        archive.writestr("a/b.xml", SCORE.format(bar(1, ATTRIBUTES + note("C", 4))))
    assert letters(read_musicxml(path)) == "C"
    for text, complaint in (
        ("no xml", "is not a readable MusicXML file"),
        ("<score-timewise/>", "is timewise"),
        ("<html/>", "is not a MusicXML score"),
        (SCORE.format(bar(1, ATTRIBUTES)), "has no notes to play"),
        (SCORE.format(bar(1, note("H", 4))), "has an unreadable measure"),
    ):
        path.write_text(text)
        with pytest.raises(ExchangeError, match=complaint):
            read_musicxml(path)
    path.write_text(SCORE.format(bar(1, ATTRIBUTES + note("C", 4))))
    with pytest.raises(ExchangeError, match="has no part 3; it has 1"):
        read_musicxml(path, 3)


# --- arrangement ----------------------------------------------------------------------------


def melody_of(*midi: int, tonic: int | None = None) -> Melody:
    notes = tuple(
        MelodyNote(Fraction(i), Fraction(1), (TargetPitch((n,)),)) for i, n in enumerate(midi)
    )
    return Melody("m", "M", notes, tonic=tonic)


@pytest.mark.parametrize("up", range(-5, 7))
def test_a_major_scale_is_easiest_on_the_harp_of_its_key(up: int) -> None:
    """First position has the major scale from hole 4 without a bend: common practice."""
    scale = [72 + up + step for step in (0, 2, 4, 5, 7, 9, 11, 12)]
    best = arrange_on_harps(melody_of(*scale), standard_harps("richter"), (0,))[0]
    assert [step.tab for step in best.drill.steps] == ["4", "-4", "5", "-5", "6", "-6", "-7", "7"]
    assert best.missing == 0


def test_unplayable_notes_are_left_out_and_reported_with_positions() -> None:
    best = arrange_on_harp(melody_of(60, 61, 62, 40, 64), Harp.of("C"))
    assert best.missing == 1
    assert best.problems[0].message == "bar 1, beat 4: E2: the C harp has no E2"
    assert [step.start for step in best.drill.steps] == [0, 1, 2, 4]


def test_a_position_moves_the_key_there() -> None:
    moves = half_steps_to_position(melody_of(60, 64, 67, tonic=0), Harp.of("C"), 2)
    assert {move % 12 for move in moves} == {7}  # G, a fifth up: second position of a C harp


# --- the commands ---------------------------------------------------------------------------


def test_export_and_import_by_the_commands(trainer: Trainer, tmp_path: Path) -> None:
    for kind in ("html", "txt", "mid", "musicxml"):
        out = tmp_path / f"ferry.{kind}"
        answer = trainer("drill", "export", "ferry-home", str(out))
        assert (answer.code, answer.err) == (0, f"Wrote {out}.\n")
        again = trainer("drill", "export", "ferry-home", str(out))
        assert again.code == ExitCode.BAD_INPUT
        assert "exists already" in again.err
    drill = find_drill("ferry-home")
    harp = harp_of(drill)
    for kind in ("mid", "musicxml"):
        file, out = tmp_path / f"ferry.{kind}", tmp_path / f"from-{kind}.toml"
        answer = trainer("drill", "import", str(file), "--harp", drill.key, "--out", str(out))
        assert answer.code == 0, answer.err
        assert f"{drill.key} harp, at the same pitch:" in answer.out
        made = read_drill(out)
        assert [(s.start, s.beats) for s in made.steps] == [(s.start, s.beats) for s in drill.steps]
        heard = [[harp.midi(tab) for tab in step.first] for step in made.steps]
        assert heard == [[harp.midi(tab) for tab in step.first] for step in drill.steps]
        assert trainer("drill", "check", str(out)).code == 0


@pytest.mark.parametrize("kind", ["mid", "musicxml"])
@pytest.mark.parametrize("name", ["ferry-home", "smokehouse-blues", "night-boat", "wide-splits"])
def test_a_drill_comes_back_by_the_commands(
    trainer: Trainer, tmp_path: Path, name: str, kind: str
) -> None:
    drill = find_drill(name)
    file, out = tmp_path / f"x.{kind}", tmp_path / "back.toml"
    trainer("drill", "export", name, str(file))
    position = str(drill_position(drill, harp_of(drill)))
    for words in ((), ("--harp", drill.key), ("--harp", drill.key, "--position", position)):
        answer = trainer("drill", "import", str(file), "--out", str(out), "--force", *words)
        assert answer.code == 0, answer.err
        assert f"{harp_of(drill).name} harp, at the same pitch:" in answer.out
        same_music(read_drill(out), drill)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ("export ferry-home x.pdf", "'x.pdf' has no known format; end it in"),
        ("export ferry-home no/x.mid", "no/x.mid cannot be written"),
        ("import x.pdf", "x.pdf has an unknown format; use one of .mid"),
        ("import none.mid", "there is no file none.mid"),
        ("import none.musicxml", "there is no file none.musicxml"),
        ("import none.mid --out x.mid", "'x.mid' is not a name for a drill file"),
        ("import x.mid --position 2 --half-steps 1", "exclude each other"),
    ],
)
def test_wrong_words_are_reported(
    trainer: Trainer,
    words: str,
    complaint: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    write_midi(drill_of("4:4 |"), Harp.of("C"), tmp_path / "x.mid")
    answer = trainer("drill", *words.split())
    assert answer.code == ExitCode.BAD_INPUT
    assert complaint in answer.err


def test_missing_notes_of_a_tune_become_rests_and_are_reported(
    trainer: Trainer,
    tmp_path: Path,
) -> None:
    score, out = tmp_path / "low.musicxml", tmp_path / "low.toml"
    score.write_text(SCORE.format(bar(1, ATTRIBUTES + note("C", 2) + note("D", 2, octave=1))))
    words = ("--harp", "C", "--half-steps", "0", "--out", str(out))
    answer = trainer("drill", "import", str(score), *words)
    assert answer.code == ExitCode.FAILED
    assert "bar 1, beat 2: D1: the C harp has no D1" in answer.out
    made = read_drill(out)
    assert [step.tab for step in made.steps] == ["1"]
    assert "bar 1, beat 2" in made.about
