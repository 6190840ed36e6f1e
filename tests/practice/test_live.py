"""Takes through a real microphone: what is played into it is marked as its audio in a file is.

The built-in player's performance is rendered to a file first. Its marks are what the same sound
must earn when a sound system plays it into the microphone of a take. The two clocks are tied
only by a program's start, so lateness may differ by what that takes, the same for every step.
"""

from __future__ import annotations

import multiprocessing
import pickle
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from ctypes import c_uint64
from dataclasses import dataclass, field, replace
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec

import numpy as np
import pytest
import soundfile as sf

from tests.support.waiting import WITHIN_S, wait_until
from trainer.drill import BeatClock, Drill, DrillRecording, find_drill
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import (
    BeatReached,
    Event,
    HandsFree,
    Listener,
    Notice,
    PassEnded,
    PassStarted,
    Plan,
    ReadingHeard,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
    WaitStarted,
    run_take,
)
from trainer.practice.listener import MAX_QUEUED_EVENTS, _Sender
from trainer.report.result_report import result_data, result_text
from trainer.sound import Fault, MicrophoneSpec, PlayerSpec, RecordingSpec

if TYPE_CHECKING:
    from tests.support.pulse import Cued, Pulse

pytestmark = pytest.mark.needs_pulse

QUAY = '''
title = "Down the quay steps"
harp = "C"
tempo = 120
tab = """
4:1 -4:1 -4':1 4:1/2 5:1/2 | -5:1 5:1/2 -4:1/2 4:1 r:1 | -3:1 4:1 -4:2 |
"""
'''
FAULTS = {
    1: Fault(cents=-18.0),
    2: Fault(cents=12.0, scoop_cents=60.0, scoop_ms=150.0),
    4: Fault(late_ms=50.0),
    5: Fault(leak_db=-13.0),
    9: Fault(cents=-9.0, leak_db=-16.0),
}
STARTING_S = 0.03
"""About how long it takes from a line read here until what is played then comes back."""
LATEST_MS = 120.0
"""Half of the shortest step: notes later than that are heard in the next one."""
TRIES = 4
P = ParamSpec("P")


@pytest.fixture(scope="module")
def drill(tmp_path_factory: pytest.TempPathFactory) -> Drill:
    path = tmp_path_factory.mktemp("drills") / "quay.toml"
    path.write_text(QUAY, encoding="utf-8")
    return find_drill(str(path))


@dataclass
class Performance:
    """What the built-in player makes of the drill.

    Attributes:
        result: its marks, straight from the player.
    """

    folder: Path
    samples: np.ndarray
    clock: BeatClock
    result: Result

    def wav(self, beat: int = 0) -> Path:
        """A file of it from a beat on, after its count-in less what starting to play takes."""
        first, zero = self.clock.sample(-4), self.clock.sample(0)
        count_in = self.samples[first + round(STARTING_S * self.clock.rate) : zero]
        path = self.folder / f"from{beat}.wav"
        rest = self.samples[self.clock.sample(beat) :]
        sf.write(path, np.concatenate([count_in, rest]), self.clock.rate)
        return path


@pytest.fixture(scope="module")
def performance(drill: Drill, tmp_path_factory: pytest.TempPathFactory) -> Performance:
    folder = tmp_path_factory.mktemp("performance")
    path = folder / "performance.flac"
    events = list(run_take(Plan(Harp.of("C"), PlayerSpec(faults=FAULTS), drill=drill, save=path)))
    (started,) = [event for event in events if isinstance(event, PassStarted)]
    (result,) = results(events)
    assert started.clock is not None
    return Performance(folder, sf.read(path)[0], started.clock, result)


