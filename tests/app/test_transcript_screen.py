"""A transcript is opened, saved, found again, and not lost."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest
from textual.pilot import Pilot

from tests.support.pilots import ANSWERS, Puppet, run, text, until
from tests.support.transcripts import HEARD, PICKS
from trainer.app.app import TrainerApp
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.take_base import WAITS_FOR_MICROPHONE
from trainer.app.screens.transcript import TranscriptScreen
from trainer.app.transcript_file import TranscriptFile
from trainer.core import TrainerError
from trainer.drill import read_drill, save_drill
from trainer.harp import Harp
from trainer.practice import (
    GuessHarps,
    PassStarted,
    Plan,
    PlayLoop,
    TakeFailed,
    WriteDown,
    WrittenDown,
)
from trainer.sound import MicrophoneSpec
from trainer.transcript import TranscriptRequest


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> TranscriptFile:
    """A recording, and what the listener's process makes of it."""
    recording = tmp_path / "heard.wav"
    recording.touch()
    assert HEARD.recording is not None
    drill = replace(HEARD, recording=replace(HEARD.recording, file=str(recording)))
    monkeypatch.setitem(ANSWERS, WriteDown, WrittenDown(drill, PICKS, 442.0, ("a band plays",)))
    monkeypatch.setitem(ANSWERS, GuessHarps, PICKS)
    return TranscriptFile.of_passage(TranscriptRequest(recording))


def walk(
    opened: TranscriptFile, steps: Callable[[Pilot[None], TranscriptScreen], Awaitable[None]]
) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        app = pilot.app
        assert isinstance(app, TrainerApp)
        screen = TranscriptScreen(app.session, app.session.plan, opened)
        app.push_screen(screen)
        await until(pilot, lambda: "position" in text(pilot) or "×" in text(pilot))
        await steps(pilot, screen)

    run(test, Plan(Harp.of("C"), MicrophoneSpec(), drill=HEARD))


def listener(screen: TranscriptScreen) -> Puppet:
    """The listener of a screen's session."""
    puppet = screen.session.listener
    assert isinstance(puppet, Puppet)
    return puppet


def test_what_is_saved_is_found_again_and_a_file_of_somebody_elses_is_asked_for(
    opened: TranscriptFile,
) -> None:
    file = opened.file

    async def first(pilot: Pilot[None], screen: TranscriptScreen) -> None:
        assert "! a band plays" in text(pilot)
        file.write_text("# mine\n")
        await pilot.press("up", "s")
        await until(pilot, lambda: "s again replaces it" in text(pilot))
        assert file.read_text() == "# mine\n"
        await pilot.press("s")
        await until(pilot, lambda: "✓ saved" in text(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))

    async def second(pilot: Pilot[None], screen: TranscriptScreen) -> None:
        assert screen.edited is not None
        assert screen.edited.step.tab == "-5"
        assert screen.edited.doubtful == {1, 3}

    walk(opened, first)
    assert read_drill(file).recording is not None
    walk(opened, second)


def test_corrections_outlive_a_terminal_that_is_closed_unless_they_are_discarded(
    opened: TranscriptFile,
) -> None:
    async def discard(pilot: Pilot[None], screen: TranscriptScreen) -> None:
        await pilot.press("up", "escape")
        await until(pilot, lambda: "esc again leaves" in text(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))

    async def vanish(pilot: Pilot[None], screen: TranscriptScreen) -> None:
        await pilot.press("up")
        await pilot.pause()

    walk(opened, discard)
    assert not opened.file.exists()
    walk(opened, vanish)
    assert read_drill(opened.file).steps[0].tab == "-5"


def test_a_passage_has_a_file_of_its_own_and_another_recording_is_not_taken_for_it(
    opened: TranscriptFile, tmp_path: Path
) -> None:
    assert opened.request is not None
    passage = TranscriptFile.of_passage(replace(opened.request, first=12.5, last=20.0))
    assert passage.file.name == "heard-12.5-20.toml"
    assert HEARD.recording is not None
    other = replace(HEARD.recording, file="other.wav", folder=str(tmp_path))
    save_drill(replace(HEARD, recording=other), opened.file)
    assert opened.saved() is None


def test_a_recording_that_cannot_be_written_down_says_why(
    opened: TranscriptFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(ANSWERS, WriteDown, TrainerError("no beat is found in heard.wav"))

    async def look(pilot: Pilot[None], screen: TranscriptScreen) -> None:
        assert "× no beat is found in heard.wav" in text(pilot)
        await pilot.press("up", "space", "2", "s", "p", "n", "a", "d", "u")
        assert pilot.app.is_running

    walk(opened, look)


def test_a_key_pressed_before_the_microphone_is_open_plays_once_it_is(
    opened: TranscriptFile,
) -> None:
    async def listen(pilot: Pilot[None], screen: TranscriptScreen) -> None:
        puppet = listener(screen)
        await pilot.press("space")
        assert WAITS_FOR_MICROPHONE in text(pilot)
        assert puppet.asked == []
        puppet.queue.append(PassStarted(None, 0, 0, "a microphone", clicks=False))
        await until(pilot, lambda: "bar 1 at 70 %" in text(pilot))
        assert WAITS_FOR_MICROPHONE not in text(pilot)
        (asked,) = puppet.asked
        assert isinstance(asked, PlayLoop)
        assert asked.passage is not None

    walk(opened, listen)


def test_corrections_are_asked_about_where_the_microphone_has_failed(
    opened: TranscriptFile,
) -> None:
    async def fail(pilot: Pilot[None], screen: TranscriptScreen) -> None:
        listener(screen).queue.append(TakeFailed("the microphone is gone"))
        await until(pilot, lambda: "the microphone is gone" in text(pilot))
        await pilot.press("up", "escape")
        await until(pilot, lambda: "esc again leaves" in text(pilot))

    walk(opened, fail)
