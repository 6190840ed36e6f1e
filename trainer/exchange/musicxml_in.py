"""Import of a melody from MusicXML, score-partwise, plain or compressed (.mxl).

One part is read: the requested one, or the first with notes; of it, the voice with the most notes.
Repeats and endings are expanded, ties joined, and notes connected by slides become one glide. A
slur does not determine holes and is ignored. Grace notes have no duration and are left out. Marks
such as staccato become directions (:mod:`trainer.exchange.musicxml_marks`).

A score that :mod:`trainer.exchange.musicxml_out` wrote names its harp and has the tab as lyrics. A
step is read from its lyrics, words and marks where its notes are those of that tab on that harp.
Where they are others, because the score was edited, the notes are read and not the lyrics. A score
that lost the field of the harp still names it as its part. Its solos begin at their marks.

The chord symbols of any score become the ground of the drill, see
:mod:`trainer.exchange.chord_symbols`.
"""

from __future__ import annotations

import io
import zipfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

from trainer.drill import (
    CALL_PREFIX,
    Ground,
    Melody,
    MelodyNote,
    Solo,
    Step,
    read_step,
    target_pitches,
)
from trainer.exchange.chord_symbols import changes, ground_of, quality_of
from trainer.exchange.drill_fields import SOLO_MARK, DrillFields
from trainer.exchange.errors import ExchangeError
from trainer.exchange.limits import LIMITS, guarded, number, read_limited
from trainer.exchange.midi_in import MAX_TITLE_CHARACTERS, TEMPO_RANGE
from trainer.exchange.musicxml_marks import CALL, WEDGES, read_marks
from trainer.exchange.spelling import natural_midi, signature_tonic
from trainer.exchange.time_grid import (
    TimedNote,
    merge_into_line,
    merge_lines,
    without_notes,
    written_note,
)
from trainer.harp import Harp, HarpError
from trainer.music import Chord

MAX_REPEAT_PASSES = 8
"""Maximum number of times that a repeat is played."""
_ANY_TAB = "4:1"
"""Stands for the tab of a note whose hole is not known."""
_PATH_SIGNS = (">", "=")
"""What the lyrics of a glide or a ladder begin with from the second note on."""
_PART_NAME_END = " harp"
"""What the name of a part says after its harp."""
_SAME_PITCH_HALF_STEPS = 0.01
"""Maximum distance of equal pitches in half steps."""
_SLIDE_TAGS = ("slide", "glissando")
_CONTAINER = "META-INF/container.xml"


@dataclass
class _Note:
    """A note as written.

    Attributes:
        start, end: times in quarter notes from the beginning.
        pitch: fractional MIDI note number.
        voice: name of its voice.
        tie_start, tie_stop: whether a tie starts or stops at it.
        slide_start, slide_stop: numbers of the slides that start or stop at it; None for none.
        path: pitches that it moves through.
        is_head: whether it is the first note of its chord.
        lyric: its lyric; empty for none.
        grace: lyric of the grace note before it; empty for none.
        tremolo: "start" or "stop" of a tremolo between two notes; empty for none.
        words, marks: directions that the words above it and its marks stand for.
    """

    start: Fraction
    end: Fraction
    pitch: float
    voice: str
    tie_start: bool = False
    tie_stop: bool = False
    slide_start: str | None = None
    slide_stop: str | None = None
    path: list[float] = field(default_factory=list)
    is_head: bool = True
    lyric: str = ""
    grace: str = ""
    tremolo: str = ""
    words: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()


