"""Writes a drill as the text of a drill file, which gives the same drill when it is read.

Repeats are written out, because a drill holds what is played and not how it was abbreviated.
What crosses a bar line is tied over it. Parts of a beat that are no halves, or halves of these,
are put in brackets where they fill a simple length together, as in ``[4 -4 5]:1``, and are
fractions elsewhere.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from trainer.drill.errors import DrillError
from trainer.drill.formatter import format_drill
from trainer.drill.model import DEFAULT_WEIGHTS, CleannessRule, Climb, Drill, Goal, Step, Vibrato
from trainer.drill.parser import parse_drill, pickup_beats
from trainer.drill.tab_words import DEFAULT_WAH_HZ, MAX_LENGTH_BEATS, MIN_LENGTH_BEATS, is_countable

LINE_WIDTH = 72
"""Characters that several bars may take together to stand in one line, before they are lined up."""
BARS_PER_LINE = (4, 2, 1)
MIN_STANDING_RUN = 3
"""Steps in a row from which a direction is written once, ahead of them."""
MAX_BRACKETED = 12
"""More are not seen as one group."""


def write_drill(drill: Drill) -> str:
    """The text of a drill file that gives this drill when it is read.

    Whatever a file can say can be written. A drill put together in another way may hold what no
    file says: steps that overlap, a last bar that is not full, a pick-up in finer parts than a
    48th of a beat, cents in finer parts than a tenth.

    Raises:
        DrillError: a file cannot say it.
    """
    try:
        text = format_drill(_text(drill), drill.name)
        same = parse_drill(text, drill.name) == drill
    except DrillError as error:
        why = error.problems[0].message if error.problems else str(error)
        raise DrillError(f"{drill.name} cannot be written as a drill file: {why}") from None
    if not same:
        raise DrillError(
            f"{drill.name} cannot be written as a drill file: it holds something that a file "
            "does not say in that way"
        )
    return text


def _text(drill: Drill) -> str:
    full_bar = drill.first_beat(_bar_of(drill.second[-1].end, drill) + 1) if drill.second else 0
    parts = [
        "\n".join(_head(drill)),
        _part("tab", drill, drill.steps, drill.end),
        _part("second", drill, drill.second, min(Fraction(full_bar), drill.end)),
        _table("climb", _climb(drill.climb)),
        _table("goal", _goal(drill.goal)),
        _table("goal.weights", _unusual(drill.goal.weights, DEFAULT_WEIGHTS)),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


# The fields


def _head(drill: Drill) -> Iterator[str]:
    yield f"title = {toml_string(drill.title)}"
    if drill.about:
        yield f'about = """\n{_escaped(drill.about)}\n"""'
    yield f"harp = {toml_string(drill.key)}"
    if drill.tuning != "richter":
        yield f"tuning = {toml_string(drill.tuning)}"
    yield f"tempo = {toml_number(drill.tempo)}"
    yield f'meter = "{drill.meter[0]}/{drill.meter[1]}"'
    if drill.start:
        yield f"pickup = {_pickup(-drill.start)}"
    if drill.swing != 1:
        yield f"swing = {toml_number(drill.swing)}"
    if drill.level != 1:
        yield f"level = {drill.level}"
    if drill.skills:
        yield f"skills = [{', '.join(map(toml_string, drill.skills))}]"
    if drill.free:
        yield 'clock = "free"'
    if drill.loop:
        first, last = drill.loop
        yield f'loop = "{first}"' if first == last else f'loop = "{first}-{last}"'


def _climb(climb: Climb | None) -> dict[str, float]:
    return {"by": climb.by, "after": climb.after, "to": climb.to} if climb else {}


def _goal(goal: Goal) -> dict[str, float]:
    usual = Goal()
    names = ("tolerance", "pass_mark", "hold")
    return _unusual(
        {name: getattr(goal, name) for name in names},
        {name: getattr(usual, name) for name in names},
    )


def _unusual(figures: Mapping[str, float], usual: Mapping[str, float]) -> dict[str, float]:
    return {name: figure for name, figure in figures.items() if figure != usual.get(name)}


def _table(name: str, figures: Mapping[str, float]) -> str:
    rows = [f"{field} = {toml_number(figure)}" for field, figure in figures.items()]
    return "\n".join([f"[{name}]", *rows]) if rows else ""


def toml_number(figure: float) -> str:
    """A figure in TOML, whole where it is."""
    return str(int(figure)) if figure == int(figure) else repr(figure)


def _pickup(beats: Fraction) -> str:
    """A pick-up as the shortest number that is read as this fraction."""
    digits = (f"{float(beats):.{places}f}" for places in range(17))
    return next((text for text in digits if pickup_beats(float(text)) == beats), repr(float(beats)))


def toml_string(text: str) -> str:
    """A text as a string of TOML in one line."""
    return '"' + _escaped(text).replace("\n", "\\n").replace('"', '\\"') + '"'


def _escaped(text: str) -> str:
    """A text as it stands in a long string."""
    plain = text.replace("\\", "\\\\").replace('"""', '""\\"')
    return "".join(
        f"\\u{ord(c):04X}" if unicodedata.category(c) == "Cc" and c not in "\n\t" else c
        for c in plain
    )


