"""How a synthesizer is to play the steps of a drill: notes, velocities, pitch bend and controllers.

Each note of a chord has a channel of its own, so that it can be bent by itself. The pitch of bends,
glides, scoops, falls and throat vibrato is pitch bend. Loudness within a note (swells, hand
vibrato, the hands of a wah) is controller 11, expression; the hands also darken the sound, which is
controller 74, brightness. An accent is a higher velocity. A shake, a grace note and the chord of a
slap are short notes.

Controller 11 and velocity change the level by 40 log10 of their value over 127, in dB (General MIDI
Level 2, MIDI Association RP-024).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import mido

from trainer.drill import Articulation, BeatClock, Drill, Sound, Step, VibratoKind
from trainer.exchange.drill_fields import tempo_at
from trainer.harp import Harp, Tab

TimedMessage = tuple[int, mido.Message]
"""A message and its tick."""

TICKS_PER_QUARTER = 960
"""Resolution in ticks per quarter note."""
DEFAULT_BEND_RANGE = 2
"""Pitch-bend range in half steps that synthesizers have by default."""
BEND_UNITS = 8192
"""Pitch-bend units of the range to one side (MIDI 1.0)."""
EXPRESSION, BRIGHTNESS = 11, 74
"""Controllers of the level within a note, and of its brightness (MIDI 1.0; RP-021)."""
NEUTRAL_VALUES = {EXPRESSION: 127, BRIGHTNESS: 64}
"""Value of each controller without effect."""


@dataclass(frozen=True, slots=True)
class PerformanceParameters:
    """Constants of the performance, chosen by hand unless stated otherwise.

    Attributes:
        velocity, accented_velocity: of notes, of 127; they are 4.6 dB apart.
        gap_s: time in seconds between a note and the next, as the built-in player leaves.
        max_gap_beats: the same in beats, at most: `time_grid` reads a gap of that size as
            none.
        staccato_fraction: fraction of its length for which a staccato note is held.
        grace_s: duration of a grace note in seconds, before the beat.
        slap_s: duration of the chord of a slap in seconds.
        interval_s: time in seconds between messages while pitch or level moves.
        closed_db: level under closed hands relative to open ones.
        closed_brightness: brightness under closed hands, of 127.
        octave_cents: cents by which the upper note of an octave is sharp: no harp's octaves are
            exactly tuned, and only their beats show that both reeds sound. It is within the spread
            on harps (standard deviation 5 cents, from memory).
    """

    velocity: int = 90
    accented_velocity: int = 117
    gap_s: float = 0.06
    max_gap_beats: Fraction = Fraction(1, 10)
    staccato_fraction: float = 0.45
    grace_s: float = 0.08
    slap_s: float = 0.05
    interval_s: float = 0.01
    closed_db: float = -6.0
    closed_brightness: int = 16
    octave_cents: float = 3.0


PARAMETERS = PerformanceParameters()
"""Parameters in use."""


@dataclass(frozen=True, slots=True)
class Timing:
    """Ticks of a drill.

    Attributes:
        drill: the drill.
        clock: its beats; the samples are ticks.
    """

    drill: Drill
    clock: BeatClock

    @classmethod
    def of(cls, drill: Drill, beat_0: int) -> Timing:
        """Return the ticks of a drill whose beat 0 is on a tick."""
        beat_ticks = TICKS_PER_QUARTER * 4 // drill.meter[1]
        return cls(drill, BeatClock(beat_0, 60.0, beat_ticks, drill.swing))

    def tick(self, beat: Fraction) -> int:
        """Tick of a beat, swing included."""
        return self.clock.sample(beat)

    def ticks(self, seconds: float, beat: Fraction) -> int:
        """Number of ticks in some seconds near a beat."""
        return round(seconds * self.clock.rate * tempo_at(self.drill, beat) / 60.0)

    def seconds(self, ticks: float, beat: Fraction) -> float:
        """Duration of some ticks near a beat, in seconds."""
        return ticks / self.clock.rate * 60.0 / tempo_at(self.drill, beat)


@dataclass(frozen=True, slots=True)
class Sounding:
    """A step as it sounds.

    Attributes:
        step: the step.
        start, stop, end: ticks on which it begins, stops sounding and ends.
        seconds: from `start` to `stop`.
    """

    step: Step
    start: int
    stop: int
    end: int
    seconds: float


def soundings(steps: Sequence[Step], harp: Harp, timing: Timing) -> Iterator[Sounding]:
    """Yield the steps of a part as they sound.

    A note stops shortly before the next one or its grace note, as the built-in player's do. A
    legato one lasts until its end, unless the same note follows; a staccato one stops early.
    """
    for step, following in zip(steps, (*steps[1:], None), strict=True):
        start, end = timing.tick(step.start), timing.tick(step.end)
        stop, least = end, (start + end) // 2
        if following is not None and following.start == step.end:
            stop -= _gap(step, following, harp, timing)
        if step.articulation is Articulation.STACCATO:
            least = start + round(PARAMETERS.staccato_fraction * (end - start))
            stop = least
        stop = max(stop, least)
        yield Sounding(step, start, stop, end, timing.seconds(stop - start, step.start))


def _gap(step: Step, following: Step, harp: Harp, timing: Timing) -> int:
    """Return the ticks of silence, or of a grace note, between a step and the next."""
    if following.grace:
        return timing.ticks(PARAMETERS.grace_s, step.end)
    is_repeated = _notes(step, step.last, harp) & _notes(following, following.first, harp)
    if step.articulation is Articulation.LEGATO and not is_repeated:
        return 0
    longest = math.floor(PARAMETERS.max_gap_beats * timing.clock.rate)
    return min(timing.ticks(PARAMETERS.gap_s, step.end), longest)


def _notes(step: Step, sound: Sound, harp: Harp) -> set[int]:
    """Return the MIDI note numbers of one of a step's sounds, with the implied neighbour's."""
    return {harp.midi(tab) for tab in (*sound, *step.implied_neighbour(sound))}


def voice_count(step: Step) -> int:
    """Return the number of channels that a step needs."""
    shaken = len(step.shake.other) if step.shake else 1
    return max(len(step.first), len(step.grace), shaken, 1 + len(slap_holes(step)))


def slap_holes(step: Step) -> Sound:
    """Return the holes below a slapped note that sound with its attack; empty without a slap."""
    if not step.slap:
        return ()
    lowest = step.first[0]
    holes = (hole for hole in (lowest.hole - 2, lowest.hole - 1) if hole >= 1)
    return tuple(Tab(hole, lowest.breath) for hole in holes)


def bend_range(steps: Sequence[Step], harp: Harp) -> int:
    """Return the pitch-bend range in half steps that a part needs."""
    widest = 0.0
    for step in steps:
        for voice in voices(step, harp):
            moved = max(abs(note - voice[0]) for note in voice)
            offset = max((abs(cents) for cents in step.offsets_cents), default=0.0)
            bends = [inflection.cents for inflection in (step.scoop, step.fall) if inflection]
            vibrato = 2.0 * step.vibrato.cents if step.vibrato else 0.0
            total = offset + max(bends, default=0.0) + vibrato + PARAMETERS.octave_cents
            widest = max(widest, moved + total / 100.0)
    return max(DEFAULT_BEND_RANGE, math.ceil(widest))


def voices(step: Step, harp: Harp) -> list[list[int]]:
    """Return the MIDI note numbers of each note of a step's chord along its path."""
    sounds = [[harp.midi(tab) for tab in sorted(sound)] for sound in step.sounds]
    return [
        [sound[min(voice, len(sound) - 1)] for sound in sounds] for voice in range(len(sounds[0]))
    ]


