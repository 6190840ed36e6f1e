"""Lint: warnings about drills that are legal and unplayable or unwise.

The parameters are common practice expressed as numbers, on the generous side: a drill with a
warning cannot be played well by anybody; a hard drill gets none. All times are at the drill's own
tempo, with its swing. Under a free clock steps wait for the player, and no time is checked.
"""

from __future__ import annotations

import math
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from trainer.core.problems import Problem, with_source_lines
from trainer.core.quantities import quantity_text
from trainer.core.text_files import normalize_text
from trainer.core.toml_positions import KeySpans, Span, key_spans
from trainer.drill.aim import can_measure
from trainer.drill.fingerings import MAX_SPAN_HOLES
from trainer.drill.model import (
    Articulation,
    CleannessRule,
    Drill,
    Sound,
    Step,
    VibratoKind,
    format_sound,
)
from trainer.drill.parser import find_former_names
from trainer.harp import Breath, Harp, Tab


@dataclass(frozen=True, slots=True)
class LintParameters:
    """Limits beyond which a drill gets a warning (common practice where no source is given).

    Attributes:
        max_breath_s: maximum duration of one breath in seconds. A calm breath on one hole lasts
            about ten.
        max_lung_air_s: maximum net air drawn or blown since the lungs were at rest, in seconds
            of one hole.
        min_rest_s: minimum rest in seconds in which any air is exchanged.
        rest_air_rate: air exchanged per second of rest, in seconds of one hole.
        chord_air: air of each further hole of a chord, relative to a single hole.
        max_jump_rate: maximum speed of a jump in holes per second: an octave in eighth notes at
            160 beats per minute.
        max_neighbour_rate: maximum rate of moves to a neighbouring hole per second; they need no
            aim.
        min_note_s: minimum duration of a note in seconds: a reed takes up to 60 ms to speak, and
            the breath is released in the last 40 ms.
        min_glide_s: minimum duration of a glide in seconds: each end is held for a quarter of it,
            and a reed takes 60 ms to speak.
        min_rung_s: minimum duration of a ladder's rung in seconds: the move to the next rung, and
            `min_note_s` of hold.
        min_vibrato_cycles, min_wah_cycles: minimum number of cycles of hand vibrato and of a wah in
            a note.
        min_throat_vibrato_s: minimum duration of a note with throat vibrato in seconds: it starts
            late, and five cycles at its usual rate take a second.
        min_shake_cycles: minimum number of full cycles of a shake.
        min_staccato_s: minimum written length of a staccato note in seconds: it is held for half of
            it, and `min_note_s` is the shortest note.
        min_swell_s: minimum duration of a swell or fade in seconds.
        min_inflection_s: minimum duration of a scoop, dip or fall in seconds: three periods of the
            pitch tracker at the low end of the harp.
        min_held_fraction: minimum fraction of a note that its scoop and fall leave between them.
        min_before_grace_s: minimum duration in seconds of a note that a grace note takes its time
            from: it is 80 ms long.
        max_grace_holes: greatest distance in holes from a grace note to its note.
        accent_neighbours: number of steps on each side among which an accent needs one without.
        min_solo_bars: minimum length of a solo in bars.
        max_solo_s: maximum length of a solo in seconds.
        reach_slack_cents: cents by which a target may lie beyond the nominal range of a reed.
        max_without_rest_s: maximum time without a rest in seconds: the lips tire, and a player
            swallows.
        min_bend_s: minimum duration of a bend in seconds: a reed takes up to 60 ms to speak, and
            the tongue as long to find the bend.
        quick_turn_s: duration in seconds below which a single note in the other breath than both
            its neighbours is quick.
        first_levels: level from which a technique is in a drill, by its kind.
        valved_level: the same for a valved bend.
        min_swung: number of off-beats written after 2/3 of a beat from which they are a swing.
        fastest_steps_s: minimum mean time between four steps in succession, in seconds, by level;
            from the last level on, only `min_note_s` counts.
        fastest_jumps: maximum speed of a jump in holes per second, by level, in the same way.
    """

    max_breath_s: float = 8.0
    max_lung_air_s: float = 10.0
    min_rest_s: float = 0.2
    rest_air_rate: float = 4.0
    chord_air: float = 0.5
    max_jump_rate: float = 16.0
    max_neighbour_rate: float = 14.0
    min_note_s: float = 0.1
    min_glide_s: float = 0.25
    min_rung_s: float = 0.15
    min_vibrato_cycles: float = 2.0
    min_wah_cycles: float = 1.0
    min_throat_vibrato_s: float = 1.0
    min_shake_cycles: float = 2.0
    min_staccato_s: float = 0.2
    min_swell_s: float = 0.5
    min_inflection_s: float = 0.06
    min_held_fraction: float = 0.25
    min_before_grace_s: float = 0.2
    max_grace_holes: int = 2
    accent_neighbours: int = 4
    min_solo_bars: float = 1.0
    max_solo_s: float = 240.0
    reach_slack_cents: float = 20.0
    max_without_rest_s: float = 30.0
    min_bend_s: float = 0.15
    quick_turn_s: float = 0.4
    first_levels: Mapping[str, int] = field(
        default_factory=lambda: {"draw bend": 3, "blow bend": 6, "overblow": 7, "overdraw": 8}
    )
    valved_level: int = 6
    min_swung: int = 4
    fastest_steps_s: Mapping[int, float] = field(
        default_factory=lambda: {1: 0.5, 2: 0.3, 3: 0.25, 4: 0.2, 5: 0.18}
    )
    fastest_jumps: Mapping[int, float] = field(
        default_factory=lambda: {1: 3.0, 2: 4.0, 3: 6.0, 4: 8.0}
    )


