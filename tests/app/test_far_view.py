"""The far view: what it shows, and that it can be read from 2 m."""

from __future__ import annotations

import math

import pytest
from textual.pilot import Pilot

from devtools import scripted
from tests.support.pilots import Puppet, run, text
from trainer.app.far_text import FONT_ROWS, far_height, far_rows, far_scale, far_width
from trainer.app.screens.practice import FAR_ROWS
from trainer.app.take_state import TakeState
from trainer.app.widgets.far_view import FarViewState, far_view_rows
from trainer.harp import Harp
from trainer.practice import PassStarted, Plan, ReadingHeard
from trainer.sound import MicrophoneSpec

PLAN = Plan(Harp.of("C"), MicrophoneSpec(), scripted.DRILL)
MIN_DEGREES = 0.3
"""Smallest angle of a digit. ISO 9241-303: 20 to 22 minutes of arc are recommended."""
DISTANCE_MM = 2_000.0
SCREEN_MM = 174.0
"""Height of a 14-inch screen at 16:9."""
CHROME_ROWS = 3
"""Rows of the head, the status and the footer."""


def take_until(second: float) -> TakeState:
    take = TakeState(PLAN)
    for at, event in scripted.scripted_events(PLAN):
        take.apply(event)
        if at >= second:
            break
    return take


def height_of(row_texts: list[str]) -> int:
    """Rows of the large text: those between the first and the last that has a block."""
    inked = [y for y, row in enumerate(row_texts) if set(row) & set("█▀▄")]
    return inked[-1] - inked[0] + 1


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_digits_can_be_read_from_two_metres(size: tuple[int, int]) -> None:
    width, height = size[0], size[1] - CHROME_ROWS
    state = FarViewState.of(take_until(12.3))
    rows = ["".join(part for part, _ in row) for row in far_view_rows(state, width, height)]
    assert len(rows) <= height
    assert max(map(len, rows)) <= width
    words = next(y for y, row in enumerate(rows) if state.words in row)
    digits = height_of(rows[: (words - 1) // 2])
    height_mm = digits * SCREEN_MM / size[1]
    assert math.degrees(math.atan(height_mm / DISTANCE_MM)) > MIN_DEGREES
    needle = [row for row in rows[words + 1 :] if "▏" in row]
    assert len(needle) >= (4 if size[1] < 30 else 6)
    assert len({row.index("▏") for row in needle}) == 1
    if size[1] == 60:
        assert digits >= size[1] / 5


@pytest.mark.parametrize(("scale", "rows", "degrees"), [(2, 24, 1.45), (4, 60, 1.16)])
def test_the_angles_in_the_docs_are_those_of_the_font(
    scale: int, rows: int, degrees: float
) -> None:
    height_mm = FONT_ROWS * scale / 2 * SCREEN_MM / rows
    assert math.degrees(math.atan(height_mm / DISTANCE_MM)) == pytest.approx(degrees, abs=0.01)


def test_text_has_the_size_that_is_computed() -> None:
    for words in ("-4'", "IN TUNE", "LEAK 3", "NO 5", "▼16", "10"):
        for scale in (1, 2, 3, 5):
            rows = far_rows(words, scale)
            assert len(rows) == far_height(scale)
            assert {len(row) for row in rows} == {far_width(words, scale)}
        scale = far_scale(words, 100, 20)
        assert far_width(words, scale) <= 100
        assert far_height(scale) <= 20


def test_now_next_verdict_and_words_are_shown() -> None:
    take = take_until(12.3)
    step = take.next_step
    assert step is not None
    state = FarViewState.of(take)
    assert state.now == str(step.first[0])
    assert state.after == str(take.steps[step.index + 1].first[0])
    assert state.verdict == "▼16"
    assert state.words.startswith("▼ 16 cents flat")
    assert FarViewState.of(TakeState(PLAN)).verdict == ""


def test_a_large_window_shows_it_while_a_take_runs_unless_the_player_chose() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        far = pilot.app.screen.query_one("#far")
        assert not far.display
        await pilot.press("space")
        puppet.queue += [e for _, e in scripted.scripted_events(PLAN)][:400]
        await pilot.pause(0.1)
        assert far.display
        await pilot.press("v")
        await pilot.pause(0.1)
        assert not far.display
        assert "flat" in text(pilot)

    run(test, PLAN, size=(200, FAR_ROWS))


def test_a_window_of_usual_size_shows_it_on_one_key() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        far = pilot.app.screen.query_one("#far")
        await pilot.press("space")
        events = [e for _, e in scripted.scripted_events(PLAN)][:400]
        assert any(isinstance(event, PassStarted) for event in events)
        assert any(isinstance(event, ReadingHeard) for event in events)
        puppet.queue += events
        await pilot.pause(0.1)
        assert not far.display
        await pilot.press("v")
        await pilot.pause(0.1)
        assert far.display
        assert "█" in text(pilot)

    run(test, PLAN, size=(80, 24))
