"""A take without a screen: played in this process, told in lines."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.terminal_guard import catch_interrupts, silence_libraries
from trainer.cli.typed_commands import HINT, TypedCommands
from trainer.ear import Reading
from trainer.marking import Result
from trainer.practice import (
    Event,
    NextCommand,
    Notice,
    PassEnded,
    Plan,
    ReadingHeard,
    TakeFailed,
    no_command,
    run_take,
)
from trainer.report.take_lines import TakeLines
from trainer.sound import MicrophoneSpec


def console_events(plan: Plan, asked: NextCommand = no_command) -> Iterator[Event]:
    """The events of a take; Ctrl-C ends it with what was played. Notices go to standard error.

    Args:
        plan: what is played.
        asked: gives what else the player asks for.

    Raises:
        typer.Exit: the take could not go on; the reason went to standard error.
    """
    failed: TakeFailed | None = None
    with silence_libraries(), catch_interrupts() as stopping:
        for event in run_take(plan, stopping, asked):
            if isinstance(event, TakeFailed):
                failed = event
            elif isinstance(event, Notice):
                typer.echo(event.sentence, err=True)
            else:
                yield event
    if failed is not None:
        typer.echo(failed.sentence, err=True)
        raise typer.Exit(ExitCode.NO_SOUND if failed.no_sound else ExitCode.BAD_INPUT)


def take_readings(plan: Plan) -> Iterator[Reading]:
    """The readings of a take."""
    return (event.reading for event in console_events(plan) if isinstance(event, ReadingHeard))


def take_results(plan: Plan) -> list[Result]:
    """The results of a take's passes."""
    return [event.result for event in console_events(plan) if isinstance(event, PassEnded)]


def play_plain(plan: Plan) -> None:
    """Play a take and tell it in lines as it goes; what is typed is asked of it."""
    lines, typed = TakeLines(plan, shutil.get_terminal_size((80, 24)).columns), TypedCommands()
    typed.listens &= isinstance(plan.source, MicrophoneSpec)
    if typed.listens:
        typer.echo(HINT)
    for event in console_events(plan, typed):
        typed.see(event)
        for line in lines.lines(event):
            typer.echo(line)
