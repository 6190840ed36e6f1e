"""The command line: one file a command, thin.

Each command imports what it needs when it runs, so that ``trainer --help`` answers at once.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from trainer.cli import (
    drill,
    harp,
    journal,
    listen,
    loop,
    mark,
    play,
    progress,
    report,
    settings,
    sound,
    tab,
    today,
)
from trainer.cli.exit import Exit

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command()(play.demo)
app.command()(play.play)
app.command()(listen.listen)
app.command()(mark.mark)
app.command()(report.report)
app.command()(tab.tab)
app.command()(loop.loop)
app.command()(today.today)
app.add_typer(harp.app, name="harp")
app.command(context_settings={"ignore_unknown_options": True})(progress.progress)  # -4' is a note
app.add_typer(drill.app, name="drill")
app.add_typer(sound.app, name="sound")
app.add_typer(journal.app, name="journal")
app.add_typer(settings.app, name="settings")


@app.callback(invoke_without_command=True)
def open_app(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
    demo: Annotated[
        bool, typer.Option("--demo", hidden=True, help="Let the built-in player play.")
    ] = False,
) -> None:
    """An intonation trainer for the ten-hole diatonic harmonica.

    Without a command, it opens the live screen on the day's set.

    Example:

      trainer
    """
    if version:
        from trainer import __version__

        typer.echo(f"trainer {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is not None:
        return
    from trainer.cli.screen import on_screen, open_screen

    if not on_screen():
        typer.echo(
            "the live screen needs a terminal that it can paint on; 'trainer today' tells the "
            "day's set in lines, 'trainer demo --plain' a drill, 'trainer --help' all there is",
            err=True,
        )
        raise typer.Exit(Exit.USAGE)
    from trainer.cli.options import (
        count_in_of,
        in_hand,
        journal_file,
        microphone,
        settings,
        sound_mb,
    )
    from trainer.drill import read_shelf
    from trainer.harp import Harp
    from trainer.practice import Plan
    from trainer.sound import PlayerSpec

    first = read_shelf().drills[0]
    held, name = in_hand(*(None,) * 5, written_for=Harp.of(first.key, first.tuning))
    plan = Plan(
        held,
        PlayerSpec(realtime=True) if demo else microphone(None, None),
        drill=first,
        count_in=count_in_of(None),
        journal=journal_file(),
        player=settings().player.name,
        harp_name=name,
        sound_mb=sound_mb(),
    )
    open_screen(plan, today=True)


def main() -> None:
    """Run a command; errors that a player can mend come as one sentence on standard error."""
    from trainer.music import TrainerError

    try:
        app()
    except TrainerError as error:
        from trainer.sound.errors import DeviceError

        typer.echo(str(error), err=True)
        sys.exit(Exit.NO_SOUND if isinstance(error, DeviceError) else Exit.BAD_INPUT)
    except Exception as error:
        if os.environ.get("TRAINER_DEBUG"):
            raise
        typer.echo(
            f"the trainer made a mistake ({type(error).__name__}: {error}); please report it, "
            "with what TRAINER_DEBUG=1 before the command prints",
            err=True,
        )
        sys.exit(Exit.INTERNAL)
