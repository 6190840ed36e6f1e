"""What is legal in a drill, and yet unplayable or unwise.

The figures are common practice put into numbers, on the generous side: a drill that is told
here is one that nobody plays well, not one that is hard. All times are those of the drill's own
tempo, with its swing. Where the clock is free there is none, and steps wait for the player, so
that nothing is said about time.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from trainer.core.toml_positions import KeySpans, Span, key_spans
from trainer.drill.clock import BeatClock
from trainer.drill.errors import Problem
from trainer.drill.model import Drill, Sound, Step
from trainer.drill.parser import normalize_text, with_source_lines
from trainer.harp import Breath, Harp, Tab

BREATH_S = 8.0
"""Seconds that one breath may last, in or out. A calm one lasts some ten on one hole."""
LUNGS_S = 10.0
"""Seconds on one hole by which the lungs may be fuller, or emptier, than at rest."""
CATCH_S = 0.2
"""A shorter rest is over before any air has moved."""
REST_RATE = 4.0
"""How much faster air goes in or out in a rest than through a hole."""
CHORD_AIR = 0.5
"""What each further hole of a chord takes of the air that one hole does."""
JUMP_RATE = 16.0
"""Holes a second that can be jumped: an octave in eighths at 160 beats a minute."""
STEP_RATE = 14.0
"""Moves a second to the hole beside, which needs no aim."""
NOTE_S = 0.1
"""A reed takes up to 60 ms to speak, and in the last 40 ms of a note the breath lets go."""
GLIDE_S = 0.25
"""A glide rests at each end for a quarter of its length, and a reed takes 60 ms to speak."""
RUNG_S = 0.15
"""A rung has a way to the next one, and must then be held for as long as NOTE_S."""
VIBRATO_CYCLES = 2.0
WAH_CYCLES = 1.0
SLACK_CENTS = 20.0
"""How far a reed gives way beyond what is reckoned with."""

Doubt = tuple[Step, str]


def lint_drill(source: str, drill: Drill) -> tuple[Problem, ...]:
    """What is legal in a drill's file and yet unplayable or unwise, in order of place.

    Args:
        source: the text of the file.
        drill: the drill in it.
    """
    text = normalize_text(source)
    found = list(_of_fields(text, drill))
    harp = Harp.of(drill.key, drill.tuning)
    for steps in (drill.steps, drill.second):
        own = [step for step in steps if not step.call]
        found += _each_once(_too_deep(own, harp))
        for doubtful in () if drill.free else _IN_TIME:
            found += _each_once(doubtful(own, _Seconds(drill)))
    in_order = sorted(found, key=lambda problem: (problem.line, problem.column))
    return tuple(with_source_lines(in_order, text))


def _each_once(doubts: Iterator[Doubt]) -> list[Problem]:
    """The first doubt at each place; what is repeated comes there again."""
    told: dict[tuple[int, int], Problem] = {}
    for step, message in doubts:
        problem = Problem(step.line, step.column, len(step.text), message)
        told.setdefault((step.line, step.column), problem)
    return list(told.values())


class _Seconds:
    """When beats fall, in seconds."""

    def __init__(self, drill: Drill) -> None:
        self._clock = BeatClock(0, drill.tempo, 1_000_000, drill.swing)

    def at(self, beat: Fraction) -> float:
        return self._clock.sample(beat) / self._clock.rate

    def of(self, step: Step) -> float:
        return self.at(step.end) - self.at(step.start)


# Fields


def _of_fields(text: str, drill: Drill) -> Iterator[Problem]:
    spots, data = key_spans(text), tomllib.loads(text)

    def problem(message: str, *path: str) -> Problem:
        place = spots.get(path) or spots.get(path[:1]) or KeySpans(Span(1, 1, 0), Span(1, 1, 0))
        return Problem(place.key.line, place.key.column, place.key.length, message)

    if not drill.about:
        yield problem("'about' is missing; say what the drill trains and how it feels when right")
    if drill.climb and drill.free:
        yield problem(
            "a free clock has no tempo that could climb; leave one of the two out", "climb"
        )
    elif drill.climb and not drill.loop:
        yield problem(
            "the tempo climbs from pass to pass, but no bars are looped; add loop", "climb"
        )
    if "hold" in data.get("goal", {}) and not drill.free:
        message = 'hold is only for steps that wait; write clock = "free", or leave it out'
        yield problem(message, "goal", "hold")


# Pitch


def _too_deep(steps: Sequence[Step], harp: Harp) -> Iterator[Doubt]:
    """Targets in cents where the reed does not go."""
    for step in steps:
        for place, sound in enumerate(step.sounds):
            for tab in sound:
                message = _out_of_reach(tab, step.offset_cents(place), harp)
                if message:
                    yield step, message


def _out_of_reach(tab: Tab, off: float, harp: Harp) -> str:
    if tab.over or not off:
        return ""
    under = 100.0 * tab.bend - off
    bends = harp.higher_reed(tab.hole) is tab.breath
    depth = harp.bend_depth(tab.hole) if bends else 0.0
    reed = f"hole {tab.hole} {tab.breath}"
    if under < -SLACK_CENTS:
        return f"{tab} is to sound {off:g} cents higher than its reed, which only bends down"
    if under > depth + SLACK_CENTS:
        reach = f"bends by some {depth:g} cents" if depth else "does not bend"
        return f"{tab} is to sound {under:g} cents under its reed, but {reed} {reach}"
    return ""


# Time


def _too_short(steps: Sequence[Step], seconds: _Seconds) -> Iterator[Doubt]:
    for step in steps:
        lasts, count = seconds.of(step), len(step.sounds)
        if step.ladder and lasts < count * RUNG_S:
            yield (
                step,
                f"each rung of the ladder lasts {_ms(lasts / count)}; under {_ms(RUNG_S)} it can "
                "be neither found nor judged: make it longer",
            )
        elif step.is_glide and lasts < GLIDE_S:
            yield (
                step,
                f"the glide lasts {_ms(lasts)}; under {_ms(GLIDE_S)} its ends cannot be judged: "
                "make it longer",
            )
        elif lasts < NOTE_S:
            yield (
                step,
                f"the note lasts {_ms(lasts)}; under {_ms(NOTE_S)} it cannot be judged: make it "
                "longer, or the tempo slower",
            )


def _too_few_cycles(steps: Sequence[Step], seconds: _Seconds) -> Iterator[Doubt]:
    for step in steps:
        asked = [("vibrato", step.vibrato.hz, VIBRATO_CYCLES)] if step.vibrato else []
        asked += [("wah", step.wah_hz, WAH_CYCLES)] if step.wah_hz else []
        for name, hz, least in asked:
            cycles = hz * seconds.of(step)
            if cycles < least:
                yield (
                    step,
                    f"the note is over after {cycles:.1f} cycles of the {name}, which takes "
                    f"{least:g} to be heard: make it longer",
                )


def _jumps(steps: Sequence[Step], seconds: _Seconds) -> Iterator[Doubt]:
    for before, after in pairwise(steps):
        holes = _distance(before.last, after.first)
        time = seconds.at(after.start) - seconds.at(before.start)
        rate = holes / time
        if rate > (STEP_RATE if holes == 1 else JUMP_RATE):
            how = "the hole beside" if holes == 1 else f"{holes} holes away"
            yield (
                after,
                f"{after.tab} comes {_ms(time)} after {before.tab} has begun, and is {how}: too "
                "fast to be played clean",
            )


def _distance(before: Sound, after: Sound) -> int:
    """Holes that the mouth has to move by."""
    return min(
        abs(before[0].hole - after[0].hole),
        abs(before[-1].hole - after[-1].hole),
    )


def _breath(steps: Sequence[Step], seconds: _Seconds) -> Iterator[Doubt]:
    """A breath that never ends, and stretches that fill or empty the lungs bit by bit."""
    first: Step | None = None
    before: Step | None = None
    air = 0.0  # seconds on one hole that were drawn and not blown since the lungs were at rest
    told = False
    for step in steps:
        rest = seconds.at(step.start) - seconds.at(before.end) if before else 0.0
        pause = rest * REST_RATE if rest >= CATCH_S else 0.0
        air = max(air - pause, 0.0) if air > 0 else min(air + pause, 0.0)
        breath = step.first[0].breath
        if first is None or pause or first.first[0].breath is not breath:
            first, told = step, False
        before = step
        if told:
            continue
        lasts = seconds.at(step.end) - seconds.at(first.start)
        size = seconds.of(step) * (1.0 + CHORD_AIR * (len(step.first) - 1))
        air += size if breath is Breath.DRAW else -size
        if lasts > BREATH_S:
            told, air = True, 0.0
            yield (
                step,
                f"one {breath} breath has lasted {lasts:.1f} s by here, from {first.tab} on; the "
                f"lungs want a turn after {BREATH_S:g}: put in a rest, or turn the breath",
            )
        elif abs(air) > LUNGS_S:
            full, way = ("full", "out") if breath is Breath.DRAW else ("empty", "in")
            air = 0.0
            yield (
                step,
                f"the lungs are {full} by here, because what went before was nearly all {breath}: "
                f"put in rests to let the air {way}, or notes of the other breath",
            )


def _ms(seconds: float) -> str:
    return f"{seconds * 1000:.0f} ms"


_IN_TIME: tuple[Callable[[Sequence[Step], _Seconds], Iterator[Doubt]], ...] = (
    _too_short,
    _too_few_cycles,
    _jumps,
    _breath,
)
