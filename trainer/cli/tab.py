"""``trainer tab``: a recording as tab."""

from __future__ import annotations

import typer

from trainer.cli.options import (
    A4Option,
    ChannelOption,
    Format,
    FormatOption,
    HarpOption,
    OffsetOption,
    RecordingArgument,
    TemperamentOption,
    TuningOption,
    in_hand,
    write_json,
)


def tab(
    recording: RecordingArgument,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: OffsetOption = None,
    channel: ChannelOption = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Write down the notes of a recording as tab.

    Example:

      trainer tab phrase.wav --harp A --format json
    """
    from trainer.cli.plain import heard
    from trainer.ear import notes
    from trainer.practice import Plan, saved_harp
    from trainer.report.heard import NOTE_HEAD, note_dict, note_line
    from trainer.sound import RecordingSpec

    held, _ = in_hand(harp, tuning, temperament, a4, offset, base=saved_harp(recording))
    found = list(notes(heard(Plan(held, RecordingSpec(recording, channel))), held))
    if format_ is Format.JSON:
        write_json([note_dict(note) for note in found])
    else:
        typer.echo("\n".join([NOTE_HEAD, *map(note_line, found)]))
