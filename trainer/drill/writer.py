"""Writer of drill files; reading a written file gives the same drill.

Repeats are expanded, because a drill does not keep them. Notes that cross a bar line are tied over
it. Non-binary parts of a beat are put in brackets where they fill a binary length together, as in
``[4 -4 5]:1``, and are fractions elsewhere.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from trainer.core.printable import REPLACEMENT, printable
from trainer.drill.errors import DrillError
from trainer.drill.formatter import format_drill
from trainer.drill.ground_text import chords_text
from trainer.drill.model import (
    DEFAULT_DIP,
    DEFAULT_FALL,
    DEFAULT_SCOOP,
    DEFAULT_SHAKE_HZ,
    DEFAULT_SWELL_DB,
    DEFAULT_WEIGHTS,
    Articulation,
    CleannessRule,
    Climb,
    Drill,
    Goal,
    Inflection,
    Step,
    Tightening,
    Vibrato,
    VibratoKind,
    format_sound,
)
from trainer.drill.parser import parse_drill, pickup_beats
from trainer.drill.recording import DrillRecording
from trainer.drill.solo import Ground, GroundStyle, Solo, SoloBrief
from trainer.drill.tab_reader import SOLO, parse_tab
from trainer.drill.tab_words import DEFAULT_WAH_HZ, MAX_LENGTH_BEATS, MIN_LENGTH_BEATS, is_countable

LINE_WIDTH = 72
"""Maximum width in characters of a line with several bars, before alignment."""
BEATS_PER_LINE = 8
"""Number of times of a recording's beats per line."""
BARS_PER_LINE = (4, 2, 1)
"""Numbers of bars per line to try, in this order."""
MIN_STANDING_RUN = 3
"""Number of successive steps from which a direction is written once, before them."""
CALL_PREFIX = "{call}"
"""What stands before the text of a step that the trainer plays."""
MAX_BRACKETED = 12
"""Maximum number of notes and of units in a group; longer groups are not readable."""


def write_drill(drill: Drill) -> str:
    """Return the text of a drill file from which the drill can be read again.

    Every drill from a file can be written. A drill made otherwise may have no notation: overlapping
    steps, an incomplete last bar, a pick-up finer than 1/48 beat, cents finer than 0.1.

    Raises:
        DrillError: the file format cannot express the drill.
    """
    try:
        text = format_drill(_text(drill), drill.name)
        same = parse_drill(text, drill.name) == drill
    except DrillError as error:
        reason = error.problems[0].message if error.problems else str(error)
        raise DrillError(f"{drill.name} cannot be written as a drill file: {reason}") from None
    if not same:
        raise DrillError(
            f"{drill.name} cannot be written as a drill file: the format cannot express one of "
            "its values"
        )
    return text