@guarded("MusicXML file")
def read_musicxml(path: Path, part: int | None = None) -> Melody:
    """Read a melody from a MusicXML file.

    Args:
        path: the file.
        part: number of the part, from 1; None takes the first with notes.

    Raises:
        ExchangeError: it is not MusicXML, or the part does not exist or has no notes.
    """
    root = _read_root(path)
    if root.tag != "score-partwise":
        kind = "is timewise" if root.tag == "score-timewise" else "is not a MusicXML score"
        raise ExchangeError(f"{path} {kind}; save it as MusicXML, score-partwise")
    parts = root.findall("part")
    if part is not None and not 1 <= part <= len(parts):
        raise ExchangeError(f"{path} has no part {part}; it has {len(parts)}")
    candidates = parts if part is None else [parts[part - 1]]
    readers = [_PartReader(element) for element in candidates]
    try:
        for reader in readers:
            reader.read()
    except (ValueError, KeyError, AttributeError, TypeError, ZeroDivisionError) as error:
        raise ExchangeError(f"{path} has an unreadable measure: {error}") from None
    chosen = next((reader for reader in readers if reader.notes), None)
    if chosen is None:
        raise ExchangeError(f"{path} has no notes to play; is it the right one?")
    title = root.findtext("work/work-title") or root.findtext("movement-title") or path.stem
    title = " ".join(title.split())[:MAX_TITLE_CHARACTERS] or path.stem
    melody = _melody(path.stem, title, chosen)
    if fields := _read_fields(root):
        others = [reader for reader in readers if reader.notes and reader is not chosen]
        return _drill_melody(melody, fields, [chosen, *others])
    return melody


def _melody(name: str, title: str, reader: _PartReader) -> Melody:
    notices = []
    voices = Counter(note.voice for note in reader.notes)
    voice, count = voices.most_common(1)[0]
    if len(voices) > 1:
        others = sum(voices.values()) - count
        notices.append(f"voice {voice} was taken; {others} notes of other voices were left out")
    if reader.graces:
        notices.append(f"{reader.graces} grace notes were left out")
    ground, ground_notices = _ground(reader)
    notices += ground_notices
    line, shortened = merge_into_line(_timed_notes(reader, reader.voice_notes))
    if shortened:
        notices.append(f"{shortened} notes were shortened to the start of the next")
    tempo = round(reader.tempo * reader.meter[1] / 4, 2)
    return Melody(
        name,
        title,
        line,
        min(max(tempo, TEMPO_RANGE[0]), TEMPO_RANGE[1]),
        reader.meter,
        reader.first_beat,
        reader.swing,
        reader.tonic,
        tuple(notices),
        ground=ground,
    )


def _symbols(reader: _PartReader, tonic: int) -> tuple[list[tuple[Fraction, Chord]], list[str]]:
    """Return the chord symbols of a part above a tonic, and the kinds that became simpler."""
    symbols, simpler = [], []
    for at, root, kind in sorted(reader.chords):
        quality, is_simpler = quality_of(kind)
        simpler += [kind] * is_simpler
        symbols.append((reader.beat(at), Chord((root - tonic) % 12, quality)))
    return symbols, simpler


def _ground(reader: _PartReader) -> tuple[Ground | None, list[str]]:
    """Return the ground that the chord symbols of a part stand for, and notices on it."""
    if not reader.chords:
        return None, []
    if reader.tonic is None:
        return None, ["its chord symbols were left out, because it has no key signature"]
    symbols, simpler = _symbols(reader, reader.tonic)
    end = max(reader.beat(note.end) for note in reader.notes)
    ground = ground_of(symbols, reader.meter[0], end)
    if ground is None:
        return None, ["its chord symbols were left out: they are too many for a ground"]
    if not simpler:
        return ground, []
    kinds = ", ".join(sorted(set(simpler)))
    return ground, [f"{len(simpler)} chord symbols became simpler chords: {kinds}"]


def _timed_notes(reader: _PartReader, notes: list[_Note]) -> Iterator[TimedNote]:
    """Yield notes with their times in beats, joined by ties and slides."""
    for note in _join_ties_and_slides(notes):
        written = None
        if len(note.path) == 1 and note.marks:
            written = read_step(f"{_ANY_TAB}{{{', '.join(note.marks)}}}")
        start, end = reader.beat(note.start), reader.beat(note.end)
        yield TimedNote(start, end, tuple(note.path), written=written)


def _read_fields(root: ET.Element) -> DrillFields | None:
    """Return the fields of an exported drill; from the name of its part if those were lost."""
    fields = {
        field.get("name", ""): field.text or ""
        for field in root.iterfind("identification/miscellaneous/miscellaneous-field")
    }
    name = (root.findtext("part-list/score-part/part-name") or "").strip()
    if "harp" not in fields and name.endswith(_PART_NAME_END):
        key, _, tuning = name.removesuffix(_PART_NAME_END).partition(", ")
        fields |= {"harp": key, "tuning": tuning or "richter"}
    return DrillFields.read(fields)


