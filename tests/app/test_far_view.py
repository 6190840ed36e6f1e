"""The far view: what it shows, and that it can be read from 2 m."""

from __future__ import annotations

import math

import pytest
from textual.pilot import Pilot

from devtools import scripted
from tests.support.pilots import Puppet, run, text
from trainer.app.far_text import FONT_ROWS, far_height, far_rows, far_scale, far_width
from trainer.app.practice_layout import practice_layout
from trainer.app.screens.practice import FAR_ROWS
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.readout import ReadoutState, readout_rows
from trainer.harp import Harp
from trainer.music.harmony import QUALITIES, Chord
from trainer.practice import PassStarted, Plan, ReadingHeard
from trainer.sound import MicrophoneSpec

PLAN = Plan(Harp.of("C"), MicrophoneSpec(), scripted.DRILL)
MIN_DEGREES = 0.3
"""Smallest angle of a digit. ISO 9241-303: 20 to 22 minutes of arc are recommended."""
DISTANCE_MM = 2_000.0
SCREEN_MM = 174.0
"""Height of a 14-inch screen at 16:9."""


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
    width, height = size
    layout = practice_layout(scripted.DRILL, width, height, far=True, status=1, trouble=False)
    head, gauge, rest, status = layout.rows
    assert rest == 0
    readout = height - head - gauge - status - 1
    state = ReadoutState.of(take_until(12.3))
    rows = ["".join(part for part, _ in row) for row in readout_rows(state, width, readout)]
    assert len(rows) == readout
    assert max(map(len, rows)) <= width
    assert state.words in rows[-1]
    digits = height_of(rows[: (readout - 2) // 2])
    height_mm = digits * SCREEN_MM / height
    assert math.degrees(math.atan(height_mm / DISTANCE_MM)) > MIN_DEGREES
    assert gauge - 1 >= (4 if height < 30 else 6)
    if height == 60:
        assert digits >= height / 5


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


def test_each_chord_of_a_ground_is_drawn_whole() -> None:
    names = [Chord(root, quality).in_key for root in range(12) for quality in QUALITIES]
    drawn = {tuple(far_rows(name, 1)) for name in names}
    assert len(drawn) == len(set(names))
    assert not [sign for sign in set("".join(names)) if not "".join(far_rows(sign, 1)).strip()]


def test_now_next_verdict_and_words_are_shown() -> None:
    take = take_until(12.3)
    step = take.next_step
    assert step is not None
    state = ReadoutState.of(take)
    assert state.play == str(step.first[0])
    assert state.after == str(take.steps[step.index + 1].first[0])
    assert state.sign == "▼16"
    assert state.words.startswith("▼ 16 cents flat")
    assert ReadoutState.of(TakeState(PLAN)).sign == ""


def test_a_paused_take_asks_for_no_note_and_a_lost_microphone_hears_none() -> None:
    take = TakeState(PLAN)
    take.phase = Phase.PAUSED
    assert ReadoutState.of(take).words == "‖ paused: space goes on"
    take = take_until(12.3)
    take.phase = Phase.NO_SOUND
    lost = ReadoutState.of(take)
    assert (lost.second, lost.sign) == ("", "")
    assert lost.words.startswith("× no sound")


def test_a_large_window_shows_it_while_a_take_runs_unless_the_player_chose() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        page = pilot.app.screen.query_one("#page")
        assert page.display
        await pilot.press("space")
        puppet.queue += [e for _, e in scripted.scripted_events(PLAN)][:400]
        await pilot.pause(0.1)
        assert not page.display
        await pilot.press("v")
        await pilot.pause(0.1)
        assert page.display
        assert "flat" in text(pilot)

    run(test, PLAN, size=(200, FAR_ROWS))


def test_a_window_of_usual_size_shows_it_on_one_key() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        page = pilot.app.screen.query_one("#page")
        await pilot.press("space")
        events = [e for _, e in scripted.scripted_events(PLAN)][:400]
        assert any(isinstance(event, PassStarted) for event in events)
        assert any(isinstance(event, ReadingHeard) for event in events)
        puppet.queue += events
        await pilot.pause(0.1)
        assert page.display
        await pilot.press("v")
        await pilot.pause(0.1)
        assert not page.display
        assert "█" in text(pilot)

    run(test, PLAN, size=(80, 24))


def test_the_count_in_highlights_its_digit_only() -> None:
    counting = ReadoutState("3", "", "count-in", "now", play="3", after="-4", stands_in=True)
    rows = readout_rows(counting, 200, 43)
    marked = [len(part) for row in rows for part, pen in row if pen == "now"]
    assert marked
    assert max(marked) <= far_width("3", far_scale("3", 200, 20))


def test_before_the_first_count_only_the_next_tab_is_shown() -> None:
    take = take_until(0.0)
    state = ReadoutState.of(take)
    assert take.phase is Phase.COUNTING
    assert (state.play, state.after) == ("", "-4")


def test_after_a_take_its_score_can_be_read_from_afar() -> None:
    take = take_until(math.inf)
    assert take.phase is Phase.ENDED
    assert take.sheet.result is not None
    state = ReadoutState.of(take)
    assert state.play == f"{take.sheet.result.score:.0f}"
    assert "passed; space plays it again" in state.words
    rows = ["".join(part for part, _ in row) for row in readout_rows(state, 80, 18)]
    assert height_of(rows) >= far_height(2)