def sounding_messages(
    sounding: Sounding, channels: Sequence[int], harp: Harp, timing: Timing, bend_range: int
) -> Iterator[TimedMessage]:
    """Yield the notes of a step with their pitch bend and controllers.

    Args:
        sounding: the step.
        channels: channels of its notes.
        harp: the harp.
        timing: ticks of the drill.
        bend_range: pitch-bend range of the channels in half steps.
    """
    step, start = sounding.step, sounding.start
    velocity = velocity_of(step)
    yield from _grace(sounding, channels, harp, timing)
    if step.shake:
        yield from _shake(sounding, channels, harp, velocity)
    notes = voices(step, harp)
    for channel, voice in zip(channels, notes, strict=False):
        is_upper = any(voice[0] - other[0] == 12 for other in notes)
        stretch = PARAMETERS.octave_cents / 100.0 if is_upper else 0.0

        def bend(elapsed: float, voice: list[int] = voice, stretch: float = stretch) -> int:
            half_steps = bend_half_steps(sounding, voice, elapsed, timing) + stretch
            units = round(half_steps / bend_range * BEND_UNITS)
            return max(-BEND_UNITS, min(BEND_UNITS - 1, units))

        moves = step.has_path or step.scoop or step.fall or _throat_vibrato_cents(step)
        for tick, value in _curve(sounding, bend, moves=bool(moves)):
            yield tick, mido.Message("pitchwheel", channel=channel, pitch=value)
        if not step.shake:
            yield from note_messages(start, sounding.stop, channel, voice[0], velocity)
    slapped = slap_holes(step)
    stop = min(start + timing.ticks(PARAMETERS.slap_s, step.start), sounding.stop)
    for channel, tab in zip(channels[len(step.first) :], slapped, strict=False):
        yield start, mido.Message("pitchwheel", channel=channel, pitch=0)
        yield from note_messages(start, stop, channel, harp.midi(tab), velocity)