def _drill_melody(melody: Melody, fields: DrillFields, readers: list[_PartReader]) -> Melody:
    """Return the melody of an exported drill; unchanged if no lyric is the tab of its notes."""
    parts = [_read_steps(reader, fields.harp) for reader in readers]
    fingered = [part for part in parts if any(note.is_fingered for note in part)]
    if not fingered:
        return melody
    solos = _solos(readers[0], fields, fingered[0])
    return replace(
        melody,
        notes=fingered[0],
        second=fingered[1] if len(fingered) > 1 else (),
        harp=fields.harp,
        tempo_to=fields.tempo_to,
        notices=(),
        ground=_own_ground(readers[0], fields, melody),
        solos=solos,
        brief=fields.brief if solos else None,
    )


def _solos(
    reader: _PartReader, fields: DrillFields, notes: Sequence[MelodyNote]
) -> tuple[Solo, ...]:
    """Return the solos of an exported drill, from their marks and lengths.

    Where marks were added or removed, each solo lasts to the end of its bar or to the next note
    after that.
    """
    if fields.brief is None:
        return ()
    begins = [reader.beat(at) for at in sorted(reader.solo_marks)]
    lengths = fields.solo_beats
    if len(lengths) != len(begins):
        bar = reader.meter[0]
        starts = [note.start for note in notes]
        lengths = tuple(
            min(
                (at - begin for at in [*starts, *begins] if at > begin),
                default=bar - begin % bar,
            )
            for begin in begins
        )
    solos = [Solo(begin, beats) for begin, beats in zip(begins, lengths, strict=True)]
    return without_notes(solos, notes)


def _own_ground(reader: _PartReader, fields: DrillFields, melody: Melody) -> Ground | None:
    """Return the ground of an exported drill: its own, unless its chord symbols were edited."""
    own = fields.ground
    if own is None or melody.ground is None or reader.tonic is None:
        return melody.ground
    symbols, _ = _symbols(reader, reader.tonic)
    last = max((at for at, _ in symbols), default=Fraction(0))
    written = [(each.start, each.chord) for each in own.chords(melody.meter[0], last + 1)]
    if changes(written) == changes(symbols):
        return own
    return replace(melody.ground, style=own.style)


def _read_steps(reader: _PartReader, harp: Harp) -> tuple[MelodyNote, ...]:
    """Read a part of an exported drill: steps from their lyrics, and other notes."""
    notes = sorted(reader.voice_notes, key=lambda note: note.start)
    heads = [note for note in notes if note.is_head]
    line: list[MelodyNote] = []
    others: list[_Note] = []
    while heads:
        members, tab = _next_step(heads)
        heads = heads[len(members) :]
        start, end = members[0].start, members[-1].end
        beats = reader.beat(end) - reader.beat(start)
        inside = [note for note in notes if start <= note.start < end]
        step = _step(members[0], tab, beats)
        if step is None or not _has_notes(step, harp, inside):
            others += inside
            continue
        line.append(written_note(replace(step, start=reader.beat(start)), harp))
    remaining, _ = merge_into_line(_timed_notes(reader, others))
    return merge_lines(line, remaining)


def _next_step(heads: list[_Note]) -> tuple[list[_Note], str]:
    """Return the notes of the next step, and its tab; empty without one.

    Args:
        heads: the first notes of the chords that remain.
    """
    first = heads[0]
    members, tab = [first], first.lyric
    for before, note in pairwise(heads):
        is_tied = before.tie_start and note.tie_stop
        is_shaken = bool(first.tremolo and note.tremolo) and not note.lyric
        is_path = note.lyric.startswith(_PATH_SIGNS)
        if note.start != before.end or not (is_tied or is_shaken or is_path):
            break
        members.append(note)
        tab += note.lyric
    return members, tab


def _step(head: _Note, tab: str, beats: Fraction) -> Step | None:
    """Return the step of a tab, with the directions of its first note; None without a tab."""
    directions = [word for word in (*head.words, *head.marks) if word != CALL]
    call = CALL_PREFIX if CALL in head.words else ""
    how = f"{{{', '.join(directions)}}}" if directions else ""
    return read_step(f"{call} {head.grace} {tab}:{beats}{how}") if tab else None


