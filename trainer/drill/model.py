"""The drill: one thing to practise, as steps on a grid of beats.

Conventions. Time inside a drill is counted in beats from the first beat of the first full
bar, as exact fractions; a beat is the note value under the meter's stroke. What comes before it,
a pick-up, has negative beats and lies in bar 0. Repeats are written out: steps and bars are
counted as they are played. Pitches are tab entries and cents from them, never hertz: what a tab
entry sounds like is the harp's business, so a drill moves to another harp by holes without being
rewritten.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction

from trainer.drill.errors import DrillError
from trainer.harp import Breath, Tab

Sound = tuple[Tab, ...]
"""What sounds at one moment: one tab entry, or several of one breath for a chord."""

GLIDE_REST_FRACTION = 0.25
"""Share of a glide that its first sound is held for, and likewise its last."""
RUNG_MOVE_FRACTION = 0.25
"""Share of a ladder's rung that the way to the next one takes."""

DEFAULT_WEIGHTS: Mapping[str, float] = {
    "pitch": 40.0,
    "steadiness": 15.0,
    "attack": 15.0,
    "motion": 15.0,
    "cleanness": 15.0,
    "time": 15.0,
}
"""The parts of a step's mark, in the order in which they are shown, and how much each counts
unless the drill says otherwise."""
CRITERIA = tuple(DEFAULT_WEIGHTS)


def format_sound(sound: Sound, off: float = 0.0) -> str:
    """A sound as it is written: one breath sign in front, holes joined with plus, and cents."""
    sign = "-" if sound[0].breath is Breath.DRAW else ""
    holes = sign + "+".join(str(tab).removeprefix("-") for tab in sound)
    return f"{holes}@{off:+g}" if off else holes


class CleannessRule(StrEnum):
    """How clean a step is meant to be."""

    PLAIN = "plain"
    """Cleanness counts by its weight."""
    CLEAN = "clean"
    """It must be clean: a step earns no more than its cleanness."""
    LOOSE = "loose"
    """A neighbour may sound along."""
    CHORD = "chord"
    """At least one hole beside it must sound along."""


@dataclass(frozen=True, slots=True)
class Vibrato:
    """A swing of the pitch that is asked for.

    Attributes:
        hz: cycles a second, 3 to 9.
        cents: to each side of the note, 3 to 100.
    """

    hz: float = 5.0
    cents: float = 20.0


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to play.

    Attributes:
        index: place among the drill's steps, from 0; rests are not steps.
        sounds: the path of sounds. One sound is held; two or more are a glide through them in
            one breath (a bend let up, a scoop, a slide), or the rungs of a ladder.
        start: beats from the first beat of the first full bar.
        beats: how long it lasts, in beats.
        bar: number of the bar it starts in, from 1; 0 in a pick-up.
        text: the token as it was written, such as ``-4'>-4:2``.
        line, column: where the token stands in its file, from 1; 0 if it came from no file.
        offsets_cents: target of each sound relative to its tab entry, in cents, -100 to 100;
            empty where all are 0.
        alternative: another entry of the same pitch that will do as well.
        ladder: whether each sound is held for an equal time, without a glide between.
        cleanness_rule: how clean it is meant to be.
        vibrato: the vibrato that is asked for.
        wah_hz: hand wahs a second; 0 for none.
        call: whether the trainer plays it, for the player to answer.
    """

    index: int
    sounds: tuple[Sound, ...]
    start: Fraction
    beats: Fraction
    bar: int = 1
    text: str = field(default="", compare=False)
    line: int = field(default=0, compare=False)
    column: int = field(default=0, compare=False)
    offsets_cents: tuple[float, ...] = ()
    alternative: Tab | None = None
    ladder: bool = False
    cleanness_rule: CleannessRule = CleannessRule.PLAIN
    vibrato: Vibrato | None = None
    wah_hz: float = 0.0
    call: bool = False

    @property
    def first(self) -> Sound:
        """The sound it starts on."""
        return self.sounds[0]

    @property
    def last(self) -> Sound:
        """The sound it ends on."""
        return self.sounds[-1]

    def offset_cents(self, place: int) -> float:
        """Cents of a sound's target from its tab entry's."""
        return self.offsets_cents[place] if self.offsets_cents else 0.0

    @property
    def is_glide(self) -> bool:
        """Whether the pitch is to move from sound to sound, without stopping between."""
        return len(self.sounds) > 1 and not self.ladder

    @property
    def has_path(self) -> bool:
        """Whether it is a glide or a ladder."""
        return len(self.sounds) > 1

    @property
    def is_chord(self) -> bool:
        """Whether more than one hole is meant to sound."""
        return len(self.sounds[0]) > 1

    @property
    def end(self) -> Fraction:
        """The beat on which it ends."""
        return self.start + self.beats

    @property
    def tabs(self) -> tuple[Tab, ...]:
        """Every tab entry in it, once."""
        found = [tab for sound in self.sounds for tab in sound]
        return tuple(dict.fromkeys([*found, *([self.alternative] if self.alternative else [])]))

    @property
    def tab(self) -> str:
        """What to play, as tab without its length: ``-4'>-4``, ``4+5``, ``-2/3``."""
        sign = "=" if self.ladder else ">"
        path = sign.join(
            format_sound(sound, self.offset_cents(i)) for i, sound in enumerate(self.sounds)
        )
        return f"{path}/{self.alternative}" if self.alternative else path

    def path_position(self, part: float) -> float:
        """Where along its path of sounds the step is meant to be.

        A glide rests on its first sound for a quarter of the step, arrives on the last a
        quarter before the end, and moves evenly between. The rungs of a ladder are of equal
        length, and the way from one to the next takes a quarter of that.

        Args:
            part: how much of the step is over, 0 to 1.

        Returns:
            0 on the first sound, 1 on the second, and so on, fractions between them.
        """
        last = len(self.sounds) - 1
        if self.ladder:
            rung, over = divmod(min(max(part * (last + 1) - 0.5, 0.0), float(last)), 1.0)
            return rung + min(max((over - 0.5) / RUNG_MOVE_FRACTION + 0.5, 0.0), 1.0)
        moved = (part - GLIDE_REST_FRACTION) / (1.0 - 2.0 * GLIDE_REST_FRACTION)
        return min(max(moved, 0.0), 1.0) * last

    def rest_interval(self, place: int) -> tuple[float, float]:
        """The parts of the step, 0 to 1, between which it rests on one of its sounds.

        A glide does not stop on the way: those of a sound between are a moment.
        """
        count = len(self.sounds)
        if count == 1:
            return 0.0, 1.0
        if self.ladder:
            half = 0.5 * RUNG_MOVE_FRACTION / count
            return (
                place / count + (half if place else 0.0),
                (place + 1) / count - (half if place < count - 1 else 0.0),
            )
        pace = (1.0 - 2.0 * GLIDE_REST_FRACTION) / (count - 1)
        at = GLIDE_REST_FRACTION + place * pace
        return 0.0 if place == 0 else at, 1.0 if place == count - 1 else at