PARAMETERS = LintParameters()
"""Parameters in use."""

_HALF = Fraction(1, 2)

StepWarning = tuple[Step, str]
"""A step and the message about it."""


def lint_drill(source: str, drill: Drill) -> tuple[Problem, ...]:
    """Return the warnings about a drill, in order of position.

    Args:
        source: the text of the drill's file.
        drill: the drill in it.
    """
    text = normalize_text(source)
    warnings = [*_check_fields(text, drill), *find_former_names(text)]
    harp = Harp.of(drill.key, drill.tuning)
    has_level = "level" in tomllib.loads(text)  # a player's own drill often has none
    for steps in (drill.steps, drill.second):
        played = [step for step in steps if not step.call]
        for check_on_harp in (_check_pitches, _check_inflections):
            warnings += _first_at_each_position(check_on_harp(played, harp))
        if has_level:
            warnings += _first_at_each_position(_check_techniques(played, harp, drill.level))
        if not drill.free:
            timing = _Timing(drill)
            warnings += _first_at_each_position(_check_same_note(played, harp, timing))
            if has_level:
                warnings += _first_at_each_position(_check_tempo(played, timing, drill.level))
        for check_steps in _STEP_CHECKS:
            warnings += _first_at_each_position(check_steps(played))
        for check in () if drill.free else _TIME_CHECKS:
            warnings += _first_at_each_position(check(played, _Timing(drill)))
    in_order = sorted(warnings, key=lambda problem: (problem.line, problem.column))
    return tuple(with_source_lines(in_order, text))


def _first_at_each_position(warnings: Iterator[StepWarning]) -> list[Problem]:
    """Return the first warning at each position: repeats visit a position several times."""
    problems: dict[tuple[int, int], Problem] = {}
    for step, message in warnings:
        problem = Problem(step.line, step.column, len(step.text), message)
        problems.setdefault((step.line, step.column), problem)
    return list(problems.values())


