"""The command line: one file a command, thin.

A command's file is loaded when the command is asked for, and each imports what it needs when it
runs, so that ``trainer --help`` answers at once.
"""

from __future__ import annotations

import logging
import os
import sys
from collections import UserDict
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from trainer.cli.exit_codes import ExitCode

_WHERE = {
    "demo": "play.demo",
    "play": "play.play",
    "listen": "listen.listen",
    "mark": "mark.mark",
    "report": "report.report",
    "tab": "tab.tab",
    "loop": "loop.loop",
    "today": "today.today",
    "progress": "progress.progress",
    "harp": "harp.app",
    "drill": "drill.app",
    "sound": "sound.app",
    "journal": "journal.app",
    "settings": "settings.app",
}
"""The file and the function of each command, or the group of commands, in the order of the help."""
_USUAL: dict[str, Any] = {"rich_markup_mode": None, "pretty_exceptions_enable": False}
_TAKES_TAB = ("progress",)
"""Commands that take -4' for a note and not for options."""


class _Commands(UserDict[str, Any]):
    """The commands by their names, each loaded when it is first looked at."""

    def __getitem__(self, name: str) -> Any:
        found = self.data[name]
        if isinstance(found, str):
            found = self.data[name] = _loaded(name, *found.split("."))
        return found


def _loaded(name: str, file: str, what: str) -> Any:
    """A command, or a group of commands, from its file."""
    found, part = getattr(import_module(f"trainer.cli.{file}"), what), typer.Typer(**_USUAL)
    if isinstance(found, typer.Typer):
        part.add_typer(found, name=name)
    else:
        part.command(name, context_settings={"ignore_unknown_options": name in _TAKES_TAB})(found)
    return typer.main.get_group(part).commands[name]


class _AllCommands(TyperGroup):
    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.commands = _Commands(_WHERE)


app = typer.Typer(cls=_AllCommands, add_completion=False, **_USUAL)


@app.callback(invoke_without_command=True)
def open_app(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and exit.")] = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", help="Log more, to standard error, too.")
    ] = False,
    demo: Annotated[
        bool, typer.Option("--demo", hidden=True, help="Let the built-in player play.")
    ] = False,
) -> None:
    """An intonation trainer for the ten-hole diatonic harmonica.

    Without a command, it opens the live screen on the day's set.

    Example:

      trainer
    """
    from trainer.core import logs

    if verbose:
        os.environ[logs.VERBOSE_VARIABLE] = "1"
    logs.start_logging()
    if version:
        from trainer import __version__

        typer.echo(f"trainer {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is not None:
        return
    from trainer.cli.screen import can_show_screen, run_app

    if not can_show_screen():
        typer.echo(
            "the live screen needs a terminal that it can paint on; 'trainer today' tells the "
            "day's set in lines, 'trainer demo --plain' a drill, 'trainer --help' all there is",
            err=True,
        )
        raise typer.Exit(ExitCode.USAGE)
    from trainer.cli.options import (
        count_in_beats,
        harp_from_options,
        microphone_spec,
        player_journal,
        player_settings,
        sound_mb,
    )
    from trainer.drill import read_shelf
    from trainer.harp import Harp
    from trainer.practice import Plan
    from trainer.sound import PlayerSpec

    first = read_shelf().drills[0]
    held, name = harp_from_options(*(None,) * 5, written_for=Harp.of(first.key, first.tuning))
    plan = Plan(
        held,
        PlayerSpec(realtime=True) if demo else microphone_spec(None, None),
        drill=first,
        count_in=count_in_beats(None),
        journal=player_journal(),
        player=player_settings().player.name,
        harp_name=name,
        sound_mb=sound_mb(),
    )
    run_app(plan, today=True)


def main() -> None:
    """Run a command; print an expected error as one sentence on standard error, and exit.

    An unexpected error is logged with its traceback; with ``TRAINER_DEBUG`` set, it is raised.
    """
    from trainer.core import TrainerError
    from trainer.core.logs import log_file, stop_logging

    log = logging.getLogger(__name__)
    try:
        app(prog_name="trainer")
    except TrainerError as error:
        from trainer.sound.errors import DeviceError

        log.info("%s: %s", type(error).__name__, error)
        typer.echo(str(error), err=True)
        sys.exit(ExitCode.NO_SOUND if isinstance(error, DeviceError) else ExitCode.BAD_INPUT)
    except Exception as error:
        if os.environ.get("TRAINER_DEBUG"):
            raise
        log.exception("unexpected error")
        typer.echo(
            f"internal error ({type(error).__name__}: {error}); please report it with the end of "
            f"{log_file()}",
            err=True,
        )
        sys.exit(ExitCode.INTERNAL)
    finally:
        stop_logging()
