"""The drill: an exercise as steps on a grid of beats.

Conventions. Time is counted in beats from the first beat of the first full bar, as exact fractions;
a beat is the note value in the meter's denominator. A pick-up has negative beats and is bar 0.
Repeats are expanded: steps and bars are counted as played. Pitches are tab entries and cents
relative to them, never hertz, so that a drill moves to another harp by holes unchanged.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING

from trainer.drill.clock import BeatClock, TempoChange, TempoMap
from trainer.drill.errors import DrillError
from trainer.drill.recording import DrillRecording
from trainer.drill.solo import Ground, GroundChord, Solo, SoloBrief
from trainer.harp import Breath, Tab

if TYPE_CHECKING:
    from trainer.drill.aim import Aim

Sound = tuple[Tab, ...]
"""One tab entry, or several of one breath for a chord, in order of their holes."""

GLIDE_REST_FRACTION = 0.25
"""Fraction of a glide for which its first sound is held, and of which its last sound is held."""
RUNG_MOVE_FRACTION = 0.25
"""Fraction of a ladder's rung that the move to the next rung takes."""

DEFAULT_WEIGHTS: Mapping[str, float] = {
    "pitch": 40.0,
    "steadiness": 15.0,
    "attack": 15.0,
    "motion": 15.0,
    "cleanness": 15.0,
    "time": 15.0,
    "articulation": 10.0,
    "dynamics": 10.0,
}
"""Default weights of the criteria of a step's mark."""
CRITERIA = tuple(DEFAULT_WEIGHTS)
"""The criteria of a step's mark, in the order in which they are shown."""

SOLO_CRITERIA = (
    "scale",
    "harmony",
    "pitch",
    "time",
    "cleanness",
    "phrases",
    "range",
    "variety",
)
"""The criteria of a solo's mark, in the order in which they are shown."""
_ONLY_OF_SOLOS = tuple(name for name in SOLO_CRITERIA if name not in CRITERIA)

AIM_CRITERIA = (*CRITERIA, "holes", *_ONLY_OF_SOLOS)
"""What a drill can be for: a criterion of steps or solos, or the wanted holes of chords and splits
all sounding."""


def format_sound(sound: Sound, off: float = 0.0) -> str:
    """Return a sound as tab: one breath sign, holes joined with plus, then cents."""
    sign = "-" if sound[0].breath is Breath.DRAW else ""
    holes = sign + "+".join(str(tab).removeprefix("-") for tab in sound)
    return f"{holes}@{off:+g}" if off else holes


def neighbouring_hole(sound: Sound) -> int:
    """Return the hole below a sound, or the one above it where there is none below."""
    holes = [tab.hole for tab in sound]
    return min(holes) - 1 if min(holes) > 1 else max(holes) + 1


class CleannessRule(StrEnum):
    """How cleanness counts in a step's mark."""

    PLAIN = "plain"
    """Cleanness counts by its weight."""
    CLEAN = "clean"
    """The step earns no more than its cleanness."""
    BLUR = "blur"
    """A neighbouring hole may sound, too."""
    CHORD = "chord"
    """At least one neighbouring hole must sound, too."""
    AROUND = "around"
    """A chord gesture: two or more neighbouring holes on about the written ones must sound."""


class Articulation(StrEnum):
    """How a note begins and ends."""

    PLAIN = "plain"
    """As the player likes."""
    TONGUED = "tongued"
    """It begins with an attack of its own, after a gap."""
    LEGATO = "legato"
    """It goes on into the next note of the same breath without a gap."""
    STACCATO = "staccato"
    """It is held for at most half of its length."""


class VibratoKind(StrEnum):
    """What makes a vibrato."""

    THROAT = "throat"
    """The throat moves the pitch. An open reed only dips, because it does not rise; a bent note
    swings to both sides."""
    HAND = "hand"
    """The hands move the loudness."""


DEFAULT_HAND_VIBRATO_DB = 6.0
"""Depth of hand vibrato without numbers, peak to peak in dB (chosen by hand)."""


@dataclass(frozen=True, slots=True)
class Vibrato:
    """Vibrato that a step asks for.

    Attributes:
        hz: rate in hertz, 3 to 9.
        cents: of throat vibrato, half its peak-to-peak extent in cents, 3 to 100: a bent note
            swings by it to each side, an open one dips by twice as much. 0 for hand vibrato.
        kind: what makes it.
        db: of hand vibrato, its peak-to-peak extent in dB. 0 for throat vibrato.
    """

    hz: float = 5.0
    cents: float = 20.0
    kind: VibratoKind = VibratoKind.THROAT
    db: float = 0.0

    @classmethod
    def of_hands(cls, hz: float = 5.0, db: float = DEFAULT_HAND_VIBRATO_DB) -> Vibrato:
        """Return hand vibrato of a rate in hertz and a peak-to-peak extent in dB."""
        return cls(hz, 0.0, VibratoKind.HAND, db)