class _Timing:
    """Times of beats and durations of steps, in seconds."""

    def __init__(self, drill: Drill) -> None:
        self._clock = drill.clock(1_000_000)

    def at(self, beat: Fraction) -> float:
        return self._clock.sample(beat) / self._clock.rate

    def duration(self, step: Step) -> float:
        return self.at(step.end) - self.at(step.start)


# Fields


def _check_fields(text: str, drill: Drill) -> Iterator[Problem]:
    spans, data = key_spans(text), tomllib.loads(text)

    def problem(message: str, *path: str) -> Problem:
        start = KeySpans(Span(1, 1, 0), Span(1, 1, 0))
        key = (spans.get(path) or spans.get(path[:1]) or start).key
        return Problem(key.line, key.column, key.length, message)

    if not drill.about:
        yield problem("add 'about': what the drill trains and how it feels when right")
    if drill.skills and not drill.aims:
        yield problem("add [aim]: which criterion the drill trains, on which steps")
    for aim in drill.aims:
        if aim.is_on_solos and drill.solos:
            if aim.criterion == "harmony" and drill.ground is None:
                message = "add a [ground]: without chords there are no chord notes"
                yield problem(message, "aim", aim.criterion)
            continue
        if not any(can_measure(aim.criterion, s, free=drill.free) for s in aim.steps(drill.steps)):
            message = f"nothing measures {aim.criterion} on these steps; name others"
            yield problem(message, "aim", aim.criterion)
    if all(step.optional or step.call for step in drill.steps):
        yield problem("write some notes without 'optional': all of them may be left out", "tab")
    yield from _check_solos(drill, problem)
    if drill.climb and drill.free:
        yield problem("leave out 'climb' or the free clock, which has no tempo", "climb")
    elif drill.climb and not drill.loop:
        yield problem("add 'loop': without looped bars the tempo does not climb", "climb")
    if message := _doubt_swing(drill):
        yield problem(message, "swing" if drill.swing != 1 else "tempo")
    if "hold" in data.get("goal", {}) and not drill.free:
        message = "leave out 'hold', or write clock = \"free\": only a free clock waits"
        yield problem(message, "goal", "hold")


def _check_solos(drill: Drill, problem: Callable[..., Problem]) -> Iterator[Problem]:
    """Find solos too short to be judged, and chords that the scale has no note of."""
    brief, beats = drill.brief, drill.meter[0]
    if brief is None:
        return
    for solo in drill.solos:
        seconds = float(solo.beats) * drill.beat_s(solo.start)
        if solo.beats < PARAMETERS.min_solo_bars * beats:
            message = (
                f"make the solo longer: {float(solo.beats):g} beats are too short for a phrase "
                f"(minimum {PARAMETERS.min_solo_bars:g} bar)"
            )
            yield Problem(solo.line, solo.column, len("solo"), message)
        elif seconds > PARAMETERS.max_solo_s:
            message = (
                f"make the solo shorter, or split it with a written note: {seconds:.0f} s are long "
                f"(maximum {PARAMETERS.max_solo_s:g} s)"
            )
            yield Problem(solo.line, solo.column, len("solo"), message)
    scale = set(brief.half_steps)
    foreign = {each.chord.in_key for each in drill.chords if not scale & set(each.chord.half_steps)}
    if foreign:
        message = f"choose another scale or chord: {brief.scale} has no note of {min(foreign)}"
        yield problem(message, "ground", "chords")


def _doubt_swing(drill: Drill) -> str:
    """Return what to do about a swing that nothing has, or that is written out; empty if right."""
    starts = [step.start % 1 for step in drill.steps]
    if drill.solos:
        return ""  # what the player plays there has it
    if drill.swing != 1 and not any(start.denominator in (2, 4, 8) for start in starts):
        return "leave out 'swing', or write eighth notes: no note starts where it changes anything"
    counts = Counter(starts)
    swung, first = counts[Fraction(2, 3)], counts[Fraction(1, 3)]
    if drill.meter[1] == 4 and swung >= PARAMETERS.min_swung and not first and not counts[_HALF]:
        return "write swing = 2 and plain eighth notes: all off-beats come after 2/3 of a beat"
    return ""