def _has_notes(step: Step, harp: Harp, notes: list[_Note]) -> bool:
    """Whether the first of a step's notes are those of its tab on a harp."""
    try:
        wanted = [harp.midi(tab) + step.offset_cents(0) / 100.0 for tab in step.first]
        wanted += [harp.midi(tab) for tab in step.implied_neighbour(step.first)]
        target_pitches(step, harp)
    except HarpError:
        return False
    sounding = sorted(note.pitch for note in notes if note.start == notes[0].start)
    return len(sounding) == len(wanted) and all(
        abs(pitch - other) < _SAME_PITCH_HALF_STEPS
        for pitch, other in zip(sounding, sorted(wanted), strict=True)
    )


def _read_root(path: Path) -> ET.Element:
    data = read_limited(path, LIMITS.musicxml_bytes)
    try:
        if data[:2] == b"PK":
            data = _decompress(path, data)
        return ET.fromstring(data)
    except (ET.ParseError, zipfile.BadZipFile, KeyError, ValueError) as error:
        raise ExchangeError(f"{path} is not a readable MusicXML file: {error}") from None


def _decompress(path: Path, data: bytes) -> bytes:
    """Return the score in a compressed file, which its container names.

    Raises:
        ExchangeError: it is too large when it is unpacked.
    """
    limit = min(LIMITS.musicxml_bytes, LIMITS.ratio * len(data))

    def unpacked(archive: zipfile.ZipFile, name: str) -> bytes:
        with archive.open(name) as member:  # its header may give a smaller size
            content = member.read(limit + 1)
        if len(content) > limit:
            raise ExchangeError(
                f"{path} unpacks to more than {limit / 1e6:.1f} MB; save the score uncompressed"
            )
        return content

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        container = ET.fromstring(unpacked(archive, _CONTAINER))
        for element in container.iter():
            is_root = element.tag.rpartition("}")[2] == "rootfile"
            if is_root and (name := element.get("full-path")):
                return unpacked(archive, name)
    raise KeyError("its container names no score")