DEFAULT_SHAKE_HZ = 6.0
"""Rate of a shake without a direction, in full cycles per second (common practice)."""


@dataclass(frozen=True, slots=True)
class Shake:
    """A rapid alternation of a step's sound with another of the same breath.

    Attributes:
        other: the other sound; the step's own comes first.
        hz: rate in full cycles per second, 4 to 8.
    """

    other: Sound
    hz: float = DEFAULT_SHAKE_HZ


@dataclass(frozen=True, slots=True)
class Inflection:
    """A bend of the pitch at one end of a note: a scoop or dip into it, or a fall off it.

    Attributes:
        beats: duration in beats, at the note's beginning or end.
        cents: distance from the note's pitch at its outer end, in cents; always below it.
    """

    beats: Fraction
    cents: float = 100.0


DEFAULT_SCOOP = Inflection(Fraction(1, 2))
"""A scoop without numbers (chosen by hand)."""
DEFAULT_DIP = Inflection(Fraction(1, 6))
"""A dip, which is a short scoop, without numbers (chosen by hand)."""
DEFAULT_FALL = Inflection(Fraction(1, 2))
"""A fall without numbers (chosen by hand)."""
DEFAULT_SWELL_DB = 6.0
"""Change of loudness of a swell or fade without a number, in dB (chosen by hand)."""


