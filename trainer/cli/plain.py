"""Takes in line mode: played in this process, printed as lines of text."""

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
    logged,
    no_command,
    run_take,
)
from trainer.report.take_lines import TakeLines
from trainer.sound import MicrophoneSpec


def console_events(
    plan: Plan, next_command: NextCommand = no_command, notices: list[str] | None = None
) -> Iterator[Event]:
    """Yield the events of a take; print its notices on standard error. Ctrl-C ends the take.

    Args:
        plan: the plan of the take.
        next_command: returns the player's next command, if any.
        notices: receives the notices, too, if a list is given.

    Raises:
        typer.Exit: the take failed; the reason was printed on standard error.
    """
    failed: TakeFailed | None = None
    with silence_libraries(), catch_interrupts() as stopping:
        for event in logged(run_take(plan, stopping, next_command)):
            if isinstance(event, TakeFailed):
                failed = event
            elif isinstance(event, Notice):
                typer.echo(event.sentence, err=True)
                if notices is not None:
                    notices.append(event.sentence)
            else:
                yield event
    if failed is not None:
        typer.echo(failed.sentence, err=True)
        raise typer.Exit(ExitCode.NO_SOUND if failed.no_sound else ExitCode.BAD_INPUT)


def take_readings(plan: Plan) -> Iterator[Reading]:
    """Yield the readings of a take."""
    return (event.reading for event in console_events(plan) if isinstance(event, ReadingHeard))


def take_results(plan: Plan) -> list[Result]:
    """Return the results of a take's passes."""
    return [event.result for event in console_events(plan) if isinstance(event, PassEnded)]


def play_plain(plan: Plan) -> None:
    """Play a take and print it as lines; typed lines control it."""
    lines, typed = TakeLines(plan, shutil.get_terminal_size((80, 24)).columns), TypedCommands()
    typed.is_enabled &= isinstance(plan.source, MicrophoneSpec)
    if typed.is_enabled:
        typer.echo(HINT)
    for event in console_events(plan, typed):
        typed.observe(event)
        for line in lines.lines(event):
            typer.echo(line)
