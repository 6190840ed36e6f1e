"""``trainer doctor``: what a report of a problem needs."""

from __future__ import annotations

import typer

from trainer.cli.options import player_journal
from trainer.cli.terminal_guard import silence_libraries


def doctor() -> None:
    """Print what a report of a problem needs: versions, counts, and whether things work.

    Nothing private is printed: no names of players, devices or drills, and no values of settings.

    Example:

      trainer doctor
    """
    from trainer.report.doctor_report import doctor_lines
    from trainer.settings import resolve_settings

    with silence_libraries():
        for line in doctor_lines(resolve_settings(), player_journal()):
            typer.echo(line)
