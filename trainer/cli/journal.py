"""``trainer journal``: what is remembered, and taking it elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import Format, FormatOption, player_journal, player_settings, write_json

if TYPE_CHECKING:
    from trainer.store import Journal

app = typer.Typer(
    help="The journal: list takes, show and replay one; export, import and back up all.",
    no_args_is_help=True,
)
PlayerOption = Annotated[
    str | None, typer.Option("--player", metavar="NAME", help="Only theirs; default: everybody's.")
]
SinceOption = Annotated[
    datetime | None,
    typer.Option("--since", formats=["%Y-%m-%d"], metavar="DATE", help="First day: 2026-11-25."),
]
TakeArgument = Annotated[
    str, typer.Argument(metavar="ID", help="The id of a take, or how it begins; see 'list'.")
]


class Export(StrEnum):
    """How an export is written."""

    JSONL = "jsonl"
    CSV = "csv"


@contextmanager
def _journal(*, new: bool = False) -> Iterator[Journal]:
    """The player's journal, open; it is made only where something is to go into it.

    Raises:
        JournalError: it cannot be opened, or there is none.
    """
    from trainer.store import Journal, JournalError

    file = player_journal()
    if not (new or file.exists()):
        raise JournalError(
            f"there is no journal {file} yet; the first take that is played begins it"
        )
    with Journal(file) as journal:
        yield journal


@app.command("list")
def list_takes(
    player: PlayerOption = None,
    drill: Annotated[str | None, typer.Option(metavar="NAME", help="Only of this drill.")] = None,
    since: SinceOption = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """List takes with their ids and marks, the latest last.

    Example:

      trainer journal list --drill harbour-bell --since 2026-11-01
    """
    from trainer.report.journal_report import takes_data, takes_text
    from trainer.transfer.journal_files import check_player

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
    """Show a take: each step's mark and why.

    Example:

      trainer journal show 3f2a9c1b
    """
    from trainer.report.journal_report import take_data, take_text

    with _journal() as journal:
        found = journal.take(take)
    if format_ is Format.JSON:
        write_json(take_data(found))
    else:
        typer.echo(take_text(found))


@app.command()
def replay(
    take: TakeArgument,
    to: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Copy the sound (FLAC) into this file.")
    ] = None,
    output: Annotated[
        str | None, typer.Option(help="Where it is heard: name, part of it, or number.")
    ] = None,
) -> None:
    """Hear the sound of a take, if it was kept; Ctrl-C ends it.

    Examples:

      trainer journal replay 3f2a9c1b

      trainer journal replay 3f2a9c1b --to bell.flac
    """
    from trainer.cli.terminal_guard import catch_interrupts, silence_libraries
    from trainer.sound.sources.replay import Replay
    from trainer.store.audio import audio_path, copy_audio

    with _journal() as journal:
        found = journal.take(take)
        sound = audio_path(journal, found)
        if to is not None:
            copy_audio(journal, found, to)
            typer.echo(f"Wrote {to}.")
            return
    typer.echo(f"{found.title}, {found.player}, {found.day}")
    where = player_settings().sound.output if output is None else output
    with silence_libraries(), catch_interrupts() as stopping:
        played = Replay(sound, output=where)
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
            "--format", help="jsonl: everything; csv: takes, a row a step; default: by the FILE."
        ),
    ] = None,
    player: PlayerOption = None,
    since: SinceOption = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A new file; default: standard output."),
    ] = None,
) -> None:
    """Write takes and harps in a form that another journal can import.

    Sound stays where it is. Measured round trips of this computer's devices are written with
    everybody's takes only, and not with one player's.

    Examples:

      trainer journal export --player Marit --out marit.jsonl

      trainer journal export --since 2026-11-01 --out autumn.csv
    """
    from trainer.transfer.journal_files import JournalFormat, export_journal, export_journal_lines

    if format_ is None:
        by_name = out is not None and out.suffix.lower() == ".csv"
        format_ = Export.CSV if by_name else Export.JSONL
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
    files: Annotated[list[Path], typer.Argument(metavar="FILE", help="What 'export' wrote.")],
    as_: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="Under this player's name.")
    ] = None,
) -> None:
    """Take in what another journal exported; what is there already stays as it is.

    Each file is taken in whole or, where a line is wrong, not at all.

    Examples:

      trainer journal import marit.jsonl jorun.jsonl

      trainer journal import takes.csv --as Marit
    """
    from trainer.report.journal_report import import_text
    from trainer.store import JournalError
    from trainer.transfer.journal_files import import_journal

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
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file.")],
) -> None:
    """Copy all of the journal into a file, which is a journal itself; not the sound of takes.

    To bring it back, name it in the settings or in TRAINER_JOURNAL. Or put it in the journal's
    place while no trainer is open, and move the files away that lie beside that with -wal and
    -shm at the end of their names.

    Example:

      trainer journal backup journal-2026-11-25.sqlite
    """
    with _journal() as journal:
        journal.copy_to(file)
    typer.echo(f"Wrote {file}.")


@app.command()
def where(format_: FormatOption = Format.TEXT) -> None:
    """Tell where the journal lies, how large it is, and what is in it.

    Example:

      trainer journal where
    """
    from trainer.report.journal_report import journal_data, journal_text

    found = journal_data(player_journal())
    if format_ is Format.JSON:
        write_json(found)
    else:
        typer.echo(journal_text(found))
