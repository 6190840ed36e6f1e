"""Export of a drill as MusicXML 4.0 (W3C Community Group Final Report, 2021), score-partwise.

Notes are on the staff with their tab as lyrics; bends, overblows and overdraws are marked. A glide
is written as its notes joined by slides, a ladder as its notes under a slur; the lyrics from the
second note on begin with the sign of the glide or ladder. A shake is a tremolo between two notes.
Directions are as :mod:`trainer.exchange.musicxml_marks` says. Chords of the ground are harmonies.
Where a chord is asked for and one hole is written, its neighbour is a note in cue size.

The harp is a miscellaneous field. The position is the key: the mode of its signature.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

from trainer.drill import (
    Articulation,
    Drill,
    Sound,
    Step,
    VibratoKind,
    drill_position,
    format_sound,
)
from trainer.exchange.chord_symbols import CHORD_KINDS
from trainer.exchange.drill_fields import SOLO_MARK, DrillFields, tempo_at
from trainer.exchange.errors import ExchangeError
from trainer.exchange.musicxml_marks import is_optional, wedge_of, words_above, write_marks
from trainer.exchange.note_values import (
    NOTE_TYPES,
    BarSpan,
    Meter,
    NoteValue,
    bar_beams,
    bar_values,
)
from trainer.exchange.spelling import (
    best_key_signature,
    clef_octaves,
    key_signature,
    signature_alteration,
    spell_note,
)
from trainer.harp import Breath, Harp, Tab
from trainer.music import Chord, key_in_position, pitch_class_name

MUSICXML_VERSION = "4.0"
"""Version in the root element."""
MAX_SWING_DENOMINATOR = 1000
"""Maximum second number of the ratio of a swing."""
GRACE_PERCENT = 15
"""Percentage of the note before that a grace note takes (chosen by hand)."""
SHAKE_MARKS = 3
"""Number of beams of a shake's tremolo: faster than its note values (common practice)."""
_LADDER_SLUR, _LEGATO_SLUR = "1", "2"
"""Numbers of the slurs over ladders and legato notes."""
_MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
"""Half steps of the degrees above the tonic."""
BREATH_ARROWS = {Breath.BLOW: "↑", Breath.DRAW: "↓"}
"""Arrow of each breath below the tab."""
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
"""Names of accidentals by their alteration in half steps."""
_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


@dataclass(frozen=True, slots=True)
class _Symbol:
    """A note or part of a note that one symbol can express.

    Attributes:
        value: its value and its place in the bar.
        tied_before, tied_after: whether it continues the symbol before, or is continued.
        beams: what its beams do here, the outermost first.
    """

    value: NoteValue
    tied_before: bool = False
    tied_after: bool = False
    beams: tuple[str, ...] = ()


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

    @property
    def is_last(self) -> bool:
        """Whether it is the last sound of its step."""
        return self.step is not None and self.sound_index == len(self.step.sounds) - 1


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


def drill_to_musicxml(drill: Drill, harp: Harp, *, bars_per_line: int | None = None) -> str:
    """Return a drill as the text of a MusicXML file.

    Args:
        drill: the drill.
        harp: the harp that plays it.
        bars_per_line: number of bars on each line of a sheet to print, which has an arrow for the
            breath below each tab, as a second verse; None for a score that other programs lay out.

    Raises:
        HarpError: the harp cannot play the drill.
        ExchangeError: notation cannot express a length.
    """
    root = ET.Element("score-partwise", version=MUSICXML_VERSION)
    work = ET.SubElement(root, "work")
    ET.SubElement(work, "work-title").text = drill.title
    identification = ET.SubElement(root, "identification")
    encoding = ET.SubElement(identification, "encoding")
    ET.SubElement(encoding, "software").text = "Harp trainer"
    miscellaneous = ET.SubElement(identification, "miscellaneous")
    fields = DrillFields.of(drill, harp)
    as_notation = replace(fields, position=None, swing=1.0, pickup=Fraction(0))
    for name, text in as_notation.texts().items():
        ET.SubElement(miscellaneous, "miscellaneous-field", name=name).text = text
    parts = [steps for steps in (drill.steps, drill.second) if steps]
    part_list = ET.SubElement(root, "part-list")
    for number, _ in enumerate(parts, 1):
        score_part = ET.SubElement(part_list, "score-part", id=f"P{number}")
        part_name = ET.SubElement(score_part, "part-name")
        part_name.text = f"{harp.name} harp"
        if len(parts) == 1:
            part_name.set("print-object", "no")
    for number, steps in enumerate(parts, 1):
        part = ET.SubElement(root, "part", id=f"P{number}")
        _PartWriter(drill, steps, harp, bars_per_line).write(part, is_first=number == 1)
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{_DOCTYPE}\n{body}\n'


