"""The first-run guide: it ends with a detected note, and saves the choices."""

from __future__ import annotations

import os
import shlex
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from textual.pilot import Pilot

from devtools import scripted
from tests.support.evenings import an_input
from tests.support.pilots import ANSWERS, LARGE, SMALL, Puppet, painted, press, run, text, until
from tests.support.pulse import Pulse
from tests.support.readings import reading
from tests.support.terminal import Terminal
from trainer.app.screens.begin import BeginScreen
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.today import TodayScreen
from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.practice import (
    Event,
    ListDevices,
    NoteEnded,
    PassStarted,
    Plan,
    PlayTone,
    ReadingHeard,
    TakeFailed,
    TakeFinished,
    run_take,
)
from trainer.settings import resolve_settings
from trainer.sound import (
    BuiltInPlayer,
    DeviceError,
    Fault,
    MicrophoneSpec,
    PlayerSpec,
    RecordingSpec,
)

RATE = 48_000
PLAN = Plan(Harp.of("C"), MicrophoneSpec(), drill=scripted.DRILL)
STARTED = PassStarted(None, 0, 0, "the microphone", False)
SIZES = pytest.mark.parametrize("size", [SMALL, LARGE])


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "settings.toml"
    monkeypatch.setenv("TRAINER_SETTINGS", str(file))
    inputs = (an_input("built in", 2), an_input("on the stand", 1), an_input("speakers", 0))
    monkeypatch.setitem(ANSWERS, ListDevices, inputs)
    return file


def note(tab: str, seconds: float = 1.0, start: float = 1.0) -> list[Event]:
    first = round(start * RATE)
    return [
        ReadingHeard(reading(tab, 3.0, sample=first + 240 * i)) for i in range(round(200 * seconds))
    ]


async def open_guide(pilot: Pilot[None], puppet: Puppet) -> None:
    await pilot.press("m")
    await until(pilot, lambda: isinstance(pilot.app.screen, GuideScreen))
    puppet.queue.append(STARTED)
    await until(pilot, lambda: "on the stand" in text(pilot))


async def feed(pilot: Pilot[None], puppet: Puppet, events: list[Event]) -> str:
    puppet.queue += events
    await painted(pilot, puppet)
    return text(pilot)


@SIZES
def test_guide_ends_with_a_note_and_saves_the_choices(
    settings: Path, size: tuple[int, int]
) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_guide(pilot, puppet)
        assert "speakers" not in text(pilot)
        await press(pilot, "down", "down")
        await until(pilot, lambda: len(puppet.plans) >= 2 and not puppet.queue)
        assert puppet.plans[-1].source == MicrophoneSpec(device="on the stand")
        assert puppet.plans[-1].drill is None
        shown = await feed(pilot, puppet, [STARTED, *note("4", 0.2)])
        assert "the input works" in shown
        await press(pilot, "enter")
        assert "play -4" in text(pilot) or "heard 4" in text(pilot)
        shown = await feed(pilot, puppet, note("5"))
        assert "heard 5 of a C harp" in " ".join(shown.split())
        await press(pilot, "enter")
        assert isinstance(pilot.app.screen, GuideScreen), "nothing was heard yet"
        shown = await feed(pilot, puppet, note("-4", 0.3, 2.0))
        assert "hold it" in shown
        shown = await feed(pilot, puppet, note("-4", 0.6, 2.3))
        assert "the microphone works" in " ".join(shown.split())
        assert "Step 3 of 3" in await press(pilot, "enter")
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, BeginScreen))
        assert resolve_settings().settings.sound.device == "on the stand"
        assert resolve_settings().settings.harp.key == "C"
        puppet.queue.append(TakeFinished())
        await until(pilot, lambda: pilot.app.session.plan.drill is scripted.DRILL)  # type: ignore[attr-defined]
        assert pilot.app.session.plan.source == MicrophoneSpec(device="on the stand")  # type: ignore[attr-defined]
        await until(pilot, lambda: "▶ At the beginning" in text(pilot))
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, TodayScreen))

    run(test, PLAN, size=size)


async def prove_microphone(pilot: Pilot[None], puppet: Puppet) -> None:
    await feed(pilot, puppet, note("-4", 0.3, 2.0))
    await feed(pilot, puppet, note("-4", 0.6, 2.3))


FOUR_NOTES = parse_drill(
    'title = "Four"\nharp = "C"\ntempo = 60\n'
    'tab = """\n-4:1 r:1 3:1 r:1 | 6:1 r:1 4:1 r:1 |\n"""\n',
    "four",
)


def heard_notes(played: Harp, flat: Mapping[int, Fault], folder: Path) -> list[Event]:
    """The end of each note that the built-in player plays, as a take for a C harp reports it."""
    spec = PlayerSpec(faults=flat)
    player = BuiltInPlayer(FOUR_NOTES, played, spec=spec, count_in=0)
    recording = folder / "four.wav"
    sf.write(recording, np.concatenate([b.samples for b in player.blocks()]), player.rate)
    plan = Plan(Harp.of("C"), RecordingSpec(recording))
    return [event for event in run_take(plan) if isinstance(event, NoteEnded)]


