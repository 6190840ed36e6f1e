"""No text from outside steers the terminal: every screen's lines pass one filter."""

from __future__ import annotations

import asyncio

from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.pilot import Pilot
from textual.widgets import Static

from devtools import scripted
from devtools.paint_cost import CountingApp
from tests.support.pilots import Puppet, run, text
from trainer.app.output_filter import PrintableFilter
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.sound import MicrophoneSpec

PLAN = Plan(Harp.of("C"), MicrophoneSpec(), drill=scripted.DRILL)
BLACK = Color(0, 0, 0)
EVIL = "tune\x1b]0;owned\x07\x1b[2J\u202egnp.wav\udcff"


def test_unsafe_characters_are_replaced_and_styles_kept() -> None:
    style = Style(bold=True)
    line = [Segment("a ", style), Segment(EVIL, style)]
    shown = PrintableFilter().apply(line, BLACK)
    assert [segment.style for segment in shown] == [style, style]
    joined = "".join(segment.text for segment in shown)
    assert joined.isprintable() or "\ufffd" in joined
    assert not any(c in joined for c in "\x1b\x07\u202e\udcff")
    assert "owned" in joined


def test_its_cost_is_measured_on_the_whole_app() -> None:
    async def scene() -> None:
        app = CountingApp(Puppet(), scripted.DRILLS, PLAN)
        async with app.run_test() as pilot:
            await pilot.press("v")
            await pilot.pause()
            assert app.sample().lines > 0
            assert app.sample().filter_s > 0.0

    asyncio.run(scene())


def test_a_safe_line_is_left_as_it_is() -> None:
    line = [Segment("▶ −4′ — ♪ 5"), Segment("ä 笛")]
    assert PrintableFilter().apply(line, BLACK) is line


def test_any_widget_of_any_screen_is_filtered() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.app.screen.mount(Static(EVIL, markup=False))
        pilot.app.notify(f"[red]{EVIL}")
        await pilot.pause()
        lines = [
            segment.text
            for strip in pilot.app.screen._compositor.render_strips()
            for segment in strip
        ]
        shown = "".join(lines)
        assert "owned" in shown
        assert not any(c in shown for c in "\x1b\x07\u202e\udcff")
        assert "[red]" in text(pilot)

    run(test, PLAN)