# The music


@dataclass
class _Item:
    """A note, a rest or a tie inside one bar, and the directions that stand before it."""

    at: Fraction
    beats: Fraction
    text: str
    manner: str = ""
    ahead: str = ""


def _part(name: str, drill: Drill, steps: tuple[Step, ...], end: Fraction) -> str:
    """A part as a field: its bars, some to a line."""
    if not steps:
        return ""
    bars = [" ".join(_words(bar)) + " |" for bar in _bars(drill, steps, end)]
    pickup = bars[:1] if drill.start else []
    full = bars[len(pickup) :]
    lines: list[str] = []
    for count in BARS_PER_LINE:
        lines = [" ".join(full[i : i + count]) for i in range(0, len(full), count)]
        if all(len(line) <= LINE_WIDTH for line in lines):
            break
    return "\n".join([f'{name} = """', *pickup, *lines, '"""'])


def _bar_of(beat: Fraction, drill: Drill) -> int:
    """The bar that ends on a beat or after it."""
    return max(0, math.ceil(beat / drill.meter[0]))


def _bars(drill: Drill, steps: tuple[Step, ...], end: Fraction) -> list[list[_Item]]:
    items: list[_Item] = []
    at = drill.start
    for step, ahead, manner in _with_directions(steps):
        if step.start < at:
            raise DrillError(
                f"{step.tab} on beat {step.start} begins before the last step has ended"
            )
        items += _pieces(drill, at, step.start - at, "r", "r")
        note = _pieces(drill, step.start, step.beats, step.tab, "~")
        note[0].manner = manner
        # What is said of a passage stands where its bar begins, before the rest that opens it.
        opens = (
            bool(items) and items[-1].text == "r" and items[-1].at == _bar_start(drill, step.start)
        )
        (items[-1] if opens else note[0]).ahead = ahead
        items += note
        at = step.end
    items += _pieces(drill, at, end - at, "r", "r")
    return [list(bar) for _, bar in groupby(items, lambda item: _bar_start(drill, item.at))]


