"""The performance of steps: which reeds sound, when, and at which pitch.

A step sounds from its beat until 60 ms before the next onset, for at least half its length, unless
its articulation asks otherwise (:mod:`trainer.sound.performer.articulation`). A glide on one hole
moves the pitch of its reed, and so does a ladder. A glide over holes is a slide: the reeds on its
path sound one after another, each overlapping the next while it decays. Where a chord is asked for
and one hole is written, its neighbour sounds too, at the same level. The two reeds of a shake sound
in turn in the same way as those of a slide. A grace note is crushed in before the beat, in the time
of the note before it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np

from trainer.core.types import Floats
from trainer.drill import CleannessRule, Sound, Step, TabError, neighbouring_hole, parse_tab_note
from trainer.harp import Harp, Tab
from trainer.music import cents
from trainer.sound.errors import SoundError
from trainer.sound.performer.articulation import PARAMETERS as ARTICULATION
from trainer.sound.performer.articulation import TimedStep, slap_holes, sounding_end
from trainer.sound.performer.fault import Fault
from trainer.sound.performer.harp_reeds import HarpReeds
from trainer.sound.performer.hole_spans import (
    GRACE_TURN_MS,
    Alternation,
    HoleSpan,
    hole_spans,
    holes,
    shake_spans,
    with_grace,
)
from trainer.sound.performer.loudness import hand_closure, loudness
from trainer.sound.performer.pace import Pace
from trainer.sound.performer.pitch_curve import GlideMove, pitch_offset
from trainer.sound.performer.voice import Curve, Reed, ReedVoice, VoiceKind


@dataclass(frozen=True, slots=True)
class PerformanceParameters:
    """Constants of a performance. Chosen."""

    level: float = 0.1
    """RMS level of one hole relative to full scale; the holes of a chord share its power."""
    extra_s: float = 0.15
    """Duration of an extra note, in seconds."""
    min_note_s: float = 0.05
    """Shortest duration to which a fault may shorten a note, in seconds."""
    octave_cents: float = 2.0
    """Cents by which the upper reed of an octave is sharp: only beats show that both reeds sound,
    and no harp's octaves are exactly tuned."""
    grace_s: float = 0.08
    """Length of a grace note, which ends on the beat of its note, in seconds. Common practice: it
    is as short as a reed allows."""
    detuning_cents: tuple[float, float] = (3.0, 8.0)
    """Range of a leaking reed's deviation from theory, in cents, in either direction."""


PARAMETERS = PerformanceParameters()
_CHORD_RULES = (CleannessRule.CHORD, CleannessRule.AROUND)


@dataclass(frozen=True, slots=True)
class _Playing:
    """A step as it is played.

    Attributes:
        harp, step, fault: what is played on what, and wrong in which way.
        offset: deviation from the path of sounds, in cents.
        loudness: level in dB relative to an ordinary note; None for an ordinary one.
        hands: closure of the hands; None without wahs.
        reeds: the harp's reeds.
    """

    harp: Harp
    step: Step
    fault: Fault
    offset: Curve
    loudness: Curve | None
    hands: Curve | None
    reeds: HarpReeds

    @property
    def rate(self) -> int:
        """Samples per second."""
        return self.reeds.rate


def perform(
    harp: Harp,
    pace: Pace,
    played: Sequence[tuple[Step, Fault]],
    seed: int,
    kind: VoiceKind = VoiceKind.LABORATORY,
) -> list[ReedVoice]:
    """Return the voices of some steps, in order of their starts.

    Args:
        harp: what they are played on.
        pace: when each begins and ends.
        played: the steps in order, each with its fault.
        seed: of the harp's reeds.
        kind: of its reeds.

    Raises:
        HarpError: the harp cannot play a step, or what is played instead.
        SoundError: a fault cannot be played on its step.
    """
    rate, reeds = pace.rate, HarpReeds(harp, kind, pace.rate, seed)
    timed = [_timed(pace, step, fault) for step, fault in played]
    stops = _stops(timed, rate)
    voices: list[ReedVoice] = []
    for i, (plan, stop) in enumerate(zip(timed, stops, strict=True)):
        written, fault, onset, length = plan.step, plan.fault, plan.onset, plan.length
        if stop is None:
            continue  # the step before sounds on through it
        step = _as_played(written, fault)
        if fault.extra is not None:
            following = timed[i + 1].begin if i + 1 < len(timed) else None
            stop, extra = _make_room(stop, following, rate)
            voices.append(_extra_note(reeds, fault.extra, extra))
        is_cut = fault.short_ms or fault.extra or fault.held is not None or fault.gap_ms
        if is_cut and stop < onset + PARAMETERS.min_note_s * rate:
            raise _cannot("stop so early or play an extra note", written, "make the step longer")
        move = _first_move(harp, written, step, fault, onset, length)
        beat = length / float(written.beats)
        offset = pitch_offset(step, fault, onset, stop, rate, move, beat)
        level = loudness(step, fault, onset, stop, rate)
        hands = hand_closure(step, fault, onset, rate)
        playing = _Playing(harp, step, fault, offset, level, hands, reeds)
        spans = _spans(playing, onset, stop, length)
        if plan.begin < onset:
            spans = with_grace(spans, step.grace, plan.begin, GRACE_TURN_MS * rate / 1000.0)
        for span in spans:
            voices += _wanted_voices(playing, span)
            if fault.leak_db is not None:
                voices.append(_leaking_voice(playing, span))
        if step.slap:
            voices += _slap_voices(playing, onset)
    return sorted(voices, key=lambda voice: voice.start)


