"""The plain lines say what the screens say, in the same words; and what is typed beside them."""

from __future__ import annotations

import os
import re
import select
import shlex
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from textual.pilot import Pilot

from devtools import scripted
from tests.support.pilots import LARGE, Puppet, run, text, until
from tests.support.pulse import Pulse
from tests.support.terminal import Terminal
from trainer.app.app import TrainerApp
from trainer.app.take_state import Phase
from trainer.app.widgets.head_line import HeadState
from trainer.app.widgets.status_line import StatusState
from trainer.cli import main
from trainer.cli.typed_commands import TypedCommands
from trainer.drill import find_drill, parse_drill
from trainer.ear import HeardNote
from trainer.ear.motion import Motion
from trainer.harp import Harp, Tab
from trainer.practice import (
    BeatReached,
    Event,
    NoteEnded,
    Notice,
    PassControl,
    PassStarted,
    Plan,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
)
from trainer.report.formatting import score_text
from trainer.report.take_lines import TakeLines
from trainer.sound import PlayerSpec

PLAN = Plan(Harp.of("A"), PlayerSpec(), drill=scripted.DRILL, tempo=70.0)
SAVED = "evening.flac"
LINE_S = 30.0
"""Longest time that a typed line takes through a terminal of a busy computer, in seconds."""
NOTE = HeardNote(
    start=0,
    end=48_000,
    rate=48_000,
    tab=Tab.parse("-4'"),
    hz=550.0,
    cents=-12.0,
    also=(),
    holes=(3, 4),
    leak_db=-17.0,
    leak_hole=3,
    level_db=-20.0,
    path=(),
    motion=Motion(drift_cents_s=2.0, wobble_cents=1.5),
    tremolo=None,
)


def take_lines(plan: Plan, events: list[Event]) -> list[str]:
    lines = TakeLines(plan, 200)
    return [line for event in events for line in lines.lines(event)]


@pytest.mark.parametrize(
    "plan",
    [
        PLAN,
        replace(PLAN, tempo=None),
        replace(PLAN, bars=(2, 3), loop=True),
        replace(PLAN, drill=find_drill("bends-that-wait"), tempo=None),
        replace(PLAN, drill=find_drill("mending-the-nets"), tempo=None),
    ],
    ids=["slower", "own tempo", "some bars", "free", "another"],
)
def test_lines_hold_everything_that_the_screen_shows_of_a_take(plan: Plan) -> None:
    plan = plan.at_present_tolerance()
    drill = plan.drill
    assert drill is not None
    script = [event for _, event in scripted.scripted_events(replace(plan, bars=None))]
    if drill.free:
        clock = [replace(e, clock=None) if isinstance(e, PassStarted) else e for e in script]
        script = [e for e in clock if not isinstance(e, BeatReached)]

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        app = pilot.app
        assert isinstance(app, TrainerApp)
        app.session.start(plan)
        lines, sentences = TakeLines(plan, 200), ""
        for event in script:
            sentences += "".join(f"{line}\n" for line in lines.lines(event))
            puppet.queue.append(event)
            take = app.session.take
            app.session.poll()
            match event:
                case PassStarted(source=source):
                    assert StatusState.of(take).sentence == f"sound from {source}"
                    assert source in sentences
                    head = HeadState.of(take)
                    assert head.title in sentences
                    assert ", ".join(head.about) in sentences
                case BeatReached(number) if number < 0:
                    assert (
                        sentences.splitlines()[-1]
                        == f"count-in {take.count_in_beats + 1 + number} of {take.count_in_beats}"
                    )
                case BeatReached() if HeadState.of(take).beat == 1 and take.phase is Phase.PLAYING:
                    step = take.next_step
                    assert step is not None
                    last = sentences.splitlines()[-1]
                    assert last.startswith(f"bar {step.bar} of {drill.bars}: ")
                case StepMarked(mark):
                    assert mark.sentence in sentences
                    assert score_text(mark.score) in sentences
        # All steps that the page has been walked through were asked for in words.
        asked = sentences.split("\n\n")[0]
        assert all(step.tab in asked for step in drill.steps)
        result = app.session.take.sheet.result
        assert result is not None
        verdict = "passed" if result.passed else "not passed yet"
        total = f"{score_text(result.score)} of 100, {verdict}"
        await until(pilot, lambda: total in " ".join(text(pilot).split()))
        shown = text(pilot)
        assert f"Total {total}" in sentences
        worst = min(result.marks, key=lambda mark: mark.score)
        assert f"weakest: step {worst.step.index + 1} ({worst.step.tab})" in sentences
        last = app.session.take.sheet.newest
        assert last is not None
        assert last.sentence in shown

    run(test, plan, size=LARGE)


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (TakePaused("the microphone is gone; plug it in again"), ["the microphone is gone"]),
        (TakePaused(bar=3), ["aused", "bar 3"]),
        (Notice("the journal is full"), ["the journal is full"]),
        (TakeFailed("it stays gone; choose another"), ["it stays gone; choose another"]),
    ],
    ids=["lost", "paused", "notice", "failed"],
)
def test_problems_are_shown_on_the_screen_and_in_lines(event: Event, words: list[str]) -> None:
    events = [next(event for _, event in scripted.scripted_events(PLAN)), event]

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("space")
        puppet.queue += events
        await until(pilot, lambda: all(word in text(pilot) for word in words))
        sentences = "\n".join(take_lines(PLAN, events))
        assert all(word in sentences for word in words)
        puppet.queue += [TakeResumed()] if isinstance(event, TakePaused) else []
        puppet.queue.append(TakeFinished(SAVED))
        await until(pilot, lambda: not puppet.queue)
        if not isinstance(event, TakeFailed | Notice):
            await until(pilot, lambda: SAVED in text(pilot))
        assert SAVED in take_lines(PLAN, [TakeFinished(SAVED)])[0]

    run(test, PLAN, size=LARGE)


