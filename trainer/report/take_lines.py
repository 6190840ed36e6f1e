"""A take as lines of plain text, for screen readers, pipes and logs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from trainer.core.quantities import quantity_text
from trainer.drill import Drill, Step, step_directions
from trainer.marking import SoloMark
from trainer.practice import (
    BeatReached,
    Event,
    LoopStarted,
    NoteEnded,
    Notice,
    PassEnded,
    PassStarted,
    Plan,
    PositionChanged,
    ReadingHeard,
    SavingProgress,
    SilenceEnded,
    SoloMarked,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
    WaitStarted,
)
from trainer.report.directions import written_tab
from trainer.report.formatting import WIDTH, bars_text
from trainer.report.heard_report import heard_note_text
from trainer.report.result_report import mark_line, result_text
from trainer.report.solo_report import solo_lines
from trainer.sound import Passage


def plan_phrases(plan: Plan, tempo: float) -> tuple[str, ...]:
    """Return harp, tempo, bars and loop of a take, each in a few words.

    The head of the screen and the plain lines both show it.

    Args:
        plan: of the take.
        tempo: current tempo in beats per minute.
    """
    drill = plan.drill
    if drill is None:
        return (f"{plan.harp.name} harp",)
    own = f" (own {drill.tempo:g})" if tempo != drill.tempo else ""
    change = drill.tempo_change
    to = f" to {tempo * change.ratio:.4g}" if change else ""
    phrases = [f"{plan.harp.name} harp", "no beat" if drill.free else f"tempo {tempo:g}{to}{own}"]
    if drill.tightening or plan.tolerance is not None:
        phrases.append(f"±{drill.goal.tolerance:g}")
    if plan.played_bars:
        names = [part.name for part in drill.sections if part.bars == plan.played_bars]
        phrases.append(", ".join([*names, bars_text(plan.played_bars)]))
    if drill.recording and drill.recording.fade_db:
        phrases.append(f"recorded harp -{drill.recording.fade_db:g} dB")
    if plan.follows:
        phrases.append("in your own time")
    elif plan.hands_free is None:
        phrases.append("loop on" if plan.loops else "loop off")
    else:
        phrases.append("hands-free")
    if plan.loops and plan.ladder:
        phrases.append(f"climbing to {plan.ladder.to:g}")
    return tuple(phrases)


def passage_text(passage: Passage) -> str:
    """Return a looped passage and how it is played, in a sentence."""
    shift = passage.half_steps
    side = "up" if shift > 0 else "down"
    pitch = f", {quantity_text(abs(shift), 'half step')} {side}" if shift else ""
    count_in = f", after {quantity_text(passage.count_in, 'beat')}" if passage.count_in else ""
    return (
        f"Looping {passage.first:.2f} to {passage.last:.2f} s of {passage.path.name} at "
        f"{100.0 * passage.speed:.0f} %{pitch}{count_in}."
    )


def saving_text(fraction: float) -> str:
    """Return how much of the sound of a take is saved, 0 to 1, as a line."""
    return f"saving the audio: {fraction:.0%}"


class TakeLines:
    """Turns the events of a take into lines; readings have none.

    Args:
        plan: of the take.
        width: line width in columns.
    """

    def __init__(self, plan: Plan, width: int = WIDTH) -> None:
        self._plan = plan
        self._width = width
        self._count_in = 0
        self._entry = 0
        self._steps = range(0)
        self._about: tuple[str, ...] = ()
        self._marked: set[int] = set()

    def lines(self, event: Event) -> list[str]:
        """Return the lines for an event; many have none."""
        match event:
            case ReadingHeard() | PositionChanged():
                return []
            case NoteEnded(note):
                return heard_note_text(note).splitlines()
            case BeatReached(number):
                return [*self._beat(number)]
            case SoloMarked(mark):
                return self._solo(mark)
            case StepMarked(mark):
                is_update = mark.step.index in self._marked
                self._marked.add(mark.step.index)
                line = mark_line(mark) + (" (marked again)" if is_update else "")
                return [line, *self._next(mark.step.index + 1)]
            case PassStarted():
                return [*self._start(event)]
            case PassEnded(result):
                return ["", *result_text(result, self._width).splitlines()]
            case TakePaused(sentence, None):
                return [f"Paused: {sentence}"]
            case TakePaused(bar=bar):
                return [f"Paused; resumes at bar {bar}."]
            case WaitStarted(_, armed):
                return ["Play a note to start."] if armed else []
            case SilenceEnded():
                return ["Stopped after a minute of silence."]
            case LoopStarted(passage):
                return [passage_text(passage)]
            case TakeResumed():
                return ["Resuming."]
            case Notice(sentence):
                return [f"Note: {sentence}"]
            case TakeFailed(sentence):
                return [f"Stopped: {sentence}"]
            case SavingProgress(fraction):
                return [saving_text(fraction)]
            case TakeFinished(saved):
                return [f"The audio is saved in {saved}."] if saved else []

    def _solo(self, mark: SoloMark) -> list[str]:
        assert self._plan.drill is not None
        return solo_lines(mark, self._plan.drill)

    def _start(self, started: PassStarted) -> Iterator[str]:
        plan, drill, first, last = self._plan, self._plan.drill, started.first, started.last
        self._count_in = 0
        self._marked.clear()
        self._steps = range(first, last)
        phrases = plan_phrases(plan, started.clock.tempo if started.clock else plan.first_tempo)
        if phrases != self._about:
            yield from self._wrapped(
                f"{drill.title if drill else 'No drill'}: {', '.join(phrases)}."
            )
            self._about = phrases
        listening = f"Listening to {started.source}"
        if drill is None or last == 0:
            yield f"{listening}."
        elif plan.follows:
            yield f"{listening}: play in your own time; you are followed."
        elif started.clock is None:
            yield f"{listening}: each step waits until it is held in tune."
            yield from self._next(first)
        else:
            self._entry = drill.entry_beat(plan.entry_bar(first))
            sound = "with a click" if started.clicks else "silent"
            steps = f"steps {first + 1} to {last}" if last - first != 1 else f"step {last}"
            yield f"{listening}: {steps}, count-in {sound}."

    def _beat(self, number: int) -> Iterator[str]:
        """Yield a line for each beat of the count-in, and for each bar with its steps."""
        self._count_in = max(self._count_in, -number)
        drill = self._plan.drill
        if number < 0:
            yield f"count-in {self._count_in + number + 1} of {self._count_in}"
        if number < 0 or drill is None:
            return
        beat = self._entry + number
        bar = max(beat // drill.meter[0] + 1, 0)
        if bar > drill.bars or (number and beat % drill.meter[0]):
            return
        steps = [drill.steps[i] for i in self._steps if drill.steps[i].bar == bar]
        words = [*map(_step_text, steps), *(solo_words(drill, bar))]
        names = ", ".join(words) or "nothing begins"
        place = f"bar {bar} of {drill.bars}" if bar else "pick-up"
        yield from self._wrapped(f"{place}: {names}")

    def _next(self, index: int) -> Iterator[str]:
        """Yield the next step if the clock is free."""
        drill = self._plan.drill
        if drill and drill.free and index in self._steps:
            yield f"next: {_step_text(drill.steps[index])}"

    def _wrapped(self, line: str) -> list[str]:
        return textwrap.wrap(line, self._width, subsequent_indent="  ", break_on_hyphens=False)


def solo_words(drill: Drill, bar: int) -> Iterator[str]:
    """Yield what a bar asks of a soloist: that it is theirs, and its chords."""
    first = (bar - 1) * drill.meter[0]
    last = first + drill.meter[0]
    if any(solo.start < last and solo.end > first for solo in drill.solos):
        yield "solo"
    chords = [each.chord.in_key for each in drill.chords if first <= each.start < last]
    if chords:
        yield f"over {' '.join(chords)}"


def _step_text(step: Step) -> str:
    """Return a step's tab and directions."""
    words = [written_tab(step)]
    if directions := step_directions(step):
        words.append(f"({', '.join(directions)})")
    if step.call:
        words.append("(the trainer plays)")
    return " ".join(words)