def control_messages(
    sounding: Sounding, channels: Sequence[int], controls: Sequence[int]
) -> Iterator[TimedMessage]:
    """Yield the controllers of a step.

    Args:
        sounding: the step.
        channels: channels that sound.
        controls: the controllers that the part uses; each is set on every step.
    """
    curves: dict[int, Callable[[float], int]] = {
        EXPRESSION: lambda elapsed: expression(level_db(sounding, elapsed)),
        BRIGHTNESS: lambda elapsed: _brightness(sounding, elapsed),
    }
    for control in controls:
        moves = control in moving_controls(sounding.step)
        for tick, value in _curve(sounding, curves[control], moves=moves):
            for channel in channels:
                yield (
                    tick,
                    mido.Message("control_change", channel=channel, control=control, value=value),
                )


def moving_controls(step: Step) -> tuple[int, ...]:
    """Return the controllers that move during a step."""
    if step.wah_hz:
        return EXPRESSION, BRIGHTNESS
    is_hand = step.vibrato is not None and step.vibrato.kind is VibratoKind.HAND
    return (EXPRESSION,) if step.swell_db or is_hand else ()


def velocity_of(step: Step) -> int:
    """Return the velocity of a step's notes."""
    return PARAMETERS.accented_velocity if step.accent else PARAMETERS.velocity


def note_messages(
    start: int, stop: int, channel: int, note: int, velocity: int
) -> Iterator[TimedMessage]:
    """Yield the start and the end of a note."""
    yield start, mido.Message("note_on", channel=channel, note=note, velocity=velocity)
    yield stop, mido.Message("note_off", channel=channel, note=note, velocity=0)


def _curve(
    sounding: Sounding, value: Callable[[float], int], *, moves: bool
) -> Iterator[tuple[int, int]]:
    """Yield the ticks and values at which a value changes.

    Args:
        sounding: the step.
        value: the value at an elapsed fraction of the sounding time.
        moves: whether it moves; else only its first value is given.
    """
    count = max(1, round(sounding.seconds / PARAMETERS.interval_s)) if moves else 1
    sent = None
    for i in range(count):
        elapsed = i / count
        current = value(elapsed)
        if current != sent:
            yield sounding.start + round(elapsed * (sounding.stop - sounding.start)), current
            sent = current


def bend_half_steps(
    sounding: Sounding, voice: Sequence[int], elapsed: float, timing: Timing
) -> float:
    """Return the pitch of a voice relative to its first note, in half steps.

    Args:
        sounding: the step.
        voice: the voice's note numbers along the path.
        elapsed: elapsed fraction of its sounding time.
        timing: ticks of the drill.
    """
    step = sounding.step
    ticks = elapsed * (sounding.stop - sounding.start)
    position = step.path_position(ticks / (sounding.end - sounding.start))
    before, after = math.floor(position), math.ceil(position)
    pitches = [voice[index] + step.offset_cents(index) / 100.0 for index in (before, after)]
    pitch = pitches[0] + (pitches[1] - pitches[0]) * (position - before)
    cents = -_vibrato_dip(step, step.sounds[round(position)], elapsed * sounding.seconds)
    length = sounding.stop - sounding.start
    if step.scoop:
        duration = min(float(step.scoop.beats) * timing.clock.rate, length / 2.0)
        cents -= step.scoop.cents * _eased(1.0 - ticks / duration)
    if step.fall:
        duration = min(float(step.fall.beats) * timing.clock.rate, length / 2.0)
        cents -= step.fall.cents * _eased(1.0 - (length - ticks) / duration)
    return pitch - voice[0] + cents / 100.0


