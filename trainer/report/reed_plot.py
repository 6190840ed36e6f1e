"""The plot of one reed's history, in the terminal with plotext."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import plotext  # type: ignore[import-untyped]

from trainer.reedcare import ReedHistory
from trainer.report.formatting import day_text
from trainer.report.progress_plots import TERMINAL_PALETTE, Palette, render_plot

_TICK_CELLS = 16
"""Minimum cells between two dates on an axis."""
_MIN_RANGE_CENTS = 10.0
"""Minimum range of the axis to each side in cents."""


def draw_reed(figure: Any, reed: ReedHistory, today: date, palette: Palette, width: int) -> None:
    """Draw a reed's history on an empty figure: a dot per day, a line for its offset.

    Args:
        figure: plotext's module, or one of its figures.
        reed: a reed that was heard on one day or more.
        today: the present day.
        palette: its colours.
        width: width of the plot in cells.
    """
    figure.clear_figure()
    figure.title(f"{reed.tab} against the other reeds, cents")
    figure.xlabel("• a day   ⠒ its offset")
    at = [day.toordinal() for day in reed.days]
    figure.scatter(at, list(reed.cents), marker="•", color=palette.days)
    line = _line(reed)
    figure.plot(*line, marker="braille", color=palette.line)
    first, last = at[0], at[-1]
    count = max(1, min((width - 8) // _TICK_CELLS, last - first))
    ticks = [first + round(i * (last - first) / count) for i in range(count + 1)]
    figure.xticks(ticks, [day_text(date.fromordinal(day), today) for day in ticks])
    margin = max(0.02 * (last - first), 0.5)
    figure.xlim(first - margin, last + margin)
    reach = max([_MIN_RANGE_CENTS, *map(abs, reed.cents), *map(abs, line[1])])
    step = next(step for step in (5, 10, 20, 50, 100) if 3 * step >= reach or step == 100)
    top = step * math.ceil(reach / step)
    figure.ylim(-top, top)
    scale = list(range(-top, top + 1, step))
    figure.yticks(scale, [f"{cents:+d}" if cents else "0" for cents in scale])


def _line(reed: ReedHistory) -> tuple[list[float], list[float]]:
    """Return the line of a reed's offset: 0 until its change, then along the change."""
    first, last = reed.days[0].toordinal(), reed.days[-1].toordinal()
    change = reed.change
    if change is None:
        return [first, last], [0.0, 0.0]
    since = change.since.toordinal()
    if change.cents_per_month is None:
        return [first, since, since, last], [0.0, 0.0, -change.cents, -change.cents]
    return [first, since, last], [0.0, 0.0, -change.cents]


def reed_plot_text(reed: ReedHistory, today: date, width: int, height: int, *, color: bool) -> str:
    """Return a reed's history as lines for a terminal.

    Args:
        reed: a reed that was heard on one day or more.
        today: the present day.
        width: in cells.
        height: in cells.
        color: whether colours are allowed; days and line differ in shape, too.
    """
    draw_reed(plotext, reed, today, TERMINAL_PALETTE, width)
    return render_plot(width, height, color=color)