# Pitch


def _check_pitches(steps: Sequence[Step], harp: Harp) -> Iterator[StepWarning]:
    """Find targets in cents that a reed does not reach."""
    for step in steps:
        for index, sound in enumerate(step.sounds):
            for tab in sound:
                message = _out_of_reach(tab, step.offset_cents(index), harp)
                if message:
                    yield step, message


def _out_of_reach(tab: Tab, offset_cents: float, harp: Harp) -> str:
    if tab.over or not offset_cents:
        return ""
    below_reed = 100.0 * tab.bend - offset_cents
    depth = harp.bend_depth(tab.hole, tab.breath)
    reed = f"hole {tab.hole} {tab.breath}"
    if below_reed < -PARAMETERS.reach_slack_cents:
        above = quantity_text(offset_cents, "cent")
        return f"{tab}: the target is {above} above the reed, which only bends down"
    if below_reed > depth + PARAMETERS.reach_slack_cents:
        reach = f"bends by about {quantity_text(depth, 'cent')}" if depth else "does not bend"
        below = quantity_text(below_reed, "cent")
        return f"{tab}: the target is {below} below the reed, but {reed} {reach}"
    return ""


def _check_inflections(steps: Sequence[Step], harp: Harp) -> Iterator[StepWarning]:
    """Find scoops, dips and falls that go deeper than a reed bends."""
    for step in steps:
        for name, inflection in (("scoop", step.scoop), ("fall", step.fall)):
            for tab in step.first if inflection and not any(t.over for t in step.first) else ():
                assert inflection is not None
                target = step.offset_cents(0) - inflection.cents
                if message := _out_of_reach(tab, target, harp):
                    yield step, f"{name} of {inflection.cents:g} cents: {message}"


# Techniques


def _check_techniques(steps: Sequence[Step], harp: Harp, level: int) -> Iterator[StepWarning]:
    """Find techniques that nobody has learnt at a drill's level."""
    for step in steps:
        for tab in (tab for sound in step.sounds for tab in sound):
            is_valved = bool(tab.bend) and harp.bends_alone(tab)
            first = PARAMETERS.first_levels.get(tab.kind, 1)
            first = PARAMETERS.valved_level if is_valved else first
            if level < first:
                name = "valved bend" if is_valved else tab.kind
                article = "an" if name[0] == "o" else "a"
                advice = f"raise 'level' to {first}, or leave out {tab}"
                yield step, f"{advice}: {article} {name} comes later"


def _check_mouth(steps: Sequence[Step]) -> Iterator[StepWarning]:
    """Find chords that no mouth covers, or that need the tongue in two places."""
    for step in steps:
        for sound in step.sounds:
            gaps = sum(after.hole - before.hole > 1 for before, after in pairwise(sound))
            span = sound[-1].hole - sound[0].hole + 1
            if span > MAX_SPAN_HOLES:
                yield (
                    step,
                    f"take holes nearer together: {format_sound(sound)} is {span} holes wide, and "
                    f"a mouth covers {MAX_SPAN_HOLES}",
                )
            elif gaps > 1:
                yield (
                    step,
                    f"write holes side by side, or one split: for {format_sound(sound)} the tongue "
                    "would have to cover two places",
                )


def _check_same_note(steps: Sequence[Step], harp: Harp, timing: _Timing) -> Iterator[StepWarning]:
    """Find quick notes in the other breath than both neighbours, where a hole as near has them."""
    for before, step, after in zip(steps, steps[1:], steps[2:], strict=False):
        joined = before.end == step.start and step.end == after.start
        if not joined or step.alternative or not _is_plain_note(step):
            continue
        (tab,) = step.first
        breath = tab.breath.other
        if before.last[0].breath is not breath or after.first[0].breath is not breath:
            continue
        for other in harp.same_pitch(tab):
            near = [abs(hole - other.hole) for hole in (before.last[0].hole, after.first[0].hole)]
            if (
                other.is_natural
                and other.breath is breath
                and max(near) <= 1
                and timing.duration(step) < PARAMETERS.quick_turn_s
            ):
                yield (
                    step,
                    f"write {other}, the same note on the breath of its neighbours: {tab} takes "
                    "two quick changes of breath",
                )


