"""A take without a screen: played in this process, told in lines."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import typer

from trainer.cli.exit_codes import Exit
from trainer.cli.terminal_guard import interrupts, quiet_libraries
from trainer.cli.typed_lines import HINT, Typed
from trainer.ear import Reading
from trainer.marking import Result
from trainer.practice import Asked, Ended, Event, Failed, Heard, Notice, Plan, nothing, run
from trainer.report.take_lines import TakeLines
from trainer.sound import MicrophoneSpec


def events(plan: Plan, asked: Asked = nothing) -> Iterator[Event]:
    """The events of a take; Ctrl-C ends it with what was played. Notices go to standard error.

    Args:
        plan: what is played.
        asked: gives what else the player asks for.

    Raises:
        typer.Exit: the take could not go on; the reason went to standard error.
    """
    failed: Failed | None = None
    with quiet_libraries(), interrupts() as stopping:
        for event in run(plan, stopping, asked):
            if isinstance(event, Failed):
                failed = event
            elif isinstance(event, Notice):
                typer.echo(event.sentence, err=True)
            else:
                yield event
    if failed is not None:
        typer.echo(failed.sentence, err=True)
        raise typer.Exit(Exit.NO_SOUND if failed.no_sound else Exit.BAD_INPUT)


def heard(plan: Plan) -> Iterator[Reading]:
    """The readings of a take."""
    return (event.reading for event in events(plan) if isinstance(event, Heard))


def results(plan: Plan) -> list[Result]:
    """The results of a take's passes."""
    return [event.result for event in events(plan) if isinstance(event, Ended)]


def play_plain(plan: Plan) -> None:
    """Play a take and tell it in lines as it goes; what is typed is asked of it."""
    lines, typed = TakeLines(plan, shutil.get_terminal_size((80, 24)).columns), Typed()
    typed.listens &= isinstance(plan.source, MicrophoneSpec)
    if typed.listens:
        typer.echo(HINT)
    for event in events(plan, typed):
        typed.see(event)
        for line in lines.lines(event):
            typer.echo(line)
