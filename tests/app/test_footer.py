"""The footer shows whole keys: all of them from 120 columns on, and help has the others."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from textual.pilot import Pilot
from textual.widgets._toast import Toast

from devtools import scripted
from tests.app.test_every_key import SCREENS, go_to, plan
from tests.support.pilots import Puppet, run, settle, text, until
from trainer.app.app import TrainerApp
from trainer.app.keys import bindings_of, key_name
from trainer.app.screens.practice import PracticeScreen
from trainer.app.widgets.key_footer import (
    FULL_COLUMNS,
    LAST_KEYS,
    MORE,
    KeyFooter,
    entry_at,
    footer_entries,
    footer_rows,
)
from trainer.practice import Plan

__all__ = ["plan"]
HEIGHTS = {80: 24, 120: 40, 200: 60}


@dataclass
class Shown:
    """The footer on the screen: its rows and the keys that it must have."""

    rows: list[str]
    entries: list[str]

    @classmethod
    def of(cls, pilot: Pilot[None]) -> Shown:
        footer = pilot.app.screen.query_one(KeyFooter)
        rows = text(pilot).split("\n")[footer.region.y : footer.region.bottom]
        entries = [f"{entry.shown} {entry.words}" for entry in footer_entries(pilot.app.screen)]
        return cls([row.rstrip() for row in rows], entries)


def test_esc_goes_back_from_every_screen_and_the_footer_says_so(plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        for screen in SCREENS:
            await go_to(pilot, puppet, screen)
            if screen is PracticeScreen:
                continue
            await until(pilot, lambda: any(Shown.of(pilot).rows))
            assert "esc back" in Shown.of(pilot).entries, screen
            before = pilot.app.screen
            await pilot.press("escape")
            await settle(pilot)
            assert pilot.app.screen is not before, screen
            while not isinstance(pilot.app.screen, PracticeScreen):
                await pilot.press("escape")
                await settle(pilot)

    run(test, plan)


@pytest.mark.parametrize("width", HEIGHTS)
def test_no_key_is_cut_and_wide_footers_have_all(width: int, plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        for screen in SCREENS:
            await go_to(pilot, puppet, screen)
            await until(pilot, lambda: any(Shown.of(pilot).rows))
            shown = Shown.of(pilot)
            parts = [part for row in shown.rows for part in row.split("  ")]
            assert {*parts} <= {*shown.entries, MORE}, screen
            left_out = [entry for entry in shown.entries if entry not in parts]
            assert (MORE in parts) == bool(left_out), screen
            assert not left_out or width < FULL_COLUMNS, (screen, left_out)
            assert len(shown.rows) == 1 or width >= FULL_COLUMNS
            while not isinstance(pilot.app.screen, PracticeScreen):
                await pilot.press("escape")
                await settle(pilot)

    run(test, plan, size=(width, HEIGHTS[width]))


@pytest.mark.parametrize("screen", SCREENS, ids=lambda screen: screen.__name__)
def test_a_key_that_the_footer_does_not_name_goes_with_one_that_it_does(screen: type) -> None:
    bindings = list(bindings_of(screen))
    shown = [binding for binding in bindings if binding.show]
    signs = {sign for binding in shown for sign in (binding.key_display or "").replace(" ", "")}
    actions = {binding.action.split("(")[0] for binding in shown}
    for binding in bindings:
        if not binding.show:
            assert key_name(binding.key.split(",")[0]) in signs or (
                binding.action.split("(")[0] in actions
            ), binding
    assert any(binding.key.split(",")[0] in LAST_KEYS for binding in bindings) or (
        screen is PracticeScreen
    )


def test_a_click_presses_the_key_below_it(plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        footer = pilot.app.screen.query_one(KeyFooter)
        row = "".join(span for span, _ in footer_rows(footer.state or (), 80)[0])
        at = row.index("bars")
        entry = entry_at(footer.state or (), 80, at, 0)
        assert entry is not None
        assert entry.key == "left_square_bracket"
        assert entry_at(footer.state or (), 80, row.index("  "), 0) is None
        await pilot.click(footer, offset=(at, 0))
        await settle(pilot)
        assert isinstance(pilot.app, TrainerApp)
        assert pilot.app.session.plan.bars == (2, scripted.DRILL.bars)

    run(test, plan)


def test_a_message_covers_the_status_and_the_footer_only(plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        status = pilot.app.screen.query_one("#status").region
        pilot.app.notify("the microphone is silent; is it muted or unplugged? " * 3)
        await until(pilot, lambda: "is it muted" in text(pilot))
        (toast,) = pilot.app.screen.query(Toast)
        assert toast.region.y >= status.y
        assert toast.region.height == 2
        assert toast.region.width == pilot.app.size.width

    run(test, plan)
