"""The command line: one module per command, without logic of its own.

A command's module is imported when the command is used, and heavy libraries inside its function, so
that ``trainer --help`` is quick.
"""

from __future__ import annotations

import contextlib
import logging
import os
import sys
from collections import UserDict
from collections.abc import Callable
from functools import wraps
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from trainer.cli.exit_codes import ExitCode

_COMMANDS = {
    "demo": "play.demo",
    "play": "play.play",
    "listen": "listen.listen",
    "mark": "mark.mark",
    "compare": "compare.compare",
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
    "doctor": "doctor.doctor",
}
"""Module and object of each command or group, in the order of the help."""
_TYPER_OPTIONS: dict[str, Any] = {"rich_markup_mode": None, "pretty_exceptions_enable": False}
_READS_RECORDINGS = ("mark", "report")
"""Commands whose recordings may be MP3, whose decoder complains about much that does no harm.
`tab`, which may open the app, keeps it quiet while it reads."""
_TAB_ARGUMENTS = ("progress",)
"""Commands whose argument may be a tab entry such as -4', which looks like an option."""


def _quietly(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command that shows nothing of what decoders write to standard error."""
    from trainer.cli.terminal_guard import silence_libraries

    @wraps(command)
    def quiet(*args: Any, **options: Any) -> None:
        with silence_libraries():
            command(*args, **options)

    return quiet


class _Commands(UserDict[str, Any]):
    """Commands by name, each imported when it is first read."""

    def __getitem__(self, name: str) -> Any:
        command = self.data[name]
        if isinstance(command, str):
            command = self.data[name] = _load(name, *command.split("."))
        return command


def _load(name: str, module: str, attribute: str) -> Any:
    """Import a command or a group of commands."""
    target, group = (
        getattr(import_module(f"trainer.cli.{module}"), attribute),
        typer.Typer(**_TYPER_OPTIONS),
    )
    if name in _READS_RECORDINGS:
        target = _quietly(target)
    if isinstance(target, typer.Typer):
        group.add_typer(target, name=name)
    else:
        group.command(name, context_settings={"ignore_unknown_options": name in _TAB_ARGUMENTS})(
            target
        )
    return typer.main.get_group(group).commands[name]


class _AllCommands(TyperGroup):
    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.commands = _Commands(_COMMANDS)


app = typer.Typer(cls=_AllCommands, add_completion=False, **_TYPER_OPTIONS)


@app.callback(invoke_without_command=True)
def open_app(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and exit.")] = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", help="Log details, and show the log on standard error.")
    ] = False,
    demo: Annotated[
        bool, typer.Option("--demo", hidden=True, help="Let the built-in player play.")
    ] = False,
) -> None:
    """An intonation trainer for the ten-hole diatonic harmonica.

    Without a command, opens the live screen on today's set.

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
            "the live screen needs a terminal; use 'trainer today' for the daily set as text, "
            "'trainer demo --plain' for a drill, 'trainer --help' for all commands",
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
    selected, name = harp_from_options(*(None,) * 5, written_for=Harp.of(first.key, first.tuning))
    plan = Plan(
        selected,
        PlayerSpec(realtime=True) if demo else microphone_spec(None, None),
        drill=first,
        count_in=count_in_beats(None),
        follow=player_settings().practice.follow,
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
    from trainer.core.printable import filtered_output

    with filtered_output():
        _run()


def _run() -> None:
    from trainer.core import TrainerError
    from trainer.core.logs import log_file, stop_logging
    from trainer.core.printable import OutputError

    log = logging.getLogger(__name__)
    try:
        app(prog_name="trainer")
    except OutputError as error:
        log.info("%s", error)
        _drop_output()
        typer.echo(str(error), err=True)
        sys.exit(ExitCode.OUTPUT)
    except TrainerError as error:
        from trainer.sound import DeviceError

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
        _print_notices()
        stop_logging()


def _drop_output() -> None:
    """Send what is still buffered nowhere, so that Python does not complain at its end."""
    with contextlib.suppress(OSError, ValueError):
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, sys.stdout.fileno())
        os.close(null)


def _print_notices() -> None:
    """Print what happened to the journal, on standard error."""
    if store := sys.modules.get("trainer.store"):
        for sentence in store.take_notices():
            typer.echo(sentence, err=True)