def _eased(fraction: float) -> float:
    """Return a fraction, clipped to 0 to 1, that begins and ends without a corner."""
    return 0.5 - 0.5 * math.cos(math.pi * min(max(fraction, 0.0), 1.0))


def _throat_vibrato_cents(step: Step) -> float:
    is_throat = step.vibrato is not None and step.vibrato.kind is VibratoKind.THROAT
    return step.vibrato.cents if step.vibrato and is_throat else 0.0


def _vibrato_dip(step: Step, sound: Sound, seconds: float) -> float:
    """Return how far throat vibrato is below the note, in cents.

    A bent note swings to both sides; an open reed only dips, because it does not rise.
    """
    cents = _throat_vibrato_cents(step)
    if not cents or step.vibrato is None:
        return 0.0
    phase = 2.0 * math.pi * step.vibrato.hz * seconds
    if all(tab.is_natural for tab in sound):
        return cents * (1.0 - math.cos(phase))
    return -cents * math.sin(phase)


def level_db(sounding: Sounding, elapsed: float) -> float:
    """Return the level of a step relative to its maximum, in dB, at an elapsed fraction."""
    step, seconds = sounding.step, elapsed * sounding.seconds
    rest = 1.0 - elapsed if step.swell_db > 0 else elapsed
    level = -abs(step.swell_db) * rest
    if step.vibrato and step.vibrato.kind is VibratoKind.HAND:
        level -= step.vibrato.db * (0.5 - 0.5 * math.cos(2.0 * math.pi * step.vibrato.hz * seconds))
    if step.wah_hz:
        closed = 10.0 ** (PARAMETERS.closed_db / 20.0)
        level += 20.0 * math.log10(1.0 - (1.0 - closed) * _closure(step, seconds))
    return level


def expression(level_db: float) -> int:
    """Return the value of controller 11 for a level in dB relative to its maximum."""
    return min(max(round(127.0 * 10.0 ** (level_db / 40.0)), 1), 127)


def _brightness(sounding: Sounding, elapsed: float) -> int:
    closure = _closure(sounding.step, elapsed * sounding.seconds)
    open_value = NEUTRAL_VALUES[BRIGHTNESS]
    return round(open_value - (open_value - PARAMETERS.closed_brightness) * closure)


def _closure(step: Step, seconds: float) -> float:
    """Return how far the hands are closed, 0 to 1, beginning closed; 0 without a wah."""
    return 0.5 + 0.5 * math.cos(2.0 * math.pi * step.wah_hz * seconds) if step.wah_hz else 0.0


def _grace(
    sounding: Sounding, channels: Sequence[int], harp: Harp, timing: Timing
) -> Iterator[TimedMessage]:
    """Yield the grace note before a step."""
    start = sounding.start - timing.ticks(PARAMETERS.grace_s, sounding.step.start)
    for channel, tab in zip(channels, sounding.step.grace, strict=False):
        yield start, mido.Message("pitchwheel", channel=channel, pitch=0)
        yield from note_messages(
            start, sounding.start, channel, harp.midi(tab), PARAMETERS.velocity
        )


def _shake(
    sounding: Sounding, channels: Sequence[int], harp: Harp, velocity: int
) -> Iterator[TimedMessage]:
    """Yield the alternating notes of a shake."""
    step = sounding.step
    assert step.shake is not None
    halves = max(2, round(sounding.seconds * 2.0 * step.shake.hz))
    length = sounding.stop - sounding.start
    for i in range(halves):
        start, stop = (sounding.start + round(k / halves * length) for k in (i, i + 1))
        for channel, tab in zip(channels, (step.first, step.shake.other)[i % 2], strict=False):
            yield from note_messages(start, stop, channel, harp.midi(tab), velocity)
