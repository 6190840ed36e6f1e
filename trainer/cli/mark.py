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
    TuningOption,
    harp_from_options,
    player_journal,
    write_json,
    write_text,
)

if TYPE_CHECKING:
    from trainer.drill import Drill
    from trainer.practice import Plan
    from trainer.practice.batch import MarkedRecording

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
    names another. Several recordings are marked on all cores; errors are listed at the end.

    Examples:

      trainer mark take.flac --drill half-step-on-four --format json

      trainer mark class/ --drill harbour-bell --out marks --class class.html
    """
    from trainer.drill import find_drill

    wanted = find_drill(drill).part(part)

    def plan_of(recording: Path) -> Plan:
        from trainer.harp import Harp
        from trainer.practice import Plan, saved_harp
        from trainer.sound import RecordingSpec

        held, name = harp_from_options(
            harp,
            tuning,
            temperament,
            a4,
            offset,
            base=saved_harp(recording),
            written_for=Harp.of(wanted.key, wanted.tuning),
        )
        return Plan(
            held,
            RecordingSpec(recording, channel),
            drill=wanted,
            tempo=tempo,
            start=start,
            journal=player_journal() if player else None,
            player=player or "",
            harp_name=name,
        )

    if class_ is not None:
        _check_class(class_, force=force)
    files = list(_files(recordings))
    alone = len(files) == 1 and out is None and not recordings[0].is_dir()
    if alone and class_ is None and scheduler is None:
        _mark_one(files[0], plan_of(files[0]), format_)
    else:
        workers = jobs if scheduler is None else scheduler
        _mark_many(files, plan_of, wanted, out, workers, format_, class_)


def _mark_one(recording: Path, plan: Plan, format_: Format) -> None:
    from trainer.cli.plain import take_results
    from trainer.practice.batch import NOTHING_DUE, MarkedRecording
    from trainer.report.batch_report import best_pass_data
    from trainer.report.result_report import result_text
    from trainer.sound import SoundError

    one = MarkedRecording(recording, tuple(take_results(plan)))
    if one.best is None:
        raise SoundError(f"{recording}: {NOTHING_DUE}")
    if format_ is Format.TEXT:
        typer.echo("\n\n".join(result_text(result) for result in one.passes))
    else:
        write_json(best_pass_data(one))


def _files(recordings: Iterable[Path]) -> Iterable[Path]:
    """Return the recordings of some files and folders, each once.

    Raises:
        SoundError: a folder holds none.
    """
    from trainer.sound import SoundError

    found: dict[Path, None] = {}
    for path in recordings:
        inside = [path]
        if path.is_dir():
            inside = sorted(
                one for one in path.rglob("*") if one.suffix.lower() in RECORDING_EXTENSIONS
            )
            if not inside:
                raise SoundError(
                    f"the folder {path} has no recordings ({', '.join(RECORDING_EXTENSIONS)})"
                )
        found |= dict.fromkeys(inside)
    return found


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
    from trainer.practice.batch import MarkedRecording, mark_recordings
    from trainer.report.batch_report import batch_summary_text, recording_data, recording_line

    if out is not None:
        try:
            out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise TrainerError(
                f"the folder {out} cannot be created ({error.strerror}); choose another"
            ) from None
    plans, done = [], []
    kept = {file: _kept_in(out, file, drill) for file in files}
    for file in files:
        target = kept[file]
        if target is not None and target.exists():
            continue
        try:
            plans.append(plan_of(file))
        except TrainerError as error:
            done.append(MarkedRecording(file, trouble=str(error)))
    before = len(files) - len(plans) - len(done)
    if before:
        typer.echo(f"{before} of {len(files)} have results in --out already", err=True)
    for one in done:
        typer.echo(recording_line(one), err=format_ is Format.JSON)
    with typer.progressbar(
        mark_recordings(plans, workers), length=len(plans), file=sys.stderr, label="marking"
    ) as marking:
        for one in marking:
            done.append(one)
            target = kept[one.path]
            if target is not None and one.best is not None:
                write_text(target, json.dumps(recording_data(one), indent=2) + "\n")
            if format_ is Format.TEXT:
                typer.echo(
                    f"\r{recording_line(one)}" if sys.stderr.isatty() else recording_line(one)
                )
    if format_ is Format.JSON:
        write_json([recording_data(one) for one in sorted(done, key=lambda one: one.path)])
    elif done:
        typer.echo(f"\n{batch_summary_text(done)}")
    if class_ is not None:
        _write_class(class_, drill, [*_marked_before(kept, done), *map(recording_data, done)])
    if any(one.best is None for one in done):
        raise typer.Exit(ExitCode.FAILED)


def _kept_in(out: Path | None, file: Path, drill: Drill) -> Path | None:
    """Return the path of a recording's stored result; None without --out."""
    if out is None:
        return None
    parts = [part for part in file.with_suffix("").parts if part not in ("/", ".", "..")]
    return out / f"{'-'.join(parts)}.{drill.name}.json"


CLASS_ENDINGS = (".html", ".md", ".csv", ".json")


def _check_class(out: Path, *, force: bool) -> None:
    from trainer.cli.options import check_overwrite
    from trainer.core import TrainerError

    if out.suffix.lower() not in CLASS_ENDINGS:
        known = ", ".join(CLASS_ENDINGS)
        raise TrainerError(f"'{out}' has no known format; end it in {known}")
    check_overwrite(out, force=force)


def _marked_before(
    kept: dict[Path, Path | None], done: list[MarkedRecording]
) -> Iterable[dict[str, Any]]:
    """Yield the results that were stored earlier."""
    fresh = {one.path for one in done}
    for file, target in kept.items():
        if target is not None and file not in fresh and target.exists():
            yield json.loads(target.read_text(encoding="utf-8"))


def _write_class(out: Path, drill: Drill, data: Sequence[Mapping[str, Any]]) -> None:
    from trainer.report.class_page import class_html
    from trainer.report.class_report import (
        class_csv,
        class_data,
        class_markdown,
        read_students,
    )

    some = read_students(data)
    match out.suffix.lower():
        case ".html":
            write_text(out, class_html(drill, some))
        case ".md":
            write_text(out, class_markdown(drill, some))
        case ".csv":
            write_text(out, class_csv(some))
        case _:
            write_text(out, json.dumps(class_data(drill, some), indent=2) + "\n")
    typer.echo(f"Wrote {out}.", err=True)