def _grace_length(step: Step, fault: Fault, rate: int) -> int:
    """Return the length in samples of a step's grace note as it is played; 0 for none."""
    if not step.grace:
        return 0
    length_s = PARAMETERS.grace_s if fault.grace_ms is None else fault.grace_ms / 1000.0
    return round(length_s * rate)


def _spans(playing: _Playing, onset: int, stop: int, length: int) -> list[HoleSpan]:
    """Return which holes sound when, apart from a grace note."""
    step, fault = playing.step, playing.fault
    if step.shake is None:
        return list(hole_spans(step, onset, stop, length))
    hz = step.shake.hz if fault.shake_hz is None else fault.shake_hz
    alternation = Alternation.of(
        playing.rate / hz,
        stop - onset,
        fraction=fault.shake_fraction,
        level_db=fault.shake_db,
        spread=fault.shake_spread,
        seed=playing.reeds.seed,
    )
    return list(shake_spans(step, onset, stop, alternation))


def _timed(pace: Pace, step: Step, fault: Fault) -> TimedStep:
    start, end = pace.start(step), pace.end(step)
    onset = max(0, start + round(fault.late_ms * pace.rate / 1000.0))
    begin = max(0, onset - _grace_length(step, fault, pace.rate))
    return TimedStep(step, fault, begin, onset, end, end - start)


def _stops(timed: Sequence[TimedStep], rate: int) -> list[int | None]:
    """Return when each step stops; None for one through which the step before sounds on."""
    stops: list[int | None] = []
    for plan, following in zip_longest(timed, timed[1:]):
        stop = sounding_end(plan, following, rate)
        stops.append(stop - round(plan.fault.short_ms * rate / 1000.0))
    for i in range(len(timed) - 1, 0, -1):
        before, here = timed[i - 1].step, timed[i]
        if here.fault.run_on and before.last == here.step.first and not here.step.has_path:
            stops[i - 1], stops[i] = stops[i], None
    return stops


def _as_played(written: Step, fault: Fault) -> Step:
    """Return the step with the notes that are played, apart from their pitch and timing."""
    step = written
    if fault.instead is not None:
        try:
            note = parse_tab_note(fault.instead)
        except TabError as error:
            raise SoundError(f"the built-in player cannot play it instead: {error}") from None
        step = replace(
            step,
            sounds=note.sounds,
            offsets_cents=note.offsets_cents,
            ladder=note.ladder,
            shake=None,
        )
    if fault.rung is not None or fault.rung_cents:
        if fault.rung is None or not (step.has_path and 1 <= fault.rung <= len(step.sounds)):
            raise _cannot(
                "play a rung off", written, "name one of the sounds of a ladder or a glide, from 1"
            )
        offsets = [step.offset_cents(place) for place in range(len(step.sounds))]
        offsets[fault.rung - 1] += fault.rung_cents
        step = replace(step, offsets_cents=tuple(offsets))
    if written.shake and (fault.alone or fault.shake_hz == 0.0):
        return replace(step, shake=None)
    if fault.alone:
        is_chord = step.is_chord or step.cleanness_rule in _CHORD_RULES
        if not (is_chord or step.slap):
            raise _cannot(
                "leave out the rest", written, "name a step that is a chord, a shake or slapped"
            )
        step = replace(step, slap=False)
        if is_chord:
            sounds = tuple(sound[:1] for sound in step.sounds)
            step = replace(step, sounds=sounds, cleanness_rule=CleannessRule.PLAIN)
    return step


def _cannot(what: str, step: Step, remedy: str) -> SoundError:
    return SoundError(
        f"the built-in player cannot {what} while it plays {step.tab} in bar {step.bar}; {remedy}"
    )


def _make_room(stop: int, following: int | None, rate: int) -> tuple[int, int]:
    """Return when a step stops and its extra note starts.

    That is in the middle of the gap, if the gap is long enough.
    """
    gap, length = round(ARTICULATION.gap_s * rate), round(PARAMETERS.extra_s * rate)
    if following is None:
        return stop, stop + gap
    stop = min(stop, following - length - 2 * gap)
    return stop, (stop + following - length) // 2


