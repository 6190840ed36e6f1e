"""A practice plan on one page: slowly first, then at speed.

Each section by itself, then the whole: first at a tempo at which every note can be heard before it
is played, then faster step by step (common practice). A drill with a free clock has no tempo, and
its plan has the sections alone.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from trainer.drill import Drill, Section
from trainer.report.formatting import bars_text


@dataclass(frozen=True, slots=True)
class PracticePlanParameters:
    """Constants of the plan (common practice, chosen by hand).

    Attributes:
        section_ratios: tempi of a section, relative to the drill's.
        whole_ratios: tempi of the whole after its sections.
        only_ratios: tempi of the whole where it has no sections.
        passes: good passes in a row before the next step.
        min_tempo: slowest tempo in beats per minute: below it, beats are hard to feel.
    """

    section_ratios: tuple[float, ...] = (0.6, 0.8, 1.0)
    whole_ratios: tuple[float, ...] = (0.8, 0.9, 1.0)
    only_ratios: tuple[float, ...] = (0.6, 0.7, 0.8, 0.9, 1.0)
    passes: int = 2
    min_tempo: float = 30.0


PRACTICE_PLAN = PracticePlanParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class PlanStep:
    """A step of a practice plan.

    Attributes:
        part: what to play: ``verse, bars 1-4`` or ``the whole``.
        tempi: beats per minute to pass at, one after another, as text; empty under a free clock.
        remarks: the teacher's words on it.
        command: the command that plays it at the first of them.
    """

    part: str
    tempi: tuple[str, ...]
    remarks: tuple[str, ...]
    command: str


@dataclass(frozen=True, slots=True)
class PracticePlan:
    """A practice plan.

    Attributes:
        rule: when to go on, in a sentence.
        steps: the steps, in order.
    """

    rule: str
    steps: tuple[PlanStep, ...]


def practice_plan(drill: Drill) -> PracticePlan:
    """Return the plan of a drill: its sections from slow to fast, then the whole."""
    p = PRACTICE_PLAN
    steps = [
        PlanStep(
            f"{section.name}, {bars_text(section.bars)}",
            _tempi(drill, p.section_ratios),
            _remarks(drill, [section]),
            _command(drill, p.section_ratios, section),
        )
        for section in drill.sections
    ]
    ratios = p.whole_ratios if steps else p.only_ratios
    in_sections = _remarks(drill, drill.sections)
    others = tuple(text for text in _remarks(drill, None) if text not in in_sections)
    steps.append(PlanStep("the whole", _tempi(drill, ratios), others, _command(drill, ratios)))
    good = f"{p.passes} passes in a row with {drill.goal.pass_mark:g} or more"
    back = "." if drill.free else "; after two misses, go back a tempo."
    return PracticePlan(f"Go on after {good}{back}", tuple(steps))


def practice_plan_lines(drill: Drill) -> Iterator[str]:
    """Yield the plan as lines of text."""
    plan = practice_plan(drill)
    yield f"Slowly first, then at speed. {plan.rule}"
    for number, step in enumerate(plan.steps, start=1):
        tempi = f": {', '.join(step.tempi)} beats a minute" if step.tempi else ""
        yield f"{number}. {step.part}{tempi}"
        yield from (f"   {remark}" for remark in step.remarks)
        yield f"   {step.command}"


def _tempi(drill: Drill, ratios: Sequence[float]) -> tuple[str, ...]:
    """Return the tempi as text; of a drill that gets faster, those at its two ends."""
    if drill.free:
        return ()
    tempi = []
    for ratio in ratios:
        tempo = _tempo(drill, ratio)
        change = drill.tempo_change
        to = "" if change is None else f" to {round(tempo * change.ratio)}"
        tempi.append(f"{tempo}{to}")
    return tuple(dict.fromkeys(tempi))


def _tempo(drill: Drill, ratio: float) -> int:
    slowest = min(PRACTICE_PLAN.min_tempo, drill.tempo)
    return round(max(slowest, ratio * drill.tempo))


def _command(drill: Drill, ratios: Sequence[float], section: Section | None = None) -> str:
    """Return the command that plays a section in a loop, or the whole, at the first tempo."""
    words = ["trainer", "play", drill.name]
    if section is not None:
        words += ["--bars", section.name, "--loop"]
    if not drill.free:
        words += ["--tempo", f"{_tempo(drill, ratios[0])}"]
    return shlex.join(words)


def _remarks(drill: Drill, sections: Sequence[Section] | None) -> tuple[str, ...]:
    """Return the remarks on the bars of some sections; on all bars for None."""
    return tuple(
        f"{remark.place[0].upper()}{remark.place[1:]}: {remark.text}"
        for remark in drill.remarks
        if sections is None
        or any(section.first <= remark.bar <= section.last for section in sections)
    )
