"""``trainer journal``: list, show and replay takes; export, import and back up the journal."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import (
    Format,
    FormatOption,
    check_ending,
    player_journal,
    player_settings,
    write_json,
)

if TYPE_CHECKING:
    from trainer.store import Journal

app = typer.Typer(
    help="The journal: list, show and replay takes; export, import and back up.",
    no_args_is_help=True,
)
PlayerOption = Annotated[
    str | None,
    typer.Option(
        "--player", metavar="NAME", help="Only takes of this player. [default: all players]"
    ),
]
SinceOption = Annotated[
    datetime | None,
    typer.Option(
        "--since", formats=["%Y-%m-%d"], metavar="DATE", help="First day, such as 2026-11-25."
    ),
]
TakeArgument = Annotated[
    str,
    typer.Argument(
        metavar="ID", help="Id of a take, or its first letters (see 'trainer journal list')."
    ),
]


class Export(StrEnum):
    """Formats of an export."""

    JSONL = "jsonl"
    CSV = "csv"


@contextmanager
def _journal(*, new: bool = False) -> Iterator[Journal]:
    """Open the player's journal; with `new`, create it if it does not exist.

    Raises:
        JournalError: it cannot be opened, or does not exist.
    """
    from trainer.store import Journal, JournalError

    file = player_journal()
    if not (new or file.exists()):
        raise JournalError(f"the journal {file} does not exist yet; your first take creates it")
    with Journal(file) as journal:
        yield journal


@app.command("list")
def list_takes(
    player: PlayerOption = None,
    drill: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only takes of this drill.")
    ] = None,
    since: SinceOption = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """List takes with their ids and marks, the latest last.

    Example:

      trainer journal list --drill harbour-bell --since 2026-11-01
    """
    from trainer.report.journal_report import takes_data, takes_text
    from trainer.transfer import check_player

    with _journal() as journal:
        check_player(journal, player)
        first = since.date() if since else None
        takes = journal.takes(player=player, drill=drill, since=first, steps=False)
    if format_ is Format.JSON:
        write_json(takes_data(takes))
    else:
        typer.echo(takes_text(takes))


@app.command()
def show(take: TakeArgument, format_: FormatOption = Format.TEXT) -> None:
    """Show a take: the mark of each step and the reason.

    Example:

      trainer journal show 3f2a9c1b
    """
    from trainer.report.journal_report import take_data, take_text

    with _journal() as journal:
        record = journal.take(take)
    if format_ is Format.JSON:
        write_json(take_data(record))
    else:
        typer.echo(take_text(record))


@app.command()
def replay(
    take: TakeArgument,
    to: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Copy the audio (FLAC) into this file instead."),
    ] = None,
    output: Annotated[
        str | None, typer.Option(help="Output: its name, part of it, or number.")
    ] = None,
) -> None:
    """Play the audio of a take, if it was kept; Ctrl-C stops it.

    Examples:

      trainer journal replay 3f2a9c1b

      trainer journal replay 3f2a9c1b --to bell.flac
    """
    from trainer.cli.terminal_guard import catch_interrupts, silence_libraries
    from trainer.sound import Replay
    from trainer.store import audio_path, copy_audio

    with _journal() as journal:
        record = journal.take(take)
        audio = audio_path(journal, record)
        if to is not None:
            copy_audio(journal, record, to)
            typer.echo(f"Wrote {to}.")
            return
    typer.echo(f"{record.title}, {record.player}, {record.day}")
    device = player_settings().sound.output if output is None else output
    with silence_libraries(), catch_interrupts() as stopping:
        played = Replay(audio, output=device)
        try:
            for _ in played.blocks():
                if stopping():
                    break
        finally:
            played.close()
    if stopping():
        typer.echo("Stopped.")


@app.command()
def export(
    format_: Annotated[
        Export | None,
        typer.Option(
            "--format",
            help="jsonl: everything; csv: one row per step. [default: from --out, else jsonl]",
        ),
    ] = None,
    player: PlayerOption = None,
    since: SinceOption = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="New file. [default: standard output]"),
    ] = None,
) -> None:
    """Export takes, harps, focus and levels, for another journal to import.

    Audio is not exported. Calibrations of this computer's devices are exported only with the takes
    of all players.

    Examples:

      trainer journal export --player Marit --out marit.jsonl

      trainer journal export --since 2026-11-01 --out autumn.csv
    """
    from trainer.transfer import JournalFormat, export_journal, export_journal_lines

    if format_ is None:
        ending = "" if out is None else check_ending(out, ("", ".jsonl", ".csv"))
        format_ = Export.CSV if ending == ".csv" else Export.JSONL
    first = since.date() if since else None
    with _journal() as journal:
        written = JournalFormat(format_.value)
        if out is not None:
            export_journal(journal, out, written, player=player, since=first)
            typer.echo(f"Wrote {out}.")
            return
        for line in export_journal_lines(journal, written, player=player, since=first):
            typer.echo(line.encode(), nl=False)


@app.command("import")
def import_files(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE", help="Files that 'trainer journal export' wrote."),
    ],
    as_: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="Import under this player's name.")
    ] = None,
) -> None:
    """Import takes, harps, focus and levels of another journal; existing takes stay unchanged.

    A file with an invalid line is not imported at all.

    Examples:

      trainer journal import marit.jsonl jorun.jsonl

      trainer journal import takes.csv --as Marit
    """
    from trainer.report.journal_report import import_text
    from trainer.store import JournalError
    from trainer.transfer import import_journal

    wrong = False
    with _journal(new=True) as journal:
        for file in files:
            try:
                typer.echo(import_text(str(file), import_journal(journal, file, as_)))
            except JournalError as error:
                wrong = True
                typer.echo(str(error), err=True)
    if wrong:
        raise typer.Exit(ExitCode.BAD_INPUT)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="New file.")],
) -> None:
    """Copy the journal into a new file, without the audio of takes.

    The copy is a journal itself. To restore it, name it in the settings or in TRAINER_JOURNAL; or
    replace the journal with it while no trainer is running, and move away the files beside it whose
    names end in -wal and -shm.

    Example:

      trainer journal backup journal-2026-11-25.sqlite
    """
    with _journal() as journal:
        journal.copy_to(file)
    typer.echo(f"Wrote {file}.")


@app.command()
def where(format_: FormatOption = Format.TEXT) -> None:
    """Show the path, size and contents of the journal.

    Example:

      trainer journal where
    """
    from trainer.report.journal_report import journal_data, journal_text

    contents = journal_data(player_journal())
    if format_ is Format.JSON:
        write_json(contents)
    else:
        typer.echo(journal_text(contents))