@pytest.mark.parametrize(
    ("a4", "temperament", "flat", "sentence", "stored"),
    [
        (442.0, "just7", {1: Fault(cents=-14.0)}, "lies 9 cents above A4 = 440 Hz", 442.0),
        (440.2, "equal", {0: Fault(cents=-20.0)}, "fits A4 = 440 Hz", 440.0),
    ],
)
def test_four_notes_propose_an_a4(
    *,
    a4: float,
    temperament: str,
    flat: Mapping[int, Fault],
    sentence: str,
    stored: float,
    settings: Path,
) -> None:
    """One note is pulled flat; the harp's temperament is not that of the settings."""
    harp = Harp.of("C", a4=a4, temperament_name=temperament)
    events = heard_notes(harp, flat, settings.parent)
    assert len(events) == 4

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_guide(pilot, puppet)
        await press(pilot, "enter")
        await prove_microphone(pilot, puppet)
        assert "Step 3 of 3" in await press(pilot, "enter")
        assert "play 4" in await feed(pilot, puppet, events[:3])
        shown = " ".join((await feed(pilot, puppet, events[3:])).split())
        assert sentence in shown
        assert (f"▶ A4 = {stored:g} Hz" in shown) is (stored != 440.0)
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, BeginScreen))
        assert resolve_settings().settings.harp.a4 == stored
        puppet.queue.append(TakeFinished())
        await until(pilot, lambda: pilot.app.session.plan.harp.a4 == stored)  # type: ignore[attr-defined]

    run(test, PLAN)


def test_the_present_a4_can_be_kept(settings: Path) -> None:
    events = heard_notes(Harp.of("C", a4=443.0), {}, settings.parent)

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_guide(pilot, puppet)
        await press(pilot, "enter")
        await prove_microphone(pilot, puppet)
        await feed(pilot, puppet, events)
        assert "▶ A4 = 443 Hz" in await press(pilot, "enter")
        assert "▶ A4 = 440 Hz" in await press(pilot, "down")
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, BeginScreen))
        assert resolve_settings().settings.harp.a4 == 440.0

    run(test, PLAN)


def test_arrows_choose_another_harp_key(settings: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_guide(pilot, puppet)
        await press(pilot, "enter", "right", "right")
        assert "Take a D harp" in text(pilot)
        await press(pilot, "left")
        assert "Take a Db harp" in text(pilot)

    run(test, PLAN)


def test_trouble_with_the_input_is_shown(settings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(ANSWERS, ListDevices, DeviceError("PortAudio is missing; install it"))

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("m")
        await until(pilot, lambda: "PortAudio is missing" in text(pilot))
        puppet.queue += [TakeFailed("the input cannot be opened: it is in use", no_sound=True)]
        await until(pilot, lambda: "it is in use" in text(pilot))
        await press(pilot, "t")
        assert puppet.asked == [PlayTone((440.0,))]
        puppet.queue.append(TakeFinished())
        await press(pilot, "escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))
        assert not settings.exists(), "leaving it keeps nothing"

    run(test, PLAN)


@pytest.mark.needs_pulse
@pytest.mark.needs_tmux
def test_first_start_opens_the_guide(
    pulse: Pulse,
    terminal: Terminal,
) -> None:
    drill = parse_drill(
        'title = "One note"\nharp = "C"\ntempo = 60\ntab = """\n-4:4 | -4:4 | -4:4 |\n"""\n', "one"
    )
    player = BuiltInPlayer(drill, Harp.of("C"))
    with tempfile.TemporaryDirectory(prefix="new-") as folder:
        wav = Path(folder) / "note.wav"
        sf.write(wav, np.concatenate([block.samples for block in player.blocks()]), player.rate)
        env = {k: pulse.env[k] for k in ("HOME", "XDG_RUNTIME_DIR", "PULSE_SERVER")}
        env |= {"TRAINER_SETTINGS": f"{folder}/settings.toml"}
        env |= {"TRAINER_JOURNAL": f"{folder}/journal.sqlite"}
        words = [f"{name}={value}" for name, value in env.items()]
        python = [f"PATH={os.environ['PATH']}", sys.executable, "-m", "trainer"]
        with pulse.hiss():
            terminal.start(shlex.join(["env", *words, *python]))
            terminal.wait_for("Step 1 of 3")
            terminal.keys("Enter")
            terminal.wait_for("play -4")
            pulse.play(wav)
            terminal.wait_for("the microphone works")
            terminal.keys("Enter")
            terminal.wait_for("Step 3 of 3")
            terminal.keys("Enter")
            terminal.wait_for("Find my level")
            terminal.keys("Enter")
            terminal.wait_for("Today, C harp: .* to play")
            terminal.keys("q")
            terminal.wait_for("exit code 0")
        assert 'key = "C"' in Path(f"{folder}/settings.toml").read_text()
