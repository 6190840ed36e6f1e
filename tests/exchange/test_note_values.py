"""Note values, beams and tuplets, against rules of engraving.

E. Gould, Behind Bars, 2011, chapters 2 and 6; from memory.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.exchange.note_values import NOTE_TYPES, BarSpan, Meter, bar_beams, bar_values

COMMON, WALTZ, JIG, FIVE = Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(5, 4)
LETTERS = {"whole": "w", "half": "h", "quarter": "q", "eighth": "e", "16th": "s", "32nd": "t"}


def spans(beats: str, meter: Meter) -> list[BarSpan]:
    """Spans of lengths in beats; a rest has an ``r`` in front."""
    made, at = [], Fraction(0)
    for key, word in enumerate(beats.split()):
        length = Fraction(word.removeprefix("r")) / meter.value
        made.append(BarSpan(at, at + length, word.startswith("r"), key))
        at += length
    return made


def written(beats: str, meter: Meter) -> str:
    """Values of each span joined by ties (``~``): q is a quarter, e3 an eighth of a triplet."""
    texts: dict[int, list[str]] = {}
    for key, value in bar_values(spans(beats, meter), meter):
        tuplet = "" if value.tuplet == (1, 1) else str(value.tuplet[0])
        letter = "bar" if value.fills_bar else LETTERS[value.type]
        texts.setdefault(key, []).append(letter + "." * value.dotted + tuplet)
    return " ".join("~".join(parts) for parts in texts.values())


@pytest.mark.parametrize(
    ("meter", "beats", "expected"),
    [
        (COMMON, "1 1/2 1/2 2", "q e e h"),
        (COMMON, "3/2 1/2 2", "q. e h"),
        (COMMON, "1 2 1", "q h q"),
        (COMMON, "1/2 1 1/2 2", "e q e h"),  # syncopation inside a half
        (COMMON, "3/2 1 3/2", "q. e~e e~q"),  # the middle of the bar stays visible
        (COMMON, "7/2 1/2", "h.~e e"),
        (COMMON, "5/4 3/4 2", "q~s e. h"),
        (COMMON, "1/4 1/2 1/4 3", "s e s h."),
        (COMMON, "r1 r2 1", "q q~q q"),
        (COMMON, "r4", "bar"),
        (WALTZ, "r3", "bar"),
        (WALTZ, "1 r2", "q q~q"),
        (WALTZ, "3", "h."),
        (JIG, "3 2 1", "q. q e"),
        (JIG, "1 4 1", "e q~q e"),
        (JIG, "6", "h."),
        (JIG, "r3 3", "q. q."),
        (FIVE, "5", "w~q"),
        (COMMON, "1/3 1/3 1/3 3", "e3 e3 e3 h."),
        (COMMON, "2/3 1/3 3", "q3 e3 h."),
        (COMMON, "4/3 1/3 1/3 2", "q~e3 e3 e3 h"),  # a tie into a triplet
        (COMMON, "2/3 2/3 2/3 2", "q3 q3 q3 h"),  # a triplet of quarters is not cut at the beat
        (COMMON, "1/5 1/5 1/5 1/5 1/5 3", "s5 s5 s5 s5 s5 h."),
    ],
)
def test_lengths_are_written_as_engravers_do(meter: Meter, beats: str, expected: str) -> None:
    assert written(beats, meter) == expected


def beams(beats: str, meter: Meter) -> str:
    """First letters of each value's outermost beam, and the number of beams; a dot for none."""
    values = bar_values(spans(beats, meter), meter)
    is_rest = {key for key, span in enumerate(spans(beats, meter)) if span.is_rest}
    each = bar_beams([None if key in is_rest else value for key, value in values], meter)
    return " ".join(f"{beam[0][0]}{len(beam)}" if beam else "." for beam in each)


@pytest.mark.parametrize(
    ("meter", "beats", "expected"),
    [
        (COMMON, "1/2 1/2 1/2 1/2 1 1", "b1 e1 b1 e1 . ."),
        (COMMON, "1/2 1/4 1/4 1/4 1/4 1/2 2", "b1 c2 e2 b2 c2 e1 ."),
        (COMMON, "r1/2 1/2 1/2 1/2 2", ". . b1 e1 ."),
        (JIG, "1 1 1 1 1 1", "b1 c1 e1 b1 c1 e1"),
        (COMMON, "1/3 1/3 1/3 3", "b1 c1 e1 ."),
        (COMMON, "2/3 1/3 3", ". . ."),
    ],
)
def test_beams_show_the_beats(meter: Meter, beats: str, expected: str) -> None:
    assert beams(beats, meter) == expected


def test_a_dotted_rhythm_has_a_hook() -> None:
    values = [value for _, value in bar_values(spans("3/4 1/4 3", COMMON), COMMON)]
    assert bar_beams(values, COMMON)[:2] == [("begin",), ("end", "backward hook")]


METERS = st.sampled_from([COMMON, WALTZ, JIG, FIVE, Meter(2, 2), Meter(7, 8), Meter(12, 8)])
GRIDS = ("1/4 1/2 1 3/2 2 3 5/8", "1/3 2/3 1 4/3 1/2 1/6", "1/5 2/5 1 2")
"""Lengths that occur together, in beats."""
PARTS = st.sampled_from(GRIDS).flatmap(
    lambda grid: st.lists(
        st.tuples(st.sampled_from([Fraction(n) for n in grid.split()]), st.booleans()),
        min_size=1,
        max_size=12,
    )
)


@settings(max_examples=60)
@given(METERS, PARTS)
def test_values_fill_their_spans(meter: Meter, parts: list[tuple[Fraction, bool]]) -> None:
    ends = [end for end in accumulate(length / meter.value for length, _ in parts)]
    made, at = [], Fraction(0)
    for key, (end, (_, is_rest)) in enumerate(zip(ends, parts, strict=True)):
        if at < meter.bar:
            made.append(BarSpan(at, min(end, meter.bar), is_rest, key))
        at = end
    values = bar_values(made, meter)
    assert all(value.end == after.at for (_, value), (_, after) in pairwise(values))
    for span in made:
        own = [value for key, value in values if key == span.key]
        assert (own[0].at, own[-1].end) == (span.start, span.end)
    for _, value in values:
        actual, normal = value.tuplet
        plain = {length: name for length, name in NOTE_TYPES.items()}
        length = value.length * actual / normal / (Fraction(3, 2) if value.dotted else 1)
        assert value.fills_bar or plain[length] == value.type
    assert sum(v.begins_tuplet for _, v in values) == sum(v.ends_tuplet for _, v in values)
