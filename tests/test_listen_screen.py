"""Listening without a drill: the last notes' figures stay, and a tone sounds where it is asked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from pilots import LARGE, SMALL, Puppet, press, run, text, until
from pulse import Pulse, pulse  # noqa: F401 - a fixture
from textual.pilot import Pilot

from trainer.app import alone
from trainer.app.screens.listen import ListenScreen
from trainer.app.widgets.target import CAUTION, TargetState, row
from trainer.drill import find
from trainer.ear import HeardNote, listen, notes
from trainer.harp import Harp, Tab
from trainer.practice import Finished, Noted, Plan, Started, Tone
from trainer.practice import run as play
from trainer.sound import Fault, MicrophoneSpec, PlayerSpec
from trainer.sound.player import Player
from trainer.sound.tone import Drone

HARP = Harp.of("C")
PLAN = Plan(HARP, MicrophoneSpec(), drill=alone.DRILL)
STARTED = Started(None, 0, 0, "the microphone", False)


def heard() -> list[HeardNote]:
    """The notes of a drill that was played with a leak and a flat bend."""
    drill = find("harbour-bell")
    faults = {1: Fault(leak_db=-12.0), 4: Fault(cents=-18.0)}
    player = Player(drill, HARP, spec=PlayerSpec(faults=faults))
    return list(notes(listen(player.blocks(), player.rate, HARP), HARP))


NOTES = heard()


async def listening(pilot: Pilot[None], puppet: Puppet, *played: HeardNote) -> str:
    await pilot.press("i")
    await until(pilot, lambda: isinstance(pilot.app.screen, ListenScreen))
    puppet.queue.append(STARTED)
    puppet.queue += [Noted(note) for note in played]
    await until(pilot, lambda: not puppet.queue)
    await pilot.pause(0.05)
    return text(pilot)


@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_the_last_notes_figures_stay(size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        assert "once it is over" in await listening(pilot, puppet)
        puppet.queue.append(Noted(NOTES[1]))
        await until(pilot, lambda: "hole 3 too, 12 dB down" in text(pilot))
        assert "steady (wobble" in text(pilot)
        puppet.queue.append(Noted(NOTES[4]))
        await until(pilot, lambda: "▼ 18 flat" in text(pilot))
        assert ("hole 3 too" in text(pilot)) == (size == LARGE)

    run(test, PLAN, size=size)


def test_a_tone_sounds_the_last_note_and_follows_the_keys() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await listening(pilot, puppet, NOTES[0])
        assert "d sounds 5  E5  659.3 Hz" in shown
        shown = await press(pilot, "d")
        assert "♪ 5  E5" in shown
        assert CAUTION in shown
        await press(pilot, "up")
        await press(pilot, "o")
        await press(pilot, "down")
        await press(pilot, "d")
        hz = [HARP.hz(Tab.parse(tab)) for tab in ("5", "-5", "-5", "5")]
        wanted = [hz[0], hz[1], hz[2] / 2, hz[3] / 2]
        tones = [one for one in puppet.asked if isinstance(one, Tone)]
        assert tones == [*map(Tone, wanted), Tone(None)]

    run(test, PLAN, size=LARGE)


def test_a_tone_needs_a_take_that_listens() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await listening(pilot, puppet)
        await press(pilot, "space")
        puppet.queue.append(Finished())
        shown = await press(pilot, "d")
        assert "the tone sounds while it listens" in shown
        assert not puppet.asked

    run(test, PLAN, size=LARGE)


def test_the_tone_walks_over_all_notes_of_the_harp_and_stays_on_it() -> None:
    state = TargetState(HARP, Tab.parse("1"))
    assert state.moved(-1) == Tab.parse("1")
    top = TargetState(HARP, max(HARP.entries, key=HARP.hz))
    assert top.moved(1) == top.tab
    walked = [state.tab]
    while (after := replace(state, tab=walked[-1]).moved(1)) != walked[-1]:
        walked.append(after)
    assert {HARP.midi(tab) for tab in walked if tab} == {HARP.midi(tab) for tab in HARP.entries}


@pytest.mark.parametrize("sounds", [False, True])
def test_the_caution_is_whole_at_80_columns(sounds: bool) -> None:
    for harp in (HARP, Harp.of("Db")):
        for tab in harp.entries:
            for octave in (0, 1):
                shown = row(TargetState(harp, tab, octave, sounds), 80)
                assert "".join(part for part, _ in shown).rstrip().endswith(CAUTION), (tab, octave)


def test_a_drone_is_at_its_pitch_and_joins_without_a_click() -> None:
    drone, rate = Drone(48_000), 48_000
    stretches = []
    for at in range(60):
        if at in (5, 20, 40):
            drone.turn_to({5: 311.13, 20: 440.0, 40: None}[at])
        out = np.zeros(1000, dtype=np.float32)
        drone.add_to(out)
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


def test_notes_are_told_only_where_no_drill_is_played() -> None:
    drill = find("harbour-bell")
    events = list(play(Plan(HARP, PlayerSpec(), drill=drill)))
    assert not [event for event in events if isinstance(event, Noted)]


TONE = """
import json, sys, time
from pathlib import Path
from trainer.harp import Harp
from trainer.practice import Heard, Plan, Tone, run
from trainer.sound import MicrophoneSpec

told, heard = [], []
wishes = [(1.0, Tone(523.25)), (3.5, Tone(None)), (1.0, None)]
since = []

def asked():
    # From the first block on, whenever that comes.
    since.append(time.monotonic())
    if len(wishes) > 1 and since[-1] > since[0] + wishes[0][0]:
        told.append(wishes.pop(0)[1])
        since[:] = since[-1:]
        return told[-1]

def over():
    return len(wishes) == 1 and bool(since) and since[-1] > since[0] + 1.0

plan = Plan(Harp.of("C"), MicrophoneSpec(), save=Path(sys.argv[1]))
for event in run(plan, over, asked):
    # What the canceller takes to learn a tone is some 0.6 s; a busy machine is given more.
    if isinstance(event, Heard) and len(told) == 1 and since[-1] > since[0] + 2.0:
        heard.append(event.reading)
loud = [one for one in heard if one.hz and abs(one.hz - 523.25) < 15 and one.level_db > -60]
print(json.dumps([len(heard), len(loud)]))
"""


@pytest.mark.needs_pulse
def test_a_tone_really_sounds_and_is_not_taken_for_the_players(
    pulse: Pulse,  # noqa: F811
    tmp_path: Path,
) -> None:
    # The sink's monitor is the microphone: what the trainer plays comes back as from a
    # loudspeaker, and is taken out of what is heard.
    flac = tmp_path / "take.flac"
    with pulse.hiss():
        count, taken = pulse.run(TONE, str(flac))
    assert count > 150
    # It comes in at -20 dB; what is left lies under the noise of a quiet room.
    assert taken < 0.05 * count
    both, rate = sf.read(flac)
    sound = both[:, 0]  # as the microphone heard it
    loud = np.flatnonzero(np.abs(sound) > 0.05)
    assert 3.0 < (loud[-1] - loud[0]) / rate < 4.5
    middle = sound[loud[0] + rate : loud[0] + 2 * rate] * np.hanning(rate)
    assert np.argmax(np.abs(np.fft.rfft(middle, 8 * rate))) / 8 == pytest.approx(523.25, abs=0.3)