class _PartWriter:
    """Writer of one part."""

    def __init__(
        self, drill: Drill, steps: tuple[Step, ...], harp: Harp, bars_per_line: int | None
    ) -> None:
        self._drill, self._harp, self._bars_per_line = drill, harp, bars_per_line
        self._bars = _bars(drill, steps)
        self._notes = [harp.midi(tab) for step in steps for sound in step.sounds for tab in sound]
        harp_signature = best_key_signature([harp.key.tonic + degree for degree in _MAJOR_SCALE])
        tonic = key_in_position(harp.key.tonic, drill_position(drill, harp))
        self._signature = key_signature(self._notes, tonic, harp_signature)
        words = words_above(steps, drill.solos, on_sheet=bars_per_line is not None)
        self._words = dict(zip((step.start for step in steps), words, strict=True))
        self._slurred = _legato_ends(steps)
        self._accidentals: dict[tuple[str, int], int] = {}
        quarters = [
            4 * symbol.value.length / (2 if tone.step and tone.step.shake else 1)
            for bar in self._bars.values()
            for tone, symbol in bar
        ]
        self._divisions = math.lcm(*(length.denominator for length in quarters))

    def write(self, part: ET.Element, *, is_first: bool) -> None:
        """Write all measures."""
        for number in sorted(self._bars):
            measure = ET.SubElement(part, "measure", number=str(number))
            if number == 0:
                measure.set("implicit", "yes")
            if self._begins_line(number):
                ET.SubElement(measure, "print", {"new-system": "yes"})
            if number == min(self._bars):
                self._write_attributes(measure)
                if is_first:
                    self._write_tempo(measure)
            elif is_first and self._drill.tempo_to is not None:
                tempo = tempo_at(self._drill, self._drill.first_beat(number))
                ET.SubElement(measure, "sound", tempo=self._per_minute(tempo))
            if is_first:
                self._write_solos_and_chords(measure, number)
            self._accidentals = {}
            for tone, symbol in self._bars[number]:
                self._write_symbol(measure, tone, symbol)
            if number == max(self._bars):
                barline = ET.SubElement(measure, "barline", location="right")
                ET.SubElement(barline, "bar-style").text = "light-heavy"

    def _write_solos_and_chords(self, measure: ET.Element, number: int) -> None:
        """Write the chords of the ground, and a rehearsal mark where a solo begins, in a bar."""
        drill = self._drill
        first, end = drill.first_beat(number), drill.first_beat(number + 1)
        tonic = key_in_position(self._harp.key.tonic, drill.position or 1)
        for each in drill.chords:
            if first <= each.start < end:
                self._write_chord(measure, each.chord, tonic, each.start - first)
        for solo in drill.solos:
            if first <= solo.start < end:
                direction = ET.SubElement(measure, "direction", placement="above")
                kind = ET.SubElement(direction, "direction-type")
                ET.SubElement(kind, "rehearsal").text = SOLO_MARK
                self._write_offset(direction, solo.start - first)

    def _write_chord(self, measure: ET.Element, chord: Chord, tonic: int, at: Fraction) -> None:
        harmony = ET.SubElement(measure, "harmony")
        name = pitch_class_name(tonic + chord.root, pitch_class_name(tonic))
        root = ET.SubElement(harmony, "root")
        ET.SubElement(root, "root-step").text = name[0]
        if name[1:]:
            ET.SubElement(root, "root-alter").text = "1" if name[1] in "#♯" else "-1"
        ET.SubElement(harmony, "kind", text=chord.quality).text = CHORD_KINDS[chord.quality]
        self._write_offset(harmony, at)

    def _write_offset(self, element: ET.Element, beats: Fraction) -> None:
        """Write how far from the beginning of its bar an element is, in divisions."""
        if beats:
            divisions = self._divisions * beats * 4 / self._drill.meter[1]
            ET.SubElement(element, "offset").text = str(round(divisions))

    def _begins_line(self, number: int) -> bool:
        """Whether a bar is the first of a line of a sheet, and not of the first line."""
        per_line = self._bars_per_line
        return per_line is not None and number > 1 and (number - 1) % per_line == 0

    def _write_attributes(self, measure: ET.Element) -> None:
        attributes = ET.SubElement(measure, "attributes")
        ET.SubElement(attributes, "divisions").text = str(self._divisions)
        key = ET.SubElement(attributes, "key")
        ET.SubElement(key, "fifths").text = str(self._signature.fifths)
        ET.SubElement(key, "mode").text = self._signature.mode
        time = ET.SubElement(attributes, "time")
        ET.SubElement(time, "beats").text = str(self._drill.meter[0])
        ET.SubElement(time, "beat-type").text = str(self._drill.meter[1])
        clef = ET.SubElement(attributes, "clef")
        ET.SubElement(clef, "sign").text = "G"
        ET.SubElement(clef, "line").text = "2"
        if octaves := clef_octaves(self._notes):
            ET.SubElement(clef, "clef-octave-change").text = str(octaves)

    def _write_tempo(self, measure: ET.Element) -> None:
        drill = self._drill
        direction = ET.SubElement(measure, "direction", placement="above")
        if drill.swing != 1.0:
            words = f"Swing {drill.swing:g} : 1"
            ET.SubElement(ET.SubElement(direction, "direction-type"), "words").text = words
        metronome = ET.SubElement(ET.SubElement(direction, "direction-type"), "metronome")
        ET.SubElement(metronome, "beat-unit").text = NOTE_TYPES[Fraction(1, drill.meter[1])]
        ET.SubElement(metronome, "per-minute").text = f"{drill.tempo:g}"
        sound = ET.SubElement(direction, "sound", tempo=self._per_minute(drill.tempo))
        if drill.swing != 1.0:
            swing = ET.SubElement(sound, "swing")
            ratio = Fraction(drill.swing).limit_denominator(MAX_SWING_DENOMINATOR)
            ET.SubElement(swing, "first").text = str(ratio.numerator)
            ET.SubElement(swing, "second").text = str(ratio.denominator)
            swung_type = NOTE_TYPES[Fraction(1, 2 * drill.meter[1])]
            ET.SubElement(swing, "swing-type").text = swung_type

    def _per_minute(self, tempo: float) -> str:
        """Return a tempo in beats as quarter notes per minute."""
        return f"{round(tempo * 4 / self._drill.meter[1], 6):.10g}"

    def _write_symbol(self, measure: ET.Element, tone: _Tone, symbol: _Symbol) -> None:
        """Write a rest, or the notes of a step with the directions before and after them."""
        step = tone.step
        if step is None:
            rest = ET.SubElement(measure, "note")
            ET.SubElement(rest, "rest", {"measure": "yes"} if symbol.value.fills_bar else {})
            self._write_length(rest, symbol, tied=False)
            notations = ET.Element("notations")
            _write_tuplet(notations, symbol)
            if len(notations):
                rest.append(notations)
            return
        text, begins, ends = self._words[step.start]
        wedge = wedge_of(step)
        if tone.sound_index == 0 and not symbol.tied_before:
            if text:
                _write_words(measure, text, dashes=begins)
            if wedge:
                _write_direction(measure, "wedge", wedge)
            self._write_grace(measure, step)
        if step.shake:
            self._write_shake(measure, tone, symbol)
        else:
            self._write_sound(measure, tone, symbol, step.sounds[tone.sound_index])
        if tone.is_last and not symbol.tied_after:
            if wedge:
                _write_direction(measure, "wedge", "stop")
            if ends:
                _write_direction(measure, "dashes", "stop")

    def _write_sound(
        self, measure: ET.Element, tone: _Tone, symbol: _Symbol, sound: Sound, tremolo: str = ""
    ) -> None:
        """Write a sound of a step as a note, or as the notes of a chord.

        Args:
            measure: the measure.
            tone: the sound's place in its step.
            symbol: its note value.
            sound: the sound.
            tremolo: "start" or "stop" of a shake's tremolo; empty without one.
        """
        step = tone.step
        assert step is not None
        neighbours = step.implied_neighbour(sound)
        is_first_note = not symbol.tied_before and tremolo != "stop"
        for voice, tab in enumerate((*sorted(sound), *neighbours)):
            note = ET.SubElement(measure, "note")
            if voice:
                ET.SubElement(note, "chord")
            offset_cents = step.offset_cents(tone.sound_index) if tab in sound else 0.0
            accidental = self._write_pitch(note, self._harp.midi(tab), offset_cents, symbol)
            self._write_length(
                note,
                symbol,
                tied=not tremolo,
                small=tab in neighbours,
                accidental=accidental,
                halved=bool(tremolo),
            )
            if is_optional(step):
                ET.SubElement(note, "notehead", parentheses="yes").text = "normal"
            for level, beam in enumerate(symbol.beams if voice == 0 else (), 1):
                ET.SubElement(note, "beam", number=str(level)).text = beam
            notations = ET.Element("notations")
            if voice == 0:
                _write_tuplet(notations, symbol, tremolo)
            if tremolo:
                ornaments = ET.SubElement(notations, "ornaments")
                ET.SubElement(ornaments, "tremolo", type=tremolo).text = str(SHAKE_MARKS)
            else:
                _write_joins(notations, tone, voice, symbol)
            if voice == 0:
                self._write_slurs(notations, tone, symbol)
                _write_vibrato(notations, tone, symbol)
                if is_first_note and tone.sound_index == 0:
                    write_marks(notations, step)
            if is_first_note:
                _write_technique(notations, tab)
            if len(notations):
                note.append(notations)
            if voice == 0 and is_first_note:
                self._write_lyrics(note, _lyric(step, tone.sound_index), sound)

    def _write_shake(self, measure: ET.Element, tone: _Tone, symbol: _Symbol) -> None:
        """Write a shake as a tremolo between two notes, each with half of the duration."""
        step = tone.step
        assert step is not None
        assert step.shake is not None
        self._write_sound(measure, tone, symbol, step.first, "start")
        self._write_sound(measure, tone, symbol, step.shake.other, "stop")

    def _write_grace(self, measure: ET.Element, step: Step) -> None:
        """Write the grace note before a step."""
        for voice, tab in enumerate(sorted(step.grace)):
            note = ET.SubElement(measure, "note")
            grace = ET.SubElement(note, "grace", slash="yes")
            grace.set("steal-time-previous", str(GRACE_PERCENT))
            if voice:
                ET.SubElement(note, "chord")
            accidental = self._write_pitch(note, self._harp.midi(tab), 0.0)
            ET.SubElement(note, "voice").text = "1"
            ET.SubElement(note, "type").text = "eighth"
            if accidental:
                ET.SubElement(note, "accidental").text = accidental
            notations = ET.Element("notations")
            _write_technique(notations, tab)
            if len(notations):
                note.append(notations)
            if voice == 0:
                self._write_lyrics(note, f"^{format_sound(step.grace)}", step.grace)

    def _write_lyrics(self, note: ET.Element, tab: str, sound: Sound) -> None:
        """Write a tab below a note, and an arrow for its breath where one is asked for."""
        verses = [tab]
        if self._bars_per_line is not None:
            verses.append(BREATH_ARROWS[sound[0].breath])
        for number, text in enumerate(verses, 1):
            lyric = ET.SubElement(note, "lyric")
            if len(verses) > 1:
                lyric.set("number", str(number))
            ET.SubElement(lyric, "syllabic").text = "single"
            ET.SubElement(lyric, "text").text = text

    def _write_slurs(self, notations: ET.Element, tone: _Tone, symbol: _Symbol) -> None:
        """Write the ends of slurs over a ladder and over legato notes."""
        step = tone.step
        assert step is not None
        begins = tone.sound_index == 0 and not symbol.tied_before
        ends = tone.is_last and not symbol.tied_after
        if step.ladder and begins:
            ET.SubElement(notations, "slur", type="start", number=_LADDER_SLUR)
        if step.ladder and ends:
            ET.SubElement(notations, "slur", type="stop", number=_LADDER_SLUR)
        first, last = self._slurred
        if begins and step.start in first:
            ET.SubElement(notations, "slur", type="start", number=_LEGATO_SLUR)
        if ends and step.start in last:
            ET.SubElement(notations, "slur", type="stop", number=_LEGATO_SLUR)

    def _write_pitch(
        self, note: ET.Element, midi: int, offset_cents: float, symbol: _Symbol | None = None
    ) -> str:
        """Write a pitch, and return the name of its accidental; empty where it needs none.

        Args:
            note: the note.
            midi: MIDI note number.
            offset_cents: target relative to it.
            symbol: its note value; None for a grace note.
        """
        pitch = ET.SubElement(note, "pitch")
        letter, alteration, octave = spell_note(midi, self._signature.fifths)
        ET.SubElement(pitch, "step").text = letter
        if alteration or offset_cents:
            ET.SubElement(pitch, "alter").text = f"{alteration + offset_cents / 100.0:g}"
        ET.SubElement(pitch, "octave").text = str(octave)
        if symbol is not None and symbol.tied_before:
            return ""  # a tie carries it, over a bar line, too
        valid = self._accidentals.get((letter, octave))
        if valid is None:
            valid = signature_alteration(letter, self._signature.fifths)
        self._accidentals[letter, octave] = alteration
        return "" if alteration == valid else _ACCIDENTALS[alteration]

    def _write_length(
        self,
        note: ET.Element,
        symbol: _Symbol,
        *,
        tied: bool,
        small: bool = False,
        accidental: str = "",
        halved: bool = False,
    ) -> None:
        """Write the length of a note or rest.

        Args:
            note: the note.
            symbol: its note value.
            tied: whether it has the ties of the symbol.
            small: whether it is in cue size.
            accidental: name of its accidental; empty for none.
            halved: whether it sounds for half of its value, as a note of a tremolo.
        """
        value = symbol.value
        quarters = 4 * value.length / (2 if halved else 1)
        ET.SubElement(note, "duration").text = str(int(quarters * self._divisions))
        for type_ in _tie_types(symbol) if tied else ():
            ET.SubElement(note, "tie", type=type_)
        ET.SubElement(note, "voice").text = "1"
        ET.SubElement(note, "type", {"size": "cue"} if small else {}).text = value.type
        if value.dotted:
            ET.SubElement(note, "dot")
        if accidental:
            ET.SubElement(note, "accidental").text = accidental
        actual, normal = value.tuplet
        actual *= 2 if halved else 1
        if (actual, normal) != (1, 1):
            modification = ET.SubElement(note, "time-modification")
            ET.SubElement(modification, "actual-notes").text = str(actual)
            ET.SubElement(modification, "normal-notes").text = str(normal)


