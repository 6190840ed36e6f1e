"""A drill as MusicXML 4.0 (W3C Community Group Final Report, 2021): score-partwise.

What sounds stands on the staff, the tab under it as a lyric, and a bend or an overblow is marked as
such. A glide is written as its notes, joined by slides, a ladder as its notes under a slur.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

from trainer.drill import CleannessRule, Drill, Step
from trainer.exchange.errors import ExchangeError
from trainer.exchange.spelling import best_key_signature, spell_note
from trainer.harp import Harp, Tab

MUSICXML_VERSION = "4.0"
_TYPES = {
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
"""Parts of a whole note."""
_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


@dataclass(frozen=True, slots=True)
class _Piece:
    """A note, or a part of one, that can be drawn as one.

    Attributes:
        at, beats: where it stands.
        type: the length that it is drawn with, and whether with a dot.
        tuplet: how many of these stand for how many; (1, 1) for none.
    """

    at: Fraction
    beats: Fraction
    type: str
    dotted: bool
    tuplet: tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Tone:
    """What sounds from one place to another: the whole of a step, or a part of its path.

    Attributes:
        step: the step; None for a rest.
        place: which sound of its path.
    """

    at: Fraction
    end: Fraction
    step: Step | None = None
    place: int = 0


def write_musicxml(drill: Drill, harp: Harp, path: Path) -> None:
    """Write a drill as a MusicXML file.

    Args:
        drill: the drill.
        harp: what it is played on.
        path: the file.

    Raises:
        HarpError: the harp cannot play it.
        ExchangeError: it has a length that no note has, or the file cannot be written.
    """
    text = drill_to_musicxml(drill, harp)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ExchangeError(f"{path} cannot be written: {error.strerror}; name another") from None


def drill_to_musicxml(drill: Drill, harp: Harp) -> str:
    """A drill as the text of a MusicXML file.

    Raises:
        HarpError: the harp cannot play it.
        ExchangeError: it has a length that no note has.
    """
    root = ET.Element("score-partwise", version=MUSICXML_VERSION)
    work = ET.SubElement(root, "work")
    ET.SubElement(work, "work-title").text = drill.title
    encoding = ET.SubElement(ET.SubElement(root, "identification"), "encoding")
    ET.SubElement(encoding, "software").text = "Harp trainer"
    parts = [steps for steps in (drill.steps, drill.second) if steps]
    names = ET.SubElement(root, "part-list")
    for number, _ in enumerate(parts, 1):
        one = ET.SubElement(names, "score-part", id=f"P{number}")
        ET.SubElement(one, "part-name").text = f"{harp.name} harp"
    for number, steps in enumerate(parts, 1):
        part = ET.SubElement(root, "part", id=f"P{number}")
        _Part(drill, steps, harp).write(part, first=number == 1)
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{_DOCTYPE}\n{body}\n'


class _Part:
    """One part on its way onto a staff."""

    def __init__(self, drill: Drill, steps: tuple[Step, ...], harp: Harp) -> None:
        self._drill, self._harp = drill, harp
        self._bar = drill.meter[0]
        self._bars: dict[int, list[tuple[_Tone, _Piece, bool, bool]]] = {}
        for tone in _filled(drill, steps):
            pieces = [one for a, b in self._in_bars(tone.at, tone.end) for one in self._drawn(a, b)]
            for i, piece in enumerate(pieces):
                number = math.floor(piece.at / self._bar) + 1 if piece.at >= 0 else 0
                here = self._bars.setdefault(number, [])
                here.append((tone, piece, i > 0, i < len(pieces) - 1))
        notes = [harp.midi(tab) for step in steps for sound in step.sounds for tab in sound]
        self._fifths = best_key_signature(
            notes, best_key_signature([harp.key.tonic + k for k in (0, 2, 4, 5, 7, 9, 11)])
        )
        quarters = [
            4 * piece.beats / drill.meter[1] for bar in self._bars.values() for _, piece, *_ in bar
        ]
        self._divisions = math.lcm(*(one.denominator for one in quarters))

    def write(self, part: ET.Element, *, first: bool) -> None:
        """All measures."""
        for number in sorted(self._bars):
            measure = ET.SubElement(part, "measure", number=str(number))
            if number == 0:
                measure.set("implicit", "yes")
            if number == min(self._bars):
                self._attributes(measure)
                if first:
                    self._tempo(measure)
            care = CleannessRule.PLAIN
            for tone, piece, tied, on in self._bars[number]:
                if tone.step and tone.step.cleanness_rule is not care and not tied:
                    care = tone.step.cleanness_rule
                    _words(measure, "" if care is CleannessRule.PLAIN else care.value)
                self._note(measure, tone, piece, tied, on)

    def _attributes(self, measure: ET.Element) -> None:
        told = ET.SubElement(measure, "attributes")
        ET.SubElement(told, "divisions").text = str(self._divisions)
        ET.SubElement(ET.SubElement(told, "key"), "fifths").text = str(self._fifths)
        time = ET.SubElement(told, "time")
        ET.SubElement(time, "beats").text = str(self._drill.meter[0])
        ET.SubElement(time, "beat-type").text = str(self._drill.meter[1])
        clef = ET.SubElement(told, "clef")
        ET.SubElement(clef, "sign").text = "G"
        ET.SubElement(clef, "line").text = "2"

    def _tempo(self, measure: ET.Element) -> None:
        drill = self._drill
        told = ET.SubElement(measure, "direction", placement="above")
        mark = ET.SubElement(ET.SubElement(told, "direction-type"), "metronome")
        ET.SubElement(mark, "beat-unit").text = _TYPES[Fraction(1, drill.meter[1])]
        ET.SubElement(mark, "per-minute").text = f"{drill.tempo:g}"
        sound = ET.SubElement(told, "sound", tempo=f"{drill.tempo * 4 / drill.meter[1]:g}")
        if drill.swing != 1.0:
            swing = ET.SubElement(sound, "swing")
            ratio = Fraction(drill.swing).limit_denominator(12)
            ET.SubElement(swing, "first").text = str(ratio.numerator)
            ET.SubElement(swing, "second").text = str(ratio.denominator)
            ET.SubElement(swing, "swing-type").text = _TYPES[Fraction(1, 2 * drill.meter[1])]

    def _note(self, measure: ET.Element, tone: _Tone, piece: _Piece, tied: bool, on: bool) -> None:
        """A piece, as one note or a chord, tied from the piece before or on to the next."""
        if tone.step is None:
            note = ET.SubElement(measure, "note")
            ET.SubElement(note, "rest")
            self._length(note, piece, False, False)
            return
        for i, tab in enumerate(sorted(tone.step.sounds[tone.place])):
            note = ET.SubElement(measure, "note")
            if i:
                ET.SubElement(note, "chord")
            self._pitch(note, self._harp.midi(tab), tone.step.offset_cents(tone.place))
            self._length(note, piece, tied, on)
            _notations(note, tone, tab, i, tied, on)
            if i == 0 and not tied:
                lyric = ET.SubElement(note, "lyric")
                ET.SubElement(lyric, "syllabic").text = "single"
                ET.SubElement(lyric, "text").text = _text(tone)

    def _pitch(self, note: ET.Element, midi: int, off: float) -> None:
        pitch = ET.SubElement(note, "pitch")
        letter, alter, octave = spell_note(midi, self._fifths)
        ET.SubElement(pitch, "step").text = letter
        if alter or off:
            ET.SubElement(pitch, "alter").text = f"{alter + off / 100.0:g}"
        ET.SubElement(pitch, "octave").text = str(octave)

    def _length(self, note: ET.Element, piece: _Piece, tied: bool, on: bool) -> None:
        duration = 4 * piece.beats / self._drill.meter[1] * self._divisions
        ET.SubElement(note, "duration").text = str(int(duration))
        for type_, is_so in (("stop", tied), ("start", on)):
            if is_so:
                ET.SubElement(note, "tie", type=type_)
        ET.SubElement(note, "voice").text = "1"
        ET.SubElement(note, "type").text = piece.type
        if piece.dotted:
            ET.SubElement(note, "dot")
        if piece.tuplet != (1, 1):
            changed = ET.SubElement(note, "time-modification")
            ET.SubElement(changed, "actual-notes").text = str(piece.tuplet[0])
            ET.SubElement(changed, "normal-notes").text = str(piece.tuplet[1])

    def _in_bars(self, at: Fraction, end: Fraction) -> Iterator[tuple[Fraction, Fraction]]:
        """A stretch, cut where bars begin."""
        while at < end:
            line = Fraction(0) if at < 0 else (at // self._bar + 1) * self._bar
            upto = min(end, Fraction(line))
            yield at, upto
            at = upto

    def _drawn(self, at: Fraction, end: Fraction) -> Iterator[_Piece]:
        """A stretch of a bar as lengths that notes have, the longest first.

        Raises:
            ExchangeError: no notes are so long together.
        """
        value = self._drill.meter[1]
        left = (end - at) / value
        odd = left.denominator
        while odd % 2 == 0:
            odd //= 2
        normal = 2 ** (odd.bit_length() - 1)
        left = left * odd / normal
        while left:
            fits = [
                (length * dot, name, dot != 1)
                for length, name in _TYPES.items()
                for dot in (Fraction(3, 2), Fraction(1))
                if length * dot <= left
            ]
            if not fits:
                raise ExchangeError(f"{end - at} beats on beat {at} are no length that a note has")
            length, name, dotted = max(fits)
            beats = length * normal / odd * value
            yield _Piece(at, beats, name, dotted, (odd, normal))
            at += beats
            left -= length


def _filled(drill: Drill, steps: tuple[Step, ...]) -> Iterator[_Tone]:
    """The steps, each sound of a path by itself, and the rests between them."""
    at = drill.start
    for step in steps:
        if step.start > at:
            yield _Tone(at, step.start)
        share = step.beats / len(step.sounds)
        for place in range(len(step.sounds)):
            yield _Tone(step.start + place * share, step.start + (place + 1) * share, step, place)
        at = step.end
    if at < drill.end:
        yield _Tone(at, drill.end)


def _text(tone: _Tone) -> str:
    """The tab of a tone; of a path, of that part of it."""
    assert tone.step is not None
    if not tone.step.has_path:
        return tone.step.tab
    return tone.step.tab.split("=" if tone.step.ladder else ">")[tone.place]


def _notations(note: ET.Element, tone: _Tone, tab: Tab, voice: int, tied: bool, on: bool) -> None:
    step = tone.step
    assert step is not None
    told = ET.Element("notations")
    for type_, is_so in (("stop", tied), ("start", on)):
        if is_so:
            ET.SubElement(told, "tied", type=type_)
    last = len(step.sounds) - 1
    if step.is_glide:
        number = str(voice + 1)
        if tone.place > 0 and not tied:
            ET.SubElement(told, "slide", type="stop", number=number)
        if tone.place < last and not on:
            ET.SubElement(told, "slide", type="start", number=number)
    elif voice == 0 and step.ladder:
        if tone.place == 0 and not tied:
            ET.SubElement(told, "slur", type="start", number="1")
        if tone.place == last and not on:
            ET.SubElement(told, "slur", type="stop", number="1")
    if not tied and (tab.bend or tab.over):
        technical = ET.SubElement(told, "technical")
        if tab.bend:
            bend = ET.SubElement(technical, "bend")
            ET.SubElement(bend, "bend-alter").text = str(-tab.bend)
        else:
            over = "overblow" if not str(tab).startswith("-") else "overdraw"
            ET.SubElement(technical, "other-technical").text = over
    if len(told):
        note.append(told)


def _words(measure: ET.Element, words: str) -> None:
    """A direction; where it is over, that it is."""
    told = ET.SubElement(measure, "direction", placement="above")
    ET.SubElement(ET.SubElement(told, "direction-type"), "words").text = words or "plain"