def test_a_note_without_a_drill_is_shown_in_both() -> None:
    plan = replace(PLAN, drill=None)
    events: list[Event] = [PassStarted(None, 0, 0, "the microphone", False), NoteEnded(NOTE)]

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("i")
        await until(pilot, lambda: "What am I playing?" in text(pilot))
        puppet.queue += events
        words = ("-4'", "12 flat", "17 dB")
        await until(pilot, lambda: all(word in text(pilot) for word in words))
        sentences = "\n".join(take_lines(plan, events))
        assert "No drill: A harp." in sentences
        assert all(word in sentences for word in words)
        puppet.queue.append(TakeFinished())
        await until(pilot, lambda: not puppet.queue)

    run(test, plan, size=LARGE)


def test_a_bar_is_announced_with_who_plays_and_how_clean_and_rests_too() -> None:
    plan = Plan(Harp.of(), PlayerSpec(), drill=find_drill("pilot-calls"))
    drill = plan.drill
    assert drill is not None
    sentences = "\n".join(take_lines(plan, [event for _, event in scripted.scripted_events(plan)]))
    assert "(the trainer plays)" in sentences
    assert sentences.count("\nbar ") == drill.bars
    loose = Plan(Harp.of(), PlayerSpec(), drill=find_drill("slide-across"))
    assert loose.drill is not None
    cares = {str(step.cleanness_rule) for step in loose.drill.steps} - {"plain"}
    events = [event for _, event in scripted.scripted_events(loose)]
    sentences = "\n".join(take_lines(loose, events))
    assert all(f"({care})" in sentences for care in cares)


def test_a_bar_is_announced_with_its_techniques() -> None:
    tab = "^-5 -4:1 4:1{accent, staccato} -4<>5:2{shake 5} | 5:4 |"
    drill = parse_drill(f'title = "Buoys"\nharp = "C"\ntempo = 90\ntab = "{tab}"\n', "buoys")
    plan = Plan(Harp.of(), PlayerSpec(), drill=drill)
    events = [event for _, event in scripted.scripted_events(plan)]
    sentences = " ".join(" ".join(take_lines(plan, events)).split())
    assert "bar 1 of 2: ^-5 -4, 4 (staccato, accent), -4<>5 (shake 5)" in sentences


def test_a_first_bar_of_rests_is_counted_from_its_own_beat() -> None:
    drill = scripted.drill_of("buoys", "Buoys", "r:4 4:2 -4:2")
    plan = Plan(Harp.of(), PlayerSpec(), drill=drill)
    from trainer.practice import run_take as play

    events = [*play(plan)]
    beats = [event.number for event in events if isinstance(event, BeatReached)]
    assert beats[:5] == [-4, -3, -2, -1, 0]
    sentences = take_lines(plan, events)
    assert sentences[sentences.index("count-in 4 of 4") + 1 :][:2] == [
        "bar 1 of 2: nothing begins",
        "bar 2 of 2: 4, -4",
    ]


