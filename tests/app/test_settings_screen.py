"""The settings screen: values and origins, changes in the file, and when they take effect."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from textual.pilot import Pilot

from devtools import scripted
from tests.support.pilots import LARGE, SMALL, Puppet, faint, press, run, text, timers, until
from tests.support.snapshots import SIZES as STORED
from tests.support.snapshots import hold
from tests.support.snapshots import text as bare
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.widgets.settings_list import (
    TAKES_EFFECT_NEXT_TAKE,
    TAKES_EFFECT_NOW,
    TAKES_EFFECT_ON_RESTART,
    apply_setting,
    changed_first,
    effect_text,
    next_choice,
    setting_lines,
    value_problem,
    values_from_options,
)
from trainer.harp import Harp
from trainer.practice import HandsFree, Plan
from trainer.settings import resolve_settings
from trainer.settings.tables import ENVIRONMENT_VARIABLES, SETTING_KEYS, SETTING_TABLES
from trainer.sound import MicrophoneSpec, PlayerSpec

SIZES = pytest.mark.parametrize("size", [SMALL, LARGE])
PLAN = Plan(Harp.of("C"), MicrophoneSpec(), scripted.DRILL)
MINE = """\
# Runa's own, by the window
[practice]
minutes = 15  # before the ferry

[sound]
# the good one
device = "Quay 2"
"""


@pytest.fixture(autouse=True)
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A settings file with comments."""
    path = tmp_path / "settings.toml"
    path.write_text(MINE, encoding="utf-8")
    monkeypatch.setenv("TRAINER_SETTINGS", str(path))
    return path


def held(plan: Plan) -> Plan:
    """The plan as the command makes it from the file."""
    return replace(plan, source=MicrophoneSpec(device="Quay 2"))


async def opened(pilot: Pilot[None]) -> str:
    """Open the screen and wait until the file has been read."""
    await press(pilot, "comma")
    assert isinstance(pilot.app.screen, SettingsScreen)
    await until(pilot, lambda: "Reading the settings" not in text(pilot))
    return text(pilot)


def label_of(name: str) -> str:
    table, field = name.split(".")
    return SETTING_TABLES[table].model_fields[field].title or ""


async def go_to(pilot: Pilot[None], name: str) -> None:
    """Move the cursor to a setting. The list wraps: a busy machine may paint a line too late."""
    await press(pilot, "home")
    for _ in SETTING_KEYS * 3:
        if f"▶ {label_of(name)} " in text(pilot) and f"{name}: " in text(pilot):
            return
        await press(pilot, "down")
    raise AssertionError(f"{name} is not in the list")


def typed(words: str) -> list[str]:
    names = {" ": "space", ".": "full_stop", "/": "slash", "-": "minus", ",": "comma"}
    return [names.get(letter, letter) for letter in words]


async def wait_for_text(pilot: Pilot[None], words: str) -> None:
    """Wait until words are on the screen, across line breaks."""
    await until(pilot, lambda: words in " ".join(text(pilot).split()))