def _extra_note(reeds: HarpReeds, tab: str, start: int) -> ReedVoice:
    reed = reeds.note(Tab.parse(tab))
    stop = start + round(PARAMETERS.extra_s * reeds.rate)
    return ReedVoice(reed, start, stop, np.zeros_like, PARAMETERS.level, reeds.rate)


def _first_move(
    harp: Harp, written: Step, step: Step, fault: Fault, onset: int, length: int
) -> GlideMove | None:
    """Return the first move of a glide, if a fault concerns it."""
    if not (fault.stray_cents or fault.back_cents):
        return None
    if not step.is_glide or holes(step.sounds[0]) != holes(step.sounds[1]):
        raise _cannot("stray or turn back", written, "name a step that glides on its hole")
    before, after = (
        harp.hz(step.sounds[place][0]) * 2.0 ** (step.offset_cents(place) / 1200.0)
        for place in (0, 1)
    )
    ends = [onset + length * part for part in (step.rest_interval(0)[1], step.rest_interval(1)[0])]
    return GlideMove(ends[0], ends[1], cents(after, before))


def _wanted_voices(playing: _Playing, span: HoleSpan) -> Iterator[ReedVoice]:
    """Yield a voice for each hole of a span, and for the neighbour that completes a chord."""
    harp = playing.harp
    wanted = span.path[0][1]
    times = np.array([at for at, _, _ in span.path])
    neighbours = playing.step.implied_neighbour(wanted)
    rms = PARAMETERS.level / np.sqrt(len(wanted) + len(neighbours))
    rms *= 10.0 ** (span.level_db / 20.0)
    for tab in wanted:
        is_upper = any(harp.midi(tab) - harp.midi(other) == 12 for other in wanted)
        stretch = PARAMETERS.octave_cents if is_upper else 0.0
        path_hz = [
            harp.hz(_entry_on(tab.hole, sound)) * 2.0 ** ((offset + stretch) / 1200.0)
            for _, sound, offset in span.path
        ]
        path_cents = np.array([cents(hz, path_hz[0]) for hz in path_hz])

        def curve(n: Floats, path_cents: Floats = path_cents) -> Floats:
            return np.asarray(np.interp(n, times, path_cents) + playing.offset(n))

        highest = max(path_hz) * 2.0 ** (_highest_offset(playing.offset, span) / 1200.0)
        reed = playing.reeds.reed(tab, path_hz[0], highest=highest)
        yield _voice(playing, span, reed, curve, rms)
    for tab in neighbours:
        yield _voice(playing, span, playing.reeds.note(tab), np.zeros_like, rms)


def _slap_voices(playing: _Playing, onset: int) -> Iterator[ReedVoice]:
    """Yield the voices of the holes that sound in a slap until the tongue covers them."""
    stop = onset + round(ARTICULATION.slap_s * playing.rate)
    below = slap_holes(playing.step)
    span = HoleSpan(onset, stop=stop)
    for tab in below:
        rms = PARAMETERS.level / np.sqrt(1 + len(below))
        yield _voice(playing, span, playing.reeds.note(tab), np.zeros_like, rms)


def _voice(playing: _Playing, span: HoleSpan, reed: Reed, curve: Curve, rms: float) -> ReedVoice:
    start, stop = round(span.start), round(span.stop)
    return ReedVoice(reed, start, stop, curve, rms, playing.rate, playing.hands, playing.loudness)


def _entry_on(hole: int, sound: Sound) -> Tab:
    return next(tab for tab in sound if tab.hole == hole)


def _highest_offset(offset: Curve, span: HoleSpan) -> float:
    """Largest deviation above the path in a span, in cents, on a grid of 200 points."""
    return float(np.max(offset(np.linspace(span.start, span.stop, 200))))


def _leaking_voice(playing: _Playing, span: HoleSpan) -> ReedVoice:
    """Return the voice of the neighbour that leaks in a span."""
    fault, step = playing.fault, playing.step
    wanted = span.path[0][1]
    sounding = (*wanted, *step.implied_neighbour(wanted))
    hole = neighbouring_hole(sounding) if fault.leak_hole is None else fault.leak_hole
    if not 1 <= hole <= 10 or hole in holes(sounding):
        raise _cannot(f"leak hole {hole}", step, "name another hole from 1 to 10")
    tab = Tab(hole, wanted[0].breath)
    rng = playing.reeds.generator(tab)
    detuning = float(rng.choice([-1.0, 1.0]) * rng.uniform(*PARAMETERS.detuning_cents))
    hz = playing.harp.hz(tab) * 2.0 ** (detuning / 1200.0)
    rms = PARAMETERS.level / np.sqrt(len(sounding)) * 10.0 ** ((fault.leak_db or 0.0) / 20.0)
    reed = playing.reeds.reed(tab, hz, highest=hz, rng=rng)
    return _voice(playing, span, reed, np.zeros_like, rms)