class _PartReader:
    """Reader of one part.

    Attributes:
        notes: notes as written, in quarter notes.
        meter, tempo, swing, tonic: the first that the part sets; tempo in quarter notes per minute.
        pickup: length of the pick-up in quarter notes.
        graces: number of grace notes.
        chords: chord symbols: time in quarter notes, pitch class of the root, kind.
        solo_marks: times of the marks of solos in quarter notes.
    """

    def __init__(self, part: ET.Element) -> None:
        self._part = part
        self.notes: list[_Note] = []
        self.meter = (4, 4)
        self.tempo = 120.0
        self.swing = 1.0
        self.tonic: int | None = None
        self.pickup = Fraction(0)
        self.graces = 0
        self.chords: list[tuple[Fraction, int, str]] = []
        self.solo_marks: list[Fraction] = []
        self._already_set: set[str] = set()
        self._grace = ""
        self._words: tuple[str, ...] = ()
        self._words_stay = False
        self._wedge = ""
        self._divisions = 1
        self._transposition = 0

    def read(self) -> None:
        """Read all measures, with repeats expanded."""
        now = Fraction(0)
        for index, measure in enumerate(_played_order(self._part.findall("measure"))):
            length = self._read_measure(measure, now)
            full = Fraction(4 * self.meter[0], self.meter[1])
            if index == 0 and length < full:
                self.pickup = length
            elif measure.get("implicit") != "yes" and not _has_repeat(measure):
                length = max(length, full)
            now += length

    @property
    def voice_notes(self) -> list[_Note]:
        """The notes of the voice with the most notes."""
        (voice, _), *_ = Counter(note.voice for note in self.notes).most_common(1)
        return [note for note in self.notes if note.voice == voice]

    @property
    def first_beat(self) -> Fraction:
        """Beat on which it begins, negative with a pick-up."""
        return self.beat(Fraction(0))

    def beat(self, quarters: Fraction) -> Fraction:
        """Return the beat of a time in quarter notes from the beginning."""
        return (quarters - self.pickup) * Fraction(self.meter[1], 4)

    def _read_measure(self, measure: ET.Element, start: Fraction) -> Fraction:
        """Read one measure and return its length in quarter notes."""
        at = longest = Fraction(0)
        chord_start = Fraction(0)
        for element in measure:
            match element.tag:
                case "attributes":
                    self._read_attributes(element)
                case "harmony":
                    self._read_chord(element, start + at + self._offset(element))
                case "direction" if element.findtext("direction-type/rehearsal") == SOLO_MARK:
                    self.solo_marks.append(start + at + self._offset(element))
                case "direction":
                    self._read_direction(element)
                    self._read_sound(element.find("sound"))
                case "sound":
                    self._read_sound(element)
                case "backup":
                    at -= self._duration(element)
                case "forward":
                    at += self._duration(element)
                case "note" if element.find("grace") is not None:
                    self.graces += 1
                    self._grace = self._grace or _lyric(element)
                case "note":
                    duration = self._duration(element)
                    in_chord = element.find("chord") is not None
                    note_start = start + (chord_start if in_chord else at)
                    self._read_note(element, note_start, note_start + duration, in_chord=in_chord)
                    if not in_chord:
                        chord_start, at = at, at + duration
            longest = max(longest, at)
        return longest

    def _read_attributes(self, attributes: ET.Element) -> None:
        if divisions := attributes.findtext("divisions"):
            self._divisions = int(number(divisions))
        beats, value = attributes.findtext("time/beats"), attributes.findtext("time/beat-type")
        if beats and value and self._is_first("time"):
            self.meter = (sum(int(term) for term in beats.split("+")), int(value))
        fifths = attributes.findtext("key/fifths")
        if fifths and self._is_first("key"):
            self.tonic = signature_tonic(int(fifths), attributes.findtext("key/mode") or "major")
        if (transpose := attributes.find("transpose")) is not None:
            octaves = int(transpose.findtext("octave-change") or 0)
            self._transposition = int(transpose.findtext("chromatic") or 0) + 12 * octaves

    def _read_sound(self, sound: ET.Element | None) -> None:
        if sound is None:
            return
        if (tempo := sound.get("tempo")) and self._is_first("tempo"):
            self.tempo = float(tempo)
        first, second = sound.findtext("swing/first"), sound.findtext("swing/second")
        if first and second and self._is_first("swing"):
            self.swing = min(max(int(first) / int(second), 1.0), 3.0)

    def _read_direction(self, direction: ET.Element) -> None:
        """Read the words, dashes and wedges that stand for directions of notes."""
        words = direction.findtext("direction-type/words")
        if words and direction.find("sound") is None:  # words on the tempo are of no note
            self._words = tuple(word.strip() for word in words.split(","))
            self._words_stay = False
        dashes = {dash.get("type") for dash in direction.iterfind("direction-type/dashes")}
        self._words_stay = "start" in dashes or self._words_stay
        if "stop" in dashes:
            self._words, self._words_stay = (), False
        types = [wedge.get("type") for wedge in direction.iterfind("direction-type/wedge")]
        wedges = [word for word, type_ in WEDGES.items() if type_ in types]
        self._wedge = wedges[0] if wedges else self._wedge

    def _read_chord(self, harmony: ET.Element, at: Fraction) -> None:
        """Read a chord symbol; one without a root, or for no chord, is left out."""
        letter, kind = harmony.findtext("root/root-step"), harmony.findtext("kind")
        if letter is None or kind is None or kind == "none":
            return
        alteration = int(float(harmony.findtext("root/root-alter") or 0))
        root = (natural_midi(letter, 4) + alteration + self._transposition) % 12
        self.chords.append((at, root, kind))

    def _offset(self, element: ET.Element) -> Fraction:
        return number(element.findtext("offset") or "0") / self._divisions

    def _is_first(self, name: str) -> bool:
        """Whether a property is set for the first time."""
        is_first = name not in self._already_set
        self._already_set.add(name)
        return is_first

    def _duration(self, element: ET.Element) -> Fraction:
        return number(element.findtext("duration") or "0") / self._divisions

    def _read_note(
        self, element: ET.Element, start: Fraction, end: Fraction, *, in_chord: bool
    ) -> None:
        letter = element.findtext("pitch/step")
        if letter is None:  # a rest, or an unpitched note
            return
        natural = natural_midi(letter, int(element.findtext("pitch/octave") or 4))
        alteration = float(element.findtext("pitch/alter") or 0)
        pitch = natural + alteration + self._transposition
        ties = {tie.get("type") for tie in element.iterfind("tie")}
        self.notes.append(
            _Note(
                start,
                end,
                pitch,
                element.findtext("voice") or "1",
                tie_start="start" in ties,
                tie_stop="stop" in ties,
                slide_start=_slide_number(element, "start"),
                slide_stop=_slide_number(element, "stop"),
                path=[pitch],
                is_head=not in_chord,
                lyric=_lyric(element),
                grace=self._grace,
                tremolo=_tremolo(element),
                words=self._words,
                marks=(*read_marks(element), *filter(None, [self._wedge])),
            )
        )
        self._grace = self._wedge = ""
        if not self._words_stay:
            self._words = ()