def test_each_setting_shows_its_value_and_origin(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(ENVIRONMENT_VARIABLES["harp", "a4"], "442")
    plan = replace(held(PLAN), count_in=3, player="Runa")
    lines = {line.key: line for line in setting_lines(resolve_settings(), plan)}
    assert tuple(lines) == SETTING_KEYS
    shown = {key: (line.value, line.origin) for key, line in lines.items()}
    assert shown["practice", "minutes"] == ("15", "file")
    assert shown["practice", "count_in"] == ("3", "option")
    assert shown["harp", "a4"] == ("442", "TRAINER_A4")
    assert shown["harp", "tuning"] == ("richter", "default")
    assert shown["sound", "device"] == ("Quay 2", "file")
    assert shown["sound", "output"] == ("", "default")
    assert shown["player", "name"] == ("Runa", "option")
    assert all(line.about for line in lines.values())
    assert len({line.label for line in lines.values()}) == len(SETTING_KEYS)
    assert (lines["practice", "minutes"].shown, lines["sound", "clicks"].shown) == ("15 min", "on")
    assert lines["practice", "count_in"].shown == "3 beats"
    assert lines["sound", "output"].shown == "the system's"
    assert lines["sound", "clicks"].choices == ("true", "false")
    assert next_choice(lines["sound", "clicks"]) == "false"
    assert next_choice(lines["harp", "naturals"]) == "reeds"
    assert next_choice(lines["harp", "bends"]) == "reeds"
    assert next_choice(lines["harp", "temperament"]) == "just5"
    assert next_choice(lines["harp", "key"]) == "G"
    assert set(lines["harp", "tuning"].choices) >= {"richter", "country", "solo"}


def test_plan_that_matches_the_settings_has_no_options(tmp_path: Path) -> None:
    settings = resolve_settings().settings
    plan = held(PLAN)
    assert values_from_options(plan, settings) == {}
    assert values_from_options(replace(plan, source=PlayerSpec()), settings) == {}
    other = tmp_path / "other.sqlite"
    assert values_from_options(replace(plan, journal=other), settings) == {
        ("journal", "file"): other
    }


PRACTICE_KEYS = tuple(("practice", name) for name in ("count_in", "hands_free", "follow"))


def test_changes_that_take_effect_with_the_next_take() -> None:
    assert apply_setting(PLAN, ("sound", "latency_ms"), 20.0).source == MicrophoneSpec(
        latency_ms=20.0
    )
    assert apply_setting(PLAN, ("practice", "count_in"), 2).count_in == 2
    assert apply_setting(PLAN, ("practice", "hands_free"), True).hands_free == HandsFree()
    assert apply_setting(PLAN, ("practice", "follow"), True).follow
    for key in SETTING_KEYS:
        changes = key[0] == "sound" or key in PRACTICE_KEYS
        wanted = (
            TAKES_EFFECT_NEXT_TAKE
            if changes
            else TAKES_EFFECT_NOW
            if key == ("screen", "theme")
            else TAKES_EFFECT_ON_RESTART
        )
        assert effect_text(key, PLAN) == wanted
    player = replace(PLAN, source=PlayerSpec())
    assert apply_setting(player, ("sound", "device"), "x") == player
    assert effect_text(("sound", "device"), player) == TAKES_EFFECT_ON_RESTART


def test_wrong_value_is_reported_with_what_is_expected() -> None:
    lines = {line.key: line for line in setting_lines(resolve_settings(), PLAN)}
    assert "400 to 480" in value_problem(lines["harp", "a4"], "500")
    assert value_problem(lines["harp", "a4"], "415") == ""
    assert value_problem(lines["harp", "key"], "H") != ""
    assert value_problem(lines["harp", "key"], "") == ""  # not set
    assert value_problem(lines["harp", "a4"], "") != ""


@SIZES
def test_typed_value_is_validated_and_saved_with_all_comments(
    file: Path, size: tuple[int, int]
) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await opened(pilot)
        assert "settings.toml" in shown
        await go_to(pilot, "practice.minutes")
        assert "minutes of a day's set, a number from 1 to 480" in text(pilot)
        assert "15 min: from the file" in text(pilot)
        await press(pilot, "enter")
        await wait_for_text(pilot, "✓ enter saves, esc cancels")
        await press(pilot, *typed("00"))
        await wait_for_text(pilot, "× 'practice.minutes' must be minutes of a day's set")
        assert await faint(pilot) == set()
        await press(pilot, "enter")  # it is not kept
        await press(pilot, "down", "q", "u")  # nor is anything else done by letters
        assert file.read_text(encoding="utf-8") == MINE
        await press(pilot, *["backspace"] * 5, *typed("25"), "enter")
        await wait_for_text(pilot, f"✓ practice.minutes is set to 25. {TAKES_EFFECT_ON_RESTART}")
        assert file.read_text(encoding="utf-8") == MINE.replace("= 15", "= 25")
        assert "▶ Daily set              25 min " in text(pilot)
        assert "25 min: from the file" in text(pilot)
        assert timers(pilot) == []

    run(test, held(PLAN), size=size)


@SIZES
def test_esc_cancels_an_edit_and_then_leaves(file: Path, size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await go_to(pilot, "sound.device")
        await press(pilot, "enter", *typed(" 3"), "escape")
        assert isinstance(pilot.app.screen, SettingsScreen)
        assert "✓" not in text(pilot)
        await press(pilot, "question_mark")
        assert isinstance(pilot.app.screen, HelpScreen)
        assert "type a new value" in text(pilot)
        await press(pilot, "escape", "escape")
        assert isinstance(pilot.app.screen, PracticeScreen)
        await opened(pilot)
        await press(pilot, "comma")
        assert isinstance(pilot.app.screen, PracticeScreen)
        assert pilot.app.session.plan == held(PLAN)  # type: ignore[attr-defined]
        assert file.read_text(encoding="utf-8") == MINE

    run(test, held(PLAN), size=size)


@SIZES
def test_key_cycles_choices_and_restores_the_default(file: Path, size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await go_to(pilot, "sound.clicks")
        assert "next choice" in text(pilot)
        await press(pilot, "space")
        await wait_for_text(pilot, f"✓ sound.clicks is set to false. {TAKES_EFFECT_NEXT_TAKE}")
        assert tomllib.loads(file.read_text(encoding="utf-8"))["sound"]["clicks"] is False
        await press(pilot, "u")
        await wait_for_text(pilot, "sound.clicks is no longer set in the file.")
        assert "clicks" not in tomllib.loads(file.read_text(encoding="utf-8"))["sound"]
        await press(pilot, "delete")
        await wait_for_text(pilot, "sound.clicks is not set in the file.")
        await go_to(pilot, "sound.device")
        assert "next choice" not in text(pilot)
        await press(pilot, "space")
        await press(pilot, "enter")
        await wait_for_text(pilot, "enter saves, esc cancels")
        await press(pilot, *["backspace"] * 6, "enter")  # empty: not set
        await wait_for_text(pilot, "sound.device is no longer set in the file.")
        assert all(line in file.read_text(encoding="utf-8") for line in ("# Runa's", "# the good"))
        await press(pilot, "escape")
        plan = pilot.app.session.plan  # type: ignore[attr-defined]
        assert plan.source == MicrophoneSpec()

    run(test, held(PLAN), size=size)


def test_change_takes_effect_with_the_next_take() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await go_to(pilot, "sound.latency_ms")
        await press(pilot, "enter", *typed("31.5"), "enter")
        await wait_for_text(pilot, TAKES_EFFECT_NEXT_TAKE)
        await go_to(pilot, "practice.count_in")
        await press(pilot, "enter", "2", "enter")
        await wait_for_text(pilot, TAKES_EFFECT_NEXT_TAKE)
        await press(pilot, "escape", "space")
        taken = puppet.plans[-1]
        assert taken.source == MicrophoneSpec(device="Quay 2", latency_ms=31.5)
        assert taken.count_in == 2

    run(test, held(PLAN))


def test_theme_changes_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await go_to(pilot, "screen.theme")
        await press(pilot, "space")
        await wait_for_text(pilot, f"✓ screen.theme is set to light. {TAKES_EFFECT_NOW}")
        assert pilot.app.theme == "light"

    run(test, held(PLAN))


def test_variable_that_overrides_the_file_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRAINER_A4", "442")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await opened(pilot)
        await go_to(pilot, "harp.a4")
        assert "variable TRAINER_A4" in text(pilot)
        await press(pilot, "enter", *["backspace"] * 3, *typed("415"), "enter")
        await wait_for_text(pilot, "The variable TRAINER_A4 overrides it.")
        assert "Settings:" in shown

    run(test, held(PLAN))


def test_error_in_the_file_is_reported_and_can_be_corrected(file: Path) -> None:
    file.write_text("[harp]\na4 = 1000\n", encoding="utf-8")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await opened(pilot)
        assert "× 1 setting at the default, because the file has errors" in shown
        assert "default" in shown
        await go_to(pilot, "harp.a4")
        await press(pilot, "enter", *["backspace"] * 3, *typed("415"), "enter")
        await wait_for_text(pilot, "✓ harp.a4 is set to 415.")
        assert "×" not in text(pilot)
        assert file.read_text(encoding="utf-8") == "[harp]\na4 = 415\n"

    run(test, PLAN)


def test_reason_is_shown_when_the_file_cannot_be_written(file: Path) -> None:
    file.write_text("[harp\n", encoding="utf-8")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await go_to(pilot, "sound.clicks")
        await press(pilot, "space")
        await wait_for_text(pilot, "'trainer settings edit' opens it")
        assert "×" in text(pilot)
        assert file.read_text(encoding="utf-8") == "[harp\n"

    run(test, PLAN)


def test_missing_file_is_created_by_the_first_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new = tmp_path / "new.toml"
    monkeypatch.setenv("TRAINER_SETTINGS", str(new))

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        assert not new.exists()
        await go_to(pilot, "harp.naturals")
        await press(pilot, "space")
        await wait_for_text(pilot, "✓ harp.naturals is set to reeds.")
        tables = tomllib.loads(new.read_text(encoding="utf-8"))
        assert {name: table for name, table in tables.items() if table} == {
            "harp": {"naturals": "reeds"}
        }

    run(test, PLAN)


@SIZES
def test_arrow_and_page_keys_reach_every_setting(size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await press(pilot, "home")
        lines = changed_first(setting_lines(resolve_settings(), held(PLAN)))
        assert [line.name for line in lines[:2]] == ["practice.minutes", "sound.device"]
        for line in lines:
            shown = text(pilot)
            assert f"{line.name}: " in shown
            assert shown.count("▶") == 1
            assert f"▶ {line.label} " in shown
            assert all(len(line) == size[0] for line in shown.splitlines())
            await press(pilot, "down")
        await press(pilot, "end", "pageup")
        assert text(pilot).count("▶") == 1
        await press(pilot, "pagedown", "pagedown", "up")
        assert lines[-2].name in text(pilot)

    run(test, held(PLAN), size=size)


@pytest.mark.parametrize("size", STORED)
def test_screen_matches_its_snapshot(
    file: Path, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]
) -> None:
    monkeypatch.setenv("HOME", str(file.parent))
    monkeypatch.setenv("USERPROFILE", str(file.parent))
    monkeypatch.setenv("TRAINER_PLAYER", "Runa")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await go_to(pilot, "sound.device")
        await hold("settings-{}x{}".format(*size), pilot, bare)

    run(test, held(PLAN), size=size)
