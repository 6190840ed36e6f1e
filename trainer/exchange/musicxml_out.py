"""Export of a drill as MusicXML 4.0 (W3C Community Group Final Report, 2021), score-partwise.

Notes are on the staff with their tab as lyrics; bends, overblows and overdraws are marked. A glide
is written as its notes joined by slides, a ladder as its notes under a slur.
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
"""Version in the root element."""
_MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
"""Half steps of the degrees above the tonic."""
_NOTE_TYPES = {
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
"""Names of note values by their length in whole notes."""
_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


@dataclass(frozen=True, slots=True)
class _Symbol:
    """A note or part of a note that one symbol can express.

    Attributes:
        start, beats: its time.
        type: its note value.
        dotted: whether it has a dot.
        tuplet: actual and normal number of notes; (1, 1) without a tuplet.
        tied_before, tied_after: whether it is tied to the symbol before or after it.
    """

    start: Fraction
    beats: Fraction
    type: str
    dotted: bool
    tuplet: tuple[int, int]
    tied_before: bool = False
    tied_after: bool = False


@dataclass(frozen=True, slots=True)
class _Tone:
    """A sound of a step's path, or a rest, with its time.

    Attributes:
        start, end: its time.
        step: the step; None for a rest.
        sound_index: index of the sound in the step's path.
    """

    start: Fraction
    end: Fraction
    step: Step | None = None
    sound_index: int = 0


def write_musicxml(drill: Drill, harp: Harp, path: Path) -> None:
    """Write a drill as a MusicXML file.

    Args:
        drill: the drill.
        harp: the harp that plays it.
        path: the file.

    Raises:
        HarpError: the harp cannot play the drill.
        ExchangeError: notation cannot express a length, or the file cannot be written.
    """
    text = drill_to_musicxml(drill, harp)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ExchangeError(
            f"{path} cannot be written: {error.strerror}; choose another name"
        ) from None


def drill_to_musicxml(drill: Drill, harp: Harp) -> str:
    """Return a drill as the text of a MusicXML file.

    Raises:
        HarpError: the harp cannot play the drill.
        ExchangeError: notation cannot express a length.
    """
    root = ET.Element("score-partwise", version=MUSICXML_VERSION)
    work = ET.SubElement(root, "work")
    ET.SubElement(work, "work-title").text = drill.title
    encoding = ET.SubElement(ET.SubElement(root, "identification"), "encoding")
    ET.SubElement(encoding, "software").text = "Harp trainer"
    parts = [steps for steps in (drill.steps, drill.second) if steps]
    part_list = ET.SubElement(root, "part-list")
    for number, _ in enumerate(parts, 1):
        score_part = ET.SubElement(part_list, "score-part", id=f"P{number}")
        ET.SubElement(score_part, "part-name").text = f"{harp.name} harp"
    for number, steps in enumerate(parts, 1):
        part = ET.SubElement(root, "part", id=f"P{number}")
        _PartWriter(drill, steps, harp).write(part, is_first=number == 1)
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{_DOCTYPE}\n{body}\n'


class _PartWriter:
    """Writer of one part."""

    def __init__(self, drill: Drill, steps: tuple[Step, ...], harp: Harp) -> None:
        self._drill, self._harp = drill, harp
        self._beats_per_bar = drill.meter[0]
        self._bars: dict[int, list[tuple[_Tone, _Symbol]]] = {}
        for tone in _tones(drill, steps):
            for symbol in self._symbols(tone):
                bar = math.floor(symbol.start / self._beats_per_bar) + 1 if symbol.start >= 0 else 0
                self._bars.setdefault(bar, []).append((tone, symbol))
        notes = [harp.midi(tab) for step in steps for sound in step.sounds for tab in sound]
        harp_signature = best_key_signature([harp.key.tonic + degree for degree in _MAJOR_SCALE])
        self._fifths = best_key_signature(notes, harp_signature)
        quarters = [
            4 * symbol.beats / drill.meter[1] for bar in self._bars.values() for _, symbol in bar
        ]
        self._divisions = math.lcm(*(length.denominator for length in quarters))

    def write(self, part: ET.Element, *, is_first: bool) -> None:
        """Write all measures."""
        for number in sorted(self._bars):
            measure = ET.SubElement(part, "measure", number=str(number))
            if number == 0:
                measure.set("implicit", "yes")
            if number == min(self._bars):
                self._write_attributes(measure)
                if is_first:
                    self._write_tempo(measure)
            rule = CleannessRule.PLAIN
            for tone, symbol in self._bars[number]:
                step = tone.step
                if step and step.cleanness_rule is not rule and not symbol.tied_before:
                    rule = step.cleanness_rule
                    _write_words(measure, rule.value)
                self._write_symbol(measure, tone, symbol)

    def _write_attributes(self, measure: ET.Element) -> None:
        attributes = ET.SubElement(measure, "attributes")
        ET.SubElement(attributes, "divisions").text = str(self._divisions)
        ET.SubElement(ET.SubElement(attributes, "key"), "fifths").text = str(self._fifths)
        time = ET.SubElement(attributes, "time")
        ET.SubElement(time, "beats").text = str(self._drill.meter[0])
        ET.SubElement(time, "beat-type").text = str(self._drill.meter[1])
        clef = ET.SubElement(attributes, "clef")
        ET.SubElement(clef, "sign").text = "G"
        ET.SubElement(clef, "line").text = "2"

    def _write_tempo(self, measure: ET.Element) -> None:
        drill = self._drill
        direction = ET.SubElement(measure, "direction", placement="above")
        metronome = ET.SubElement(ET.SubElement(direction, "direction-type"), "metronome")
        ET.SubElement(metronome, "beat-unit").text = _NOTE_TYPES[Fraction(1, drill.meter[1])]
        ET.SubElement(metronome, "per-minute").text = f"{drill.tempo:g}"
        sound = ET.SubElement(direction, "sound", tempo=f"{drill.tempo * 4 / drill.meter[1]:g}")
        if drill.swing != 1.0:
            swing = ET.SubElement(sound, "swing")
            ratio = Fraction(drill.swing).limit_denominator(12)
            ET.SubElement(swing, "first").text = str(ratio.numerator)
            ET.SubElement(swing, "second").text = str(ratio.denominator)
            swung_type = _NOTE_TYPES[Fraction(1, 2 * drill.meter[1])]
            ET.SubElement(swing, "swing-type").text = swung_type

    def _write_symbol(self, measure: ET.Element, tone: _Tone, symbol: _Symbol) -> None:
        """Write a rest, a note or the notes of a chord."""
        if tone.step is None:
            rest = ET.SubElement(measure, "note")
            ET.SubElement(rest, "rest")
            self._write_length(rest, symbol, tied=False)
            return
        for voice, tab in enumerate(sorted(tone.step.sounds[tone.sound_index])):
            note = ET.SubElement(measure, "note")
            if voice:
                ET.SubElement(note, "chord")
            offset_cents = tone.step.offset_cents(tone.sound_index)
            self._write_pitch(note, self._harp.midi(tab), offset_cents)
            self._write_length(note, symbol, tied=True)
            _write_notations(note, tone.step, tone.sound_index, tab, voice, symbol)
            if voice == 0 and not symbol.tied_before:
                lyric = ET.SubElement(note, "lyric")
                ET.SubElement(lyric, "syllabic").text = "single"
                ET.SubElement(lyric, "text").text = _lyric(tone.step, tone.sound_index)

    def _write_pitch(self, note: ET.Element, midi: int, offset_cents: float) -> None:
        pitch = ET.SubElement(note, "pitch")
        letter, alteration, octave = spell_note(midi, self._fifths)
        ET.SubElement(pitch, "step").text = letter
        if alteration or offset_cents:
            ET.SubElement(pitch, "alter").text = f"{alteration + offset_cents / 100.0:g}"
        ET.SubElement(pitch, "octave").text = str(octave)

    def _write_length(self, note: ET.Element, symbol: _Symbol, *, tied: bool) -> None:
        duration = 4 * symbol.beats / self._drill.meter[1] * self._divisions
        ET.SubElement(note, "duration").text = str(int(duration))
        for type_ in _tie_types(symbol) if tied else ():
            ET.SubElement(note, "tie", type=type_)
        ET.SubElement(note, "voice").text = "1"
        ET.SubElement(note, "type").text = symbol.type
        if symbol.dotted:
            ET.SubElement(note, "dot")
        if symbol.tuplet != (1, 1):
            modification = ET.SubElement(note, "time-modification")
            ET.SubElement(modification, "actual-notes").text = str(symbol.tuplet[0])
            ET.SubElement(modification, "normal-notes").text = str(symbol.tuplet[1])

    def _symbols(self, tone: _Tone) -> Iterator[_Symbol]:
        """Yield the symbols of a tone, tied to each other.

        Raises:
            ExchangeError: notation cannot express its length.
        """
        symbols = [
            symbol
            for start, end in self._split_at_bars(tone.start, tone.end)
            for symbol in self._split_into_symbols(start, end)
        ]
        for i, (start, beats, type_, dotted, tuplet) in enumerate(symbols):
            yield _Symbol(start, beats, type_, dotted, tuplet, i > 0, i < len(symbols) - 1)

    def _split_at_bars(self, start: Fraction, end: Fraction) -> Iterator[tuple[Fraction, Fraction]]:
        at = start
        while at < end:
            bar_end = Fraction(0)
            if at >= 0:
                bar_end = Fraction((at // self._beats_per_bar + 1) * self._beats_per_bar)
            yield at, min(end, bar_end)
            at = min(end, bar_end)

    def _split_into_symbols(
        self, start: Fraction, end: Fraction
    ) -> Iterator[tuple[Fraction, Fraction, str, bool, tuple[int, int]]]:
        """Split a length within a bar into note values, the longest first."""
        value = self._drill.meter[1]
        remaining = (end - start) / value
        actual = remaining.denominator
        while actual % 2 == 0:
            actual //= 2
        normal = 2 ** (actual.bit_length() - 1)
        remaining = remaining * actual / normal
        at = start
        while remaining:
            candidates = [
                (length * factor, name, factor != 1)
                for length, name in _NOTE_TYPES.items()
                for factor in (Fraction(3, 2), Fraction(1))
                if length * factor <= remaining
            ]
            if not candidates:
                raise ExchangeError(f"notation has no length of {end - at} beats, as on beat {at}")
            length, name, dotted = max(candidates)
            beats = length * normal / actual * value
            yield at, beats, name, dotted, (actual, normal)
            at += beats
            remaining -= length


def _tones(drill: Drill, steps: tuple[Step, ...]) -> Iterator[_Tone]:
    """Yield each sound of the steps' paths, and the rests between the steps."""
    at = drill.start
    for step in steps:
        if step.start > at:
            yield _Tone(at, step.start)
        beats = step.beats / len(step.sounds)
        for index in range(len(step.sounds)):
            start = step.start + index * beats
            yield _Tone(start, step.start + (index + 1) * beats, step, index)
        at = step.end
    if at < drill.end:
        yield _Tone(at, drill.end)


