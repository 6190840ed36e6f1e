"""A melody from a MusicXML file, score-partwise, plain or compressed (.mxl).

One part is taken: the one that is asked for, or the first that has notes; in it the voice with the
most notes. Repeats and endings are played out, ties joined, notes that a slide joins made one
glide; a slur says nothing of holes, and is passed over. Grace notes have no time of their own and
are left out.
"""

from __future__ import annotations

import io
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

from trainer.drill.melody import Melody
from trainer.exchange.errors import ExchangeError
from trainer.exchange.midi_in import TEMPO_RANGE
from trainer.exchange.spelling import natural_midi, signature_tonic
from trainer.exchange.time_grid import TimedNote, merge_into_line

MAX_REPEAT_PASSES = 8
"""A repeat that says it is played more often is played so often."""
_SLIDES = ("slide", "glissando")
_CONTAINER = "META-INF/container.xml"


@dataclass
class _Note:
    """A note as it stands: quarters from the beginning, and what joins it to others."""

    start: Fraction
    end: Fraction
    height: float
    voice: str
    tied_on: bool = False
    tied: bool = False
    slides_on: str | None = None
    slides: str | None = None
    path: list[float] = field(default_factory=list)


def read_musicxml(path: Path, part: int | None = None) -> Melody:
    """Read a melody.

    Args:
        path: a MusicXML file.
        part: which part, counted from 1; None takes the first that has notes.

    Raises:
        ExchangeError: it is no such file, has no such part, or no notes.
    """
    root = _root(path)
    if root.tag != "score-partwise":
        what = "is a score by measures" if root.tag == "score-timewise" else "is no MusicXML score"
        raise ExchangeError(f"{path} {what}; save it as MusicXML, score-partwise")
    parts = root.findall("part")
    if part is not None and not 1 <= part <= len(parts):
        raise ExchangeError(f"{path} has no part {part}; it has {len(parts)}")
    readers = [_Reader(one) for one in (parts if part is None else [parts[part - 1]])]
    try:
        for reader in readers:
            reader.read()
    except (ValueError, KeyError, AttributeError, TypeError, ZeroDivisionError) as error:
        raise ExchangeError(f"{path} has a measure that cannot be read: {error}") from None
    chosen = next((one for one in readers if one.notes), None)
    if chosen is None:
        raise ExchangeError(f"{path} has no notes to play; is it the right one?")
    title = root.findtext("work/work-title") or root.findtext("movement-title") or path.stem
    return _melody(path.stem, " ".join(title.split())[:80] or path.stem, chosen)


def _melody(name: str, title: str, reader: _Reader) -> Melody:
    notices = []
    voices = Counter(note.voice for note in reader.notes)
    voice, count = voices.most_common(1)[0]
    if len(voices) > 1:
        left = sum(voices.values()) - count
        notices.append(f"voice {voice} is taken, and {left} notes of other voices left out")
    if reader.graces:
        notices.append(f"{reader.graces} grace notes are left out")
    per_quarter = Fraction(reader.meter[1], 4)
    begins = -reader.pickup * per_quarter
    joined = _joined([one for one in reader.notes if one.voice == voice])
    timed = [
        TimedNote(
            one.start * per_quarter + begins,
            one.end * per_quarter + begins,
            tuple(one.path),
        )
        for one in joined
    ]
    line, cut = merge_into_line(timed)
    if cut:
        notices.append(f"{cut} notes end sooner, where the next one begins: a line is one voice")
    tempo = min(max(round(reader.tempo * float(per_quarter), 2), TEMPO_RANGE[0]), TEMPO_RANGE[1])
    return Melody(
        name, title, line, tempo, reader.meter, begins, reader.swing, reader.tonic, tuple(notices)
    )


def _root(path: Path) -> ET.Element:
    try:
        data = path.read_bytes()
        if data[:2] == b"PK":
            data = _inside(data)
        return ET.fromstring(data)
    except FileNotFoundError:
        raise ExchangeError(f"there is no file {path}") from None
    except OSError as error:
        raise ExchangeError(f"{path} cannot be read: {error.strerror}") from None
    except (ET.ParseError, zipfile.BadZipFile, KeyError, ValueError) as error:
        raise ExchangeError(f"{path} is no MusicXML file that can be read: {error}") from None


