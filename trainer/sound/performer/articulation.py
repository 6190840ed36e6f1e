"""The articulation of a step: when it stops sounding, and what sounds with its attack."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.drill import Articulation, Step
from trainer.harp import Tab
from trainer.sound.performer.fault import Fault


@dataclass(frozen=True, slots=True)
class ArticulationParameters:
    """Constants of articulation. Chosen unless stated otherwise."""

    gap_s: float = 0.06
    """Time between a step's end and the next onset, in seconds."""
    min_part: float = 0.5
    """Shortest duration of a step, relative to its written length."""
    min_path_part: float = 0.9
    """The same for a step that moves: a glide or a ladder."""
    staccato_part: float = 0.4
    """Duration of a staccato step, relative to its written length: at most half (common
    practice)."""
    min_staccato_s: float = 0.08
    """Shortest duration of a staccato step, in seconds."""
    slap_s: float = 0.05
    """Time for which the chord of a slap sounds, in seconds (common practice)."""
    slap_holes: int = 2
    """Holes below the note that sound in a slap."""


PARAMETERS = ArticulationParameters()


@dataclass(frozen=True, slots=True)
class TimedStep:
    """A step as a performer times it.

    Attributes:
        step, fault: what is played, and wrong in which way.
        begin: sample at which it or its grace note starts.
        onset: sample at which it starts.
        end: sample at which it ends as written.
        length: its written length in samples.
    """

    step: Step
    fault: Fault
    begin: int
    onset: int
    end: int
    length: int


def sounding_end(played: TimedStep, following: TimedStep | None, rate: int) -> int:
    """Return the sample at which a step stops sounding.

    Args:
        played: the step.
        following: the next one; None for none.
        rate: samples per second.
    """
    step, fault, onset, length = played.step, played.fault, played.onset, played.length
    until = min(played.end, following.begin) if following else played.end
    gap = round(PARAMETERS.gap_s * rate)
    if following and following.fault.run_on:
        return following.begin
    if fault.held is not None:
        return onset + round(fault.held * length)
    if fault.gap_ms is not None:
        return until - round(fault.gap_ms * rate / 1000.0)
    if step.articulation is Articulation.STACCATO:
        least = round(PARAMETERS.min_staccato_s * rate)
        return min(onset + max(round(PARAMETERS.staccato_part * length), least), until - gap)
    if step.articulation is Articulation.LEGATO and following and step.leads_into(following.step):
        return until
    least_part = PARAMETERS.min_path_part if step.has_path else PARAMETERS.min_part
    return max(until - gap, onset + round(least_part * length))


def slap_holes(step: Step) -> tuple[Tab, ...]:
    """Return what sounds in a slap until the tongue covers it: up to two holes below the note."""
    tab = step.first[0]
    lowest = max(1, tab.hole - PARAMETERS.slap_holes)
    return tuple(Tab(hole, tab.breath) for hole in range(lowest, tab.hole))
