"""No text from outside steers the terminal: every screen's lines pass one filter."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.pilot import Pilot
from textual.widgets import Static

from devtools import scripted
from devtools.paint_cost import CountingApp
from tests.support.evenings import TODAY, an_input, step, take
from tests.support.pilots import ANSWERS, Puppet, run, settle, text, until
from trainer.app.output_filter import PrintableFilter
from trainer.harp import Harp
from trainer.practice import ListDevices, Plan
from trainer.sound import MicrophoneSpec
from trainer.store import Journal

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


NASTY = "\x1b]0;owned\x07\x1b[2J\u202e[/red][bold @click=app.quit]=1+1<b>x"
"""Control and bidirectional characters, markup of the screens' own kind, a formula, HTML."""


def test_hostile_names_of_devices_players_and_drills_are_shown_as_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = tmp_path / "journal.sqlite"
    records = [
        replace(
            take(TODAY - timedelta(days=day), [replace(step("-4'", -day), sentence=NASTY)], day),
            player=NASTY,
            drill=f"drill {NASTY}",
            title=f"title {NASTY}",
            skills=(f"skill {NASTY}",),
            extras=(NASTY,),
        )
        for day in range(1, 20)
    ]
    with Journal(journal) as opened:
        opened.add(*records)
    monkeypatch.setenv("TRAINER_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setitem(ANSWERS, ListDevices, (an_input(f"device {NASTY}", 1),))
    plan = replace(PLAN, journal=journal, player=NASTY)
    shown: dict[str, str] = {}

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        first = pilot.app.screen
        for key in ("m", "g", "v", "c", "h", "comma"):
            await pilot.press(key)
            for _ in range(20):
                await settle(pilot)
            shown[key] = text(pilot)
            if pilot.app.screen is not first:
                await pilot.press("escape")
                await until(pilot, lambda: pilot.app.screen is first)

    run(test, plan)
    for key, lines in shown.items():
        assert not set(lines) & set("\x1b\x07\u202e"), key
    assert "device" in shown["m"]
    assert "[/red]" in shown["m"]
    assert any("[/red]" in lines for key, lines in shown.items() if key != "m")
