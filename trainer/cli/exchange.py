"""``trainer drill export`` and ``import``: sheets, MIDI and MusicXML."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import HarpOption, TuningOption, check_overwrite, write_text

if TYPE_CHECKING:
    from trainer.drill import Arrangement, Drill, Melody
    from trainer.harp import Harp

SHEETS = (".html", ".txt")
MIDI = (".mid", ".midi")
MUSICXML = (".musicxml", ".xml")
COMPRESSED = ".mxl"
TAB = ".txt"
MAX_NAMED = 8
"""Number of words that were left out of a tab that are named."""
ENDINGS = (*SHEETS, *MIDI, *MUSICXML)


def export(
    drill: Annotated[str, typer.Argument(help="A drill's name, or the path of a drill file.")],
    out: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="Target; its extension is the format: .html or .txt a sheet, .mid, .musicxml.",
        ),
    ],
    harp: HarpOption = None,
    tuning: TuningOption = None,
    staff: Annotated[
        bool,
        typer.Option(
            "--staff", help="Staff notation over the tab of a .html sheet. It needs verovio."
        ),
    ] = False,
    plan: Annotated[
        bool,
        typer.Option(
            "--plan", help="A practice plan on the sheet: tempi in steps, sections, remarks."
        ),
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
) -> None:
    """Write a drill as a sheet to print, a MIDI file or a MusicXML score.

    Examples:

      trainer drill export ferry-home ferry-home.html --staff

      trainer drill export ferry-home ferry-home.html --plan

      trainer drill export ferry-home ferry-home.musicxml --harp A
    """
    from trainer.drill import find_drill, move_to_harp
    from trainer.exchange import ExchangeError
    from trainer.harp import Harp

    check_ending(out)
    if staff and out.suffix.lower() != SHEETS[0]:
        raise ExchangeError(f"--staff is for {SHEETS[0]} sheets; end '{out}' in {SHEETS[0]}")
    if plan and out.suffix.lower() not in SHEETS:
        raise ExchangeError(f"--plan is for sheets; end '{out}' in {' or '.join(SHEETS)}")
    check_overwrite(out, force=force)
    source = find_drill(drill)
    target_harp = Harp.of(harp or source.key, tuning or source.tuning)
    write_export(move_to_harp(source, target_harp), target_harp, out, staff=staff, with_plan=plan)
    typer.echo(f"Wrote {out}.", err=True)


def import_(
    file: Annotated[
        Path, typer.Argument(help="MIDI file, MusicXML score, or plain tab in a .txt file.")
    ],
    harp: HarpOption = None,
    tuning: TuningOption = None,
    part: Annotated[
        int | None,
        typer.Option(
            help="Part of the score, or track of the MIDI file. [default: see above]", min=1
        ),
    ] = None,
    position: Annotated[
        int | None,
        typer.Option(help="Play it in this position; its key is transposed to fit.", min=1, max=12),
    ] = None,
    half_steps: Annotated[
        int | None,
        typer.Option(
            help="Transpose by this many half steps, in one octave only.", min=-36, max=36
        ),
    ] = None,
    title: Annotated[str | None, typer.Option(help="Title of the drill.")] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Write the best arrangement as a drill file.", metavar="FILE"),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
) -> None:
    """Make a drill from a MIDI file, a MusicXML score or plain tab.

    Reads the first part of a score that has notes, or the track of a MIDI file with the most. Tries
    every standard harp, or the harp of --harp, in each octave, and proposes the easiest with its
    position. Notes that the harp cannot play are listed, and become rests in the drill. A file from
    `trainer drill export` comes back with its harp and tab.

    Plain tab (.txt) may write +4, (45), 4d, -4b or arrows. It is for the harp of --harp, or C; each
    note gets a beat, for you to change.

    Examples:

      trainer drill import tune.musicxml

      trainer drill import tune.mid --harp A --position 2 --out tune.toml
    """
    from trainer.drill import DRILL_SUFFIX
    from trainer.exchange import ExchangeError
    from trainer.report.melody_report import melody_text

    if out is not None:
        if out.suffix != DRILL_SUFFIX:
            raise ExchangeError(f"'{out}' is not a name for a drill file; end it in {DRILL_SUFFIX}")
        check_overwrite(out, force=force)
    if file.suffix.lower() == TAB:
        _import_tab(file, harp, tuning, title, out)
        return
    melody = _read(file, part)
    arrangements = _arrange(melody, harp, tuning, position, half_steps)
    if not arrangements:
        raise ExchangeError("no harp can play any of its notes; try --half-steps")
    typer.echo(melody_text(melody, arrangements, shutil.get_terminal_size((80, 24)).columns))
    if out is not None:
        _write_drill(melody, arrangements[0], out, title)


def _import_tab(
    file: Path, harp: str | None, tuning: str | None, title: str | None, out: Path | None
) -> None:
    from trainer.drill import parse_drill
    from trainer.exchange import read_tab_text
    from trainer.report.tab_layout import drill_text

    tune = read_tab_text(file)
    text = tune.drill_text(title or file.stem, harp or "C", tuning or "richter")
    width = shutil.get_terminal_size((80, 24)).columns
    typer.echo(drill_text(parse_drill(text, file.stem), width))
    if tune.left_out:
        words = ", ".join(f"'{word}' (line {line})" for word, line in tune.left_out[:MAX_NAMED])
        more = len(tune.left_out) - MAX_NAMED
        more_text = f" and {more} more" if more > 0 else ""
        typer.echo(f"Left out, because it is no tab: {words}{more_text}.", err=True)
    if out is not None:
        write_text(out, text)
        typer.echo(f"Wrote {out}.", err=True)


def _read(file: Path, part: int | None) -> Melody:
    from trainer.exchange import ExchangeError, read_midi, read_musicxml

    ending = file.suffix.lower()
    if ending in MIDI:
        return read_midi(file, part)
    if ending in (*MUSICXML, COMPRESSED):
        return read_musicxml(file, part)
    known = ", ".join((*MIDI, *MUSICXML, COMPRESSED, TAB))
    raise ExchangeError(f"{file} has an unknown format; use one of {known}")


def _arrange(
    melody: Melody,
    key: str | None,
    tuning: str | None,
    position: int | None,
    half_steps: int | None,
) -> tuple[Arrangement, ...]:
    from trainer.drill import (
        OCTAVE_SHIFTS,
        arrange_as_written,
        arrange_on_harps,
        half_steps_to_position,
        rank_arrangements,
        standard_harps,
    )
    from trainer.exchange import ExchangeError
    from trainer.harp import Harp

    if position is not None and half_steps is not None:
        raise ExchangeError("--position and --half-steps exclude each other; leave one out")
    written = melody.harp
    tuning = tuning or (written.tuning.name if written else "richter")
    harps = standard_harps(tuning) if key is None else (Harp.of(key, tuning),)
    if position is None:
        moves = OCTAVE_SHIFTS if half_steps is None else (half_steps,)
        arrangements = arrange_on_harps(melody, harps, moves)
    else:
        arrangements = rank_arrangements(
            arrangement
            for harp in harps
            for arrangement in arrange_on_harps(
                melody, (harp,), half_steps_to_position(melody, harp, position)
            )
        )
    keeps_pitch = not half_steps and position in (None, melody.position)
    if not keeps_pitch or not (key is None or written in harps):
        return arrangements
    as_written = arrange_as_written(melody)
    if as_written is None or tuning != as_written.harp.tuning.name:
        return arrangements
    others = [
        arrangement
        for arrangement in arrangements
        if (arrangement.harp, arrangement.half_steps) != (as_written.harp, 0)
    ]
    return (as_written, *others)


def _write_drill(melody: Melody, best: Arrangement, out: Path, title: str | None) -> None:
    from dataclasses import replace

    from trainer.drill import write_drill

    about = "; ".join(problem.message for problem in best.problems)
    drill = replace(
        best.drill,
        name=out.stem,
        title=title or melody.title,
        about=f"Left out, because this harp cannot play it: {about}." if about else "",
    )
    write_text(out, write_drill(drill))
    typer.echo(f"Wrote {out}.", err=True)
    if best.missing:
        raise typer.Exit(ExitCode.FAILED)


def check_ending(out: Path) -> None:
    """Check that the extension of a file names an export format.

    Raises:
        ExchangeError: it does not.
    """
    from trainer.exchange import ExchangeError

    if out.suffix.lower() not in ENDINGS:
        raise ExchangeError(f"'{out}' has no known format; end it in {', '.join(ENDINGS)}")


def write_export(
    drill: Drill,
    harp: Harp,
    out: Path,
    notes: tuple[str, ...] = (),
    *,
    staff: bool = False,
    with_plan: bool = False,
) -> None:
    """Write a drill in the format of the file's extension, see :func:`check_ending`.

    Args:
        drill: the drill.
        harp: the harp that plays it.
        out: the file.
        notes: sentences below the tab of a sheet.
        staff: whether a sheet has staff notation over its tab.
        with_plan: whether a sheet has a practice plan.
    """
    from trainer.exchange import write_midi, write_musicxml
    from trainer.report.drill_sheet import drill_sheet_html
    from trainer.report.practice_plan import practice_plan_lines
    from trainer.report.staff import engrave
    from trainer.report.tab_layout import drill_text

    match out.suffix.lower():
        case ".html":
            engraved = engrave(drill, harp) if staff else ()
            write_text(out, drill_sheet_html(drill, notes, engraved, with_plan=with_plan))
        case ".txt":
            plan = ["\n".join(practice_plan_lines(drill))] if with_plan else []
            write_text(out, "\n\n".join([drill_text(drill), *plan, *notes]) + "\n")
        case ".mid" | ".midi":
            write_midi(drill, harp, out)
        case _:
            write_musicxml(drill, harp, out)