@pytest.fixture
def keyboard(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The other end of a terminal that is standard input."""
    ours, theirs = pytest.importorskip("pty").openpty()
    with os.fdopen(theirs, "r") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        monkeypatch.setattr(os, "tcgetpgrp", lambda file: os.getpgrp())
        yield ours
    os.close(ours)


def typed(keyboard: int, keys: TypedCommands, line: str) -> object:
    """What a typed line makes of the next call, once the line has come through the terminal."""
    os.write(keyboard, f"{line}\n".encode())
    assert select.select([sys.stdin], [], [], LINE_S)[0]
    return keys()


def test_enter_pauses_and_resumes_and_b_goes_back(keyboard: int) -> None:
    keys = TypedCommands()
    assert keys.is_enabled
    assert keys() is None
    assert typed(keyboard, keys, "") is PassControl.PAUSE
    keys.observe(TakePaused(bar=2))
    assert typed(keyboard, keys, "b") is PassControl.GO_BACK
    assert typed(keyboard, keys, "") is PassControl.RESUME
    keys.observe(next(event for _, event in scripted.scripted_events(PLAN)))
    keys.observe(TakePaused("the microphone is gone"))
    assert typed(keyboard, keys, "") is PassControl.PAUSE
    assert typed(keyboard, keys, "what?") is None


def test_a_background_process_reads_nothing(keyboard: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "tcgetpgrp", lambda file: os.getpgrp() + 1)
    assert typed(keyboard, TypedCommands(), "") is None


def test_without_a_terminal_nothing_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    with open(os.devnull, encoding="ascii") as nothing:
        monkeypatch.setattr(sys, "stdin", nothing)
        keys = TypedCommands()
        assert not keys.is_enabled
        assert keys() is None


@pytest.mark.needs_pulse
@pytest.mark.needs_tmux
def test_typing_pauses_and_resumes_a_take_in_lines(
    pulse: Pulse,
    terminal: Terminal,
) -> None:
    env = {k: pulse.env[k] for k in ("HOME", "XDG_RUNTIME_DIR", "PULSE_SERVER", "PATH")}
    words = [f"{name}={value}" for name, value in env.items()]
    play = ["play", "harbour-bell", "--plain", "--no-click"]
    with pulse.hiss():
        terminal.start(shlex.join(["env", *words, sys.executable, "-m", "trainer", *play]), rows=50)
        terminal.wait_for("Enter pauses and resumes.* bar 1 of 4: 4, 5, 4 .* bar 2 of 4")
        terminal.keys("Enter")
        terminal.wait_for("Paused; resumes at bar [12]")
        terminal.keys("b", "Enter")
        terminal.wait_for("Paused; resumes at bar 1")
        terminal.keys("Enter")
        terminal.wait_for("Resuming. Listening .* count-in 4 of 4 bar 1 of 4: 4")
        terminal.keys("Enter")
        terminal.wait_for(
            "Resuming. Listening .* bar 1 of 4: 4, 5, 4 .*Paused; resumes at bar [12]"
        )
        # The microphone goes away while it is paused: when it is back, it still is.
        pulse.pactl("unload-module", "module-null-sink")
        terminal.wait_for("Paused: .*microphone")
        pulse.plug_in()
    with pulse.hiss():
        terminal.wait_for("Paused: .* Paused; resumes at bar [12]")
        terminal.keys("Enter")
        terminal.wait_for("Paused: .* Resuming. .* count-in 4 of 4 bar [12] of 4: ")
        terminal.keys("C-c")
        terminal.wait_for("exit code 0")


def test_the_commands_of_the_tour_exist(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    tour = (Path(__file__).parent.parent.parent / "docs/tour.md").read_text("utf-8")
    section = tour.split("## As lines of text")[1]
    rows = [line for line in section.splitlines() if line.startswith("|")][2:]
    matches = [word for row in rows for word in re.findall(r"`trainer ([a-z -]+)", row)]
    words = [word.replace("--format text", "").split() for word in matches]
    assert len(words) >= 14
    for command in words:
        monkeypatch.setattr(sys, "argv", ["trainer", *command, "--help"])
        with pytest.raises(SystemExit) as end:
            main()
        assert not end.value.code
        shown = capsys.readouterr().out
        named = [word for word in command if not word.startswith("--")]
        assert f"trainer {' '.join(named)}" in shown
        assert all(word in shown for word in command)