@pytest.fixture(scope="module")
def hearing(pulse: Pulse) -> Iterator[None]:
    """The environment in which a listener's PortAudio finds the virtual sound system."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in pulse.env.items():
            patch.setenv(name, value)
        yield


@pytest.fixture(scope="module")
def listener(hearing: None) -> Iterator[Listener]:
    listener = Listener()
    yield listener
    listener.close()


@dataclass
class Take:
    """A take as it comes from a listener."""

    events: list[Event] = field(default_factory=list)
    lateness_s: list[float] = field(default_factory=list)

    def follow(self, listener: Listener, on: Callable[[Event], None] = lambda event: None) -> None:
        """Poll until the take is over, and pass on each event."""
        until = time.monotonic() + WITHIN_S
        while not (self.events and isinstance(self.events[-1], TakeFinished)):
            assert time.monotonic() < until, self.events[-1:]
            for event in listener.poll():
                if isinstance(event, ReadingHeard):
                    self.lateness_s.append(time.monotonic() - event.reading.heard_at)
                self.events.append(event)
                on(event)
            time.sleep(0.002)

    def tell_lateness(self) -> None:
        """Print how late readings were, against the promptest of them."""
        late = (np.array(self.lateness_s) - min(self.lateness_s)) * 1000.0
        figures = np.percentile(late, (50, 99, 100))
        print("readings late by, ms: median {:.1f}, 99 % {:.1f}, worst {:.1f}".format(*figures))


def results(events: list[Event]) -> list[Result]:
    return [event.result for event in events if isinstance(event, PassEnded)]


def marked_again(take: Path, drill: Drill) -> list[Result]:
    return results(replayed(take, drill))


def replayed(take: Path, drill: Drill) -> list[Event]:
    """The events of a saved take."""
    return list(run_take(Plan(Harp.of("C"), RecordingSpec(take), drill=drill)))


def assert_alike(live: Result, reference: Result) -> None:
    """Check that what was heard is the same, apart from when."""
    assert [mark.step for mark in live.marks] == [mark.step for mark in reference.marks]
    for a, b in zip(live.marks, reference.marks, strict=True):
        assert a.measured.heard == b.measured.heard
        assert a.measured.holes == b.measured.holes
        assert a.measured.cents == pytest.approx(b.measured.cents, abs=1.0)
        if b.measured.holes != (b.step.first[0].hole,):
            assert a.measured.leak_db == pytest.approx(b.measured.leak_db, abs=1.5)


def assert_in_time(live: Result, reference: Result, apart_ms: float, within_ms: float) -> None:
    """Check that lateness differs by the same for all steps: by how late the sound began."""
    late_ms = [
        a.measured.late_ms - b.measured.late_ms  # type: ignore[operator]
        for a, b in zip(live.marks, reference.marks, strict=True)
    ]
    apart = float(np.median(late_ms))
    print(f"clocks {apart:.0f} ms apart, scores {live.score:.1f} and {reference.score:.1f}")
    assert late_ms == pytest.approx([apart] * len(late_ms), abs=within_ms)
    assert apart == pytest.approx(apart_ms, abs=within_ms)


def played_late_ms(
    sound: np.ndarray, performance: Performance, clock: BeatClock, beat: int
) -> float:
    """How late the performance began in the sound of a pass, by cross-correlation.

    Args:
        sound: the take's sound up to the end of the pass.
        performance: what was played.
        clock: the clock of the pass.
        beat: the beat from which the performance was played.
    """
    begin = clock.sample(beat - 4)
    sound, played = sound[begin:], sf.read(performance.wav(beat))[0]
    size = 1 << (len(sound) + len(played)).bit_length()
    cross = np.fft.irfft(np.fft.rfft(sound, size) * np.conj(np.fft.rfft(played, size)))
    count_in = len(played) - len(performance.samples[performance.clock.sample(beat) :])
    at = begin + int(np.argmax(cross[: len(sound)])) + count_in
    return 1000.0 * (at - clock.sample(beat)) / clock.rate


class BegunLateError(Exception):
    """The machine was too busy to begin the performance on its beat."""


def check_begun(save: Path, drill: Drill, performance: Performance, *again: int) -> float:
    """Return how late the performance began in the last pass of a saved take, in ms.

    Args:
        save: the take's sound.
        drill: what was played.
        performance: how.
        again: the beats from which it was played again after the first time.

    Raises:
        BegunLateError: in one of the passes, so late that its notes are those of other steps.
    """
    sound = sf.read(save, always_2d=True)[0][:, 0]
    beats = (0, *again)
    passes = [event for event in replayed(save, drill) if isinstance(event, PassStarted)]
    clocks = [event.clock for event in passes[-len(beats) :]]
    end, late_ms = len(sound), []
    for beat, clock in zip(reversed(beats), reversed(clocks), strict=True):
        assert isinstance(clock, BeatClock)
        late_ms.append(played_late_ms(sound[:end], performance, clock, beat))
        end = clock.sample(beat - 4)
    worst = max(late_ms, key=abs)
    if abs(worst) > LATEST_MS:
        raise BegunLateError(f"the performance began {worst:.0f} ms late")
    return late_ms[0]


def on_time(test: Callable[P, None]) -> Callable[P, None]:
    """Repeat a test whose performance the machine began too late to mean anything."""

    @wraps(test)
    def repeated(*args: P.args, **kwargs: P.kwargs) -> None:
        for _ in range(TRIES - 1):
            try:
                return test(*args, **kwargs)
            except BegunLateError as late:
                print(late)
        return test(*args, **kwargs)

    return repeated


def soften_clicks(pulse: Pulse, percent: int) -> None:
    """Turn down what is playing into the sink; the click is all there is before the player."""
    listed = subprocess.run(
        ["pactl", "list", "short", "sink-inputs"], env=pulse.env, capture_output=True, text=True
    )
    for line in listed.stdout.splitlines():
        pulse.pactl("set-sink-input-volume", line.split()[0], f"{percent}%")


class CuedPerformance:
    """A performance that is played into the microphone, on time with the count-in of a pass."""

    def __init__(self, pulse: Pulse, performance: Performance) -> None:
        self._pulse, self._performance = pulse, performance
        self._cued: Cued | None = None

    def follow(self, event: Event) -> None:
        """Prepare it when a pass starts; begin it on the first beat of the count-in."""
        if isinstance(event, PassStarted):
            self._cued = self._pulse.cue(self._performance.wav())
        elif event == BeatReached(-4) and self._cued is not None:
            self._cued.begin()

    def wait(self) -> None:
        """Wait until it has been played."""
        assert self._cued is not None
        self._cued.wait()

    def stop(self) -> None:
        """Stop it before its end."""
        assert self._cued is not None
        self._cued.stop()


@pytest.mark.parametrize("clicks", [False, True])
@on_time
def test_a_take_is_marked_as_its_audio_in_a_file_is(
    pulse: Pulse,
    listener: Listener,
    drill: Drill,
    performance: Performance,
    tmp_path: Path,
    clicks: bool,
) -> None:
    playing = CuedPerformance(pulse, performance)

    def on(event: Event) -> None:
        if clicks and isinstance(event, PassStarted):
            soften_clicks(pulse, 40)  # of full scale by its cube: 24 dB down
        playing.follow(event)

    save = tmp_path / "take.flac"
    save.unlink(missing_ok=True)
    source = MicrophoneSpec(clicks=clicks)
    take = Take()
    listener.begin(Plan(Harp.of("C"), source, drill=drill, save=save))
    take.follow(listener, on)
    take.tell_lateness()

    playing.wait()
    assert take.events[-1] == TakeFinished(str(save), str(save))
    (live,) = results(take.events)
    apart_ms = check_begun(save, drill, performance)
    assert_alike(live, performance.result)
    # A click on the beat may be taken for the start of a note that is near it.
    assert_in_time(live, performance.result, apart_ms, within_ms=40.0 if clicks else 15.0)
    (again,) = marked_again(save, drill)
    assert result_data(again) == result_data(live)


@on_time
def test_a_played_note_begins_the_pass_without_a_key(
    listener: Listener, pulse: Pulse, drill: Drill, performance: Performance, tmp_path: Path
) -> None:
    note, clock = tmp_path / "note.wav", performance.clock
    sound = performance.samples[clock.sample(0) : clock.sample(1)]
    sf.write(note, np.concatenate([np.zeros(clock.rate // 2), sound]), clock.rate)
    playing = CuedPerformance(pulse, performance)

    def on(event: Event) -> None:
        if event == WaitStarted(None, armed=True):
            pulse.begin(note)
        playing.follow(event)
        if isinstance(event, PassEnded):
            listener.stop()

    save = tmp_path / "take.flac"
    save.unlink(missing_ok=True)
    take = Take()
    source = MicrophoneSpec(clicks=False)
    listener.begin(Plan(Harp.of("C"), source, drill=drill, hands_free=HandsFree(), save=save))
    take.follow(listener, on)
    playing.wait()
    (live,) = results(take.events)
    check_begun(save, drill, performance)
    assert_alike(live, performance.result)
    assert sum(isinstance(event, WaitStarted) for event in take.events) == 2  # before and after


@on_time
def test_a_stopped_take_counts_the_steps_that_were_due(
    listener: Listener, pulse: Pulse, drill: Drill, performance: Performance, tmp_path: Path
) -> None:
    playing = CuedPerformance(pulse, performance)

    def on(event: Event) -> None:
        playing.follow(event)
        if isinstance(event, StepMarked) and event.mark.step.index == 2:
            listener.stop()

    save = tmp_path / "take.flac"
    save.unlink(missing_ok=True)
    take = Take()
    listener.begin(Plan(Harp.of("C"), MicrophoneSpec(clicks=False), drill=drill, save=save))
    take.follow(listener, on)
    playing.stop()

    (live,) = results(take.events)
    check_begun(save, drill, performance)
    assert 3 <= len(live.marks) <= 6
    assert [mark.measured.heard for mark in live.marks[:3]] == ["4", "-4", "-4'"]
    (again,) = marked_again(save, drill)
    assert result_data(again) == result_data(live)


@on_time
def test_a_microphone_unplugged_in_a_take_is_waited_for_and_no_mark_is_lost(
    pulse: Pulse, drill: Drill, performance: Performance, tmp_path: Path
) -> None:
    save = tmp_path / "take.flac"
    save.unlink(missing_ok=True)
    (tmp_path / "quay.toml").write_text(QUAY, encoding="utf-8")
    trainer = [sys.executable, "-m", "trainer"]
    with subprocess.Popen(
        [*trainer, "play", "./quay.toml", "--plain", "--no-click", "--save", str(save)],
        cwd=tmp_path,
        env=pulse.env,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        lines: list[str] = []

        def until(start: str) -> None:
            assert process.stdout is not None
            for line in process.stdout:
                lines.append(line.rstrip())
                if line.startswith(start):
                    return
            raise AssertionError("\n".join(lines))

        until("Listening")
        playing = pulse.cue(performance.wav())
        until("count-in 1 of 4")
        playing.begin()
        until("  6  -5 ")
        pulse.pactl("unload-module", "module-null-sink")
        until("Paused: ")
        playing.stop()
        pulse.plug_in()
        with pulse.hiss():  # until the performance begins: digital silence is reported as muted
            until("Resuming")
            until("Listening")
            # The bar in which the sound was lost: the second, or on a slow machine the third.
            listening = "Listening to microphone default: steps {} to 12, count-in silent."
            beat = {listening.format(6): 4, listening.format(10): 8}[lines[-1]]
            playing = pulse.cue(performance.wav(beat))
            until("count-in 1 of 4")
            playing.begin()
        until("Total")
        until("The audio is saved")
        assert process.wait(20) == 0
        playing.wait()
        assert process.stderr is not None
        assert process.stderr.read() == ""  # nor do the sound libraries complain there

    paused = next(line for line in lines if line.startswith("Paused: "))
    assert paused == (
        "Paused: microphone default has gone silent; is it still connected and switched on?"
    )
    (again,) = marked_again(save, drill)
    check_begun(save, drill, performance, beat)
    assert_alike(again, performance.result)
    marked = subprocess.run(
        [*trainer, "mark", str(save), "--drill", "./quay.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    assert marked.returncode == 0
    assert marked.stdout.splitlines() == result_text(again).splitlines()
    assert lines[-len(marked.stdout.splitlines()) - 1 : -1] == marked.stdout.splitlines()


def test_a_screen_that_does_not_poll_blocks_nothing_and_misses_only_readings() -> None:
    ours, theirs = multiprocessing.Pipe(duplex=False)
    taken = multiprocessing.RawValue(c_uint64)
    sender = _Sender(theirs, taken)
    for n in range(MAX_QUEUED_EVENTS + 1000):  # some forty times what a pipe holds
        sender.send(ReadingHeard(Reading(n, n, 48_000)))
    sender.send(TakeFinished())
    events: list[Event] = []
    while not sender.flush() or ours.poll():
        sent = ours.recv_bytes()
        taken.value += len(sent)
        events.append(pickle.loads(sent))
    assert events.pop() == TakeFinished()
    heard = [event.reading.heard for event in events if isinstance(event, ReadingHeard)]
    assert heard == list(range(len(events)))
    assert MAX_QUEUED_EVENTS <= len(heard) < MAX_QUEUED_EVENTS + 1000


def test_a_pause_reaches_a_screen_that_lags_behind() -> None:
    ours, theirs = multiprocessing.Pipe(duplex=False)
    taken = multiprocessing.RawValue(c_uint64)
    sender = _Sender(theirs, taken)
    for n in range(500):
        sender.send(ReadingHeard(Reading(n, n, 48_000)))
    sender.send(TakePaused("gone"))
    assert not sender.drain(0.0)
    came: list[Event] = []

    def screen() -> None:
        while not came or isinstance(came[-1], ReadingHeard):
            sent = ours.recv_bytes()
            taken.value += len(sent)
            came.append(pickle.loads(sent))

    reader = threading.Thread(target=screen, daemon=True)
    reader.start()
    assert sender.drain(5.0)
    reader.join(5.0)
    assert came[-1] == TakePaused("gone")
    assert len(came) == 501


@pytest.fixture(scope="module")
def with_band(drill: Drill, tmp_path_factory: pytest.TempPathFactory) -> Drill:
    """The drill with a recording of a band: plucked chords and a bass, whose beat wanders."""
    folder = tmp_path_factory.mktemp("band")
    rng = np.random.default_rng(11)
    beats = 0.4 + np.concatenate([[0.0], np.cumsum(0.5 + 0.02 * np.sin(np.arange(24) / 2.0))])
    t = np.arange(round(0.45 * 48_000)) / 48_000
    sound = np.zeros(round((beats[-1] + 1.0) * 48_000))
    for i, beat in enumerate(beats):
        for midi in (36 + 7 * (i % 2), 52, 55, 60):
            hz = 440.0 * 2.0 ** ((midi - 69) / 12.0)
            waves = [np.sin(2 * np.pi * k * hz * t + rng.uniform(0, 6)) for k in (1, 2, 3)]
            tone = sum(wave / k**1.5 for k, wave in enumerate(waves, 1))
            at = round(beat * 48_000)
            sound[at : at + len(t)] += 0.05 * np.exp(-t / 0.15) * tone
    sf.write(folder / "band.wav", sound, 48_000)
    times = tuple(round(float(beat), 3) for beat in beats)
    recording = DrillRecording("band.wav", times, first=-4, folder=str(folder))
    return replace(drill, recording=recording)


@on_time
def test_a_player_is_marked_along_with_a_band_from_the_loudspeaker(
    listener: Listener,
    pulse: Pulse,
    with_band: Drill,
    tmp_path: Path,
) -> None:
    plan = Plan(Harp.of("C"), PlayerSpec(faults=FAULTS), drill=with_band)
    path, save = tmp_path / "alone.flac", tmp_path / "take.flac"
    for file in (path, save):
        file.unlink(missing_ok=True)
    alone = list(run_take(replace(plan, save=path)))
    (expected,) = results(alone)
    (clock,) = (event.clock for event in alone if isinstance(event, PassStarted))
    assert isinstance(clock, BeatClock)
    performance = Performance(tmp_path, sf.read(path)[0], clock, expected)
    playing = CuedPerformance(pulse, performance)

    take = Take()
    source = MicrophoneSpec(clicks=False)
    listener.begin(replace(plan, source=source, save=save))
    take.follow(listener, playing.follow)
    playing.wait()
    assert any(isinstance(event, Notice) and "headphones" in str(event) for event in take.events)
    (live,) = results(take.events)
    apart_ms = check_begun(save, with_band, performance)
    assert [mark.measured.heard for mark in live.marks] == [
        mark.measured.heard for mark in expected.marks
    ]
    assert_in_time(live, expected, apart_ms, within_ms=40.0)
    off = [
        abs((a.measured.cents or 0.0) - (b.measured.cents or 0.0))
        for a, b in zip(live.marks, expected.marks, strict=True)
    ]
    assert np.median(off) < 1.0


class Watch:
    """Polls a listener and measures how long something took."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._came = 0.0
        self._events: deque[Event] = deque()

    def until(self, kind: type[Event], within: float = 10.0) -> tuple[float, Event]:
        """Return the next event of a kind and the age of the last readings in seconds.

        If the event is a notice, only readings that are not silent count.
        """
        end = time.monotonic() + within
        while time.monotonic() < end:
            self._events.extend(self._listener.poll())
            now = time.monotonic()
            while self._events:
                event = self._events.popleft()
                if isinstance(event, kind):
                    return now - self._came, event
                if isinstance(event, ReadingHeard) and (
                    kind is not Notice or event.reading.level_db > -120.0
                ):
                    self._came = now
            time.sleep(0.002)
        raise AssertionError(f"no {kind.__name__}")


