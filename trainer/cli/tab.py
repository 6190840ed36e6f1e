"""``trainer tab``: transcribe a recording as tab, or as a drill."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exchange import MIDI, MUSICXML, write_export
from trainer.cli.options import (
    A4Option,
    ChannelOption,
    HarpOption,
    OffsetOption,
    RecordingArgument,
    TemperamentOption,
    TuningOption,
    check_ending,
    check_overwrite,
    check_passage,
    harp_from_options,
    microphone_spec,
    player_journal,
    player_settings,
    sound_mb,
    write_text,
)
from trainer.cli.terminal_guard import silence_libraries
from trainer.core.quantities import quantity_text

if TYPE_CHECKING:
    from trainer.transcript import Transcript, TranscriptRequest

EXPORT_EXTENSIONS = (".html", *MIDI, *MUSICXML)
"""Extensions of sheets, MIDI files and scores."""


class TabFormat(StrEnum):
    """Output formats of a transcript."""

    TEXT = "text"
    JSON = "json"
    JSONL = "jsonl"
    CSV = "csv"
    DRILL = "drill"


FORMATS = {
    "": TabFormat.TEXT,
    ".txt": TabFormat.TEXT,
    ".toml": TabFormat.DRILL,
    ".json": TabFormat.JSON,
    ".jsonl": TabFormat.JSONL,
    ".csv": TabFormat.CSV,
}
"""Formats by the ending of the output file."""


def tab(
    recording: RecordingArgument,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: OffsetOption = None,
    channel: ChannelOption = None,
    from_: Annotated[
        float, typer.Option("--from", metavar="SECOND", help="Start of the passage.", min=0.0)
    ] = 0.0,
    to: Annotated[
        float | None,
        typer.Option(
            metavar="SECOND",
            help="End of the passage. [default: the end of the recording]",
            min=0.0,
        ),
    ] = None,
    pick: Annotated[
        int | None,
        typer.Option(
            metavar="NUMBER",
            help="Write the tab for this one of the guessed harps, as they are numbered. "
            "[default: 1]",
            min=1,
        ),
    ] = None,
    harps: Annotated[
        int | None,
        typer.Option(
            help="Number of harps playing at the same time, in one key: 1, or 2 as two parts. "
            "[default: detected]",
            min=1,
            max=2,
        ),
    ] = None,
    tempo: Annotated[
        float | None, typer.Option(help="Beats per minute. [default: detected]", min=20, max=300)
    ] = None,
    meter: Annotated[
        str | None, typer.Option(help="4/4, 3/4, 6/8 or 12/8. [default: detected]")
    ] = None,
    first_beat: Annotated[
        float | None,
        typer.Option(metavar="SECOND", help="Time of the first full bar. [default: detected]"),
    ] = None,
    free_time: Annotated[
        bool,
        typer.Option("--free-time", help="There is no steady beat: search for none."),
    ] = False,
    title: Annotated[str | None, typer.Option(help="Title of the drill.")] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            help="Output file: .toml a drill, .html a sheet to print, .mid, .musicxml, .json, "
            ".jsonl, .csv or .txt.",
            metavar="FILE",
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    play_along: Annotated[
        bool,
        typer.Option(
            "--play-along", help="Write a drill that plays the recording while you play it."
        ),
    ] = False,
    open_: Annotated[
        bool,
        typer.Option(
            "--open",
            help="Open the tab in the app: pick the harp, correct notes by ear, play along. Saved "
            "in --out, else beside the recording, and found there again.",
        ),
    ] = False,
    format_: Annotated[
        TabFormat | None,
        typer.Option(
            "--format",
            help="json: the notes; jsonl: one line for the whole and one per note. [default: from "
            "--out, else text]",
        ),
    ] = None,
) -> None:
    """Transcribe a recording as tab with bars and beats.

    If neither an option nor the settings name the harp, the most likely one is used, and the
    reasons are shown. A transcript written as a drill can be practised at once.

    Examples:

      trainer tab phrase.wav

      trainer tab phrase.wav --harp A --from 12.5 --to 20 --out phrase.toml

      trainer tab phrase.wav --out phrase.html

      trainer tab phrase.wav --out phrase.toml --play-along

      trainer tab phrase.wav --open
    """
    from trainer.practice import saved_harp
    from trainer.transcript import TranscriptRequest, draft_drill, transcribe

    check_passage(from_, to)
    if open_ and (format_ is not None or play_along):
        raise typer.BadParameter("--open shows the tab in the app; leave --format and --play-along")
    if out is not None and not open_:
        check_overwrite(out, force=force)
    output_format = format_ or _by_ending(out)
    if play_along and output_format is not TabFormat.DRILL:
        raise typer.BadParameter("--play-along needs a drill to write; add --out phrase.toml")
    if pick is not None and harp is not None:
        raise typer.BadParameter("give --harp or --pick, not both")
    if free_time and (tempo, meter, first_beat) != (None, None, None):
        raise typer.BadParameter(
            "--free-time searches for no beat; leave --tempo, --meter and --first-beat"
        )
    with silence_libraries():  # not the whole command: the app draws on standard error
        base = saved_harp(recording)
    harp_settings = player_settings().harp
    named = pick is None and (
        harp is not None or offset or base is not None or harp_settings.key or harp_settings.name
    )
    selected = (
        harp_from_options(harp, tuning, temperament, a4, offset, base=base)[0] if named else None
    )
    request = TranscriptRequest(
        recording,
        channel,
        first=from_,
        last=to,
        harp=selected,
        harps=harps,
        tuning=tuning,
        a4=a4,
        pick=pick or 1,
        tempo=tempo,
        meter=None if meter is None else parse_meter(meter),
        first_beat=first_beat,
        free_time=free_time,
    )
    if open_:
        _open(request, out)
        return
    with silence_libraries():
        transcript = transcribe(request)
    if out is not None and format_ is None and out.suffix.lower() in EXPORT_EXTENSIONS:
        drill = draft_drill(transcript, out.stem, title or "")
        write_export(drill, transcript.harp, out, transcript.warnings)
        _report_written(transcript, out)
        return
    file = str(recording.resolve()) if play_along else None
    text = _text(transcript, output_format, out, title, file, channel)
    if out is None:
        typer.echo(text.rstrip("\n"))
        return
    write_text(out, text)
    _report_written(transcript, out)


def _open(request: TranscriptRequest, out: Path | None) -> None:
    """Open a recording in the app.

    Raises:
        TrainerError: there is no terminal, or the recording cannot be read.
    """
    from trainer.app import TranscriptFile
    from trainer.cli.screen import can_show_screen, run_app
    from trainer.core import TrainerError
    from trainer.practice import Plan
    from trainer.sound import Recording

    if out is not None and out.suffix.lower() != ".toml":
        raise typer.BadParameter("--open saves a drill; end --out in .toml")
    with silence_libraries():
        Recording(request.path, request.channel).close()
    if not can_show_screen():
        raise TrainerError("--open needs a terminal; leave it out to get the tab as text")
    # The player plays along on the selected harp; the recorded one is on the page.
    harp, name = harp_from_options(None, None, None, None, None)
    settings = player_settings()
    plan = Plan(
        harp,
        microphone_spec(None, None, clicks=True),
        journal=player_journal(),
        player=settings.player.name,
        harp_name=name,
        sound_mb=sound_mb(),
    )
    run_app(plan, transcript=TranscriptFile.of_passage(request, out))


def _report_written(transcript: Transcript, out: Path) -> None:
    notes = " and ".join(quantity_text(len(part), "note") for part in transcript.parts)
    typer.echo(f"{out} written: {notes}, {transcript.harp.name} harp", err=True)


def _text(
    transcript: Transcript,
    output_format: TabFormat,
    out: Path | None,
    title: str | None,
    recording: str | None,
    channel: int | None,
) -> str:
    import json

    from trainer.drill import write_drill
    from trainer.report.transcript_report import (
        transcript_csv,
        transcript_head_data,
        transcript_notes_data,
        transcript_text,
    )
    from trainer.transcript import draft_drill

    match output_format:
        case TabFormat.JSON:
            return json.dumps(transcript_notes_data(transcript), indent=2) + "\n"
        case TabFormat.JSONL:
            lines = [transcript_head_data(transcript), *transcript_notes_data(transcript)]
            return "".join(json.dumps(line) + "\n" for line in lines)
        case TabFormat.CSV:
            return transcript_csv(transcript)
        case TabFormat.DRILL:
            name = out.stem if out is not None else "heard"
            drill = draft_drill(transcript, name, title or "", recording=recording, channel=channel)
            if drill.recording is not None and out is not None:
                drill = replace(drill, recording=drill.recording.moved_beside(out))
            return write_drill(drill)
        case TabFormat.TEXT:
            return transcript_text(transcript, shutil.get_terminal_size((80, 24)).columns) + "\n"


def _by_ending(out: Path | None) -> TabFormat:
    """Return the format that the ending of a file's name stands for.

    Raises:
        TrainerError: it stands for none.
    """
    if out is None:
        return TabFormat.TEXT
    return FORMATS.get(check_ending(out, (*FORMATS, *EXPORT_EXTENSIONS)), TabFormat.TEXT)


def parse_meter(text: str) -> tuple[int, int]:
    """Return the beats in a bar and their note value, from a text such as 3/4.

    Raises:
        TranscriptError: the text is not a meter.
    """
    from trainer.transcript import TranscriptError

    match = re.fullmatch(r"\s*([1-9][0-9]?)\s*/\s*(2|4|8|16)\s*", text)
    if not match:
        raise TranscriptError(f"'{text}' is not a meter; write it as 4/4, 3/4, 6/8 or 12/8")
    return int(match[1]), int(match[2])
