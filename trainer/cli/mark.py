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
    harp_from_options,
    player_journal,
    write_json,
)

if TYPE_CHECKING:
    from trainer.practice import Plan


def mark(
    recordings: Annotated[
        list[Path], typer.Argument(help="WAV, FLAC, OGG or MP3 files, or folders of them.")
    ],
    drill: Annotated[
        str, typer.Option(help="The drill that was played: its name or the path of its file.")
    ],
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: OffsetOption = None,
    tempo: TempoOption = None,
    tolerance: ToleranceOption = None,
    start: Annotated[
        float | None,
        typer.Option(
            help="Time of the first beat in seconds. [default: from the saved take, else detected "
            "from the notes]"
        ),
    ] = None,
    click: Annotated[
        bool,
        typer.Option(
            "--click",
            help="It was played to a click at the tempo: mark early and late against the click, "
            "not against the player's own beat.",
        ),
    ] = False,
    as_played: Annotated[
        bool,
        typer.Option(
            "--as-played", help="If it is played on a harp of another key, mark it on that harp."
        ),
    ] = False,
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
    is_class = class_ is not None or reports is not None

    def plan_of(recording: Path) -> tuple[Plan, tuple[str, ...]]:
        from trainer.harp import Harp, HarpError
        from trainer.practice import Plan, saved_harp, saved_tolerance
        from trainer.report.batch_report import targets_text
        from trainer.sound import RecordingSpec

        notes = []
        is_mine = harp is not None or is_class
        try:
            played = saved_harp(recording)
        except HarpError as error:
            if not is_mine:
                raise
            played = None
            notes.append(f"the harp that the file names is invalid ({error}); yours was used")
        reached = saved_tolerance(recording, drill_part)
        key, its_tuning = harp, tuning
        if is_class and played is not None and harp is None:
            key, its_tuning = played.key.name, tuning or played.tuning.name
        selected, name = harp_from_options(
            key,
            its_tuning,
            temperament,
            a4,
            offset,
            base=None if is_mine else played,
            written_for=Harp.of(drill_part.key, drill_part.tuning),
        )
        plan = Plan(
            selected,
            RecordingSpec(recording, channel),
            drill=drill_part,
            tempo=tempo,
            start=start,
            click=click,
            as_played=as_played,
            journal=player_journal() if player else None,
            player=player or "",
            harp_name=name,
            tolerance=tolerance or (None if is_class else reached),
        ).at_present_tolerance()
        if played is not None and (claims := targets_text(played)):
            used = "yours were used" if is_mine else "--harp takes yours instead"
            notes.append(f"the file names targets of its own ({claims}); {used}")
        if reached is not None and reached > drill_part.at_widest().goal.tolerance:
            used = "the drill's was used" if is_class else "--tolerance takes another"
            notes.append(f"the file names a tolerance of {reached:g} cents; {used}")
        return plan, tuple(notes)

    if class_ is not None:
        check_class(class_, force=force)
    listed = () if students is None else read_class_list(students)
    files = find_recordings(recordings)
    is_alone = len(files) == 1 and out is None and not recordings[0].is_dir()
    if is_alone and class_ is None and reports is None and scheduler is None:
        _mark_one(*plan_of(files[0].path), format_)
    else:
        workers = jobs if scheduler is None else scheduler
        Batch(drill_part, files, plan_of, out, workers, class_, listed, reports).mark(format_)


def _mark_one(plan: Plan, notes: tuple[str, ...], format_: Format) -> None:
    from trainer.cli.plain import take_results
    from trainer.practice import NOTHING_DUE, MarkedRecording
    from trainer.report.batch_report import best_pass_data
    from trainer.report.result_report import result_text
    from trainer.sound import SoundError

    recording = plan.source.file
    assert recording is not None
    for note in notes:
        typer.echo(f"{recording.name}: {note}", err=True)
    marked = MarkedRecording(recording, tuple(take_results(plan)))
    if marked.best is None:
        raise SoundError(f"{recording}: {NOTHING_DUE}")
    if format_ is Format.TEXT:
        typer.echo("\n\n".join(result_text(result) for result in marked.passes))
    else:
        write_json(best_pass_data(marked))
