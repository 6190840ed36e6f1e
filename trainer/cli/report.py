"""``trainer report``: write a report on a recording of a drill, for the student."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import (
    HarpOption,
    TempoOption,
    TuningOption,
    check_ending,
    check_overwrite,
    harp_from_options,
    write_text,
)

if TYPE_CHECKING:
    from trainer.marking import Result
    from trainer.report.advice import Advice

REPORT_EXTENSIONS = (".html", ".md", ".csv", ".json")


def report(
    recording: Annotated[Path, typer.Argument(help="WAV, FLAC, OGG or MP3.")],
    drill: Annotated[
        str, typer.Option(help="The drill that was played: its name or the path of its file.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Report: .html, .md, .csv or .json. [default: .html beside the recording]",
        ),
    ] = None,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    tempo: TempoOption = None,
    sound: Annotated[bool, typer.Option(help="Include the audio of each step.")] = True,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
) -> None:
    """Write a report on a recording of a drill: marks, pitch, holes, time, and what to work on.

    The page opens in any browser, works without a network, and can be printed. Of several passes,
    it shows the best.

    Example:

      trainer report take.flac --drill half-step-on-four --out take.html
    """
    from trainer.cli.plain import console_events
    from trainer.drill import find_drill, read_shelf
    from trainer.harp import Harp
    from trainer.practice import (
        NOTHING_DUE,
        MarkedRecording,
        PassEnded,
        Plan,
        ReadingHeard,
        saved_harp,
        saved_tolerance,
    )
    from trainer.report.advice import advise
    from trainer.report.student_page import StudentReport, marked_span, student_html
    from trainer.sound import Recording, RecordingSpec, SoundError

    target = out or recording.with_suffix(".html")
    extension = check_ending(target, REPORT_EXTENSIONS)
    check_overwrite(target, force=force)
    chosen_drill = find_drill(drill)
    selected, _ = harp_from_options(
        harp,
        tuning,
        *(None,) * 3,
        base=saved_harp(recording),
        written_for=Harp.of(chosen_drill.key, chosen_drill.tuning),
    )
    plan = Plan(
        selected,
        RecordingSpec(recording),
        drill=chosen_drill,
        tempo=tempo,
        tolerance=saved_tolerance(recording, chosen_drill),
    )
    readings, passes = [], []
    for event in console_events(plan.at_present_tolerance()):
        if isinstance(event, ReadingHeard):
            readings.append(event.reading)
        elif isinstance(event, PassEnded):
            passes.append(event.result)
    best = MarkedRecording(recording, tuple(passes)).best
    if best is None:
        raise SoundError(f"{recording}: {NOTHING_DUE}")
    work_on = advise(best, read_shelf().drills)
    if extension != ".html":
        write_text(target, _without_html(best, work_on, recording.name, extension))
        typer.echo(f"Wrote {target}.")
        return
    opened = Recording(recording)
    try:
        ends = round(marked_span(best, opened.rate)[1] * opened.rate)
        samples = opened.whole(ends) if sound else None
    finally:
        opened.close()
    student_report = StudentReport(
        best,
        selected,
        readings,
        samples,
        opened.rate,
        recording.name,
        work_on,
    )
    write_text(target, student_html(student_report))
    typer.echo(f"Wrote {target}.")


def _without_html(best: Result, work_on: tuple[Advice, ...], name: str, extension: str) -> str:
    from trainer.report.student_report import student_csv, student_data, student_markdown

    match extension:
        case ".md":
            return student_markdown(best, work_on, name)
        case ".csv":
            return student_csv(best)
        case _:
            return json.dumps(student_data(best, work_on, name), indent=2) + "\n"