@dataclass(frozen=True, slots=True)
class Step:
    """A note, chord, glide or ladder to play.

    Attributes:
        index: index among the drill's steps, from 0; rests are not steps.
        sounds: the path of sounds. A single sound is held; two or more are a glide through them
            in one breath (a bend let up, a scoop, a slide), or the rungs of a ladder.
        start: beat on which it starts.
        beats: duration in beats.
        bar: number of the bar in which it starts, from 1; 0 in a pick-up.
        text: the token as written, such as ``-4'>-4:2``.
        line, column: position of the token in its file, from 1; 0 without a file.
        offsets_cents: target of each sound relative to its tab entry, in cents, -100 to 100;
            empty where all are 0.
        alternative: another entry that is accepted, too: of the same pitch on another hole, or of
            another pitch on the same hole and breath, "bent or not".
        ladder: whether each sound is held for an equal time, without a glide between.
        cleanness_rule: how cleanness counts.
        vibrato: vibrato to play; None for none.
        wah_hz: rate of the hand wah in hertz; 0 for none.
        shake: rapid alternation with another sound; None for none.
        scoop: glide from below into its pitch; None for none.
        fall: glide down from its pitch at its end; None for none.
        grace: sound crushed in just before it, which takes no time of its own; empty for none.
        articulation: how it begins and ends.
        accent: whether it is louder than the notes around it.
        swell_db: change of loudness over its length in dB; positive swells, negative fades, 0 for
            none.
        slap: whether the chord of the two holes below sounds with its attack.
        optional: whether it may be left out without loss.
        call: whether the trainer plays it and the player answers.
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
    shake: Shake | None = None
    scoop: Inflection | None = None
    fall: Inflection | None = None
    grace: Sound = ()
    articulation: Articulation = Articulation.PLAIN
    accent: bool = False
    swell_db: float = 0.0
    slap: bool = False
    optional: bool = False
    call: bool = False

    @property
    def first(self) -> Sound:
        """First sound of the path."""
        return self.sounds[0]

    @property
    def last(self) -> Sound:
        """Last sound of the path."""
        return self.sounds[-1]

    def offset_cents(self, sound_index: int) -> float:
        """Target of a sound relative to its tab entry, in cents."""
        return self.offsets_cents[sound_index] if self.offsets_cents else 0.0

    @property
    def is_glide(self) -> bool:
        """Whether the pitch moves continuously from sound to sound."""
        return len(self.sounds) > 1 and not self.ladder

    @property
    def has_path(self) -> bool:
        """Whether it is a glide or a ladder."""
        return len(self.sounds) > 1

    @property
    def has_bent_choice(self) -> bool:
        """Whether either of two pitches of one hole and breath is right: "bent or not"."""
        return self.alternative is not None and self.alternative.hole == self.first[0].hole

    def leads_into(self, following: Step) -> bool:
        """Whether another step can follow without a gap: at once, on the same breath.

        The same sound again needs an attack, and so a gap before it.
        """
        return (
            following.start == self.end
            and following.first[0].breath is self.last[0].breath
            and following.first != self.last
        )

    @property
    def dips_in_vibrato(self) -> bool:
        """Whether throat vibrato only lowers its pitch, because its reed is open and not bent."""
        return all(tab.is_natural for tab in self.last) and self.offset_cents(-1) >= 0.0

    @property
    def is_gesture(self) -> bool:
        """Whether it is a chord on about the written holes."""
        return self.cleanness_rule is CleannessRule.AROUND

    @property
    def is_chord(self) -> bool:
        """Whether several holes sound together."""
        return len(self.sounds[0]) > 1

    @property
    def end(self) -> Fraction:
        """Beat on which it ends."""
        return self.start + self.beats

    @property
    def tabs(self) -> tuple[Tab, ...]:
        """All tab entries in it, each once: its path, a shake's other sound, the alternative.

        A grace note, which sounds before the step, is not among them.
        """
        others = (self.shake.other,) if self.shake else ()
        entries = [tab for sound in (*self.sounds, *others) for tab in sound]
        return tuple(dict.fromkeys([*entries, *([self.alternative] if self.alternative else [])]))

    @property
    def tab(self) -> str:
        """The step as tab without its length: ``-4'>-4``, ``4+5``, ``-2/3``, ``-4<>5``."""
        if self.shake:
            other = format_sound(self.shake.other).removeprefix("-")
            return f"{format_sound(self.first, self.offset_cents(0))}<>{other}"
        sign = "=" if self.ladder else ">"
        path = sign.join(
            format_sound(sound, self.offset_cents(i)) for i, sound in enumerate(self.sounds)
        )
        return f"{path}/{self.alternative}" if self.alternative else path

    def implied_neighbour(self, sound: Sound) -> Sound:
        """Neighbour that completes a chord of which one hole is written; empty for other steps.

        It is the hole below, or hole 2 above hole 1, which a mouth opened by one hole reaches.

        Args:
            sound: one of the step's sounds.
        """
        rules = CleannessRule.CHORD, CleannessRule.AROUND
        if self.cleanness_rule not in rules or len(sound) > 1:
            return ()
        return (Tab(neighbouring_hole(sound), sound[0].breath),)

    def path_position(self, elapsed: float) -> float:
        """Target position along the path of sounds at a time within the step.

        A glide holds its first sound for a quarter of the step, reaches the last a quarter before
        the end, and moves linearly between. The rungs of a ladder have equal durations; the move
        between two of them takes a quarter of a rung.

        Args:
            elapsed: elapsed fraction of the step, 0 to 1.

        Returns:
            0 on the first sound, 1 on the second, and so on; fractions between them.
        """
        last = len(self.sounds) - 1
        if self.ladder:
            rung, phase = divmod(min(max(elapsed * (last + 1) - 0.5, 0.0), float(last)), 1.0)
            return rung + min(max((phase - 0.5) / RUNG_MOVE_FRACTION + 0.5, 0.0), 1.0)
        moved = (elapsed - GLIDE_REST_FRACTION) / (1.0 - 2.0 * GLIDE_REST_FRACTION)
        return min(max(moved, 0.0), 1.0) * last

    def rest_interval(self, sound_index: int) -> tuple[float, float]:
        """Start and end, as fractions of the step, of the time for which a sound is held.

        A glide does not stop on its inner sounds: their start and end are equal.
        """
        count = len(self.sounds)
        if count == 1:
            return 0.0, 1.0
        if self.ladder:
            half = 0.5 * RUNG_MOVE_FRACTION / count
            return (
                sound_index / count + (half if sound_index else 0.0),
                (sound_index + 1) / count - (half if sound_index < count - 1 else 0.0),
            )
        spacing = (1.0 - 2.0 * GLIDE_REST_FRACTION) / (count - 1)
        passed = GLIDE_REST_FRACTION + sound_index * spacing
        return 0.0 if sound_index == 0 else passed, 1.0 if sound_index == count - 1 else passed


@dataclass(frozen=True, slots=True)
class Goal:
    """Standards by which a drill is marked.

    Attributes:
        tolerance: maximum distance from the target in cents that counts as in tune, 1 to 50. The
            default of 10 is common practice: a bend held within 10 cents sounds in tune. In a drill
            that tightens it is the narrowest, until :meth:`Drill.at_tolerance` sets another.
        pass_mark: minimum total to pass the drill, 0 to 100.
        hold: seconds for which each step must be held in tune under a free clock, 0.1 to 10.
        weights: weight of each of the `CRITERIA`, 0 to 100.
    """

    tolerance: float = 10.0
    pass_mark: float = 80.0
    hold: float = 0.5
    weights: Mapping[str, float] = field(default_factory=lambda: DEFAULT_WEIGHTS, hash=False)


