"""``trainer report``: write a report on a recording of a drill, for the student."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import (
    A4Option,
    ChannelOption,
    HarpOption,
    OffsetOption,
    PartOption,
    TemperamentOption,
    TempoOption,
    ToleranceOption,
    TuningOption,
    check_ending,
    check_overwrite,
    write_text,
)
from trainer.cli.recording_options import (
    AsPlayedOption,
    ClickOption,
    DrillOption,
    RecordingOptions,
    StartOption,
)

if TYPE_CHECKING:
    from trainer.marking import Result
    from trainer.report.advice import Advice
    from trainer.report.last_time import Summary

REPORT_EXTENSIONS = (".html", ".md", ".csv", ".json")


def report(
    recording: Annotated[Path, typer.Argument(help="WAV, FLAC, OGG or MP3.")],
    drill: DrillOption,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Report: .html, .md, .csv or .json. [default: .html beside the recording]",
        ),
    ] = None,
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
    student: Annotated[str, typer.Option(help="The student's name, for the page.")] = "",
    remark: Annotated[
        str | None,
        typer.Option(
            metavar="TEXT",
            help="Your own words for the page. They are added to FILE's .remarks.md, which you can "
            "edit, and stay when the page is written again.",
        ),
    ] = None,
    last: Annotated[
        Path | None,
        typer.Option(
            metavar="RESULT",
            help="A result of 'trainer mark', as JSON, to compare with.",
        ),
    ] = None,
    sound: Annotated[bool, typer.Option(help="Include the sound of the take.")] = True,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
) -> None:
    """Write a report on a recording of a drill: what to work on, each mark and why, pitch and time.

    The page opens in any browser, works without a network, and can be printed. Of several passes,
    it shows the best. The recording is marked as 'trainer mark' marks it with the same options.

    Examples:

      trainer report take.flac --drill half-step-on-four --out take.html

      trainer report take.flac --drill pilot-calls --remark "Bar 2 again."
    """
    from trainer.cli.plain import console_events
    from trainer.drill import find_drill, read_shelf
    from trainer.practice import NOTHING_DUE, MarkedRecording, PassEnded, ReadingHeard
    from trainer.report.advice import advise
    from trainer.report.recording_page import PageRequest, report_recording, write_page
    from trainer.report.remarks import add_remark, read_remarks, remarks_path
    from trainer.report.student_page import student_html
    from trainer.sound import SoundError

    target = out or recording.with_suffix(".html")
    extension = check_ending(target, REPORT_EXTENSIONS)
    check_overwrite(target, force=force)
    before = None if last is None else _summary(last)
    remarks = remarks_path(target)
    read_remarks(remarks)  # a file that cannot be read is reported before the work
    options = RecordingOptions(
        harp, tuning, temperament, a4, offset, tempo, tolerance, start, click, as_played, channel
    )
    plan, notes = options.plan(recording, find_drill(drill).part(part))
    readings, passes = [], []
    notices: list[str] = []
    for event in console_events(plan, notices=notices):
        if isinstance(event, ReadingHeard):
            readings.append(event.reading)
        elif isinstance(event, PassEnded):
            passes.append(event.result)
    marked = MarkedRecording(recording, tuple(passes), notes=tuple(notices))
    best = marked.best
    if best is None:
        raise SoundError(f"{recording}: {NOTHING_DUE}")
    if remark:
        add_remark(remarks, remark)
    if extension != ".html":
        work_on = advise(best, read_shelf().drills)
        write_text(target, _without_html(best, work_on, recording.name, extension))
        typer.echo(f"Wrote {target}.")
        return
    request = PageRequest(student, notes, before, read_remarks(remarks), sound)
    write_page(target, student_html(report_recording(plan, marked, readings, request)))
    typer.echo(f"Wrote {target}.")


def _summary(path: Path) -> Summary:
    from trainer.core import TrainerError
    from trainer.core.text_files import read_text_file
    from trainer.report.last_time import Summary

    text = read_text_file(path)
    try:
        return Summary.read(json.loads(text))
    except (ValueError, TrainerError):
        raise TrainerError(f"{path} is not a result of 'trainer mark --format json'") from None


def _without_html(best: Result, work_on: tuple[Advice, ...], name: str, extension: str) -> str:
    from trainer.report.student_report import student_csv, student_data, student_markdown

    match extension:
        case ".md":
            return student_markdown(best, work_on, name)
        case ".csv":
            return student_csv(best)
        case _:
            return json.dumps(student_data(best, work_on, name), indent=2) + "\n"
