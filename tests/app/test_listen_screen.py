"""The listen screen: figures of the last notes, and the reference tone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from textual.pilot import Pilot

from devtools import scripted
from tests.support.pilots import LARGE, SMALL, Puppet, painted, press, run, text, until
from tests.support.pulse import Pulse
from tests.support.waiting import in_real_time
from trainer.app.screens.listen import ListenScreen
from trainer.app.widgets.reference_tone import HEADPHONE_CAUTION, ReferenceToneState, tone_row
from trainer.drill import find_drill
from trainer.ear import Ear, HeardNote, analyze_blocks, track_notes
from trainer.harp import Harp, Tab
from trainer.practice import NoteEnded, PassStarted, Plan, PlayTone, TakeFinished
from trainer.practice import run_take as play
from trainer.sound import (
    REFERENCE_LEAD_S,
    Block,
    BuiltInPlayer,
    Fault,
    MicrophoneSpec,
    PlayerSpec,
    round_to_24_bits,
)
from trainer.sound.tone import ToneGenerator

HARP = Harp.of("C")
PLAN = Plan(HARP, MicrophoneSpec(), drill=scripted.DRILL)
STARTED = PassStarted(None, 0, 0, "the microphone", False)


def heard() -> list[HeardNote]:
    """The notes of a drill that was played with a leak and a flat bend."""
    drill = find_drill("harbour-bell")
    faults = {1: Fault(leak_db=-12.0), 4: Fault(cents=-18.0)}
    player = BuiltInPlayer(drill, HARP, spec=PlayerSpec(faults=faults))
    return list(track_notes(analyze_blocks(player.blocks(), player.rate, HARP), HARP))


NOTES = heard()


async def listening(pilot: Pilot[None], puppet: Puppet, *played: HeardNote) -> str:
    await pilot.press("i")
    await until(pilot, lambda: isinstance(pilot.app.screen, ListenScreen))
    puppet.queue.append(STARTED)
    puppet.queue += [NoteEnded(note) for note in played]
    await painted(pilot, puppet)
    return text(pilot)


@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_figures_of_the_last_notes_stay(size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        assert "figures appear here" in await listening(pilot, puppet)
        puppet.queue.append(NoteEnded(NOTES[1]))
        await until(pilot, lambda: "hole 4 too, 12 dB down" in text(pilot))
        assert "steady (wobble" in text(pilot)
        puppet.queue.append(NoteEnded(NOTES[4]))
        await until(pilot, lambda: "▼ 18 flat" in text(pilot))
        assert ("hole 4 too" in text(pilot)) == (size == LARGE)

    run(test, PLAN, size=size)


def test_tone_starts_on_the_last_note_and_follows_the_keys() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await listening(pilot, puppet, NOTES[0])
        assert "d plays 4  C5  523.3 Hz" in shown
        shown = await press(pilot, "d")
        assert "♪ 4  C5" in shown
        assert HEADPHONE_CAUTION in shown
        await press(pilot, "up")
        await press(pilot, "o")
        await press(pilot, "down")
        await press(pilot, "d")
        hz = [HARP.hz(Tab.parse(tab)) for tab in ("4", "-4'", "-4'", "4")]
        wanted = [hz[0], hz[1], hz[2] / 2, hz[3] / 2]
        tones = [command for command in puppet.asked if isinstance(command, PlayTone)]
        assert tones == [*(PlayTone((hz,)) for hz in wanted), PlayTone()]

    run(test, PLAN, size=LARGE)


def test_tone_needs_an_open_microphone() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await listening(pilot, puppet)
        await press(pilot, "space")
        puppet.queue.append(TakeFinished())
        shown = await press(pilot, "d")
        assert "press space first: the tone needs an open microphone" in shown
        assert not puppet.asked

    run(test, PLAN, size=LARGE)


def test_tone_moves_through_all_notes_of_the_harp() -> None:
    state = ReferenceToneState(HARP, Tab.parse("1"))
    assert state.moved(-1) == Tab.parse("1")
    top = ReferenceToneState(HARP, max(HARP.entries, key=HARP.hz))
    assert top.moved(1) == top.tab
    walked = [state.tab]
    while (after := replace(state, tab=walked[-1]).moved(1)) != walked[-1]:
        walked.append(after)
    assert {HARP.midi(tab) for tab in walked if tab} == {HARP.midi(tab) for tab in HARP.entries}


@pytest.mark.parametrize("sounds", [False, True])
def test_caution_fits_80_columns(sounds: bool) -> None:
    for harp in (HARP, Harp.of("Db")):
        for tab in harp.entries:
            for octave in (0, 1):
                shown = tone_row(ReferenceToneState(harp, tab, octave, sounds), 80)
                assert "".join(part for part, _ in shown).rstrip().endswith(HEADPHONE_CAUTION), (
                    tab,
                    octave,
                )


def test_drone_has_its_pitch_and_no_click() -> None:
    drone, rate = ToneGenerator(48_000), 48_000
    stretches = []
    for at in range(60):
        if at in (5, 20, 40):
            drone.set_pitches({5: (311.13,), 20: (440.0,), 40: ()}[at])
        out = np.zeros(1000, dtype=np.float32)
        drone.mix_into(out)
        stretches.append(out)
    sound = np.concatenate(stretches)
    assert not sound[:5000].any()
    assert not sound[43_000:].any()
    held = sound[24_000:39_000] * np.hanning(15_000)
    peak = np.argmax(np.abs(np.fft.rfft(held, 1 << 19)))
    assert peak * rate / (1 << 19) == pytest.approx(440.0, abs=0.2)
    assert np.sqrt(np.mean(sound[24_000:39_000] ** 2)) == pytest.approx(0.1, rel=0.02)
    # A wave of these partials changes by no more than this from sample to sample.
    steepest = 2 * np.pi * 440.0 / rate * np.abs(sound).max() * 2.5
    assert np.abs(np.diff(sound)).max() < steepest


def test_a_chord_has_all_its_pitches_at_one_level() -> None:
    chord, rate, wanted = ToneGenerator(48_000), 48_000, (392.0, 523.25, 659.26)
    chord.set_pitches(wanted)
    out = np.zeros(24_000, dtype=np.float32)
    chord.mix_into(out)
    held = out[4_000:]
    spectrum = np.abs(np.fft.rfft(held * np.hanning(len(held)), 1 << 19))
    hz = np.arange(len(spectrum)) * rate / (1 << 19)
    for pitch in wanted:
        near = np.flatnonzero(np.abs(hz - pitch) < 20.0)
        assert hz[near[np.argmax(spectrum[near])]] == pytest.approx(pitch, abs=0.3)
    assert np.sqrt(np.mean(held**2)) == pytest.approx(0.1, rel=0.03)


def test_notes_are_reported_only_without_a_drill() -> None:
    drill = find_drill("harbour-bell")
    events = list(play(Plan(HARP, PlayerSpec(), drill=drill)))
    assert not [event for event in events if isinstance(event, NoteEnded)]


TONE = """
import json, sys
from pathlib import Path
from trainer.harp import Harp
from trainer.practice import Plan, PlayTone, ReadingHeard, run_take
from trainer.sound import MicrophoneSpec

