"""How the built-in player plays a step: which reeds sound, when, and how far off.

A step sounds from its beat until 60 ms before the next, for at least half its length. A glide on
one hole moves its pitch, and so does a ladder; a glide over holes is a slide: the reeds on the
way sound one after another, each overlapping the next while it dies away. Where a chord is asked
for and one hole written, its neighbour sounds with it, as loud.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trainer.core.types import Floats
from trainer.drill import CleannessRule, Sound, Step, TabError, parse_tab_note
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents
from trainer.sound.errors import SoundError
from trainer.sound.performer.fault import Fault
from trainer.sound.performer.hole_spans import HoleSpan, hole_spans, holes
from trainer.sound.performer.pace import Pace
from trainer.sound.performer.pitch_curve import GlideMove, hand_closure, pitch_offset
from trainer.sound.performer.voice import Curve, ReedTimbre, ReedVoice

LEVEL = 0.1
"""RMS of one hole re full scale; the holes of a chord share it as power."""
GAP_S = 0.06
_EXTRA_S = 0.15
_LEAST_S = 0.05
"""A note is not shortened further than this."""
_DETUNED_CENTS = (3.0, 8.0)
"""How far a leaking reed lies off theory, either way."""


@dataclass(frozen=True, slots=True)
class _Playing:
    """A step as it is played, and by whom."""

    harp: Harp
    step: Step
    fault: Fault
    off: Curve
    hands: Curve | None
    rate: int
    seed: int


def perform(
    harp: Harp, pace: Pace, played: Sequence[tuple[Step, Fault]], seed: int
) -> list[ReedVoice]:
    """The voices of some steps, in the order in which they start.

    Args:
        harp: what they are played on.
        pace: when each begins and ends.
        played: the steps that are played, in order, with what is wrong with each.
        seed: of what each reed has for its own.

    Raises:
        HarpError: the harp cannot play a step, or what is played instead.
        SoundError: a fault that cannot be played on its step.
    """
    rate = pace.rate
    onsets = [
        max(0, pace.start(step) + round(fault.late_ms * rate / 1000.0)) for step, fault in played
    ]
    voices: list[ReedVoice] = []
    for i, (asked, fault) in enumerate(played):
        step = _as_played(asked, fault)
        onset, following = onsets[i], onsets[i + 1 : i + 2]
        length = pace.end(step) - pace.start(step)
        until = min([pace.end(step), *following]) - round(GAP_S * rate)
        least = 0.9 if step.has_path else 0.5
        stop = max(until, onset + round(least * length)) - round(fault.short_ms * rate / 1000.0)
        if fault.extra is not None:
            stop, extra = _make_room(stop, following[0] if following else None, rate)
            voices += _extra(harp, fault.extra, extra, rate, seed)
        if (fault.short_ms or fault.extra) and stop < onset + _LEAST_S * rate:
            raise _cannot("stop so early or play an extra note", asked, "make the step longer")
        playing = _Playing(
            harp,
            step,
            fault,
            pitch_offset(
                step, fault, onset, stop, rate, _move(harp, asked, step, fault, onset, length)
            ),
            hand_closure(step, onset, rate),
            rate,
            seed,
        )
        for stretch in hole_spans(step, onset, stop, length):
            voices += _wanted(playing, stretch)
            if fault.leak_db is not None:
                voices.append(_leak(playing, stretch))
    return sorted(voices, key=lambda voice: voice.start)


def _as_played(asked: Step, fault: Fault) -> Step:
    """The step as its notes are played, without what only sounds."""
    step = asked
    if fault.instead is not None:
        try:
            note = parse_tab_note(fault.instead)
        except TabError as wrong:
            raise SoundError(f"the built-in player cannot play it instead: {wrong}") from None
        step = replace(
            step, sounds=note.sounds, offsets_cents=note.offsets_cents, ladder=note.ladder
        )
    if fault.rung is not None or fault.rung_cents:
        if fault.rung is None or not (step.has_path and 1 <= fault.rung <= len(step.sounds)):
            raise _cannot(
                "play a rung off", asked, "name one of the sounds of a ladder or a glide, from 1"
            )
        offs = [step.offset_cents(place) for place in range(len(step.sounds))]
        offs[fault.rung - 1] += fault.rung_cents
        step = replace(step, offsets_cents=tuple(offs))
    if fault.alone:
        if not (step.is_chord or step.cleanness_rule is CleannessRule.CHORD):
            raise _cannot("leave out the rest of a chord", asked, "name a step that is a chord")
        sounds = tuple(sound[:1] for sound in step.sounds)
        return replace(step, sounds=sounds, cleanness_rule=CleannessRule.PLAIN)
    return step


def _cannot(what: str, step: Step, instead: str) -> SoundError:
    return SoundError(
        f"the built-in player cannot {what} while it plays {step.tab} in bar {step.bar}; {instead}"
    )


def _make_room(stop: int, following: int | None, rate: int) -> tuple[int, int]:
    """When a step stops and its extra note starts: in the middle of the gap, if it is long."""
    gap, long = round(GAP_S * rate), round(_EXTRA_S * rate)
    if following is None:
        return stop, stop + gap
    stop = min(stop, following - long - 2 * gap)
    return stop, (stop + following - long) // 2


def _extra(harp: Harp, tab: str, start: int, rate: int, seed: int) -> Iterator[ReedVoice]:
    entry = Tab.parse(tab)
    hz = harp.hz(entry)
    reed = ReedTimbre.of(hz, rate, _own(seed, entry.hole, entry.breath), highest=hz)
    yield ReedVoice(reed, start, start + round(_EXTRA_S * rate), np.zeros_like, LEVEL, rate)


def _move(
    harp: Harp, asked: Step, step: Step, fault: Fault, onset: int, length: int
) -> GlideMove | None:
    """The first way of a glide, if it is to go wrong."""
    if not (fault.stray_cents or fault.back_cents):
        return None
    if not step.is_glide or holes(step.sounds[0]) != holes(step.sounds[1]):
        raise _cannot("stray or turn back", asked, "name a step that glides on its hole")
    before, after = (
        harp.hz(step.sounds[place][0]) * 2.0 ** (step.offset_cents(place) / 1200.0)
        for place in (0, 1)
    )
    ends = [onset + length * part for part in (step.rest_interval(0)[1], step.rest_interval(1)[0])]
    return GlideMove(ends[0], ends[1], cents(after, before))


def _wanted(playing: _Playing, stretch: HoleSpan) -> Iterator[ReedVoice]:
    """A voice for each hole of a stretch, and for one that a chord needs."""
    harp, rate = playing.harp, playing.rate
    wanted = stretch.path[0][1]
    times = np.array([at for at, _, _ in stretch.path])
    beside = _beside(playing.step, wanted)
    rms = LEVEL / np.sqrt(len(wanted) + len(beside))
    for tab in wanted:
        reached = [
            harp.hz(_on(tab.hole, sound)) * 2.0 ** (off / 1200.0) for _, sound, off in stretch.path
        ]
        moves = np.array([cents(hz, reached[0]) for hz in reached])

        def curve(n: Floats, moves: Floats = moves) -> Floats:
            return np.asarray(np.interp(n, times, moves) + playing.off(n))

        highest = max(reached) * 2.0 ** (_widest(playing.off, stretch) / 1200.0)
        reed = ReedTimbre.of(
            reached[0], rate, _own(playing.seed, tab.hole, tab.breath), highest=highest
        )
        yield _voice(playing, stretch, reed, curve, rms)
    for tab in beside:
        hz = harp.hz(tab)
        reed = ReedTimbre.of(hz, rate, _own(playing.seed, tab.hole, tab.breath), highest=hz)
        yield _voice(playing, stretch, reed, np.zeros_like, rms)


def _voice(
    playing: _Playing, stretch: HoleSpan, reed: ReedTimbre, curve: Curve, rms: float
) -> ReedVoice:
    start, stop = round(stretch.start), round(stretch.stop)
    return ReedVoice(reed, start, stop, curve, rms, playing.rate, playing.hands)


def _beside(step: Step, wanted: Sound) -> Sound:
    """The neighbour that sounds along where one hole is written and a chord asked for."""
    if step.cleanness_rule is not CleannessRule.CHORD or len(wanted) > 1:
        return ()
    return (Tab(_neighbour(holes(wanted)), wanted[0].breath),)


def _neighbour(sounding: frozenset[int]) -> int:
    return min(sounding) - 1 if min(sounding) > 1 else max(sounding) + 1


def _on(hole: int, sound: Sound) -> Tab:
    return next(tab for tab in sound if tab.hole == hole)


def _widest(off: Curve, stretch: HoleSpan) -> float:
    """About the most cents that a stretch is played above its path."""
    return float(np.max(off(np.linspace(stretch.start, stretch.stop, 200))))


def _own(seed: int, hole: int, breath: Breath) -> np.random.Generator:
    """What draws the peculiarities of one reed: the same each time that it sounds."""
    return np.random.default_rng((seed, hole, breath is Breath.DRAW))


def _leak(playing: _Playing, stretch: HoleSpan) -> ReedVoice:
    """The neighbour that sounds along with a stretch, and should not."""
    fault, step = playing.fault, playing.step
    wanted = stretch.path[0][1]
    sounding = (*wanted, *_beside(step, wanted))
    hole = _neighbour(holes(sounding)) if fault.leak_hole is None else fault.leak_hole
    if not 1 <= hole <= 10 or hole in holes(sounding):
        raise _cannot(f"leak hole {hole}", step, "name another hole from 1 to 10")
    breath = wanted[0].breath
    own = _own(playing.seed, hole, breath)
    detuned = float(own.choice([-1.0, 1.0]) * own.uniform(*_DETUNED_CENTS))
    hz = playing.harp.hz(Tab(hole, breath)) * 2.0 ** (detuned / 1200.0)
    rms = LEVEL / np.sqrt(len(sounding)) * 10.0 ** ((fault.leak_db or 0.0) / 20.0)
    reed = ReedTimbre.of(hz, playing.rate, own, highest=hz)
    return _voice(playing, stretch, reed, np.zeros_like, rms)