@dataclass(frozen=True, slots=True)
class Goal:
    """What counts as good in a drill.

    Attributes:
        tolerance: cents off the target that still count as in tune, 1 to 50. The default of 10
            is common practice: a bend held within 10 cents sounds in tune.
        pass_mark: the total from which the drill counts as passed, 0 to 100.
        hold: seconds that each step must be held in tune where the clock is free, 0.1 to 10.
        weights: how much each of `CRITERIA` counts, 0 to 100.
    """

    tolerance: float = 10.0
    pass_mark: float = 80.0
    hold: float = 0.5
    weights: Mapping[str, float] = field(default_factory=lambda: DEFAULT_WEIGHTS, hash=False)


@dataclass(frozen=True, slots=True)
class Climb:
    """A tempo that climbs while the drill is looped, and steps back after a pass that fails.

    Attributes:
        by: beats a minute of a step up or back.
        after: how many passes in a row must be good for a step up.
        to: the tempo at which it stops; never under the drill's own.
    """

    by: float
    to: float
    after: int = 2


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
        end: the beat on which the whole ends, closing rests included.
        skills: what it trains, the main one first; lists are grouped by that one.
        level: how far along the course it comes, 1 for a first lesson to 9.
        start: the beat on which it begins: 0, or negative with a pick-up.
        swing: how much longer the first half of a beat lasts than the second, 1 to 3.
        free: whether there is no beat, and each step waits until it has been held in tune.
        loop: bars, first and last, that are played again and again; None plays all once.
        climb: how the tempo changes from pass to pass.
        second: steps of the other part, if there are two.
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
    end: Fraction
    skills: tuple[str, ...] = field(default=())
    level: int = 1
    start: Fraction = Fraction(0)
    swing: float = 1.0
    free: bool = False
    loop: tuple[int, int] | None = None
    climb: Climb | None = None
    second: tuple[Step, ...] = ()

    @property
    def bars(self) -> int:
        """How many full bars it fills."""
        return max(1, math.ceil(self.end / self.meter[0]))

    @property
    def seconds(self) -> float:
        """How long it lasts at its own tempo, without count-in."""
        return float(self.end - self.start) * 60.0 / self.tempo

    def part(self, number: int) -> Drill:
        """The drill with one of its parts to be played, and the other beside it.

        Args:
            number: 1 for the first part, which is the drill itself; 2 for the second.

        Raises:
            DrillError: it has no such part.
        """
        if number == 1:
            return self
        if number != 2 or not self.second:
            raise DrillError(f"{self.name} has no part {number}; it has {1 + bool(self.second)}")
        return replace(self, name=f"{self.name}, part 2", steps=self.second, second=self.steps)

    def first_beat(self, bar: int) -> Fraction:
        """The beat on which a bar begins; that of bar 0 is the pick-up's."""
        return self.start if bar == 0 else Fraction((bar - 1) * self.meter[0])

    def entry_beat(self, bar: int) -> int:
        """The beat that the count-in leads to when a bar is entered: a whole one, at or before
        the bar's first; before bar 1 its pick-up's."""
        return math.floor(self.first_beat(0 if bar <= 1 else bar))

    def count_in_beats(self, bar: int) -> int:
        """Beats of count-in before a bar is entered: a bar, and what a pick-up leaves of its own
        (common practice)."""
        meter = self.meter[0]
        return meter + self.entry_beat(bar) % meter

    def step_range(self, first_bar: int, last_bar: int) -> range:
        """Indices of the steps that start in a range of bars, both included.

        A pick-up belongs to bar 1.

        Raises:
            DrillError: it has no such bars, or the player has nothing to play in them.
        """
        if not 1 <= first_bar <= last_bar <= self.bars:
            raise DrillError(
                f"{self.name} has bars 1 to {self.bars}; bars {first_bar} to {last_bar} are not "
                "among them"
            )
        inside = [step for step in self.steps if first_bar <= max(1, step.bar) <= last_bar]
        if all(step.call for step in inside):
            raise DrillError(
                f"nothing is played in bars {first_bar} to {last_bar} of {self.name}; take a "
                "wider range"
            )
        return range(inside[0].index, inside[-1].index + 1)