def _lyric(note: ET.Element) -> str:
    return (note.findtext("lyric/text") or "").strip()


def _tremolo(note: ET.Element) -> str:
    """Return "start" or "stop" of a tremolo between two notes; empty for none."""
    tremolo = note.find("notations/ornaments/tremolo")
    type_ = tremolo.get("type", "") if tremolo is not None else ""
    return type_ if type_ in ("start", "stop") else ""


def _slide_number(note: ET.Element, type_: str) -> str | None:
    """Return the number of a slide that starts or stops at a note."""
    slides = (slide for tag in _SLIDE_TAGS for slide in note.iterfind(f"notations/{tag}"))
    return next(
        (slide.get("number") or "1" for slide in slides if slide.get("type") == type_), None
    )


def _join_ties_and_slides(notes: list[_Note]) -> list[_Note]:
    joined: list[_Note] = []
    for note in sorted(notes, key=lambda note: (note.start, note.pitch)):
        adjacent = [before for before in reversed(joined) if before.end == note.start]
        tied = [
            before
            for before in adjacent
            if note.tie_stop and before.tie_start and before.path[-1] == note.pitch
        ]
        slid = [
            before
            for before in adjacent
            if note.slide_stop and before.slide_start == note.slide_stop
        ]
        if not tied and not slid:
            joined.append(replace(note, path=list(note.path)))
            continue
        before = (tied or slid)[0]
        before.end = note.end
        before.path += note.path if not tied else []
        before.tie_start, before.slide_start = note.tie_start, note.slide_start
    return joined


def _has_repeat(measure: ET.Element) -> bool:
    """Whether a measure has a repeat sign, before which a bar may be incomplete."""
    return measure.find("barline/repeat") is not None


def _played_order(measures: list[ET.Element]) -> Iterator[ET.Element]:
    """Yield the measures in the order in which they are played, with repeats and endings."""
    endings = [*_endings(measures), frozenset[int]()]
    at, repeat_start, turn = 0, 0, 1
    while at < len(measures):
        measure, ending = measures[at], endings[at]
        if at != repeat_start and _repeat_sign(measure, "forward") is not None:
            repeat_start, turn = at, 1
        if ending and turn not in ending:
            at += 1
            continue
        yield measure
        is_last_ending = not endings[at + 1]
        if (backward := _repeat_sign(measure, "backward")) is not None:
            times = int(number(backward.get("times") or "2"))
            if ending:
                times = max(ending) if is_last_ending else max(ending) + 1
            if turn < min(times, MAX_REPEAT_PASSES):
                turn, at = turn + 1, repeat_start
                continue
        at += 1
        if is_last_ending and (ending or backward is not None):
            turn, repeat_start = 1, at


def _repeat_sign(measure: ET.Element, direction: str) -> ET.Element | None:
    return measure.find(f"barline/repeat[@direction='{direction}']")


def _endings(measures: list[ET.Element]) -> Iterator[frozenset[int]]:
    """Yield the numbers of the ending of each measure; none outside of endings."""
    current: frozenset[int] = frozenset()
    for measure in measures:
        marks = list(measure.iterfind("barline/ending"))
        for mark in marks:
            if mark.get("type") == "start":
                current = _ending_numbers(mark.get("number") or "1")
        yield current
        if any(mark.get("type") in ("stop", "discontinue") for mark in marks):
            current = frozenset()


def _ending_numbers(text: str) -> frozenset[int]:
    """Return the times of an ending: ``1, 2`` or, as some programs write it, ``1-3``."""
    numbers: set[int] = set()
    for part in filter(str.strip, text.split(",")):
        first, _, last = part.partition("-")
        numbers |= set(range(int(first), min(int(last or first), MAX_REPEAT_PASSES) + 1))
    return frozenset(numbers)
