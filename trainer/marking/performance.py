"""What is known of a performance without a click, beside its marks."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.drill import Drill, Step, TempoCurve


@dataclass(frozen=True, slots=True)
class Remark:
    """A fact about a performance that no single step's mark states.

    Attributes:
        kind: ``tempo``, ``drift``, ``stop``, ``rest``, ``back``, ``repeat``, ``skip``,
            ``false start``, ``tries`` or ``tuning``.
        sentence: what it is, in words for a player.
        start, end: first sample that it concerns, and the first after the last.
        step: index of the step at which it happened; None where it concerns the whole.
        size: beats per minute for a tempo, beats per minute gained for a drift, seconds for a stop
            or a rest, cents for a tuning; a number of steps or tries for the others.
    """

    kind: str
    sentence: str
    start: int
    end: int
    step: int | None = None
    size: float | None = None


@dataclass(frozen=True, slots=True)
class Try:
    """A try at a drill, whole or broken off.

    Attributes:
        start, end: first sample of its first note, and the first after its last.
        first, last: indices of the first and the last step that were played.
        steps: number of different steps that were played.
        is_pass: whether enough was played for it to be marked as a pass.
    """

    start: int
    end: int
    first: int
    last: int
    steps: int
    is_pass: bool


@dataclass(frozen=True, slots=True)
class Performance:
    """How a pass without a click was played.

    Attributes:
        curve: the player's own beats.
        asked_tempo: tempo that was asked for, in beats per minute.
        remarks: facts about it and about the recording, the most important first.
        tries: all tries in the recording, in order.
        skipped: indices of the steps that the player left out and lost no time by.
        left_out: first and last sample of each span that does not count: what was played again,
            and what was played while the drill stood still.
    """

    curve: TempoCurve
    asked_tempo: float
    remarks: tuple[Remark, ...] = ()
    tries: tuple[Try, ...] = ()
    skipped: frozenset[int] = frozenset()
    left_out: tuple[tuple[int, int], ...] = ()

    def counts(self, sample: int) -> bool:
        """Whether what sounds at a sample counts."""
        return not any(start <= sample < end for start, end in self.left_out)


def describe_place(step: Step, drill: Drill) -> str:
    """Where a step is: ``bar 3`` for the first of its bar, else ``bar 3, beat 2``."""
    bar = f"bar {step.bar}" if step.bar else "the pick-up"
    before = drill.steps[step.index - 1] if step.index else None
    if before is None or before.bar != step.bar:
        return bar
    return f"{bar}, beat {float(step.start - drill.first_beat(step.bar)) + 1.0:g}"


def describe_passage(first: Step, last: Step, drill: Drill) -> str:
    """The steps from one to another: ``bar 3``, ``bars 3 to 5`` or ``steps 7 to 9``."""
    begins_bar = first.index == 0 or drill.steps[first.index - 1].bar != first.bar
    is_last = last.index == len(drill.steps) - 1
    ends_bar = is_last or drill.steps[last.index + 1].bar != last.bar
    if not (begins_bar and ends_bar):
        if first.index == last.index:
            return f"step {first.index + 1}"
        return f"steps {first.index + 1} to {last.index + 1}"
    if first.bar == last.bar:
        return f"bar {first.bar}" if first.bar else "the pick-up"
    if first.bar == 0:
        return f"the beginning to bar {last.bar}"
    return f"bars {first.bar} to {last.bar}"
