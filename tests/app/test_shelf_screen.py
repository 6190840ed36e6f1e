"""The shelf screen: search, playback and opening a drill."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from textual.pilot import Pilot

from tests.support import shelf
from tests.support.pilots import (
    LARGE,
    SMALL,
    Puppet,
    faint,
    press,
    run,
    text,
    timers,
    type_fast,
    until,
)
from trainer.app.playback import drill_playback_plan
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.widgets.drill_preview import (
    DrillPreviewState,
    SearchableDrill,
    drill_preview_rows,
    feature_signs,
)
from trainer.drill import DrillError, find_drill
from trainer.harp import Harp
from trainer.practice import Plan, TakeFailed, TakeFinished
from trainer.sound import MicrophoneSpec, PlayerSpec

SHELF = shelf.SHELF.drills
ENTRIES = tuple(SearchableDrill.of(drill) for drill in SHELF)
BELL = find_drill("harbour-bell")
PLAN = Plan(Harp.of("C"), MicrophoneSpec(output="Headphones"), drill=BELL)
SIZES = pytest.mark.parametrize("size", [SMALL, LARGE])


def search(query: str) -> set[str]:
    return {entry.drill.name for entry in ENTRIES if entry.matches(query)}


def type_in(words: str) -> list[str]:
    names = {" ": "space", "-": "minus", "'": "apostrophe"}
    return [names.get(letter, letter) for letter in words]


@pytest.mark.parametrize("tab", ["-4'", "-2''", "6o", "10'", "-3'''"])
def test_tab_entry_finds_the_drills_that_play_it(tab: str) -> None:
    token = re.compile(rf"(?<![\d'-]){re.escape(tab)}(?![\d'o])")
    own = {drill.name for drill in SHELF if any(token.search(step.text) for step in drill.steps)}
    assert own
    assert search(tab) == own


def test_levels_holes_skills_features_and_titles_find_drills() -> None:
    assert search("level 3") == {drill.name for drill in SHELF if drill.level == 3}
    assert search("Level 8-9") == {drill.name for drill in SHELF if drill.level >= 8}
    played = {d.name for d in SHELF if any(tab.hole == 10 for s in d.steps for tab in s.tabs)}
    assert search("hole 10") == played
    assert search("free") >= {drill.name for drill in SHELF if drill.free}
    assert search("calls") >= {d.name for d in SHELF if any(step.call for step in d.steps)}
    assert "harbour-bell" in search("bell harb")
    assert search("bends") > search("half-step bends") > set()
    bent = {d.name for d in SHELF if any(tab.bend for s in d.steps for tab in s.tabs)}
    assert bent <= search("bends")
    assert search("-4’") == search("-4'")  # as a keyboard for prose types it
    assert search("4+5") == {d.name for d in SHELF if any("4+5" in s.tab for s in d.steps)}


def test_all_words_must_match_and_a_half_typed_operator_is_ignored() -> None:
    assert search("bends level 5") == search("bends") & search("level 5")
    assert search("zither") == set()
    everything = {drill.name for drill in SHELF}
    assert search("") == search("-") == search("lev") == search("level ") == everything


def test_every_drill_matches_its_own_title_and_skills() -> None:
    for entry in ENTRIES:
        assert entry.matches(entry.drill.title)
        assert entry.matches(" ".join(entry.drill.skills))


@pytest.mark.parametrize(("width", "height"), [(80, 9), (120, 13), (200, 13)])
def test_every_preview_fits_and_shows_the_first_bars(width: int, height: int) -> None:
    for drill in SHELF:
        rows = drill_preview_rows(DrillPreviewState(drill), width, height)
        assert len(rows) <= height
        lines = ["".join(part for part, _ in row) for row in rows]
        assert all(len(line) <= width for line in lines)
        first = "solo" if drill.solos and drill.solos[0].start == 0 else drill.steps[0].tab
        assert any(first in line for line in lines), drill.name
        assert f"Level {drill.level}" in "".join(lines)


def test_special_features_have_a_shape_and_a_word() -> None:
    assert feature_signs(find_drill("rope-walk")) == ("↻ loop", "↗ climb")
    assert feature_signs(find_drill("bends-that-wait")) == ("○ free",)
    assert feature_signs(find_drill("two-at-the-rail")) == ("‖ two parts",)
    assert feature_signs(BELL) == ()


@SIZES
def test_typing_searches_and_enter_opens(size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await press(pilot, "s")
        assert isinstance(pilot.app.screen, ShelfScreen)
        assert f"Shelf: {len(SHELF)} drills" in shown
        assert "▶ Harbour bell" in shown
        assert "moderate level" in shown
        shown = await press(pilot, *type_in("rope q"))  # q is a letter here
        assert f"Shelf: 1 of {len(SHELF)} drills" in shown
        assert "▶ Rope-walk, quicker by and by" in shown
        assert "↻ loop  ↗ climb" in shown
        assert await faint(pilot) == set()
        assert "Trains even" in shown
        shown = await press(pilot, *type_in("x"))
        assert f"0 of {len(SHELF)} drills" in shown
        assert "No drill matches" in shown
        await press(pilot, "enter", "tab")  # there is nothing to open or to hear
        assert isinstance(pilot.app.screen, ShelfScreen)
        shown = await press(pilot, "escape")
        assert f"Shelf: {len(SHELF)} drills" in shown
        await press(pilot, *type_in("level 8 -3'"))
        first = next(drill for drill in SHELF if drill.name in search("level 8 -3'"))
        await press(pilot, "enter")
        await pilot.pause()
        assert isinstance(pilot.app.screen, PracticeScreen)
        assert pilot.app.session.plan.drill == first  # type: ignore[attr-defined]

    run(test, PLAN, size=size, shelf=SHELF)


def test_enter_does_not_overtake_the_letters_before_it() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await press(pilot, "s")
        type_fast(pilot, *type_in("rope q"), "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))
        assert pilot.app.session.plan.drill.title == "Rope-walk, quicker by and by"  # type: ignore[attr-defined]

    run(test, PLAN, shelf=SHELF)


@SIZES
def test_arrow_and_page_keys_move_the_cursor(size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await press(pilot, "s", *type_in("level 4"))
        titles = [drill.title for drill in SHELF if drill.level == 4]
        assert f"▶ {titles[0]}" in text(pilot)
        for title in titles[1:4]:
            assert f"▶ {title}" in await press(pilot, "down")
        assert f"▶ {titles[2]}" in await press(pilot, "up")
        assert text(pilot).count("▶") == 1
        paged = await press(pilot, "pagedown")
        assert f"▶ {titles[2]}" not in paged
        assert paged.count("▶") == 1
        for _ in range(3):
            assert (await press(pilot, "pageup")).count("▶") == 1
        assert f"▶ {titles[0]}" in text(pilot)
        await press(pilot, "question_mark")
        assert isinstance(pilot.app.screen, HelpScreen)
        await press(pilot, "escape", "escape", "escape")
        assert isinstance(pilot.app.screen, PracticeScreen)
        assert pilot.app.session.plan.drill == BELL  # type: ignore[attr-defined]

    run(test, PLAN, size=size, shelf=SHELF)


@SIZES
def test_tab_plays_a_drill_and_stops_it(size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        take = pilot.app.session.take  # type: ignore[attr-defined]
        shown = await press(pilot, "s", "tab")
        assert "♪ Harbour bell, on a C harp; tab stops it" in shown
        heard = puppet.plans[-1]
        assert isinstance(heard.source, PlayerSpec)
        assert heard.source.aloud
        assert heard.source.realtime
        assert heard.source.output == "Headphones"
        assert heard.journal is None
        await press(pilot, "tab")
        await until(pilot, lambda: ShelfScreen.CAUTION in text(pilot))
        await press(pilot, "tab", "escape")  # quiet first
        await until(pilot, lambda: ShelfScreen.CAUTION in text(pilot))
        assert isinstance(pilot.app.screen, ShelfScreen)
        await press(pilot, "tab")
        puppet.queue.append(TakeFinished())  # it has come to its end
        await until(pilot, lambda: ShelfScreen.CAUTION in text(pilot))
        assert len(puppet.plans) == 3
        assert pilot.app.session.take is take  # type: ignore[attr-defined]

    run(test, PLAN, size=size, shelf=SHELF)


def test_opening_a_drill_waits_for_playback_to_end() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await press(pilot, "s", "tab", "down", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))
        assert puppet.queue == []
        await press(pilot, "space")
        assert puppet.plans[-1].drill == SHELF[SHELF.index(BELL) + 1]
        assert isinstance(puppet.plans[-1].source, MicrophoneSpec)

    run(test, PLAN, shelf=SHELF)


def test_reason_is_shown_when_nothing_can_be_played() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await press(pilot, "s", "tab")
        puppet.queue += [TakeFailed("there is no output; plug one in"), TakeFinished()]
        await until(pilot, lambda: "× there is no output; plug one in" in text(pilot))
        puppet.refuse = DrillError("the listener has stopped; start the trainer again")
        assert "× the listener has stopped" in await press(pilot, "tab")
        assert timers(pilot) == []

    run(test, PLAN, shelf=SHELF)


def test_nothing_is_played_during_a_take() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await press(pilot, "s", "tab")
        assert "× a take is running: press esc, then space to stop it" in shown
        assert len(puppet.plans) == 1

    run(test, PLAN, shelf=SHELF, autostart=True)


def test_drill_is_played_on_a_harp_that_can_play_it() -> None:
    salt = find_drill("salt-and-rain")
    on_c = drill_playback_plan(salt, PLAN)
    assert (on_c.harp.key.name, on_c.harp.tuning.name) == (salt.key, salt.tuning)
    low = replace(PLAN, harp=Harp.of("low F"))
    assert drill_playback_plan(BELL, low).harp == low.harp


def test_idle_shelf_has_no_timers_and_an_empty_one_is_reported() -> None:
    async def idle(pilot: Pilot[None], puppet: Puppet) -> None:
        await press(pilot, "s", "b")
        polls = puppet.polls
        assert timers(pilot) == []
        for _ in range(10):
            await pilot.pause()
        assert puppet.polls == polls

    async def empty(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await press(pilot, "s", "tab", "enter", "down")
        assert "The shelf is empty." in shown
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, PracticeScreen)

    run(idle, PLAN, shelf=SHELF)
    run(empty, PLAN, shelf=())