def _bar_start(drill: Drill, beat: Fraction) -> Fraction:
    return drill.start if beat < 0 else Fraction(beat // drill.meter[0] * drill.meter[0])


def _pieces(drill: Drill, at: Fraction, beats: Fraction, first: str, next_: str) -> list[_Item]:
    """A length, cut where bars begin."""
    pieces: list[_Item] = []
    end = at + beats
    while at < end:
        line = Fraction(0) if at < 0 else _bar_start(drill, at) + drill.meter[0]
        piece = min(end, line) - at
        if not (MIN_LENGTH_BEATS <= piece <= MAX_LENGTH_BEATS and is_countable(piece)):
            raise DrillError(f"{piece} beats of {first} on beat {at} are no length that tab has")
        pieces.append(_Item(at, piece, next_ if pieces else first))
        at += piece
    return pieces


def _with_directions(steps: tuple[Step, ...]) -> Iterator[tuple[Step, str, str]]:
    """Each step with the directions to stand before it, and those to be glued to it."""
    standing, call = "", False
    for manner, run in groupby(steps, _manner):
        same = list(run)
        wanted = manner if len(same) >= MIN_STANDING_RUN else ""
        words = [] if standing == wanted or not standing else ["{}"]
        words += [] if standing == wanted or not wanted else [wanted]
        standing = wanted
        for step in same:
            if step.call != call:
                call = step.call
                words.append("{call}" if call else "{answer}")
            yield step, " ".join(words), "" if standing else manner
            words = []


def _manner(step: Step) -> str:
    """How a step is to be played, as a direction; empty for plainly."""
    words = [] if step.cleanness_rule is CleannessRule.PLAIN else [str(step.cleanness_rule)]
    if step.vibrato:
        usual = step.vibrato == Vibrato()
        figures = f" {_figure(step.vibrato.hz)} {_figure(step.vibrato.cents)}"
        words.append("vibrato" + ("" if usual else figures))
    if step.wah_hz:
        words.append("wah" + ("" if step.wah_hz == DEFAULT_WAH_HZ else f" {_figure(step.wah_hz)}"))
    return f"{{{', '.join(words)}}}" if words else ""


def _figure(figure: float) -> str:
    """A figure of a direction, which has three decimals at most."""
    return f"{figure:.3f}".rstrip("0").rstrip(".")


def _words(bar: list[_Item]) -> Iterator[str]:
    """The words of a bar."""
    i = 0
    while i < len(bar):
        count = _in_brackets(bar[i:])
        group = bar[i : i + count]
        if group[0].ahead:
            yield group[0].ahead
        if count == 1:
            yield _word(group[0], f":{_length(group[0].beats)}")
        else:
            unit = _common_part([item.beats for item in group])
            inside: list[str] = []
            for item in group:
                share = item.beats / unit
                inside += [item.ahead] if item.ahead and inside else []
                inside.append(_word(item, "" if share == 1 else f":{share}"))
            whole = sum((item.beats for item in group), Fraction(0))
            yield f"[{' '.join(inside)}]:{_length(whole)}"
        i += count


def _in_brackets(items: list[_Item]) -> int:
    """How many items, from the first on, go in brackets together; 1 for none."""
    if _is_simple(items[0].beats) or items[0].text == "~":
        return 1
    total = Fraction(0)
    for count, item in enumerate(items[:MAX_BRACKETED], start=1):
        total += item.beats
        if _is_simple(total):
            unit = _common_part([item.beats for item in items[:count]])
            longest = max(item.beats for item in items[:count]) / unit
            return count if longest <= MAX_BRACKETED else 1
    return 1


def _is_simple(beats: Fraction) -> bool:
    """Whether it is made of whole beats, halves, and halves of these."""
    return beats.denominator & (beats.denominator - 1) == 0


def _common_part(lengths: list[Fraction]) -> Fraction:
    """The greatest length that all are multiples of."""
    below = math.lcm(*(length.denominator for length in lengths))
    return Fraction(math.gcd(*(int(length * below) for length in lengths)), below)


def _word(item: _Item, length: str) -> str:
    return f"{item.text}{length}{item.manner}"


def _length(beats: Fraction) -> str:
    """A length as a whole number or a short decimal, or else as a fraction."""
    decimal = f"{float(beats):.4f}".rstrip("0").rstrip(".")
    return decimal if Fraction(decimal) == beats else str(beats)
