"""The boards of guide and measurement: in the middle, in full view, at every size."""

from __future__ import annotations

import pytest

from tests.support.snapshots import SIZES
from trainer.app.canvas import TextRow, cell_width
from trainer.app.far_text import far_height, far_rows
from trainer.app.widgets.guide_board import GuideState, guide_rows
from trainer.app.widgets.level_bar import FAINT_DB, TOO_LOUD_DB, level_bar_rows
from trainer.app.widgets.measuring_board import MeasuringState, measuring_rows
from trainer.harp import Harp, Tab
from trainer.practice import ReedRequested, ReedSounding

DRAW_4 = Tab.parse("-4")
STATES = {
    "guide": GuideState(2, 2, "one note", "Play -4. " * 20, "-4", message="play -4 " * 12),
    "measuring": MeasuringState(
        Harp.of("C"),
        ReedRequested(DRAW_4, "D5", 3, 40),
        ReedSounding(DRAW_4, 4.0, 0.5),
        {Tab.parse("4"): -3.0},
        messages=("4, C5: 523.2 Hz, -3.0 cents",) * 6,
        level_db=-20,
    ),
}


def text_of(row: TextRow) -> str:
    return "".join(text for text, _ in row)


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("name", STATES)
def test_boards_fit_and_stand_in_the_middle(name: str, size: tuple[int, int]) -> None:
    width, height = size[0], size[1] - 3
    state = STATES[name]
    draw = guide_rows if isinstance(state, GuideState) else measuring_rows
    rows = draw(state, width, height)  # type: ignore[arg-type]
    assert len(rows) == height
    assert all(cell_width(row) <= width for row in rows)
    lines = [text_of(row).rstrip() for row in rows]
    left = min(len(line) - len(line.lstrip()) for line in lines if line)
    right = width - max(map(len, lines))
    assert abs(left - right) <= 2
    above = next(y for y, line in enumerate(lines) if line)
    below = next(y for y, line in enumerate(reversed(lines)) if line)
    assert abs(above - below) <= 6
    scale = max(s for s in range(1, 9) if far_rows("-4", s)[0].strip() in "\n".join(lines))
    assert far_height(scale) >= {24: 4, 40: 10, 60: 20}[size[1]]
    assert any("hole 4 draw" in line or "play -4" in line for line in lines)


@pytest.mark.parametrize(
    ("level", "pen"),
    [
        (None, "quiet"),
        (-58, "quiet"),
        (round(FAINT_DB) + 1, "good"),
        (round(TOO_LOUD_DB) + 1, "wrong"),
    ],
)
def test_level_bar_tells_faint_good_and_loud_apart(level: int | None, pen: str) -> None:
    bar, scale = level_bar_rows(level, 62, rows=1)
    filled = {span_pen for text, span_pen in bar if "█" in text}
    assert filled == (set() if level is None else {pen})
    words = text_of(scale)
    assert "good" in words
    assert "loud" in words
    assert ("no input" if level is None else f"{level} dB") in words
    assert cell_width(bar) == 62
