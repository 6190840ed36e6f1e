"""A transcript as text, CSV and JSON data."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterator

from trainer.core.quantities import quantity_text
from trainer.core.tables import safe_cell
from trainer.drill import CleannessRule
from trainer.harp import Harp
from trainer.music import position_for, position_name
from trainer.report.formatting import WIDTH, fill
from trainer.report.heard_report import offset_text
from trainer.report.schemas.transcripts import (
    HarpGuessData,
    MeterData,
    TranscribedNoteData,
    TranscriptHeadData,
)
from trainer.report.tab_layout import tab_page_text
from trainer.transcript import (
    HarpGuess,
    Meter,
    TranscribedNote,
    Transcript,
    draft_drill,
    path_text,
    plausible_guesses,
)

COLUMNS = tuple(TranscribedNoteData.__annotations__)
"""Columns of the CSV: the fields of a note."""


def transcript_text(transcript: Transcript, width: int = WIDTH) -> str:
    """Return a transcript as text: the harp, the beats, the page of tab, and every note.

    Args:
        transcript: the transcript.
        width: width of the page of tab in columns.
    """
    blocks = [_harp(transcript), _beats(transcript)]
    if transcript.meter is not None:
        blocks.append(tab_page_text(draft_drill(transcript, "heard", transcript.name), width))
    for number, part in enumerate(transcript.parts, start=1):
        heading = f"Part {number}, {quantity_text(len(part), 'note')}:"
        name = [] if len(transcript.parts) == 1 else [heading]
        blocks.append("\n".join([*name, _HEAD, *(line for note in part for line in _line(note))]))
    blocks += map(fill, transcript.warnings)
    return "\n\n".join(block for block in blocks if block)


def _harp(transcript: Transcript) -> str:
    harp = transcript.harp
    if not transcript.guesses:
        return f"{harp.name} harp, as given."
    tuned = "" if harp.a4 == 440.0 else f", tuned to A = {harp.a4:g} Hz"
    lines = [f"{harp.name} harp{tuned}, guessed. Candidates:"]
    shown = plausible_guesses(transcript.guesses)
    column = max([6, *(len(guess.harp.name) for guess in shown)]) + 1
    indent = " " * (column + 11)
    for number, guess in enumerate(shown, start=1):
        text = f"{number}  {guess.harp.name:<{column}}{guess.probability:4.0%}  {guess.reason}"
        for line, first in ((text, "  "), (guess.opening, indent)):
            lines += textwrap.wrap(
                line, WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
            )
    if len(shown) > 1:
        lines.append("Is it another one? Add --pick and its number.")
    return "\n".join(lines)


def _beats(transcript: Transcript) -> str:
    meter = transcript.meter
    if meter is None:
        return "No beat: times are in seconds."
    beats, value = meter.meter
    swung = f", swung {meter.swing:g} to 1" if meter.swing != 1.0 else ""
    text = f"{beats}/{value}, {meter.tempo:.0f} beats a minute{swung}"
    if not meter.steady:
        text += f"; it wanders from {meter.slowest:.0f} to {meter.fastest:.0f}"
    given = f"; {' and '.join(meter.given)} as given" if meter.given else ""
    return f"{text}{given}."


_HEAD = "  start     end  bar beat  beats  tab           off"


def _line(note: TranscribedNote) -> Iterator[str]:
    """Yield a line for a note under the head, and a line with other ways to play it."""
    beats = "" if note.beats is None else str(note.beats)
    tab = note.tab + (" blur" if note.cleanness_rule is CleannessRule.BLUR else "")
    doubt = f"  ? {note.confidence:.0%} sure" if note.is_doubtful else ""
    yield (
        f"{note.start:7.3f} {note.end:7.3f}  {_beat(note):<8}  {beats:<5}  {tab:<12}  "
        f"{offset_text(note.cents):<9}{doubt}"
    ).rstrip()
    others = [path_text(sounds) for sounds in note.alternatives]
    if others:
        yield f"{'':18}or {', or '.join(others)}"


def _beat(note: TranscribedNote) -> str:
    """Return the bar and the beat in it."""
    return "" if note.beat is None else f"{note.bar:>3} {float(note.beat):4.3g}"


def transcript_notes_data(transcript: Transcript) -> list[TranscribedNoteData]:
    """Return the notes as JSON data, one part after the other; what is unknown is null."""
    return [
        transcript_note_data(note, transcript.harp, number)
        for number, part in enumerate(transcript.parts, start=1)
        for note in part
    ]


def transcript_head_data(transcript: Transcript) -> TranscriptHeadData:
    """Return the whole of a transcript as JSON data; what is unknown is null."""
    harp, meter = transcript.harp, transcript.meter
    return {
        "recording": transcript.name,
        "harp": {"key": harp.key.name, "tuning": harp.tuning.name, "a4": harp.a4},
        "harps": len(transcript.parts),
        "position": _position(harp, transcript.tonic),
        "guesses": [_guess_data(guess) for guess in transcript.guesses],
        "meter": None if meter is None else _meter_data(meter),
        "warnings": list(transcript.warnings),
    }


def _position(harp: Harp, tonic: int | None) -> str | None:
    return None if tonic is None else position_name(position_for(harp.key.tonic, tonic))


def _guess_data(guess: HarpGuess) -> HarpGuessData:
    return {
        "key": guess.harp.key.name,
        "tuning": guess.harp.tuning.name,
        "share": round(guess.probability, 4),
        "position": None if guess.position is None else position_name(guess.position),
        "missing": guess.missing,
        "effort": round(guess.effort, 2),
        "reason": guess.reason,
        "opening": guess.opening,
    }


def _meter_data(meter: Meter) -> MeterData:
    return {
        "meter": f"{meter.meter[0]}/{meter.meter[1]}",
        "tempo": meter.tempo,
        "swing": meter.swing,
        "first_beat": meter.first,
        "beats": [round(time, 4) for time in meter.times],
        "steady": meter.steady,
        "near": round(meter.near, 3),
        "given": list(meter.given),
    }


def transcript_note_data(note: TranscribedNote, harp: Harp, part: int = 1) -> TranscribedNoteData:
    """Return a note as JSON data.

    Args:
        note: the note.
        harp: the harp of the transcript.
        part: 1, or 2 for the second player.
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
        "note": harp.notes(note.sounds[0]),
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
    """Return the notes as CSV (RFC 4180), a row per note; lists are joined by ``; ``."""
    text = io.StringIO()
    table = csv.DictWriter(text, COLUMNS)
    table.writeheader()
    for row in transcript_notes_data(transcript):
        table.writerow(
            {
                name: safe_cell("; ".join(map(str, value)) if isinstance(value, list) else value)
                for name, value in row.items()
            }
        )
    return text.getvalue()
