"""``trainer listen``: pitch and holes of the playing, without a drill."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from trainer.cli.options import (
    A4Option,
    ChannelOption,
    DeviceOption,
    HarpOption,
    OffsetOption,
    TemperamentOption,
    TuningOption,
    harp_from_options,
    microphone_spec,
)


class ListenFormat(StrEnum):
    """Output formats of readings."""

    SCREEN = "screen"
    TEXT = "text"
    JSONL = "jsonl"


def listen(
    file: Annotated[
        Path | None, typer.Argument(help="A recording. [default: the microphone]")
    ] = None,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: OffsetOption = None,
    device: DeviceOption = None,
    channel: ChannelOption = None,
    format_: Annotated[
        ListenFormat | None,
        typer.Option(
            "--format",
            help="jsonl: one line per reading; text: one line per note. [default: the live screen "
            "for a microphone in a terminal, else text]",
        ),
    ] = None,
) -> None:
    """Show what is being played: holes, deviation in cents, and leaks.

    Examples:

      trainer listen --harp A

      trainer listen take.flac --harp C --format jsonl
    """
    from trainer.cli.screen import can_show_screen, run_app
    from trainer.ear import NoteTracker, Reading
    from trainer.practice import Plan, saved_harp
    from trainer.report.heard_report import NOTE_HEAD, heard_note_text, reading_data
    from trainer.sound import RecordingSpec

    played_on = saved_harp(file) if file else None
    selected, _ = harp_from_options(harp, tuning, temperament, a4, offset, base=played_on)
    source = (
        microphone_spec(device, None, channel, clicks=False)
        if file is None
        else RecordingSpec(file, channel)
    )
    plan = Plan(selected, source)
    if format_ is None and file is None and can_show_screen():
        format_ = ListenFormat.SCREEN
    if format_ is ListenFormat.SCREEN:
        run_app(plan)
        return

    def readings() -> Iterator[Reading]:
        from trainer.cli.plain import take_readings

        yield from take_readings(plan)

    if format_ is ListenFormat.JSONL:
        write = sys.stdout.write
        for reading in readings():
            write(json.dumps(reading_data(reading)) + "\n")
        return
    typer.echo(NOTE_HEAD)
    tracker = NoteTracker(selected)
    for reading in readings():
        for note in tracker.track(reading):
            typer.echo(heard_note_text(note))
    for note in tracker.flush():
        typer.echo(heard_note_text(note))