def _text(drill: Drill) -> str:
    full_bar = drill.first_beat(_bar_of(drill.second[-1].end, drill) + 1) if drill.second else 0
    parts = [
        "\n".join(_head(drill)),
        _part("tab", drill, drill.steps, drill.end, drill.solos),
        _part("second", drill, drill.second, min(Fraction(full_bar), drill.end)),
        _aims(drill),
        _ground(drill.ground),
        _solo(drill.brief),
        _texts(
            "sections", {part.name: _range_text(part.first, part.last) for part in drill.sections}
        ),
        _recording(drill.recording),
        _texts("remarks", {remark.place: remark.text for remark in drill.remarks}),
        _table("climb", _climb(drill.climb)),
        _table("tighten", _tighten(drill.tightening)),
        _table("goal", _goal(drill.goal)),
        _table("goal.weights", _non_default(drill.goal.weights, DEFAULT_WEIGHTS)),
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
    if drill.tempo_to is not None:
        yield f"tempo_to = {toml_number(drill.tempo_to)}"
    yield f'meter = "{drill.meter[0]}/{drill.meter[1]}"'
    if drill.start:
        yield f"pickup = {_pickup(-drill.start)}"
    if drill.position is not None:
        yield f"position = {drill.position}"
    if drill.swing != 1:
        yield f"swing = {toml_number(drill.swing)}"
    if drill.level != 1:
        yield f"level = {drill.level}"
    if drill.skills:
        yield f"skills = [{', '.join(map(toml_string, drill.skills))}]"
    if drill.free:
        yield 'clock = "free"'
    if drill.loop:
        yield f'loop = "{_range_text(*drill.loop)}"'


def _range_text(first: int, last: int) -> str:
    return f"{first}" if first == last else f"{first}-{last}"


def _texts(name: str, texts: Mapping[str, str]) -> str:
    """Return a table of texts; keys are quoted where TOML asks for it."""
    rows = [
        f"{key if re.fullmatch('[A-Za-z0-9_-]+', key) else toml_string(key)} = {toml_string(text)}"
        for key, text in texts.items()
    ]
    return "\n".join([f"[{name}]", *rows]) if rows else ""


def _aims(drill: Drill) -> str:
    rows = [f"{aim.criterion} = [{', '.join(map(toml_string, aim.groups))}]" for aim in drill.aims]
    return "\n".join(["[aim]", *rows]) if rows else ""


def _recording(recording: DrillRecording | None) -> str:
    if recording is None:
        return ""
    rows = [f"file = {toml_string(recording.file)}"]
    if recording.first:
        rows.append(f"first = {recording.first}")
    if recording.channel is not None:
        rows.append(f"channel = {recording.channel}")
    if recording.fade_db:
        rows.append(f"fade = {toml_number(recording.fade_db)}")
    for name in ("doubtful", "second_doubtful"):
        if numbers := getattr(recording, name):
            rows.append(f"{name} = [{', '.join(map(str, numbers))}]")
    times = [toml_number(time) for time in recording.times]
    lines = [
        "    " + ", ".join(times[i : i + BEATS_PER_LINE]) + ","
        for i in range(0, len(times), BEATS_PER_LINE)
    ]
    return "\n".join(["[recording]", *rows, "beats = [", *lines, "]"])


def _ground(ground: Ground | None) -> str:
    if ground is None:
        return ""
    play = [] if ground.style is GroundStyle.CHORDS else [f"play = {toml_string(ground.style)}"]
    chords = f'chords = """\n{chords_text(ground.bars)}\n"""'
    return "\n".join(["[ground]", *play, chords])


def _solo(brief: SoloBrief | None) -> str:
    if brief is None:
        return ""
    default = SoloBrief(brief.scale)
    names = {
        "phrase": "phrase_bars",
        "rest": "rest_beats",
        "range": "range_half_steps",
        "division": "division",
        "bends_off": "bends_off",
    }
    numbers = _non_default(
        {name: getattr(brief, of) for name, of in names.items()},
        {name: getattr(default, of) for name, of in names.items()},
    )
    rows = [f"{name} = {toml_number(value)}" for name, value in numbers.items()]
    return "\n".join(["[solo]", f"scale = {toml_string(brief.scale)}", *rows])


def _climb(climb: Climb | None) -> dict[str, float]:
    return {"by": climb.by, "after": climb.after, "to": climb.to} if climb else {}


def _tighten(tightening: Tightening | None) -> dict[str, float]:
    if tightening is None:
        return {}
    return {"from": tightening.start, "by": tightening.by, "after": tightening.after}


def _goal(goal: Goal) -> dict[str, float]:
    default = Goal()
    names = ("tolerance", "pass_mark", "hold")
    return _non_default(
        {name: getattr(goal, name) for name in names},
        {name: getattr(default, name) for name in names},
    )


def _non_default(values: Mapping[str, float], defaults: Mapping[str, float]) -> dict[str, float]:
    return {name: value for name, value in values.items() if value != defaults.get(name)}


def _table(name: str, values: Mapping[str, float]) -> str:
    rows = [f"{field} = {toml_number(value)}" for field, value in values.items()]
    return "\n".join([f"[{name}]", *rows]) if rows else ""


def toml_number(value: float) -> str:
    """Return a number in TOML, without decimals if it is whole."""
    return str(int(value)) if value == int(value) else repr(value)


def _pickup(beats: Fraction) -> str:
    """Return a pick-up as the shortest decimal that is read as this fraction."""
    digits = (f"{float(beats):.{places}f}" for places in range(17))
    return next((text for text in digits if pickup_beats(float(text)) == beats), repr(float(beats)))


def toml_string(text: str) -> str:
    """Return a text as a single-line TOML string."""
    return '"' + _escaped(text).replace("\n", "\\n").replace('"', '\\"') + '"'


def _escaped(text: str) -> str:
    """Return a text escaped for a multi-line TOML string.

    Characters that an editor would not show, or that turn the direction of writing, are escaped.
    """
    plain = text.replace("\\", "\\\\").replace('"""', '""\\"')
    return "".join(map(_escaped_character, plain))


def _escaped_character(c: str) -> str:
    if c in "\n\t" or printable(c) == c:
        return c
    return REPLACEMENT if unicodedata.category(c) == "Cs" else f"\\u{ord(c):04X}"


# The music


@dataclass
class _Item:
    """A note, a rest or a tie within one bar.

    Attributes:
        start, beats: its time.
        text: the token without its length.
        attached: direction attached to it.
        before: directions that stand before it.
    """

    start: Fraction
    beats: Fraction
    text: str
    attached: str = ""
    before: str = ""


def _part(
    name: str, drill: Drill, steps: tuple[Step, ...], end: Fraction, solos: tuple[Solo, ...] = ()
) -> str:
    """Return a part as a field, with several bars per line."""
    if not steps:
        return ""
    bars = [" ".join(_words(bar)) + " |" for bar in _bars(drill, steps, end, solos)]
    pickup = bars[:1] if drill.start else []
    full = bars[len(pickup) :]
    lines: list[str] = []
    for count in BARS_PER_LINE:
        lines = [" ".join(full[i : i + count]) for i in range(0, len(full), count)]
        if all(len(line) <= LINE_WIDTH for line in lines):
            break
    return "\n".join([f'{name} = """', *pickup, *lines, '"""'])


def _bar_of(beat: Fraction, drill: Drill) -> int:
    """Return the bar that ends on a beat or after it."""
    return max(0, math.ceil(beat / drill.meter[0]))


def _bars(
    drill: Drill, steps: tuple[Step, ...], end: Fraction, solos: tuple[Solo, ...]
) -> list[list[_Item]]:
    items: list[_Item] = []
    at = drill.start
    in_call = False
    for step, before, attached in _with_directions(steps, solos):
        if step.start < at:
            raise DrillError(
                f"{step.tab} on beat {step.start} begins before the last step has ended"
            )
        items += _between(drill, at, step.start, solos, in_call=in_call)
        in_call = step.call
        grace = f"^{format_sound(step.grace)} " if step.grace else ""
        note = _split_at_bars(drill, step.start, step.beats, grace + step.tab, "~")
        note[0].attached = attached
        # Directions of a passage go to the beginning of its bar, before a rest that opens the bar.
        after_opening_rest = (
            bool(items)
            and items[-1].text == "r"
            and items[-1].start == _bar_start(drill, step.start)
        )
        (items[-1] if after_opening_rest else note[0]).before = before
        items += note
        at = step.end
    items += _between(drill, at, end, solos, in_call=in_call)
    return [list(bar) for _, bar in groupby(items, lambda item: _bar_start(drill, item.start))]


def _between(
    drill: Drill, at: Fraction, end: Fraction, solos: tuple[Solo, ...], *, in_call: bool
) -> list[_Item]:
    """Return the rests and solos between two beats, with the end of a call before a solo."""
    items: list[_Item] = []
    for solo in solos:
        if at <= solo.start < end:
            items += _split_at_bars(drill, at, solo.start - at, "r", "r")
            own = _split_at_bars(drill, solo.start, solo.beats, SOLO, SOLO)
            own[0].before = "{answer}" if in_call else ""
            items, in_call, at = [*items, *own], False, solo.end
    return [*items, *_split_at_bars(drill, at, end - at, "r", "r")]


def _bar_start(drill: Drill, beat: Fraction) -> Fraction:
    return drill.start if beat < 0 else Fraction(beat // drill.meter[0] * drill.meter[0])


def _split_at_bars(
    drill: Drill, start: Fraction, beats: Fraction, first: str, others: str
) -> list[_Item]:
    """Split a length at bar lines.

    Args:
        drill: the drill, for its bars.
        start: beat on which the length begins.
        beats: the length.
        first: tokens of the first piece.
        others: tokens of the pieces after a bar line.
    """
    pieces: list[_Item] = []
    at, end = start, start + beats
    while at < end:
        bar_end = Fraction(0) if at < 0 else _bar_start(drill, at) + drill.meter[0]
        piece = min(end, bar_end) - at
        if not (MIN_LENGTH_BEATS <= piece <= MAX_LENGTH_BEATS and is_countable(piece)):
            raise DrillError(f"tab has no length of {piece} beats, as of {first} on beat {at}")
        pieces.append(_Item(at, piece, others if pieces else first))
        at += piece
    return pieces


def _with_directions(
    steps: tuple[Step, ...], solos: tuple[Solo, ...]
) -> Iterator[tuple[Step, str, str]]:
    """Yield each step with the directions before it and the direction attached to it."""
    standing, call, at = "", False, steps[0].start
    for direction, run in groupby(steps, _direction):
        same = list(run)
        wanted = direction if len(same) >= MIN_STANDING_RUN else ""
        words = [] if standing == wanted or not standing else ["{}"]
        words += [] if standing == wanted or not wanted else [wanted]
        standing = wanted
        for step in same:
            if any(at <= solo.start < step.start for solo in solos):
                call = False  # a solo ends a call
            at = step.end
            if step.call != call:
                call = step.call
                words.append("{call}" if call else "{answer}")
            yield step, " ".join(words), "" if standing else direction
            words = []


def _direction(step: Step) -> str:
    """Return how a step is to be played, as directions in braces; empty for none."""
    words = step_directions(step)
    return f"{{{', '.join(words)}}}" if words else ""


def step_directions(step: Step) -> list[str]:
    """Return how a step is to be played, as directions without braces: ``vibrato 4 15``."""
    words = [] if step.cleanness_rule is CleannessRule.PLAIN else [str(step.cleanness_rule)]
    if step.vibrato:
        words.append(_vibrato(step.vibrato))
    if step.wah_hz:
        words.append(_with_numbers("wah", step.wah_hz, DEFAULT_WAH_HZ))
    if step.shake and step.shake.hz != DEFAULT_SHAKE_HZ:
        words.append(f"shake {_decimal(step.shake.hz)}")
    if step.scoop:
        words.append(_scoop(step.scoop))
    if step.fall:
        words.append("fall" + ("" if step.fall == DEFAULT_FALL else _inflection(step.fall)))
    if step.articulation is not Articulation.PLAIN:
        words.append(str(step.articulation))
    if step.swell_db:
        name = "swell" if step.swell_db > 0 else "fade"
        words.append(_with_numbers(name, abs(step.swell_db), DEFAULT_SWELL_DB))
    words += [name for name in ("accent", "slap", "optional") if getattr(step, name)]
    return words


def step_text(step: Step) -> str:
    """Return a step as tab with its length and directions: ``-4':2{vibrato}``."""
    call = f"{CALL_PREFIX} " if step.call else ""
    grace = f"^{format_sound(step.grace)} " if step.grace else ""
    return f"{call}{grace}{step.tab}:{_length(step.beats)}{_direction(step)}"


def read_step(text: str) -> Step | None:
    """Return the step of a text of :func:`step_text`, on beat 0; None if it is none."""
    note = text.removeprefix(CALL_PREFIX)
    parsed = parse_tab(note, None)
    if parsed.problems or len(parsed.steps) != 1:
        return None
    return replace(parsed.steps[0], call=note != text)


def _vibrato(vibrato: Vibrato) -> str:
    if vibrato.kind is VibratoKind.HAND:
        numbers = f" {_decimal(vibrato.hz)} {_decimal(vibrato.db)}"
        return "hand vibrato" + ("" if vibrato == Vibrato.of_hands() else numbers)
    numbers = f" {_decimal(vibrato.hz)} {_decimal(vibrato.cents)}"
    return "vibrato" + ("" if vibrato == Vibrato() else numbers)


def _scoop(scoop: Inflection) -> str:
    if scoop.beats == DEFAULT_DIP.beats:
        return _with_numbers("dip", scoop.cents, DEFAULT_DIP.cents)
    return "scoop" + ("" if scoop == DEFAULT_SCOOP else _inflection(scoop))


def _inflection(inflection: Inflection) -> str:
    return f" {inflection.beats} {_decimal(inflection.cents)}"


def _with_numbers(name: str, value: float, default: float) -> str:
    return name if value == default else f"{name} {_decimal(value)}"


def _decimal(value: float) -> str:
    """Return a number of a direction, with at most three decimals."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _words(bar: list[_Item]) -> Iterator[str]:
    """Yield the words of a bar."""
    i = 0
    while i < len(bar):
        count = _group_size(bar[i:])
        group = bar[i : i + count]
        if group[0].before:
            yield group[0].before
        if count == 1:
            yield _word(group[0], f":{_length(group[0].beats)}")
        else:
            unit = _common_divisor([item.beats for item in group])
            inside: list[str] = []
            for item in group:
                units = item.beats / unit
                inside += [item.before] if item.before and inside else []
                inside.append(_word(item, "" if units == 1 else f":{units}"))
            total = sum((item.beats for item in group), Fraction(0))
            yield f"[{' '.join(inside)}]:{_length(total)}"
        i += count


def _group_size(items: list[_Item]) -> int:
    """Return the number of items, from the first on, for a group in brackets; 1 for none."""
    if _is_binary(items[0].beats) or items[0].text == "~":
        return 1
    total = Fraction(0)
    for count, item in enumerate(items[:MAX_BRACKETED], start=1):
        total += item.beats
        if _is_binary(total):
            unit = _common_divisor([item.beats for item in items[:count]])
            longest = max(item.beats for item in items[:count]) / unit
            return count if longest <= MAX_BRACKETED else 1
    return 1


def _is_binary(beats: Fraction) -> bool:
    """Whether a length is a multiple of 1/2, 1/4, 1/8, ... beat."""
    return beats.denominator & (beats.denominator - 1) == 0


def _common_divisor(lengths: list[Fraction]) -> Fraction:
    """Return the greatest common divisor of lengths."""
    denominator = math.lcm(*(length.denominator for length in lengths))
    return Fraction(math.gcd(*(int(length * denominator) for length in lengths)), denominator)


def _word(item: _Item, length: str) -> str:
    return f"{item.text}{length}{item.attached}"


def _length(beats: Fraction) -> str:
    """Return a length as a whole number, a short decimal, or else a fraction."""
    decimal = f"{float(beats):.4f}".rstrip("0").rstrip(".")
    return decimal if Fraction(decimal) == beats else str(beats)