def _is_plain_note(step: Step) -> bool:
    """Whether a step is one natural note without anything that ties it to its hole."""
    is_gesture = step.cleanness_rule in (CleannessRule.CHORD, CleannessRule.AROUND)
    is_natural = len(step.sounds) == 1 and len(step.first) == 1 and step.first[0].is_natural
    return is_natural and not (step.shake or step.slap or step.grace or is_gesture)


def _check_shakes(steps: Sequence[Step]) -> Iterator[StepWarning]:
    for step in steps:
        holes = abs(step.shake.other[0].hole - step.first[0].hole) if step.shake else 1
        if holes != 1:
            distance = f"{holes} holes apart" if holes else "on one hole"
            yield step, f"shake between neighbouring holes: those of {step.tab} are {distance}"


def _check_lengths(steps: Sequence[Step]) -> Iterator[StepWarning]:
    """Find notes that their scoop and fall take up."""
    for step in steps:
        inflections = [(name, getattr(step, name)) for name in ("scoop", "fall")]
        taken = sum(inflection.beats for _, inflection in inflections if inflection)
        if taken > (1.0 - PARAMETERS.min_held_fraction) * step.beats:
            names = " and the ".join(name for name, inflection in inflections if inflection)
            yield (
                step,
                f"make the note longer or the {names} shorter: little of the note is left to hold",
            )


def _check_grace_distance(steps: Sequence[Step]) -> Iterator[StepWarning]:
    for step in steps:
        holes = _distance(step.grace, step.first) if step.grace else 0
        if holes > PARAMETERS.max_grace_holes:
            yield (
                step,
                f"take a grace note nearer to {step.tab}: {format_sound(step.grace)} is {holes} "
                "holes away, too far to crush in",
            )


def _check_legato(steps: Sequence[Step]) -> Iterator[StepWarning]:
    """Find legato notes that cannot go on into the next: their last note needs no direction."""
    for step, following in pairwise([*steps, None]):
        if step is None or step.articulation is not Articulation.LEGATO:
            continue
        if following is None or following.start > step.end:
            continue  # the end of a phrase
        if following.first[0].breath is not step.last[0].breath:
            yield step, f"end {{legato}} here: {following.tab} needs another breath"
        elif following.first == step.last:
            yield step, f"end {{legato}} here: {following.tab} again needs an attack"


def _check_accents(steps: Sequence[Step]) -> Iterator[StepWarning]:
    count = PARAMETERS.accent_neighbours
    for index, step in enumerate(steps):
        around = steps[max(0, index - count) : index + count + 1]
        if step.accent and all(other.accent for other in around):
            yield step, "leave some notes around it without accent: it is louder than those"


_STEP_CHECKS: tuple[Callable[[Sequence[Step]], Iterator[StepWarning]], ...] = (
    _check_mouth,
    _check_shakes,
    _check_lengths,
    _check_grace_distance,
    _check_legato,
    _check_accents,
)


# Time