def _bars(drill: Drill, steps: tuple[Step, ...]) -> dict[int, list[tuple[_Tone, _Symbol]]]:
    """Return the symbols of each bar, each with its tone.

    Raises:
        ExchangeError: notation cannot express a length.
    """
    meter = Meter(*drill.meter)
    tones = list(_tones(drill, steps))
    spans: dict[int, list[BarSpan]] = {}
    for key, tone in enumerate(tones):
        for bar, start, end in _split_at_bars(tone, drill.meter[0]):
            places = (start / drill.meter[1], end / drill.meter[1])
            spans.setdefault(bar, []).append(BarSpan(*places, tone.step is None, key))
    values = {number: bar_values(bar, meter) for number, bar in spans.items()}
    counts = Counter(key for bar in values.values() for key, _ in bar)
    written: Counter[int] = Counter()
    bars: dict[int, list[tuple[_Tone, _Symbol]]] = {}
    for number, bar_of_values in values.items():
        beams = bar_beams([v if _has_beam(tones[key]) else None for key, v in bar_of_values], meter)
        bars[number] = []
        for (key, value), own_beams in zip(bar_of_values, beams, strict=True):
            before = written[key] > 0
            written[key] += 1
            symbol = _Symbol(value, before, written[key] < counts[key], own_beams)
            bars[number].append((tones[key], symbol))
    return bars


