"""``trainer compare``: compare two takes of one tune."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.mark import mark_one
from trainer.cli.options import (
    A4Option,
    Format,
    FormatOption,
    HarpOption,
    PartOption,
    TemperamentOption,
    TempoOption,
    ToleranceOption,
    TuningOption,
    write_json,
)
from trainer.cli.recording_options import AsPlayedOption, ClickOption, RecordingOptions
from trainer.core.quantities import quantity_text

if TYPE_CHECKING:
    from trainer.drill import Drill
    from trainer.marking import Result


def compare(
    first: Annotated[Path, typer.Argument(help="A recording, for example the earlier one.")],
    second: Annotated[Path, typer.Argument(help="Another recording of the same tune.")],
    drill: Annotated[
        str | None,
        typer.Option(
            "--drill",
            help="The drill that was played: its name or the path of its file. [default: the first "
            "recording, written down]",
        ),
    ] = None,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    tempo: TempoOption = None,
    tolerance: ToleranceOption = None,
    click: ClickOption = False,
    as_played: AsPlayedOption = False,
    part: PartOption = 1,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Compare two takes of one tune: what differs, on which step, and by how much.

    Each take is marked as `trainer mark` marks it; of several passes, the best counts. Without a
    drill, the first recording is written down as one.

    Examples:

      trainer compare monday.flac friday.flac --drill harbour-bell

      trainer compare teacher.wav student.wav
    """
    from trainer.drill import find_drill
    from trainer.report.comparison import compare_takes, comparison_data, comparison_text

    played = find_drill(drill).part(part) if drill else _written_down(first)
    options = RecordingOptions(
        harp, tuning, temperament, a4, None, tempo, tolerance, None, click, as_played
    )
    results = [_best_pass(path, played, options) for path in (first, second)]
    names = (first.name, second.name) if first.name != second.name else (str(first), str(second))
    comparison = compare_takes(names, *results)
    if format_ is Format.TEXT:
        typer.echo(comparison_text(comparison, shutil.get_terminal_size((80, 24)).columns))
    else:
        write_json(comparison_data(comparison))


def _written_down(recording: Path) -> Drill:
    from trainer.practice import saved_harp
    from trainer.transcript import TranscriptRequest, draft_drill, transcribe

    transcript = transcribe(TranscriptRequest(recording, harp=saved_harp(recording)))
    typer.echo(
        f"{recording.name} is written down for a {transcript.harp.name} harp: "
        f"{quantity_text(len(transcript.notes), 'note')}",
        err=True,
    )
    return draft_drill(transcript, recording.stem)


def _best_pass(recording: Path, drill: Drill, options: RecordingOptions) -> Result:
    best = mark_one(*options.plan(recording, drill)).best
    assert best is not None
    return best