def _lyric(step: Step, sound_index: int) -> str:
    """Return the tab of a step, or of one sound of its path."""
    if not step.has_path:
        return step.tab
    return step.tab.split("=" if step.ladder else ">")[sound_index]


def _tie_types(symbol: _Symbol) -> Iterator[str]:
    if symbol.tied_before:
        yield "stop"
    if symbol.tied_after:
        yield "start"


def _write_notations(
    note: ET.Element, step: Step, sound_index: int, tab: Tab, voice: int, symbol: _Symbol
) -> None:
    """Write ties, slides, slurs and techniques of a note."""
    notations = ET.Element("notations")
    for type_ in _tie_types(symbol):
        ET.SubElement(notations, "tied", type=type_)
    last = len(step.sounds) - 1
    if step.is_glide:
        number = str(voice + 1)
        if sound_index > 0 and not symbol.tied_before:
            ET.SubElement(notations, "slide", type="stop", number=number)
        if sound_index < last and not symbol.tied_after:
            ET.SubElement(notations, "slide", type="start", number=number)
    elif voice == 0 and step.ladder:
        if sound_index == 0 and not symbol.tied_before:
            ET.SubElement(notations, "slur", type="start", number="1")
        if sound_index == last and not symbol.tied_after:
            ET.SubElement(notations, "slur", type="stop", number="1")
    if not symbol.tied_before and not tab.is_natural:
        technical = ET.SubElement(notations, "technical")
        if tab.bend:
            bend = ET.SubElement(technical, "bend")
            ET.SubElement(bend, "bend-alter").text = str(-tab.bend)
        else:
            ET.SubElement(technical, "other-technical").text = tab.kind
    if len(notations):
        note.append(notations)


def _write_words(measure: ET.Element, words: str) -> None:
    direction = ET.SubElement(measure, "direction", placement="above")
    ET.SubElement(ET.SubElement(direction, "direction-type"), "words").text = words