def _has_beam(tone: _Tone) -> bool:
    """Whether a tone is a note with flags or beams of its own: no rest, and no shake."""
    return tone.step is not None and tone.step.shake is None


def _split_at_bars(tone: _Tone, beats: int) -> Iterator[tuple[int, Fraction, Fraction]]:
    """Yield the bars of a tone, and where it begins and ends in each, in beats."""
    at = tone.start
    while at < tone.end:
        number = math.floor(at / beats) + 1
        first = (number - 1) * Fraction(beats)
        end = min(tone.end, first + beats)
        yield number, at - first, end - first
        at = end


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


def _legato_ends(steps: Sequence[Step]) -> tuple[set[Fraction], set[Fraction]]:
    """Return the beats of the steps on which slurs over legato notes begin and end."""
    begin, end = set(), set()
    is_open = False
    for step, following in pairwise(steps):
        joins = step.articulation is Articulation.LEGATO and following.start == step.end
        if joins and not is_open:
            begin.add(step.start)
        if joins:
            end.discard(step.start)
            end.add(following.start)
        is_open = joins
    return begin, end


def _lyric(step: Step, sound_index: int) -> str:
    """Return the tab of a step, or of one sound of its path with the sign before it."""
    if not step.has_path:
        return step.tab
    sign = "=" if step.ladder else ">"
    return (sign if sound_index else "") + step.tab.split(sign)[sound_index]


