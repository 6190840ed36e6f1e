"""The drill: one thing to practise, as steps on a grid of beats.

Conventions. Time inside a drill is counted in beats from the first beat of the first full
bar, as exact fractions; a beat is the note value under the meter's stroke. Pitches are tab
entries, never hertz: what a tab entry sounds like is the harp's business, so a drill moves to
another harp by holes without being rewritten.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from trainer.drill.errors import DrillError
from trainer.harp import Breath, Tab

Sound = tuple[Tab, ...]
"""What sounds at one moment: one tab entry, or several of one breath for a chord."""

GLIDE_REST = 0.25
"""Share of a glide that its first sound is held for, and likewise its last."""


def sound_text(sound: Sound) -> str:
    """A sound as it is written: one breath sign in front, holes joined with plus."""
    sign = "-" if sound[0].breath is Breath.DRAW else ""
    return sign + "+".join(str(tab).removeprefix("-") for tab in sound)


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to play.

    Attributes:
        index: place among the drill's steps, from 0; rests are not steps.
        sounds: the path of sounds. One sound is held; two or more are a glide through them in
            one breath (a bend let up, a scoop, a slide).
        at: beats from the first beat of the drill.
        beats: how long it lasts, in beats.
        bar: number of the bar it starts in, from 1.
        text: the token as it was written, such as ``-4'>-4:2``.
        line, column: where the token stands in its file, from 1; 0 if it came from no file.
    """

    index: int
    sounds: tuple[Sound, ...]
    at: Fraction
    beats: Fraction
    bar: int = 1
    text: str = ""
    line: int = 0
    column: int = 0

    @property
    def first(self) -> Sound:
        """The sound it starts on."""
        return self.sounds[0]

    @property
    def last(self) -> Sound:
        """The sound it ends on."""
        return self.sounds[-1]

    @property
    def is_glide(self) -> bool:
        """Whether the pitch is to move inside the step."""
        return len(self.sounds) > 1

    @property
    def is_chord(self) -> bool:
        """Whether more than one hole is meant to sound."""
        return len(self.sounds[0]) > 1

    @property
    def end(self) -> Fraction:
        """The beat on which it ends."""
        return self.at + self.beats

    @property
    def tab(self) -> str:
        """What to play, as tab without its length: ``-4'>-4``, ``4+5``."""
        return ">".join(sound_text(sound) for sound in self.sounds)

    def place(self, part: float) -> float:
        """Where along its path of sounds the step is meant to be.

        A glide rests on its first sound for a quarter of the step, arrives on the last a
        quarter before the end, and moves evenly between.

        Args:
            part: how much of the step is over, 0 to 1.

        Returns:
            0 on the first sound, 1 on the second, and so on, fractions between them.
        """
        moved = (part - GLIDE_REST) / (1.0 - 2.0 * GLIDE_REST)
        return min(max(moved, 0.0), 1.0) * (len(self.sounds) - 1)


@dataclass(frozen=True, slots=True)
class Goal:
    """What counts as good in a drill.

    Attributes:
        tolerance: cents off the target that still count as in tune, 1 to 50. The default of 10
            is common practice: a bend held within 10 cents sounds in tune.
        pass_mark: the total from which the drill counts as passed, 0 to 100.
    """

    tolerance: float = 10.0
    pass_mark: float = 80.0


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill, whole.

    Attributes:
        name: the file's name without its ending; how commands refer to it.
        title: one line for lists and the screen's head.
        about: what it trains, how it feels when right, what usually goes wrong.
        key: key of the harp it is written for, as in :func:`trainer.harp.parse_key`.
        tuning: name of the harp's tuning.
        tempo: beats a minute.
        meter: beats in a bar and the note value of a beat, ``(4, 4)``.
        goal: what counts as good.
        steps: the things to play, in order.
        beats: length of the whole, closing rests included.
        skills: what it trains, the main one first; lists are grouped by that one.
        level: how far along the course it comes, 1 for a first lesson to 9.
    """

    name: str
    title: str
    about: str
    key: str
    tuning: str
    tempo: float
    meter: tuple[int, int]
    goal: Goal
    steps: tuple[Step, ...]
    beats: Fraction
    skills: tuple[str, ...] = field(default=())
    level: int = 1

    @property
    def bars(self) -> int:
        """How many bars it fills."""
        return -(-self.beats // self.meter[0])

    @property
    def seconds(self) -> float:
        """How long it lasts at its own tempo, without count-in."""
        return float(self.beats) * 60.0 / self.tempo

    def step_range(self, first_bar: int, last_bar: int) -> range:
        """Indices of the steps that start in a range of bars, both included.

        Raises:
            DrillError: it has no such bars, or nothing is played in them.
        """
        if not 1 <= first_bar <= last_bar <= self.bars:
            raise DrillError(
                f"{self.name} has bars 1 to {self.bars}; bars {first_bar} to {last_bar} are not "
                "among them"
            )
        inside = [step.index for step in self.steps if first_bar <= step.bar <= last_bar]
        if not inside:
            raise DrillError(
                f"nothing is played in bars {first_bar} to {last_bar} of {self.name}; take a "
                "wider range"
            )
        return range(inside[0], inside[-1] + 1)
