"""Lengths as written in notation: note values, ties, tuplets and beams.

Bars are divided as is usual in engraving (E. Gould, Behind Bars, 2011, chapters 2 and 6; from
memory): a value that begins off the beat ends at the next one, the middle of a bar of four beats
stays visible, rests begin where their own length falls, and beams show the beats. All positions
are in whole notes from the start of a full bar.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from trainer.exchange.errors import ExchangeError

NOTE_TYPES = {
    Fraction(2): "breve",
    Fraction(1): "whole",
    Fraction(1, 2): "half",
    Fraction(1, 4): "quarter",
    Fraction(1, 8): "eighth",
    Fraction(1, 16): "16th",
    Fraction(1, 32): "32nd",
    Fraction(1, 64): "64th",
    Fraction(1, 128): "128th",
    Fraction(1, 256): "256th",
}
"""Names of note values in MusicXML, by their length in whole notes."""
DOTTED = Fraction(3, 2)
"""Length of a dotted value, relative to the plain one."""
_BEAMED = {
    name: i for i, name in enumerate(("eighth", "16th", "32nd", "64th", "128th", "256th"), 1)
}
"""Number of beams of each note value that has any."""


@dataclass(frozen=True, slots=True)
class NoteValue:
    """A note or rest, or a part of one, that one symbol can express.

    Attributes:
        at: position in its bar.
        length: in whole notes.
        type: name of its value.
        dotted: whether it has a dot.
        tuplet: actual and normal number of notes; (1, 1) without a tuplet.
        begins_tuplet, ends_tuplet: whether the tuplet's bracket begins or ends at it.
        fills_bar: whether it is a rest of a whole bar.
    """

    at: Fraction
    length: Fraction
    type: str
    dotted: bool = False
    tuplet: tuple[int, int] = (1, 1)
    begins_tuplet: bool = False
    ends_tuplet: bool = False
    fills_bar: bool = False

    @property
    def end(self) -> Fraction:
        """Position at which it ends."""
        return self.at + self.length


@dataclass(frozen=True, slots=True)
class BarSpan:
    """A note or rest, or the part of one that lies in a bar, before it is written.

    Attributes:
        start, end: positions in the bar.
        is_rest: whether it is a rest.
        key: what it is part of; the values of a span keep it.
    """

    start: Fraction
    end: Fraction
    is_rest: bool = False
    key: int = 0


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter as engraving sees it.

    Attributes:
        beats, value: the signature.
    """

    beats: int
    value: int

    @property
    def bar(self) -> Fraction:
        """Length of a bar in whole notes."""
        return Fraction(self.beats, self.value)

    @property
    def is_compound(self) -> bool:
        """Whether three of its beats make a dotted pulse, as in 6/8."""
        return self.beats % 3 == 0 and (self.beats > 3 or self.value >= 8)

    @property
    def pulse(self) -> Fraction:
        """What is counted: the beat, or the dotted pulse of a compound meter."""
        return Fraction(3 if self.is_compound else 1, self.value)

    @property
    def beam(self) -> Fraction:
        """Length that a beam covers at most."""
        return self.pulse if self.is_compound else max(Fraction(1, 4), Fraction(1, self.value))

    @property
    def middle(self) -> Fraction | None:
        """Position of the middle of a bar of four beats; None in other bars."""
        return self.bar / 2 if self.beats == 4 else None


def bar_values(spans: Sequence[BarSpan], meter: Meter) -> list[tuple[int, NoteValue]]:
    """Return the note values of a bar, each with the key of its span, in order.

    Args:
        spans: the notes and rests of the bar, without gaps.
        meter: the meter.

    Raises:
        ExchangeError: notation cannot express a length.
    """
    values: list[tuple[int, NoteValue]] = []
    for group in _groups(spans, meter.pulse):
        actual = _actual(group)
        if actual == 1:
            for span in group:
                values += [(span.key, value) for value in _plain(span, meter)]
        else:
            values += _in_tuplets(group, actual)
    return values