def _check_durations(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    for step in steps:
        duration, count = timing.duration(step), len(step.sounds)
        if step.ladder and duration < count * PARAMETERS.min_rung_s:
            yield (
                step,
                f"make the ladder longer: a rung of {_ms(duration / count)} is too short to find "
                f"and to mark (minimum {_ms(PARAMETERS.min_rung_s)})",
            )
        elif step.is_glide and duration < PARAMETERS.min_glide_s:
            yield (
                step,
                f"make the glide longer: {_ms(duration)} is too short to mark its ends (minimum "
                f"{_ms(PARAMETERS.min_glide_s)})",
            )
        elif duration < PARAMETERS.min_note_s:
            yield (
                step,
                f"make the note longer or the tempo slower: {_ms(duration)} is too short to mark "
                f"(minimum {_ms(PARAMETERS.min_note_s)})",
            )


def _check_cycles(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    for step in steps:
        effects: list[tuple[str, float, float]] = []
        if step.vibrato and step.vibrato.kind is VibratoKind.HAND:
            effects.append(("vibrato", step.vibrato.hz, PARAMETERS.min_vibrato_cycles))
        if step.shake:
            effects.append(("the shake", step.shake.hz, PARAMETERS.min_shake_cycles))
        effects += [("wah", step.wah_hz, PARAMETERS.min_wah_cycles)] if step.wah_hz else []
        for name, hz, minimum in effects:
            cycles = hz * timing.duration(step)
            if cycles < minimum:
                yield (
                    step,
                    f"make the note longer: {cycles:.1f} cycles of {name} are too few to hear "
                    f"(minimum {minimum:g})",
                )


def _check_shapes(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    """Find notes too short for their vibrato, articulation, swell, scoop or fall."""
    for step in steps:
        throat = step.vibrato is not None and step.vibrato.kind is VibratoKind.THROAT
        staccato = step.articulation is Articulation.STACCATO
        minimums = {
            "throat vibrato": PARAMETERS.min_throat_vibrato_s if throat else 0.0,
            "staccato": PARAMETERS.min_staccato_s if staccato else 0.0,
            "a swell or fade": PARAMETERS.min_swell_s if step.swell_db else 0.0,
        }
        duration = timing.duration(step)
        for name, minimum in minimums.items():
            if duration < minimum:
                yield (
                    step,
                    f"make the note longer: {_ms(duration)} is too short for {name} "
                    f"(minimum {_ms(minimum)})",
                )
        for name, inflection in (("scoop", step.scoop), ("fall", step.fall)):
            part = duration * float(inflection.beats / step.beats) if inflection else math.inf
            if part < PARAMETERS.min_inflection_s:
                yield (
                    step,
                    f"make the {name} longer: {_ms(part)} is too short to hear (minimum "
                    f"{_ms(PARAMETERS.min_inflection_s)})",
                )


def _check_graces(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    """Find grace notes before which the last note is too short to give them its time."""
    for before, step in pairwise(steps):
        gap = timing.at(step.start) - timing.at(before.start)
        if step.grace and gap < PARAMETERS.min_before_grace_s:
            yield (
                step,
                f"leave out the grace note, or make {before.tab} before it longer: {_ms(gap)} is "
                f"too short for both (minimum {_ms(PARAMETERS.min_before_grace_s)})",
            )


def _check_jumps(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    for before, after in pairwise(steps):
        holes = _distance(before.last, after.first)
        time = timing.at(after.start) - timing.at(before.start)
        rate = holes / time
        if rate > (PARAMETERS.max_neighbour_rate if holes == 1 else PARAMETERS.max_jump_rate):
            distance = "the next hole" if holes == 1 else f"{holes} holes away"
            yield (
                after,
                f"too fast to play clean: {after.tab} is {distance} and comes {_ms(time)} after "
                f"{before.tab}",
            )


def _check_tempo(steps: Sequence[Step], timing: _Timing, level: int) -> Iterator[StepWarning]:
    """Find passages that are too quick for a drill's level, though others can play them."""
    shortest = PARAMETERS.fastest_steps_s.get(level, 0.0)
    for first, last in zip(steps, steps[3:], strict=False):
        mean = (timing.at(last.start) - timing.at(first.start)) / 3.0
        if mean < shortest:
            yield (
                first,
                f"play it slower or raise 'level': four notes follow each other by {_ms(mean)} "
                f"(minimum {_ms(shortest)} at level {level})",
            )
    fastest = PARAMETERS.fastest_jumps.get(level, math.inf)
    for before, after in pairwise(steps):
        holes, time = _distance(before.last, after.first), timing.at(after.start)
        rate = holes / (time - timing.at(before.start))
        if holes > 1 and rate > fastest:
            yield (
                after,
                f"give the jump of {holes} holes to {after.tab} more time, or raise 'level': at "
                f"level {level} a jump takes {_ms(holes / fastest)}",
            )


def _check_bends(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    """Find bends that are over before they are found."""
    for step in steps:
        is_bent = len(step.sounds) == 1 and any(tab.bend for tab in step.first)
        duration = timing.duration(step)
        if is_bent and PARAMETERS.min_note_s <= duration < PARAMETERS.min_bend_s:
            yield (
                step,
                f"make the bend longer or write a grace note: {_ms(duration)} is too short to find "
                f"it (minimum {_ms(PARAMETERS.min_bend_s)})",
            )


def _check_rests(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    """Find passages without a rest: balanced breath does not rest the lips."""
    begun: float | None = None
    for before, step in pairwise([None, *steps]):
        assert step is not None
        start = timing.at(step.start)
        if begun is None or (before and start - timing.at(before.end) >= PARAMETERS.min_rest_s):
            begun = start
        if timing.at(step.end) - begun > PARAMETERS.max_without_rest_s:
            begun = timing.at(step.end)
            yield (
                step,
                f"add a rest: more than {PARAMETERS.max_without_rest_s:g} s are played without one "
                "by here",
            )


def _distance(before: Sound, after: Sound) -> int:
    """Return the number of holes that the mouth moves."""
    return min(
        abs(before[0].hole - after[0].hole),
        abs(before[-1].hole - after[-1].hole),
    )


def _check_breath(steps: Sequence[Step], timing: _Timing) -> Iterator[StepWarning]:
    """Find breaths that are too long, and passages that fill or empty the lungs."""
    breath_start: Step | None = None
    before: Step | None = None
    air = 0.0  # net air drawn since the lungs were at rest, in seconds of one hole
    reported = False
    for step in steps:
        rest = timing.at(step.start) - timing.at(before.end) if before else 0.0
        exchanged = rest * PARAMETERS.rest_air_rate if rest >= PARAMETERS.min_rest_s else 0.0
        air = max(air - exchanged, 0.0) if air > 0 else min(air + exchanged, 0.0)
        breath = step.first[0].breath
        if breath_start is None or exchanged or breath_start.first[0].breath is not breath:
            breath_start, reported = step, False
        before = step
        if reported:
            continue
        breath_s = timing.at(step.end) - timing.at(breath_start.start)
        step_air = timing.duration(step) * (1.0 + PARAMETERS.chord_air * (len(step.first) - 1))
        air += step_air if breath is Breath.DRAW else -step_air
        if breath_s > PARAMETERS.max_breath_s:
            reported, air = True, 0.0
            yield (
                step,
                f"add a rest or a {breath.other} note: one {breath} breath lasts {breath_s:.1f} s "
                f"by here, from {breath_start.tab} on (maximum {PARAMETERS.max_breath_s:g} s)",
            )
        elif abs(air) > PARAMETERS.max_lung_air_s:
            state, way = ("full", "out") if breath is Breath.DRAW else ("empty", "in")
            air = 0.0
            yield (
                step,
                f"add rests to breathe {way}, or {breath.other} notes: the lungs are {state} by "
                f"here, after nearly only {breath} notes",
            )


def _ms(seconds: float) -> str:
    return f"{seconds * 1000:.0f} ms"


_TIME_CHECKS: tuple[Callable[[Sequence[Step], _Timing], Iterator[StepWarning]], ...] = (
    _check_durations,
    _check_cycles,
    _check_shapes,
    _check_graces,
    _check_jumps,
    _check_bends,
    _check_rests,
    _check_breath,
)
