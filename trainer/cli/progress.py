"""``trainer progress``: trends of accuracy over weeks of practice."""

from __future__ import annotations

import shutil
import sys
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import write_json
from trainer.core.printable import raw_stream

if TYPE_CHECKING:
    from trainer.coach import Metric, Overview, Progress

MAX_PLOT_WIDTH, MAX_PLOT_HEIGHT = 100, 20
"""Maximum width and height of a plot in character cells."""


class ProgressFormat(StrEnum):
    """Output formats of progress."""

    TEXT = "text"
    JSON = "json"
    CSV = "csv"


class PlotQuantity(StrEnum):
    """Quantities that a plot can show."""

    OFF = "off"
    SPREAD = "spread"
    TUNE = "tune"
    CLEAN = "clean"
    TIME = "time"
    MARK = "mark"


_MEASURES = {
    PlotQuantity.OFF: "cents",
    PlotQuantity.SPREAD: "spread_cents",
    PlotQuantity.TUNE: "in_tune",
    PlotQuantity.CLEAN: "clean",
    PlotQuantity.TIME: "off_ms",
    PlotQuantity.MARK: "score",
}


def progress(
    of: Annotated[
        str | None,
        typer.Argument(
            metavar="NOTE or SKILL",
            help="A tab entry (-4'), a skill (half-step bends), chords, ladders or everything. "
            "[default: a table of all]",
        ),
    ] = None,
    player: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Name of the player. [default: from settings]"),
    ] = None,
    since: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], metavar="DATE", help="First day, such as 2026-11-25."),
    ] = None,
    weeks: Annotated[
        int, typer.Option(help="Compare this many weeks with as many before them.", min=1, max=52)
    ] = 1,
    what: Annotated[PlotQuantity, typer.Option(help="Quantity of the plot.")] = PlotQuantity.OFF,
    plot: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also save the plot as .png or .svg."),
    ] = None,
    plain: Annotated[
        bool, typer.Option("--plain", help="A table of weeks instead of the plot.")
    ] = False,
    format_: Annotated[
        ProgressFormat,
        typer.Option(
            "--format",
            help="Output format; csv: one row per week, or per day for one NOTE or SKILL.",
        ),
    ] = ProgressFormat.TEXT,
) -> None:
    """Show what is improving and what is not, from the takes in the journal.

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
    subject = overview.find(of) if of is not None and overview.subjects else None
    if subject is None:
        _write_all(overview, format_)
    else:
        _write_subject(
            subject, overview.player, format_, None if plain else METRICS[_MEASURES[what]]
        )
    if plot is not None and overview.subjects:
        from trainer.report.progress_plots import save_progress_plot

        save_progress_plot(plot, overview, subject)
        typer.echo(f"Wrote {plot}.", err=True)


def _write_all(overview: Overview, format_: ProgressFormat) -> None:
    from trainer.report.progress_report import overview_csv, overview_data, overview_text

    if format_ is ProgressFormat.JSON:
        write_json(overview_data(overview))
    elif format_ is ProgressFormat.CSV:
        typer.echo(overview_csv(overview), nl=False)
    else:
        typer.echo(overview_text(overview))


def _write_subject(
    subject: Progress, player: str, format_: ProgressFormat, plotted: Metric | None
) -> None:
    from trainer.report.progress_report import progress_csv, progress_data, progress_text

    if format_ is ProgressFormat.JSON:
        write_json(progress_data(subject, player))
    elif format_ is ProgressFormat.CSV:
        typer.echo(progress_csv(subject, player), nl=False)
    elif plotted is not None and _can_plot():
        typer.echo(progress_text(subject, player, history=False))
        typer.echo("\n" + _plot(subject, plotted), file=raw_stream(sys.stdout))  # has colours
    else:
        typer.echo(progress_text(subject, player))


def _can_plot() -> bool:
    """Return whether the output is a UTF-8 terminal, which can show a plot."""
    return sys.stdout.isatty() and "utf" in (sys.stdout.encoding or "").lower()


def _plot(subject: Progress, measure: Metric) -> str:
    from trainer.report.progress_plots import color_allowed, progress_plot_text

    width, height = shutil.get_terminal_size()
    size = min(width - 1, MAX_PLOT_WIDTH), max(min(height - 4, MAX_PLOT_HEIGHT), 8)
    return progress_plot_text(subject, measure, *size, color=color_allowed())
