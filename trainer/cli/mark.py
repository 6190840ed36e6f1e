"""``trainer mark``: mark recordings of a drill."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from trainer.cli.exit_codes import ExitCode
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
    write_text,
)

if TYPE_CHECKING:
    from trainer.drill import Drill
    from trainer.practice import MarkedRecording, Plan

RECORDING_EXTENSIONS = (".wav", ".flac", ".ogg", ".mp3")
"""Extensions of the recordings that are searched for in folders."""


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
            help="Store each result there as JSON; recordings with a result are skipped.",
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
    force: Annotated[bool, typer.Option("--force", help="Overwrite the class report.")] = False,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Mark recordings of a drill: one recording step by step, several with one line each.

    If a recording holds the drill several times, each pass is marked, and the best counts. A take
    saved by the trainer gets the same marks as when it was played, on the same harp unless --harp
    names another, and at the same tolerance. Several recordings are marked on all cores; errors are
    listed at the end.

    Examples:

      trainer mark take.flac --drill half-step-on-four --format json

      trainer mark class/ --drill harbour-bell --out marks --class class.html
    """
    from trainer.drill import find_drill

    drill_part = find_drill(drill).part(part)

    def plan_of(recording: Path) -> Plan:
        from trainer.harp import Harp
        from trainer.practice import Plan, saved_harp, saved_tolerance
        from trainer.sound import RecordingSpec

        selected, name = harp_from_options(
            harp,
            tuning,
            temperament,
            a4,
            offset,
            base=saved_harp(recording),
            written_for=Harp.of(drill_part.key, drill_part.tuning),
        )
        return Plan(
            selected,
            RecordingSpec(recording, channel),
            drill=drill_part,
            tempo=tempo,
            start=start,
            journal=player_journal() if player else None,
            player=player or "",
            harp_name=name,
            tolerance=tolerance or saved_tolerance(recording, drill_part),
        ).at_present_tolerance()

    if class_ is not None:
        _check_class(class_, force=force)
    files = list(_files(recordings))
    alone = len(files) == 1 and out is None and not recordings[0].is_dir()
    if alone and class_ is None and scheduler is None:
        _mark_one(files[0], plan_of(files[0]), format_)
    else:
        workers = jobs if scheduler is None else scheduler
        _mark_many(files, plan_of, drill_part, out, workers, format_, class_)


def _mark_one(recording: Path, plan: Plan, format_: Format) -> None:
    from trainer.cli.plain import take_results
    from trainer.practice import NOTHING_DUE, MarkedRecording
    from trainer.report.batch_report import best_pass_data
    from trainer.report.result_report import result_text
    from trainer.sound import SoundError

    marked = MarkedRecording(recording, tuple(take_results(plan)))
    if marked.best is None:
        raise SoundError(f"{recording}: {NOTHING_DUE}")
    if format_ is Format.TEXT:
        typer.echo("\n\n".join(result_text(result) for result in marked.passes))
    else:
        write_json(best_pass_data(marked))


def _files(recordings: Iterable[Path]) -> Iterable[Path]:
    """Return the recordings of some files and folders, each once.

    Raises:
        SoundError: a folder holds none.
    """
    from trainer.sound import SoundError

    paths: dict[Path, None] = {}
    for path in recordings:
        matches = [path]
        if path.is_dir():
            matches = sorted(
                marked
                for marked in path.rglob("*")
                if marked.suffix.lower() in RECORDING_EXTENSIONS
            )
            if not matches:
                raise SoundError(
                    f"the folder {path} has no recordings ({', '.join(RECORDING_EXTENSIONS)})"
                )
        paths |= dict.fromkeys(matches)
    return paths


def _mark_many(
    files: list[Path],
    plan_of: Callable[[Path], Plan],
    drill: Drill,
    out: Path | None,
    workers: int | str | None,
    format_: Format,
    class_: Path | None,
) -> None:
    """Mark several recordings; print a line for each, and a summary.

    Raises:
        typer.Exit: a recording could not be marked.
    """
    from trainer.core import TrainerError
    from trainer.practice import MarkedRecording, mark_recordings
    from trainer.report.batch_report import batch_summary_text, recording_data, recording_line

    if out is not None:
        try:
            out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise TrainerError(
                f"the folder {out} cannot be created ({error.strerror}); choose another"
            ) from None
    plans, results = [], []
    stored = {file: _stored_path(out, file, drill) for file in files}
    for file in files:
        target = stored[file]
        if target is not None and target.exists():
            continue
        try:
            plans.append(plan_of(file))
        except TrainerError as error:
            results.append(MarkedRecording(file, trouble=str(error)))
    skipped = len(files) - len(plans) - len(results)
    if skipped:
        typer.echo(f"{skipped} of {len(files)} have results in --out already", err=True)
    for marked in results:
        typer.echo(recording_line(marked), err=format_ is Format.JSON)
    with typer.progressbar(
        mark_recordings(plans, workers), length=len(plans), file=sys.stderr, label="marking"
    ) as marking:
        for marked in marking:
            results.append(marked)
            target = stored[marked.path]
            if target is not None and marked.best is not None:
                write_text(target, json.dumps(recording_data(marked), indent=2) + "\n")
            if format_ is Format.TEXT:
                typer.echo(
                    f"\r{recording_line(marked)}" if sys.stderr.isatty() else recording_line(marked)
                )
    if format_ is Format.JSON:
        write_json(
            [recording_data(marked) for marked in sorted(results, key=lambda marked: marked.path)]
        )
    elif results:
        typer.echo(f"\n{batch_summary_text(results)}")
    if class_ is not None:
        _write_class(
            class_, drill, [*_earlier_results(stored, results), *map(recording_data, results)]
        )
    if any(marked.best is None for marked in results):
        raise typer.Exit(ExitCode.FAILED)


def _stored_path(out: Path | None, file: Path, drill: Drill) -> Path | None:
    """Return the path of a recording's stored result; None without --out."""
    if out is None:
        return None
    parts = [part for part in file.with_suffix("").parts if part not in ("/", ".", "..")]
    return out / f"{'-'.join(parts)}.{drill.name}.json"


CLASS_ENDINGS = (".html", ".md", ".csv", ".json")


def _check_class(out: Path, *, force: bool) -> None:
    from trainer.cli.options import check_ending, check_overwrite

    check_ending(out, CLASS_ENDINGS)
    check_overwrite(out, force=force)


def _earlier_results(
    stored: dict[Path, Path | None], results: list[MarkedRecording]
) -> Iterable[dict[str, Any]]:
    """Yield the results that were stored earlier."""
    new_paths = {marked.path for marked in results}
    for file, target in stored.items():
        if target is not None and file not in new_paths and target.exists():
            yield json.loads(target.read_text(encoding="utf-8"))


def _write_class(out: Path, drill: Drill, data: Sequence[Mapping[str, Any]]) -> None:
    from trainer.report.class_page import class_html
    from trainer.report.class_report import (
        class_csv,
        class_data,
        class_markdown,
        read_students,
    )

    in_class = read_students(data)
    match out.suffix.lower():
        case ".html":
            write_text(out, class_html(drill, in_class))
        case ".md":
            write_text(out, class_markdown(drill, in_class))
        case ".csv":
            write_text(out, class_csv(in_class))
        case _:
            write_text(out, json.dumps(class_data(drill, in_class), indent=2) + "\n")
    typer.echo(f"Wrote {out}.", err=True)
