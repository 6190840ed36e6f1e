"""``trainer mark``: mark recordings of a drill."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.mark_batch import Batch, check_class, find_recordings
from trainer.cli.options import (
    A4Option,
    ChannelOption,
    Format,
    FormatOption,
    HarpOption,
    OffsetOption,
    PartOption,
    TemperamentOption,
    TempoOption,
    ToleranceOption,
    TuningOption,
    write_json,
)
from trainer.cli.recording_options import (
    AsPlayedOption,
    ClickOption,
    DrillOption,
    RecordingOptions,
    StartOption,
)

if TYPE_CHECKING:
    from trainer.practice import MarkedRecording, Plan


def mark(
    recordings: Annotated[
        list[Path], typer.Argument(help="WAV, FLAC, OGG or MP3 files, or folders of them.")
    ],
    drill: DrillOption,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: OffsetOption = None,
    tempo: TempoOption = None,
    tolerance: ToleranceOption = None,
    start: StartOption = None,
    click: ClickOption = False,
    as_played: AsPlayedOption = False,
    channel: ChannelOption = None,
    part: PartOption = 1,
    player: Annotated[
        str | None,
        typer.Option(help="Store the result in the journal under this player's name."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Store each result there as JSON. A recording is marked again when its sound, the "
            "drill, an option or the trainer has changed.",
        ),
    ] = None,
    jobs: Annotated[
        int | None, typer.Option(help="Number of processes. [default: one per core]", min=1)
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="A Dask scheduler, such as tcp://host:8786, whose workers do the marking; "
            "they need the files under the same paths.",
        ),
    ] = None,
    class_: Annotated[
        Path | None,
        typer.Option(
            "--class",
            metavar="FILE",
            help="Write a class report: .html, .md, .csv or .json. With --out, it includes earlier "
            "results.",
        ),
    ] = None,
    students: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="The class's list: a name on each line, and after a comma whose file or folder it "
            "is. [default: names of folders and files]",
        ),
    ] = None,
    reports: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Write a page for each student there. Your own words in NAME.remarks.md beside a "
            "page are shown on it, and stay.",
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite the class report.")] = False,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Mark recordings of a drill: one recording step by step, several with one line each.

    The player's own tempo is followed, through stops, repeats and skipped bars, unless --click is
    given. If a recording holds the drill several times, each pass is marked, and the best counts. A
    take saved by the trainer gets the same marks as when it was played, on the same harp unless
    --harp names another, and at the same tolerance; with --class or --reports, pitch and tolerance
    are yours, whatever the files say. Several recordings are marked on all cores.

    Examples:

      trainer mark take.flac --drill half-step-on-four --format json

      trainer mark class/ --drill harbour-bell --out marks --class class.html --reports pages
    """
    from trainer.drill import find_drill
    from trainer.report.students import read_class_list

    drill_part = find_drill(drill).part(part)
    options = RecordingOptions(
        harp, tuning, temperament, a4, offset, tempo, tolerance, start, click, as_played, channel,
        player, is_class=class_ is not None or reports is not None,
    )  # fmt: skip

    def plan_of(path: Path) -> tuple[Plan, tuple[str, ...]]:
        return options.plan(path, drill_part)

    if class_ is not None:
        check_class(class_, force=force)
    listed = () if students is None else read_class_list(students)
    files = find_recordings(recordings)
    is_alone = len(files) == 1 and out is None and not recordings[0].is_dir()
    if is_alone and class_ is None and reports is None and scheduler is None:
        _report_one(mark_one(*plan_of(files[0].path)), format_)
    else:
        workers = jobs if scheduler is None else scheduler
        Batch(drill_part, files, plan_of, out, workers, class_, listed, reports).mark(format_)


def mark_one(plan: Plan, notes: tuple[str, ...]) -> MarkedRecording:
    """Mark one recording; print its notes on standard error.

    Raises:
        SoundError: nothing of the drill was due in it.
    """
    from trainer.cli.plain import take_results
    from trainer.practice import NOTHING_DUE, MarkedRecording
    from trainer.sound import SoundError

    recording = plan.source.file
    assert recording is not None
    for note in notes:
        typer.echo(f"{recording.name}: {note}", err=True)
    marked = MarkedRecording(recording, tuple(take_results(plan)))
    if marked.best is None:
        raise SoundError(f"{recording}: {NOTHING_DUE}")
    return marked


def _report_one(marked: MarkedRecording, format_: Format) -> None:
    from trainer.report.batch_report import best_pass_data
    from trainer.report.result_report import result_text

    if format_ is Format.TEXT:
        typer.echo("\n\n".join(result_text(result) for result in marked.passes))
    else:
        write_json(best_pass_data(marked))