def _is_plain(position: Fraction) -> bool:
    """Whether notes without a tuplet reach a position: its denominator is a power of two."""
    return position.denominator & (position.denominator - 1) == 0


def _groups(spans: Sequence[BarSpan], pulse: Fraction) -> Iterator[list[BarSpan]]:
    """Yield spans that are written together: a span by itself, or those of a tuplet."""
    group: list[BarSpan] = []
    for span in spans:
        group.append(span)
        if _is_plain(span.end):
            yield from _divided(group, pulse)
            group = []
    if group:
        yield from _divided(group, pulse)


def _divided(group: list[BarSpan], pulse: Fraction) -> Iterator[list[BarSpan]]:
    """Yield a group in one, or divided at the pulses where its tuplet does not extend over them."""
    first, last = group[0].start, group[-1].end
    actual = _actual(group)
    unit = (last - first) / actual
    is_even = all(((span.start - first) / unit).denominator == 1 for span in group)
    if actual == 1 or (first // pulse + 1) * pulse >= last or is_even:
        yield group
        return
    cut = [part for span in group for part in _cut(span, pulse)]
    for _, parts in groupby(cut, lambda span: span.start // pulse):
        yield list(parts)


def _cut(span: BarSpan, pulse: Fraction) -> Iterator[BarSpan]:
    """Yield a span in parts that do not extend over a pulse; whole pulses stay together."""
    at = span.start
    while at < span.end:
        pulses = (span.end // pulse) * pulse
        following = (at // pulse + 1) * pulse
        end = pulses if at % pulse == 0 and pulses > at else min(following, span.end)
        yield replace(span, start=at, end=end)
        at = end


def _actual(group: Sequence[BarSpan]) -> int:
    """Return the number of notes in a tuplet in which all of a group can be written; 1 for none."""
    positions = [position for span in group for position in (span.start, span.end)]
    return _odd_part(math.lcm(*(position.denominator for position in positions)))


def _odd_part(number: int) -> int:
    """Return a number without its factors of two."""
    return number // (number & -number)


def _in_tuplets(group: Sequence[BarSpan], actual: int) -> list[tuple[int, NoteValue]]:
    """Return the values of a group as a tuplet; where no values fit, each span as its own.

    Lengths that share no grid, such as thirds and fifths of a beat, have no notation in common.
    """
    try:
        return _tuplet(group, actual)
    except ExchangeError:
        return [
            value
            for span in group
            for value in _tuplet([span], _odd_part((span.end - span.start).denominator))
        ]


def _tuplet(group: Sequence[BarSpan], actual: int) -> list[tuple[int, NoteValue]]:
    """Return the values of a group as a tuplet; without one where `actual` is 1."""
    normal = 2 ** (actual.bit_length() - 1)
    values = []
    for span in group:
        at = span.start
        for length, type_, dotted in _greedy((span.end - at) * actual / normal):
            real = length * normal / actual
            values.append((span.key, NoteValue(at, real, type_, dotted, (actual, normal))))
            at += real
    if actual == 1:
        return values
    values[0] = (values[0][0], replace(values[0][1], begins_tuplet=True))
    values[-1] = (values[-1][0], replace(values[-1][1], ends_tuplet=True))
    return values


def _plain(span: BarSpan, meter: Meter) -> Iterator[NoteValue]:
    """Yield the values of a span without a tuplet."""
    if span.is_rest and span.end - span.start == meter.bar:
        yield NoteValue(span.start, meter.bar, "whole", fills_bar=True)
        return
    at = span.start
    while at < span.end:
        end = _next_end(replace(span, start=at), meter)
        for length, type_, dotted in _greedy(end - at):
            yield NoteValue(at, length, type_, dotted)
            at += length


def _next_end(span: BarSpan, meter: Meter) -> Fraction:
    """Return where the first value of a span ends, or a few values that are tied."""
    at, end, pulse = span.start, span.end, meter.pulse
    following = (at // pulse + 1) * pulse
    crosses_middle = meter.middle is not None and at < meter.middle < end
    if at % pulse:
        is_syncopated = at % pulse == pulse / 2 and end - at == pulse and not meter.is_compound
        if is_syncopated and not crosses_middle and not span.is_rest:
            return end
        end = min(end, following)
        return min(end, at + _largest_aligned(at, end)) if span.is_rest else end
    if span.is_rest:
        return at + _largest_rest(at, end, meter)
    if crosses_middle and at and not (at == pulse and end - at in (2 * pulse, 3 * pulse)):
        assert meter.middle is not None
        end = meter.middle
    pulses = (end - at) // pulse
    if pulses and meter.is_compound:
        return at + 2 ** (pulses.bit_length() - 1) * pulse
    if pulses and (end - at) % pulse not in (0, pulse / 2):
        return at + pulses * pulse
    return end


def _largest_rest(at: Fraction, end: Fraction, meter: Meter) -> Fraction:
    """Return the length of a rest that begins on a pulse and falls where its length does."""
    pulse = meter.pulse
    if end - at < pulse:
        return _largest_aligned(Fraction(0), end - at)
    pulses = 1
    doubles = meter.beats % 2 == 0 and not meter.is_compound
    while doubles and at % (2 * pulses * pulse) == 0 and 2 * pulses * pulse <= end - at:
        pulses *= 2
    return pulses * pulse


def _largest_aligned(at: Fraction, end: Fraction) -> Fraction:
    """Return the longest plain value that ends by `end` and begins at a multiple of itself."""
    return max(
        (length for length in NOTE_TYPES if at % length == 0 and at + length <= end),
        default=end - at,
    )


def _greedy(length: Fraction) -> Iterator[tuple[Fraction, str, bool]]:
    """Yield the values of a length, the longest first: length, name, and whether it has a dot."""
    remaining = length
    while remaining:
        candidates = [
            (value * factor, name, factor != 1)
            for value, name in NOTE_TYPES.items()
            for factor in (DOTTED, Fraction(1))
            if value * factor <= remaining
        ]
        if not candidates:
            raise ExchangeError(f"notation has no value for {length} of a whole note")
        yield max(candidates)
        remaining -= max(candidates)[0]


def bar_beams(values: Sequence[NoteValue | None], meter: Meter) -> list[tuple[str, ...]]:
    """Return the beams of each value of a bar, the outermost first, in MusicXML's words.

    Args:
        values: notes; None for what has no beam, such as a rest.
        meter: the meter.
    """
    beams: list[tuple[str, ...]] = [()] * len(values)
    for run in _beamed_runs(values, meter):
        counts = [_BEAMED[value.type] for i in run if (value := values[i]) is not None]
        for place, i in enumerate(run):
            levels = range(1, counts[place] + 1)
            beams[i] = tuple(_beam(counts, place, level) for level in levels)
    return beams


def _beamed_runs(values: Sequence[NoteValue | None], meter: Meter) -> Iterator[list[int]]:
    """Yield the indices of values that share a beam."""
    run: list[int] = []
    place: Fraction | int | None = None
    tuplet_place: Fraction | None = None
    for i, value in enumerate(values):
        has_beam = value is not None and value.type in _BEAMED
        here: Fraction | int | None = None
        if value is not None:
            here = value.at // meter.beam
            if value.begins_tuplet:
                tuplet_place = Fraction(here)
            here = tuplet_place if value.tuplet != (1, 1) and tuplet_place is not None else here
        if run and (not has_beam or here != place):
            if len(run) > 1:
                yield run
            run = []
        if has_beam:
            run.append(i)
            place = here
    if len(run) > 1:
        yield run


def _beam(counts: Sequence[int], place: int, level: int) -> str:
    """Return what the beam of a level does at a place of a run."""
    before = place > 0 and counts[place - 1] >= level
    after = place + 1 < len(counts) and counts[place + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "backward hook" if place else "forward hook"