@dataclass(frozen=True, slots=True)
class Climb:
    """A tempo that rises while the drill is looped, and falls back after a failed pass.

    Attributes:
        by: size of a rise or fall in beats per minute.
        to: maximum tempo in beats per minute, at least the drill's own.
        after: number of successive passes at pass mark before a rise.
    """

    by: float
    to: float
    after: int = 2


@dataclass(frozen=True, slots=True)
class Tightening:
    """A tolerance that narrows as a player passes the drill.

    Attributes:
        start: tolerance of a new player in cents, more than `to`.
        by: cents by which it narrows.
        to: the narrowest tolerance in cents.
        after: number of passes at a tolerance before it narrows.
    """

    start: float
    by: float
    to: float
    after: int = 1

    def tolerance_after(self, passes: int) -> float:
        """Tolerance in cents after a number of passes."""
        return max(self.to, self.start - self.by * (passes // self.after))


@dataclass(frozen=True, slots=True)
class Section:
    """A named range of bars, such as a verse or a turnaround.

    Attributes:
        name: name in commands.
        first, last: its first and last bar.
    """

    name: str
    first: int
    last: int

    @property
    def bars(self) -> tuple[int, int]:
        """Its first and last bar."""
        return self.first, self.last


@dataclass(frozen=True, slots=True)
class Remark:
    """A teacher's words on a bar or a note.

    Attributes:
        bar: number of the bar.
        note: number of the note in the bar, from 1; 0 for the whole bar.
        text: the words.
    """

    bar: int
    note: int
    text: str

    @property
    def place(self) -> str:
        """Where it belongs, as a drill file says it: ``bar 3`` or ``bar 3 note 2``."""
        return f"bar {self.bar}" + (f" note {self.note}" if self.note else "")


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill.

    Attributes:
        name: identifier in commands: the file's name without its suffix.
        title: one line for lists and the screen's head.
        about: what it trains, how it feels when right, what usually goes wrong.
        key: key of the harp it is written for, as in :func:`trainer.harp.parse_key`.
        tuning: name of the harp's tuning.
        tempo: beats per minute; with `tempo_to`, those at the first beat.
        meter: beats per bar and the note value of a beat, ``(4, 4)``.
        goal: standards by which it is marked.
        steps: steps in order of time.
        end: beat on which it ends, closing rests included.
        skills: skills that it trains, the main one first; lists are grouped by that one.
        level: level in the course, from 1 for a first lesson to 9.
        start: beat on which it begins: 0, or negative with a pick-up.
        swing: duration of the first half of a beat over the second, 1 to 3.
        free: whether the clock is free: each step waits until it has been held in tune.
        loop: first and last bar of the range that is repeated; None plays all bars once.
        climb: change of tempo from pass to pass; None for none.
        tightening: how the tolerance narrows for a player; None where it stays.
        second: steps of the other part; empty for one part.
        aims: what it is for; they decide the mark. Empty where nothing counts more than the rest.
        tempo_to: beats per minute at the end, reached evenly, beat by beat; None keeps the tempo.
        sections: named ranges of bars.
        remarks: a teacher's words on bars and notes.
        recording: what it was written down from and is played along with; None for none.
        position: position of its music, 1 to 12; None where the drill does not say.
        ground: what the trainer plays under it; None for nothing.
        solos: passages that are left to the player, in order of time.
        brief: what is asked of the solos; None where there are none.
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
    tightening: Tightening | None = None
    second: tuple[Step, ...] = ()
    aims: tuple[Aim, ...] = ()
    tempo_to: float | None = None
    sections: tuple[Section, ...] = ()
    remarks: tuple[Remark, ...] = ()
    recording: DrillRecording | None = None
    position: int | None = None
    ground: Ground | None = None
    solos: tuple[Solo, ...] = ()
    brief: SoloBrief | None = None

    @property
    def chords(self) -> tuple[GroundChord, ...]:
        """The chords of its ground, repeated to its end; empty without a ground."""
        return tuple(self.ground.chords(self.meter[0], self.end)) if self.ground else ()

    def solos_in(self, bars: tuple[int, int]) -> tuple[Solo, ...]:
        """The solos that begin in a range of bars, both included; a pick-up belongs to bar 1."""
        first, last = bars
        return tuple(solo for solo in self.solos if first <= max(1, solo.bar) <= last)

    @property
    def bars(self) -> int:
        """Number of full bars."""
        return max(1, math.ceil(self.end / self.meter[0]))

    @property
    def seconds(self) -> float:
        """Duration in seconds at its own tempo, without count-in."""
        clock = self.clock(1_000_000)
        return (clock.sample(self.end) - clock.sample(self.start)) / clock.rate

    @property
    def fastest_tempo(self) -> float:
        """The highest of its beats per minute."""
        return max(self.tempo, self.tempo_to or self.tempo)

    @property
    def tempo_change(self) -> TempoChange | None:
        """How its tempo changes from beginning to end; None where it is steady."""
        if self.tempo_to is None or self.tempo_to == self.tempo:
            return None
        return TempoChange(float(self.start), float(self.end), self.tempo_to / self.tempo)

    @property
    def tempo_map(self) -> TempoMap | None:
        """How the tempo of a pass differs from beat to beat, as written or as recorded."""
        return self.recording.tempo_map(self.tempo) if self.recording else self.tempo_change

    def clock(self, rate: int, zero: int = 0, tempo: float | None = None) -> BeatClock:
        """Return the clock of a pass.

        Every beat has its own place in a change of tempo: a pass that begins later, and its
        count-in, have the tempo that the drill has reached there.

        Args:
            rate: sample rate in hertz.
            zero: sample of beat 0.
            tempo: beats per minute at the beginning; None takes the drill's. The tempo at the end
                keeps its ratio to it.
        """
        return BeatClock(zero, tempo or self.tempo, rate, self.swing, self.tempo_map)

    def beat_s(self, beat: Fraction) -> float:
        """Duration in seconds of a beat at the drill's own tempo there."""
        return self.clock(1).beat_s(beat)

    def part(self, number: int) -> Drill:
        """Return the drill with one of its parts in `steps` and the other in `second`.

        In the second, remarks on notes are remarks on their bars, and there are no solos.

        Args:
            number: 1 for the first part, which is the drill itself; 2 for the second.

        Raises:
            DrillError: there is no such part.
        """
        if number == 1:
            return self
        if number != 2 or not self.second:
            raise DrillError(f"{self.name} has no part {number}; it has {1 + bool(self.second)}")
        return replace(
            self,
            name=f"{self.name}, part 2",
            steps=self.second,
            second=self.steps,
            recording=self.recording and self.recording.with_parts_swapped(),
            # Their numbers count the notes of the first part.
            remarks=tuple(replace(remark, note=0) for remark in self.remarks),
            solos=(),
            brief=None,
        )

    def at_tolerance(self, cents: float) -> Drill:
        """Return the drill with another tolerance."""
        return replace(self, goal=replace(self.goal, tolerance=cents))

    def at_widest(self) -> Drill:
        """Return the drill at the tolerance of a new player."""
        return self.at_tolerance(self.tightening.start) if self.tightening else self

    def first_beat(self, bar: int) -> Fraction:
        """Beat on which a bar begins; bar 0 is the pick-up."""
        return self.start if bar == 0 else Fraction((bar - 1) * self.meter[0])

    def entry_beat(self, bar: int) -> int:
        """Whole beat on which the count-in to a bar ends, at or before the bar's first beat.

        For bar 1 it is that of the pick-up.
        """
        return math.floor(self.first_beat(0 if bar <= 1 else bar))

    def count_in_beats(self, bar: int) -> int:
        """Number of beats of count-in before a bar.

        One bar, and the beats of the pick-up's bar before the pick-up (common practice).
        """
        meter = self.meter[0]
        return meter + self.entry_beat(bar) % meter

    def remarks_on(self, step: Step) -> tuple[str, ...]:
        """The remarks on a step's bar, and on the step itself."""
        in_bar = [other.index for other in self.steps if other.bar == step.bar]
        note = in_bar.index(step.index) + 1
        return tuple(
            remark.text
            for remark in self.remarks
            if remark.bar == step.bar and remark.note in (0, note)
        )

    def section(self, name: str) -> tuple[int, int]:
        """First and last bar of a section, by its name; case is ignored.

        Raises:
            DrillError: it has no such section.
        """
        for section in self.sections:
            if section.name.lower() == name.strip().lower():
                return section.bars
        names = ", ".join(section.name for section in self.sections)
        known = f"its sections are {names}" if names else "it names no sections"
        raise DrillError(f"{self.name} has no section '{name}'; {known}")

    def step_range(self, first_bar: int, last_bar: int) -> range:
        """Indices of the steps that start in a range of bars, both included.

        A pick-up belongs to bar 1.

        Raises:
            DrillError: the bars do not exist, or the player has nothing to play in them.
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