wishes = [(1.0, PlayTone((523.25,))), (4.5, PlayTone())]
heard_s, events = 0.0, 0

def asked():
    if wishes and heard_s > wishes[0][0]:
        return wishes.pop(0)[1]

plan = Plan(Harp.of("C"), MicrophoneSpec(), save=Path(sys.argv[1]))
for event in run_take(plan, lambda: heard_s > 5.5, asked):
    events += 1
    if isinstance(event, ReadingHeard):  # seconds of sound: a busy machine is late, not short
        heard_s = event.reading.heard / event.reading.rate
print(json.dumps(events))
"""


def pitch_of(sound: np.ndarray, rate: int) -> float:
    """Return the frequency in hertz of the strongest partial, measured from 1 to 2 s."""
    first = np.flatnonzero(np.abs(sound) > 0.05)[0]
    middle = sound[first + rate : first + 2 * rate] * np.hanning(rate)
    return float(np.argmax(np.abs(np.fft.rfft(middle, 8 * rate)))) / 8


@pytest.mark.needs_pulse
@in_real_time
def test_tone_sounds_and_reaches_the_canceller(
    pulse: Pulse,
    tmp_path: Path,
) -> None:
    flac = tmp_path / "take.flac"
    flac.unlink(missing_ok=True)  # of an attempt before
    with pulse.hiss():
        assert pulse.run(TONE, str(flac)) > 200
    both, rate = sf.read(flac)
    for sound in both.T:  # as the microphone heard it, and as the trainer played it
        loud = np.flatnonzero(np.abs(sound) > 0.05)
        assert 3.0 < (loud[-1] - loud[0]) / rate < 4.5
        # A busy machine may drop a moment of it: within 2 cents, not 1.
        assert pitch_of(sound, rate) == pytest.approx(523.25, abs=0.6)


@pytest.mark.parametrize("late_ms", [0.0, 5.0, 20.0])
def test_echo_of_the_tone_is_not_taken_for_a_note(late_ms: float) -> None:
    # As from a loudspeaker beside the microphone, in a quiet room: as loud as it was played.
    rate, rng = 48_000, np.random.default_rng(3)
    own = np.zeros(4 * rate, dtype=np.float32)
    drone = ToneGenerator(rate)
    drone.set_pitches((523.25,))
    drone.mix_into(own[rate:])
    late = round((REFERENCE_LEAD_S + late_ms / 1000.0) * rate)
    heard = np.concatenate([np.zeros(late, np.float32), own])[: len(own)]
    room = heard + 1e-3 * rng.standard_normal(len(own)).astype(np.float32)
    assert pitch_of(room, rate) == pytest.approx(523.25, abs=0.3)
    ear, readings = Ear(rate, HARP), []
    for start in range(0, len(own), 256):
        part = slice(start, start + 256)
        readings += ear.analyze(
            Block(start, round_to_24_bits(room[part]), rate, round_to_24_bits(own[part]))
        )
    later = [reading for reading in readings if reading.time > 2.0]
    taken = [r for r in later if r.hz and abs(r.hz - 523.25) < 15 and r.level_db > -60]
    assert len(later) > 300
    assert len(taken) < 0.08 * len(later)  # measured: 0.053 at worst