def _tie_types(symbol: _Symbol) -> Iterator[str]:
    if symbol.tied_before:
        yield "stop"
    if symbol.tied_after:
        yield "start"


def _write_joins(notations: ET.Element, tone: _Tone, voice: int, symbol: _Symbol) -> None:
    """Write the ties and slides of a note."""
    for type_ in _tie_types(symbol):
        ET.SubElement(notations, "tied", type=type_)
    if tone.step is not None and tone.step.is_glide:
        number = str(voice + 1)
        if tone.sound_index > 0 and not symbol.tied_before:
            ET.SubElement(notations, "slide", type="stop", number=number)
        if not tone.is_last and not symbol.tied_after:
            ET.SubElement(notations, "slide", type="start", number=number)


def _write_tuplet(notations: ET.Element, symbol: _Symbol, tremolo: str = "") -> None:
    """Write the ends of a tuplet's bracket; of a tremolo, its second note ends it."""
    if symbol.value.begins_tuplet and tremolo != "stop":
        ET.SubElement(notations, "tuplet", type="start")
    if symbol.value.ends_tuplet and tremolo != "start":
        ET.SubElement(notations, "tuplet", type="stop")


def _write_vibrato(notations: ET.Element, tone: _Tone, symbol: _Symbol) -> None:
    """Write the ends of the wavy line of throat vibrato."""
    step = tone.step
    if step is None or step.vibrato is None or step.vibrato.kind is not VibratoKind.THROAT:
        return
    types = ["start"] * (tone.sound_index == 0 and not symbol.tied_before)
    types += ["stop"] * (tone.is_last and not symbol.tied_after)
    if types:
        ornaments = ET.SubElement(notations, "ornaments")
        for type_ in types:
            ET.SubElement(ornaments, "wavy-line", type=type_, number="1")


def _write_technique(notations: ET.Element, tab: Tab) -> None:
    """Write the mark of a bend, overblow or overdraw."""
    if tab.is_natural:
        return
    technical = ET.SubElement(notations, "technical")
    if tab.bend:
        bend = ET.SubElement(technical, "bend")
        ET.SubElement(bend, "bend-alter").text = str(-tab.bend)
    else:
        ET.SubElement(technical, "other-technical").text = tab.kind


def _write_words(measure: ET.Element, words: str, *, dashes: bool) -> None:
    """Write words above the next note, with dashes if they are for more notes."""
    direction = ET.SubElement(measure, "direction", placement="above")
    ET.SubElement(ET.SubElement(direction, "direction-type"), "words").text = words
    if dashes:
        ET.SubElement(ET.SubElement(direction, "direction-type"), "dashes", type="start")


def _write_direction(measure: ET.Element, tag: str, type_: str) -> None:
    direction = ET.SubElement(measure, "direction")
    ET.SubElement(ET.SubElement(direction, "direction-type"), tag, type=type_)
