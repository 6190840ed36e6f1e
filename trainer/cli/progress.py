"""``trainer progress``: what is getting better, and what is not."""

from __future__ import annotations

import shutil
import sys
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import write_json

if TYPE_CHECKING:
    from trainer.coach import Metric, Overview, Progress

WIDEST, HIGHEST = 100, 20
"""Cells of a plot, at most."""


class ProgressFormat(StrEnum):
    """How progress is written."""

    TEXT = "text"
    JSON = "json"
    CSV = "csv"


class What(StrEnum):
    """What a plot in the terminal shows."""

    OFF = "off"
    SPREAD = "spread"
    TUNE = "tune"
    CLEAN = "clean"
    TIME = "time"
    MARK = "mark"


_MEASURES = {
    What.OFF: "cents",
    What.SPREAD: "spread_cents",
    What.TUNE: "in_tune",
    What.CLEAN: "clean",
    What.TIME: "off_ms",
    What.MARK: "score",
}


def progress(
    of: Annotated[
        str | None,
        typer.Argument(
            metavar="NOTE or SKILL",
            help="A tab entry (-4'), a skill (half-step bends), chords, ladders or everything; "
            "default: a table of all.",
        ),
    ] = None,
    player: Annotated[
        str | None, typer.Option(metavar="NAME", help="Whose; default: as in the settings.")
    ] = None,
    since: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], metavar="DATE", help="First day, as in 2026-11-25."),
    ] = None,
    weeks: Annotated[
        int, typer.Option(help="How many weeks are set against as many before.", min=1, max=52)
    ] = 1,
    what: Annotated[What, typer.Option(help="What the plot in the terminal shows.")] = What.OFF,
    plot: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw a picture, too: a name with .png or .svg."),
    ] = None,
    plain: Annotated[
        bool, typer.Option("--plain", help="A table of weeks instead of the plot.")
    ] = False,
    format_: Annotated[
        ProgressFormat,
        typer.Option(
            "--format",
            help="How to write it; csv: a line a week, of one NOTE or SKILL a line a day.",
        ),
    ] = ProgressFormat.TEXT,
) -> None:
    """Tell what is getting better and what is not, from the journal.

    Examples:

      trainer progress

      trainer progress "-4'" --since 2026-09-01 --plot bend.png

      trainer progress "half-step bends" --weeks 4 --what tune
    """
    from trainer.coach import METRICS, overview_at
    from trainer.report.progress_report import empty_progress_text
    from trainer.settings import load_settings
    from trainer.store import journal_path

    if of is not None and of.startswith("--"):
        raise typer.BadParameter(f"there is no option {of}; see 'trainer progress --help'")
    settings = load_settings()
    overview = overview_at(
        settings.journal.file or journal_path(),
        player or settings.player.name,
        date.today(),
        since=since.date() if since else None,
        weeks=weeks,
    )
    if not overview.subjects:
        typer.echo(empty_progress_text(overview), err=format_ is not ProgressFormat.TEXT)
        if format_ is ProgressFormat.TEXT:
            return
    one = overview.find(of) if of is not None and overview.subjects else None
    if one is None:
        _write_all(overview, format_)
    else:
        _write_one(one, overview.player, format_, None if plain else METRICS[_MEASURES[what]])
    if plot is not None and overview.subjects:
        from trainer.report.progress_plots import save_progress_plot

        save_progress_plot(plot, overview, one)
        typer.echo(f"drew {plot}", err=True)


def _write_all(overview: Overview, format_: ProgressFormat) -> None:
    from trainer.report.progress_report import overview_csv, overview_data, overview_text

    if format_ is ProgressFormat.JSON:
        write_json(overview_data(overview))
    elif format_ is ProgressFormat.CSV:
        typer.echo(overview_csv(overview), nl=False)
    else:
        typer.echo(overview_text(overview))


def _write_one(one: Progress, player: str, format_: ProgressFormat, plotted: Metric | None) -> None:
    from trainer.report.progress_report import progress_csv, progress_data, progress_text

    if format_ is ProgressFormat.JSON:
        write_json(progress_data(one, player))
    elif format_ is ProgressFormat.CSV:
        typer.echo(progress_csv(one, player), nl=False)
    elif plotted is not None and _is_drawn_on():
        typer.echo(progress_text(one, player, history=False))
        typer.echo("\n" + _plot(one, plotted))
    else:
        typer.echo(progress_text(one, player))


def _is_drawn_on() -> bool:
    """Whether a plot can be read where the output goes: a terminal that knows its letters."""
    return sys.stdout.isatty() and "utf" in (sys.stdout.encoding or "").lower()


def _plot(one: Progress, measure: Metric) -> str:
    from trainer.report.progress_plots import color_allowed, progress_plot_text

    width, height = shutil.get_terminal_size()
    size = min(width - 1, WIDEST), max(min(height - 4, HIGHEST), 8)
    return progress_plot_text(one, measure, *size, color=color_allowed())