def test_a_microphone_that_falls_silent_is_noticed_and_so_is_its_return(
    pulse: Pulse, listener: Listener
) -> None:
    listener.begin(Plan(Harp.of("C"), MicrophoneSpec(clicks=False)))
    watch = Watch(listener)
    with pulse.hiss():
        watch.until(PassStarted)
        with pytest.raises(AssertionError):
            watch.until(Notice, within=1.0)  # a live microphone is not silent
    noticed, event = watch.until(Notice)
    print(f"silence noticed after {noticed:.2f} s")
    assert noticed < 0.6
    assert event == Notice("the microphone is silent; is it muted or unplugged?")
    with pulse.hiss():
        assert watch.until(Notice)[1] == Notice("the microphone is back")
    listener.stop()
    watch.until(TakeFinished)


@pytest.mark.parametrize("how", ["unplugged, another input there", "asleep"])
def test_a_microphone_that_is_lost_is_waited_for_until_it_sounds_again(
    pulse: Pulse, listener: Listener, how: str
) -> None:
    listener.begin(Plan(Harp.of("C"), MicrophoneSpec(clicks=False)))
    watch = Watch(listener)
    watch.until(PassStarted)
    with pulse.hiss(), pytest.raises(AssertionError):
        watch.until(TakePaused, within=0.7)
    if how == "asleep":
        pulse.pactl("suspend-sink", "vmic", "1")
    else:
        pulse.pactl("load-module", "module-always-sink")
        pulse.pactl("unload-module", "module-null-sink")
    noticed, _ = watch.until(TakePaused)
    print(f"noticed after {noticed:.2f} s")
    assert noticed < 0.6
    with pytest.raises(AssertionError):
        watch.until(TakeResumed, within=2.5)  # the input that took its place is none
    if how == "asleep":
        pulse.pactl("suspend-sink", "vmic", "0")
    else:
        pulse.plug_in()
        pulse.pactl("unload-module", "module-always-sink")
    with pulse.hiss():
        watch.until(TakeResumed)
        watch.until(PassStarted)
        watch.until(ReadingHeard)
    listener.stop()
    watch.until(TakeFinished)


def test_a_listener_that_is_closed_saves_its_take(hearing: None, tmp_path: Path) -> None:
    listener = Listener()
    plan = Plan(Harp.of("C"), MicrophoneSpec(clicks=False), save=tmp_path / "take.flac")
    listener.begin(plan)
    wait_for_readings(listener)
    listener.close()
    assert sf.info(tmp_path / "take.flac").frames > 0


def test_a_listener_that_dies_is_reported(hearing: None) -> None:
    before = multiprocessing.active_children()
    listener = Listener()
    (process,) = [child for child in multiprocessing.active_children() if child not in before]
    plan = Plan(Harp.of("C"), MicrophoneSpec(clicks=False))
    listener.begin(plan)
    wait_for_readings(listener)
    process.kill()
    take = Take()
    take.follow(listener)
    (failed,) = [event for event in take.events if isinstance(event, TakeFailed)]
    assert failed.sentence.startswith("the listener has stopped, and a new")
    listener.begin(plan)
    wait_for_readings(listener)
    listener.close()


def wait_for_readings(listener: Listener) -> None:
    wait_until(
        lambda: any(isinstance(event, ReadingHeard) for event in listener.poll()),
        "a reading arrives",
    )
