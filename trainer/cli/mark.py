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
    RecordingArgument,
    TemperamentOption,
    TempoOption,
    TuningOption,
    harp_of,
    write_json,
)


def mark(
    recording: RecordingArgument,
    drill: Annotated[
        str, typer.Option(help="The drill that was played: its name, or the path of its file.")
    ],
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = "equal",
    a4: A4Option = 440.0,
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
    format_: FormatOption = Format.TEXT,
) -> None:
    """Mark a recording of a drill, step by step.

    The same sound gets the same marks here and while it was played.

    Example:

      trainer mark take.flac --drill half-step-on-four --format json
    """
    from trainer.cli.plain import results
    from trainer.drill import find
    from trainer.practice import Plan
    from trainer.report.result import result_dict, result_text
    from trainer.sound import RecordingSpec

    wanted = find(drill)
    plan = Plan(
        harp_of(harp, tuning, temperament, a4, offset, written_for=(wanted.key, wanted.tuning)),
        RecordingSpec(recording, channel),
        drill=wanted,
        tempo=tempo,
        start=start,
    )
    passes = results(plan)
    if format_ is Format.TEXT:
        typer.echo("\n\n".join(result_text(result) for result in passes))
    else:
        best = max(passes, key=lambda result: result.score)
        write_json(result_dict(best) | {"passes": [result.score for result in passes]})
