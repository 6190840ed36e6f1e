"""A take as lines of plain text, for screen readers, pipes and logs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from trainer.drill import CleannessRule, Step
from trainer.practice import (
    BeatReached,
    Event,
    LoopStarted,
    NoteEnded,
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
)
from trainer.report.heard_report import heard_note_text
from trainer.report.result_report import mark_line, result_text
from trainer.sound.passage import Passage


def plan_phrases(plan: Plan, tempo: float) -> tuple[str, ...]:
    """What is played on which harp, how fast and what of it, each a few words; the screen's head
    and the plain lines both say it.

    Args:
        plan: what is played.
        tempo: beats a minute.
    """
    drill = plan.drill
    if drill is None:
        return (f"{plan.harp.name} harp",)
    own = f" (own {drill.tempo:g})" if tempo != drill.tempo else ""
    words = [f"{plan.harp.name} harp", "no beat" if drill.free else f"tempo {tempo:g}{own}"]
    if plan.played_bars:
        words.append("bars {} to {}".format(*plan.played_bars))
    words.append("loop on" if plan.loops else "loop off")
    if plan.loops and plan.ladder:
        words.append(f"climbing to {plan.ladder.to:g}")
    return tuple(words)


def passage_text(passage: Passage) -> str:
    """A passage and how it is heard, in a sentence."""
    moved = passage.half_steps
    pitch = f", {abs(moved):g} half steps {'up' if moved > 0 else 'down'}" if moved else ""
    counted = f", after {passage.count_in} beats" if passage.count_in else ""
    return (
        f"Looping {passage.first:.2f} to {passage.last:.2f} s of {passage.path.name} at "
        f"{100.0 * passage.speed:.0f} %{pitch}{counted}."
    )


class TakeLines:
    """Turns the events of one take into lines, one for each thing that a player would want to
    be told; readings are not.

    Args:
        plan: what is played.
        width: cells of a line.
    """

    def __init__(self, plan: Plan, width: int = 80) -> None:
        self._plan = plan
        self._width = width
        self._count_in = 0
        self._entry = 0
        self._steps = range(0)
        self._about: tuple[str, ...] = ()
        self._marked: set[int] = set()

    def lines(self, event: Event) -> list[str]:
        """The lines that an event is worth; none for most."""
        match event:
            case ReadingHeard():
                return []
            case NoteEnded(note):
                return heard_note_text(note).splitlines()
            case BeatReached(number):
                return [*self._beat(number)]
            case StepMarked(mark):
                again = mark.step.index in self._marked
                self._marked.add(mark.step.index)
                told = mark_line(mark) + (" (marked anew)" if again else "")
                return [told, *self._next(mark.step.index + 1)]
            case PassStarted():
                return [*self._start(event)]
            case PassEnded(result):
                return ["", *result_text(result, self._width).splitlines()]
            case TakePaused(sentence, None):
                return [f"Paused: {sentence}"]
            case TakePaused(bar=bar):
                return [f"Paused; on from bar {bar}."]
            case LoopStarted(passage):
                return [passage_text(passage)]
            case TakeResumed():
                return ["On with what is left."]
            case Notice(sentence):
                return [f"Note: {sentence}"]
            case TakeFailed(sentence):
                return [f"Stopped: {sentence}"]
            case TakeFinished(saved):
                return [f"The sound is kept in {saved}."] if saved else []

    def _start(self, started: PassStarted) -> Iterator[str]:
        plan, drill, first, last = self._plan, self._plan.drill, started.first, started.last
        self._count_in = 0
        self._marked.clear()
        self._steps = range(first, last)
        said = plan_phrases(plan, started.clock.tempo if started.clock else plan.first_tempo)
        if said != self._about:
            yield from self._wrapped(f"{drill.title if drill else 'No drill'}: {', '.join(said)}.")
            self._about = said
        listening = f"Listening to {started.source}"
        if drill is None or last == 0:
            yield f"{listening}."
        elif started.clock is None:
            yield f"{listening}: each step waits until it is held in tune."
            yield from self._next(first)
        else:
            self._entry = drill.entry_beat(plan.entry_bar(first))
            heard = "with a click" if started.clicks else "silent"
            steps = f"steps {first + 1} to {last}" if last - first != 1 else f"step {last}"
            yield f"{listening}: {steps}, count-in {heard}."

    def _beat(self, number: int) -> Iterator[str]:
        """Each beat of the count-in, and each bar by what is to be played in it."""
        self._count_in = max(self._count_in, -number)
        drill = self._plan.drill
        if number < 0:
            yield f"count-in {self._count_in + number + 1} of {self._count_in}"
        if number < 0 or drill is None:
            return
        beat = self._entry + number
        bar = max(beat // drill.meter[0] + 1, 0)
        if number and beat % drill.meter[0]:
            return
        steps = [drill.steps[i] for i in self._steps if drill.steps[i].bar == bar]
        played = ", ".join(map(_asked, steps)) or "nothing begins"
        where = f"bar {bar} of {drill.bars}" if bar else "pick-up"
        yield from self._wrapped(f"{where}: {played}")

    def _next(self, index: int) -> Iterator[str]:
        """Where the clock is free, what is waited for."""
        drill = self._plan.drill
        if drill and drill.free and index in self._steps:
            yield f"next: {_asked(drill.steps[index])}"

    def _wrapped(self, line: str) -> list[str]:
        return textwrap.wrap(line, self._width, subsequent_indent="  ", break_on_hyphens=False)


def _asked(step: Step) -> str:
    words = [step.tab]
    if step.cleanness_rule is not CleannessRule.PLAIN:
        words.append(f"({step.cleanness_rule.value})")
    if step.call:
        words.append("(the trainer plays)")
    return " ".join(words)
