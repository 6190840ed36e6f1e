"""The layout of the practice screen: what each window gives to tab, trace, needle and readout."""

from __future__ import annotations

from dataclasses import replace

import pytest

from devtools import scripted
from trainer.app.practice_layout import PAGE_MARGIN, listening_layout, practice_layout
from trainer.app.widgets.readout import LARGE_ROWS
from trainer.app.widgets.tab_page import ROWS_PER_LINE, lay_out_tab

WINDOWS = [(80, 24), (80, 34), (100, 36), (120, 40), (160, 48), (200, 60)]


@pytest.mark.parametrize(("width", "height"), WINDOWS)
@pytest.mark.parametrize("far", [False, True])
@pytest.mark.parametrize("status", [1, 2, 3])
def test_the_rows_fill_the_window(width: int, height: int, far: bool, status: int) -> None:
    layout = practice_layout(
        scripted.DRILL, width, height, far=far, status=status, trouble=status == 3
    )
    rest = height - sum(layout.rows) - 1
    assert layout.rows.count(0) == 1
    assert rest >= 7
    assert "1fr" in layout.css


@pytest.mark.parametrize(("width", "height", "bars"), [(120, 40, 3), (200, 60, 3), (80, 40, 2)])
def test_a_tall_window_has_two_or_three_bars_on_a_line_and_no_dead_column(
    width: int, height: int, bars: int
) -> None:
    layout = practice_layout(scripted.DRILL, width, height, far=False, status=1, trouble=False)
    page = lay_out_tab(scripted.DRILL, width - 2 * PAGE_MARGIN, layout.rows[1] // ROWS_PER_LINE)
    assert len(page.lines) * bars == scripted.DRILL.bars
    assert layout.rows[1] == len(page.lines) * ROWS_PER_LINE
    dead = width - 2 * PAGE_MARGIN - page.column(page.lines[0], page.lines[0].end)
    assert dead <= bars * page.meter


def test_needle_and_readout_take_free_rows() -> None:
    needle, readout = practice_layout(
        scripted.DRILL, 120, 40, far=False, status=1, trouble=False
    ).rows[3:5]
    assert needle - 2 >= 6
    assert readout == 5
    needle, readout = practice_layout(
        scripted.DRILL, 200, 60, far=False, status=1, trouble=False
    ).rows[3:5]
    assert needle - 2 >= 10
    assert readout == LARGE_ROWS + 1


def test_a_long_drill_leaves_the_trace_its_rows() -> None:
    steps = tuple(
        replace(step, index=i * 17 + step.index, start=step.start + 24 * i)
        for i in range(8)
        for step in scripted.DRILL.steps
    )
    long = replace(scripted.DRILL, steps=steps, end=scripted.DRILL.end * 8)
    rows = practice_layout(long, 120, 40, far=False, status=1, trouble=False).rows
    assert 40 - sum(rows) - 1 >= 9
    assert rows[1] >= 2 * ROWS_PER_LINE


@pytest.mark.parametrize(("width", "height"), WINDOWS)
@pytest.mark.parametrize("status", [1, 2, 3])
@pytest.mark.parametrize("strip", [0, 5])
def test_needle_and_readout_grow_where_there_is_no_drill(
    width: int, height: int, status: int, strip: int
) -> None:
    rows = listening_layout(
        height, strip=strip, tone=not strip, status=status, trouble=status == 3
    ).rows
    trace = rows.index(0)
    assert rows.count(0) == 1
    assert height - sum(rows) - 1 >= 3
    if height >= 40:
        assert rows[trace + 1] - 2 >= height // 6
    assert rows[trace + 2] == (LARGE_ROWS + 1 if height == 60 else rows[trace + 2])
    assert strip in (0, rows[1])