def _inside(data: bytes) -> bytes:
    """The score in a compressed file, which its container names."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        container = ET.fromstring(archive.read(_CONTAINER))
        for one in container.iter():
            if one.tag.rpartition("}")[2] == "rootfile" and (name := one.get("full-path")):
                return archive.read(name)
    raise KeyError("its container names no score")


class _Reader:
    """Reads one part.

    Attributes:
        notes: as they stand, in quarters.
        meter, tempo, swing, tonic: the first that are told; tempo in quarters a minute.
        pickup: quarters of the bar before the first full one.
        graces: how many grace notes there are.
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
        self._told: set[str] = set()
        self._divisions = 1
        self._moved = 0

    def read(self) -> None:
        """All of it, repeats played out."""
        now = Fraction(0)
        for first, measure in enumerate(_played_order(self._part.findall("measure"))):
            length = self._measure(measure, now)
            full = Fraction(4 * self.meter[0], self.meter[1])
            if first == 0 and length < full:
                self.pickup = length
            elif measure.get("implicit") != "yes" and not _is_short(measure):
                length = max(length, full)
            now += length

    def _measure(self, measure: ET.Element, start: Fraction) -> Fraction:
        """One measure; its length in quarters."""
        at = longest = Fraction(0)
        before = Fraction(0)
        for one in measure:
            match one.tag:
                case "attributes":
                    self._attributes(one)
                case "direction" | "sound":
                    self._sound(one if one.tag == "sound" else one.find("sound"))
                case "backup":
                    at -= self._length(one)
                case "forward":
                    at += self._length(one)
                case "note" if one.find("grace") is not None:
                    self.graces += 1
                case "note":
                    length = self._length(one)
                    begins = before if one.find("chord") is not None else at
                    self._note(one, start + begins, start + begins + length)
                    if one.find("chord") is None:
                        before, at = at, at + length
            longest = max(longest, at)
        return longest

    def _attributes(self, told: ET.Element) -> None:
        if divisions := told.findtext("divisions"):
            self._divisions = int(divisions)
        beats, value = told.findtext("time/beats"), told.findtext("time/beat-type")
        if beats and value and self._first("time"):
            self.meter = (sum(int(one) for one in beats.split("+")), int(value))
        fifths = told.findtext("key/fifths")
        if fifths and self._first("key"):
            self.tonic = signature_tonic(int(fifths), told.findtext("key/mode") or "major")
        if (moved := told.find("transpose")) is not None:
            octaves = int(moved.findtext("octave-change") or 0)
            self._moved = int(moved.findtext("chromatic") or 0) + 12 * octaves

    def _sound(self, sound: ET.Element | None) -> None:
        if sound is None:
            return
        if (tempo := sound.get("tempo")) and self._first("tempo"):
            self.tempo = float(tempo)
        first, second = sound.findtext("swing/first"), sound.findtext("swing/second")
        if first and second and self._first("swing"):
            self.swing = min(max(int(first) / int(second), 1.0), 3.0)

    def _first(self, what: str) -> bool:
        """Whether it is told for the first time."""
        fresh = what not in self._told
        self._told.add(what)
        return fresh

    def _length(self, one: ET.Element) -> Fraction:
        return Fraction(one.findtext("duration") or "0") / self._divisions

    def _note(self, one: ET.Element, start: Fraction, end: Fraction) -> None:
        letter = one.findtext("pitch/step")
        if letter is None:  # a rest, or a note without a pitch
            return
        octave = int(one.findtext("pitch/octave") or 4)
        height = (
            natural_midi(letter, octave) + float(one.findtext("pitch/alter") or 0) + self._moved
        )

        def has(what: str, type_: str) -> bool:
            return any(two.get("type") == type_ for two in one.iterfind(what))

        def slide(type_: str) -> str | None:
            joins = (two for name in _SLIDES for two in one.iterfind(f"notations/{name}"))
            return next(
                (two.get("number") or "1" for two in joins if two.get("type") == type_), None
            )

        self.notes.append(
            _Note(
                start,
                end,
                height,
                one.findtext("voice") or "1",
                tied_on=has("tie", "start"),
                tied=has("tie", "stop"),
                slides_on=slide("start"),
                slides=slide("stop"),
                path=[height],
            )
        )


def _joined(notes: list[_Note]) -> Iterator[_Note]:
    """Ties and slides joined."""
    ended: list[_Note] = []
    for note in sorted(notes, key=lambda one: (one.start, one.height)):
        tied = note.tied and next(
            (
                one
                for one in reversed(ended)
                if one.tied_on and one.end == note.start and one.path[-1] == note.height
            ),
            None,
        )
        slid = note.slides and next(
            (
                one
                for one in reversed(ended)
                if one.slides_on == note.slides and one.end == note.start
            ),
            None,
        )
        if before := tied or slid:
            before.end = note.end
            before.path += note.path if slid and not tied else []
            before.tied_on, before.slides_on = note.tied_on, note.slides_on
        else:
            ended.append(replace(note, path=list(note.path)))
    yield from ended


def _is_short(measure: ET.Element) -> bool:
    """Whether a measure ends at a repeat, before which a bar may be short."""
    return measure.find("barline/repeat") is not None


def _played_order(measures: list[ET.Element]) -> Iterator[ET.Element]:
    """The measures as they are played: repeats, and the endings of each time."""
    endings = [*_endings(measures), frozenset[int]()]
    at, begin, turn = 0, 0, 1
    while at < len(measures):
        measure, ending = measures[at], endings[at]
        if at != begin and _repeats(measure, "forward") is not None:
            begin, turn = at, 1
        if ending and turn not in ending:
            at += 1
            continue
        yield measure
        last = not endings[at + 1]
        if (back := _repeats(measure, "backward")) is not None:
            times = int(back.get("times") or 2)
            if ending:
                times = max(ending) if last else max(ending) + 1
            if turn < min(times, MAX_REPEAT_PASSES):
                turn, at = turn + 1, begin
                continue
        at += 1
        if last and (ending or back is not None):
            turn, begin = 1, at


def _repeats(measure: ET.Element, way: str) -> ET.Element | None:
    return measure.find(f"barline/repeat[@direction='{way}']")


def _endings(measures: list[ET.Element]) -> Iterator[frozenset[int]]:
    """The numbers of the ending that each measure is in; none outside of endings."""
    inside: frozenset[int] = frozenset()
    for measure in measures:
        marks = list(measure.iterfind("barline/ending"))
        for one in marks:
            if one.get("type") == "start":
                numbers = (one.get("number") or "1").split(",")
                inside = frozenset(int(number) for number in numbers if number.strip())
        yield inside
        if any(one.get("type") in ("stop", "discontinue") for one in marks):
            inside = frozenset()
