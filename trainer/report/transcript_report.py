"""A transcript as text, and as data for programs."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterator

from trainer.drill import CleannessRule
from trainer.harp import Harp
from trainer.music import position_for, position_name
from trainer.report.heard_report import offset_text
from trainer.report.schemas.transcripts import (
    HarpGuessData,
    MeterData,
    TranscribedNoteData,
    TranscriptHeadData,
)
from trainer.report.tab_layout import tab_page_text
from trainer.transcript import (
    DOUBTFUL_CONFIDENCE,
    HarpGuess,
    Meter,
    TranscribedNote,
    Transcript,
    draft_drill,
    path_text,
)

WIDTH = 80
LIKELY = 0.02
"""Harps that are less likely are not told of."""
MOST_GUESSES = 4
COLUMNS = (
    "part",
    "start",
    "end",
    "tab",
    "others",
    "bar",
    "beat",
    "beats",
    "note",
    "hz",
    "cents",
    "holes",
    "clean",
    "leak_db",
    "leak_hole",
    "level_db",
    "care",
    "slurred",
    "trust",
)
"""Of the table."""


def transcript_text(transcript: Transcript, width: int = WIDTH) -> str:
    """A transcript for reading: the harp and why, the beats, the page of tab, and every note.

    Args:
        transcript: what was written down.
        width: columns of the page of tab.
    """
    told = [_harp(transcript), _beats(transcript)]
    if transcript.meter is not None:
        told.append(tab_page_text(draft_drill(transcript, "heard", transcript.name), width))
    for number, part in enumerate(transcript.parts, start=1):
        name = [] if len(transcript.parts) == 1 else [f"Part {number}, {len(part)} notes:"]
        told.append("\n".join([*name, _HEAD, *(line for note in part for line in _line(note))]))
    told += [textwrap.fill(warning, WIDTH) for warning in transcript.warnings]
    return "\n\n".join(text for text in told if text)


def _harp(transcript: Transcript) -> str:
    harp = transcript.harp
    if not transcript.guesses:
        return f"{harp.name} harp, as given."
    tuned = "" if harp.a4 == 440.0 else f", tuned to A = {harp.a4:g} Hz"
    lines = [f"{harp.name} harp{tuned}, guessed. What came into question:"]
    likely = [one for one in transcript.guesses if one.probability >= LIKELY][:MOST_GUESSES]
    for one in likely:
        text = f"{one.harp.name:<7}{one.probability:4.0%}  {one.reason}"
        lines += textwrap.wrap(
            text, WIDTH, initial_indent="  ", subsequent_indent=" " * 15, break_on_hyphens=False
        )
    return "\n".join(lines)


def _beats(transcript: Transcript) -> str:
    meter = transcript.meter
    if meter is None:
        return ""
    beats, value = meter.meter
    swung = f", swung {meter.swing:g} to 1" if meter.swing != 1.0 else ""
    told = f"{beats}/{value}, {meter.tempo:.0f} beats a minute{swung}"
    if not meter.steady:
        told += f"; it wanders from {meter.slowest:.0f} to {meter.fastest:.0f}"
    given = f"; {' and '.join(meter.given)} as given" if meter.given else ""
    return f"{told}{given}."


_HEAD = "  start     end  bar beat  beats  tab           off"


def _line(note: TranscribedNote) -> Iterator[str]:
    """A note in a line under the head; other ways under it."""
    beats = "" if note.beats is None else str(note.beats)
    tab = note.tab + (" loose" if note.cleanness_rule is CleannessRule.LOOSE else "")
    sure = note.confidence
    doubt = f"  ? {sure:.0%} sure" if sure is not None and sure < DOUBTFUL_CONFIDENCE else ""
    yield (
        f"{note.start:7.3f} {note.end:7.3f}  {_beat(note):<8}  {beats:<5}  {tab:<12}  "
        f"{offset_text(note.cents):<9}{doubt}"
    ).rstrip()
    ways = [path_text(sounds) for sounds in note.alternatives]
    if ways:
        yield f"{'':18}or {', or '.join(ways)}"


def _beat(note: TranscribedNote) -> str:
    """The bar and the beat in it."""
    return "" if note.beat is None else f"{note.bar:>3} {float(note.beat):4.3g}"


def transcript_notes_data(transcript: Transcript) -> list[TranscribedNoteData]:
    """The notes as data that JSON can hold, by `COLUMNS`, one part after the other; what is not
    known is null."""
    return [
        transcript_note_data(note, transcript.harp, number)
        for number, part in enumerate(transcript.parts, start=1)
        for note in part
    ]


def transcript_head_data(transcript: Transcript) -> TranscriptHeadData:
    """What is known of the whole, as data that JSON can hold; what is not known is null.

    Times are in seconds; `first_beat` is the number of the first of `beats`.
    """
    harp, meter = transcript.harp, transcript.meter
    return {
        "recording": transcript.name,
        "harp": {"key": harp.key.name, "tuning": harp.tuning.name, "a4": harp.a4},
        "harps": len(transcript.parts),
        "position": _position(harp, transcript.tonic),
        "guesses": [_guess_data(one) for one in transcript.guesses],
        "meter": None if meter is None else _meter_data(meter),
        "warnings": list(transcript.warnings),
    }


def _position(harp: Harp, tonic: int | None) -> str | None:
    return None if tonic is None else position_name(position_for(harp.key.tonic, tonic))


def _guess_data(one: HarpGuess) -> HarpGuessData:
    return {
        "key": one.harp.key.name,
        "share": round(one.probability, 4),
        "position": None if one.position is None else position_name(one.position),
        "missing": one.missing,
        "effort": round(one.effort, 2),
        "reason": one.reason,
    }


def _meter_data(meter: Meter) -> MeterData:
    return {
        "meter": f"{meter.meter[0]}/{meter.meter[1]}",
        "tempo": meter.tempo,
        "swing": meter.swing,
        "first_beat": meter.first,
        "beats": [round(one, 4) for one in meter.times],
        "steady": meter.steady,
        "near": round(meter.near, 3),
        "given": list(meter.given),
    }


def transcript_note_data(note: TranscribedNote, harp: Harp, part: int = 1) -> TranscribedNoteData:
    """A note as data, by `COLUMNS`.

    `part` is 1, or 2 of a second player. Times are in seconds, beats in beats as text that is an
    exact fraction; `others` are other ways to play what sounds.
    """
    return {
        "part": part,
        "start": round(note.start, 4),
        "end": round(note.end, 4),
        "tab": note.tab,
        "others": [path_text(sounds) for sounds in note.alternatives],
        "bar": note.bar,
        "beat": None if note.beat is None else str(note.beat),
        "beats": None if note.beats is None else str(note.beats),
        "note": " ".join(harp.note(tab) for tab in note.sounds[0]),
        "hz": round(note.hz, 3),
        "cents": round(note.cents, 2),
        "holes": list(note.holes),
        "clean": len(note.holes) == 1,
        "leak_db": None if note.leak_db is None else round(note.leak_db, 2),
        "leak_hole": note.leak_hole,
        "level_db": round(note.level_db, 2),
        "care": str(note.cleanness_rule),
        "slurred": not note.struck,
        "trust": None if note.confidence is None else round(note.confidence, 3),
    }


def transcript_csv(transcript: Transcript) -> str:
    """The notes as a table with a head, a line a note (RFC 4180)."""
    text = io.StringIO()
    table = csv.DictWriter(text, COLUMNS)
    table.writeheader()
    for row in transcript_notes_data(transcript):
        table.writerow(
            {
                name: "; ".join(map(str, one)) if isinstance(one, list) else one
                for name, one in row.items()
            }
        )
    return text.getvalue()
