"""``trainer mark``: a recording of a drill, marked."""

from __future__ import annotations

from typing import Annotated

import typer

from trainer.cli.options import (
    A4Option,
    ChannelOption,
    Format,
    FormatOption,
    HarpOption,
    OffsetOption,
    PartOption,
    RecordingArgument,
    TemperamentOption,
    TempoOption,
    TuningOption,
    in_hand,
    journal_file,
    write_json,
)


def mark(
    recording: RecordingArgument,
    drill: Annotated[
        str, typer.Option(help="The drill that was played: its name, or the path of its file.")
    ],
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: OffsetOption = None,
    tempo: TempoOption = None,
    start: Annotated[
        float | None,
        typer.Option(
            help="Second on which the drill's first beat falls; default: as the take was saved, "
            "or found by its notes."
        ),
    ] = None,
    channel: ChannelOption = None,
    part: PartOption = 1,
    player: Annotated[
        str | None,
        typer.Option(help="Who played: keeps the result in the journal under this name."),
    ] = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Mark a recording of a drill, step by step.

    A take saved by the trainer gets the marks that it got while it was played, on the same harp
    unless another is named.

    Example:

      trainer mark take.flac --drill half-step-on-four --format json
    """
    from trainer.cli.plain import results
    from trainer.drill import find
    from trainer.harp import Harp
    from trainer.practice import Plan, saved_harp
    from trainer.report.result import result_dict, result_text
    from trainer.sound import RecordingSpec, SoundError

    wanted = find(drill).part(part)
    played_on, written_for = saved_harp(recording), Harp.of(wanted.key, wanted.tuning)
    held, name = in_hand(
        harp, tuning, temperament, a4, offset, base=played_on, written_for=written_for
    )
    plan = Plan(
        held,
        RecordingSpec(recording, channel),
        drill=wanted,
        tempo=tempo,
        start=start,
        journal=journal_file() if player else None,
        player=player or "",
        harp_name=name,
    )
    passes = results(plan)
    if not passes:
        raise SoundError(f"{recording} was stopped before a step was due; it holds nothing to mark")
    if format_ is Format.TEXT:
        typer.echo("\n\n".join(result_text(result) for result in passes))
    else:
        best = max(passes, key=lambda result: result.score)
        write_json(result_dict(best) | {"passes": [result.score for result in passes]})
