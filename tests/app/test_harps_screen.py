"""The harps screen: choosing a harp, its chart, and reeds out of tune."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot

from devtools import scripted
from tests.support.pilots import LARGE, SMALL, Puppet, faint, press, run, text, timers, until
from tests.support.snapshots import SIZES as STORED
from tests.support.snapshots import hold
from tests.support.snapshots import text as bare
from tests.support.worn_reed import DROP, DROPPED, FIRST, evening, measured
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.widgets.harp_chart import HarpState, harp_rows, harp_sentences, is_out_of_tune
from trainer.harp import (
    HOLES,
    LOW_AND_HIGH_KEYS,
    STANDARD_KEYS,
    Breath,
    Harp,
    Tab,
    natural_entries,
    tuning_names,
)
from trainer.practice import Plan
from trainer.sound import MicrophoneSpec
from trainer.store import HarpTag, Journal, OwnHarp, ReedRecord

WHEN = datetime(2026, 10, 5, 12, tzinfo=UTC)
SIZES = pytest.mark.parametrize("size", [SMALL, LARGE])
C_BLOW = ("C4", "E4", "G4", "C5", "E5", "G5", "C6", "E6", "G6", "C7")
C_DRAW = ("D4", "G4", "B4", "D5", "F5", "A5", "B5", "D6", "F6", "A6")
"""The notes of a C harp in Richter tuning (common practice)."""


def own_harp(
    name: str = "quay",
    key: str = "C",
    *,
    shift: float = 0.0,
    off: dict[str, float] | None = None,
    tuning: str = "richter",
    without: tuple[str, ...] = (),
) -> OwnHarp:
    """Return an own harp with an overall offset in cents, and offsets of single reeds."""
    harp = Harp.of(key)
    reeds = tuple(
        ReedRecord(str(tab), harp.hz(tab) * 2 ** ((shift + (off or {}).get(str(tab), 0.0)) / 1200))
        for tab in natural_entries(harp)
        if str(tab) not in without
    )
    return OwnHarp("Runa", name, HarpTag(key, tuning), WHEN, reeds)


OFF = own_harp(shift=12.0, off={"-4": -15.0, "5": 11.0, "-7": 9.0}, without=("-10",))


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / "journal.sqlite"
    with Journal(path) as journal:
        journal.add_harp(OFF)
        journal.add_harp(own_harp("old A of the harbour master's", "A"))
        journal.add_harp(own_harp("strange", "D", tuning="lost tuning"))
    return path


def plan_on(journal: Path, harp: Harp | None = None, name: str | None = None) -> Plan:
    held = harp or Harp.of("C")
    return Plan(
        held, MicrophoneSpec(), scripted.DRILL, journal=journal, player="Runa", harp_name=name
    )


def lines(state: HarpState, width: int = 58, height: int = 22) -> list[str]:
    return ["".join(part for part, _ in row) for row in harp_rows(state, width, height)]


async def opened(pilot: Pilot[None]) -> str:
    """Open the screen and wait until the journal has been read."""
    await press(pilot, "h")
    assert isinstance(pilot.app.screen, HarpsScreen)
    await until(pilot, lambda: "reading …" not in text(pilot))
    return text(pilot)


def test_chart_of_a_c_harp_matches_the_published_one() -> None:
    shown = lines(HarpState.of(Harp.of("C")))
    (blow,) = (line for line in shown if line.startswith("blow  "))
    (draw,) = (line for line in shown if line.startswith("draw  "))
    assert tuple(blow.split()[1:]) == C_BLOW
    assert tuple(draw.split()[1:]) == C_DRAW
    (deepest,) = (line for line in shown if line.startswith("draw'''"))
    assert deepest.split()[1:] == ["Ab4"]  # draw 3, three half steps down
    assert not any(line.startswith("cents") for line in shown)


def test_position_is_shown_in_degrees() -> None:
    shown = lines(HarpState.of(Harp.of("C"), position=2, degrees=True))
    assert "2nd position, G: degrees" in shown[1]
    (draw,) = (line for line in shown if line.startswith("draw  "))
    # cross harp: draw 2 is the tonic, draw 5 the flat seventh (common practice)
    assert draw.split()[1:] == ["5", "1", "3", "5", "b7", "2", "3", "5", "b7", "2"]


def test_reed_offsets_are_relative_to_the_whole_harp() -> None:
    state = HarpState.of(Harp.of("C"), OFF)
    assert {str(reed.tab) for reed in state.reeds if is_out_of_tune(reed)} == {"-4", "5"}
    shown = "\n".join(lines(state))
    assert "▼-15" in shown
    assert "▲+11" in shown
    assert "+9" in shown
    sentences = " ".join(harp_sentences(state))
    assert "Off by more than 10 cents: -4 15 cents flat, 5 11 cents sharp." in sentences
    assert "A4 443.1 Hz" in sentences  # 12 cents above 440: 440 * 2 ** (12 / 1200)
    assert "1 reed missing" in sentences
    assert "2026-10-05" in sentences


def test_harp_in_tune_and_harp_not_measured_are_reported() -> None:
    assert "No reed is off by more than 10 cents." in harp_sentences(
        HarpState.of(Harp.of("C"), own_harp())
    )
    (words,) = harp_sentences(HarpState.of(Harp.of("C")))
    assert words.startswith("Not measured")


@pytest.mark.parametrize(("width", "height"), [(58, 22), (82, 36), (160, 56)])
def test_chart_holds_all_notes_of_every_harp(width: int, height: int) -> None:
    for key in (*STANDARD_KEYS, *LOW_AND_HIGH_KEYS):
        for tuning in tuning_names():
            harp = Harp.of(key, tuning)
            reeds = tuple(ReedRecord(str(tab), harp.hz(tab)) for tab in natural_entries(harp))
            own = OwnHarp("Runa", "x", HarpTag(key, tuning), WHEN, reeds)
            shown = lines(HarpState.of(harp, own), width, height)
            assert len(shown) <= height
            assert all(len(line) <= width for line in shown)
            assert f"{HOLES[-1]}" in next(line for line in shown if line.startswith("hole"))
            for tab in harp.entries:
                assert any(harp.note(tab)[:1] in line for line in shown)
            assert "No reed is off by more than 10 cents." in shown


@SIZES
def test_screen_opens_on_the_current_harp(journal: Path, size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await opened(pilot)
        assert "● you play the C harp" in shown
        assert "▶ ● C" in shown
        assert "C harp, Standard (Richter)" in shown
        assert all(note in shown for note in (*C_BLOW, *C_DRAW))
        assert timers(pilot) == []

    run(test, plan_on(journal), size=size)


@SIZES
def test_measured_harp_is_shown_and_chosen(journal: Path, size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        shown = await press(pilot, "home", "down")
        assert "▶   quay C" in shown
        assert "quay: C harp" in shown
        assert "▼-15" in shown
        assert "-4 15 cents flat" in " ".join(shown.split())
        assert await faint(pilot) == set()
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))
        plan = pilot.app.session.plan  # type: ignore[attr-defined]
        assert plan.harp_name == "quay"
        assert plan.harp.a4 == pytest.approx(440.0 * 2 ** (12 / 1200))
        assert plan.drill == scripted.DRILL
        shown = await opened(pilot)
        assert "● you play the quay" in shown
        assert "▶ ● quay C" in shown
        await press(pilot, "end", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))
        plan = pilot.app.session.plan  # type: ignore[attr-defined]
        assert (plan.harp, plan.harp_name) == (Harp.of("high G"), None)  # back at 440

    run(test, plan_on(journal), size=size)


@SIZES
def test_every_key_has_its_effect(journal: Path, size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        assert "▶   Db" in await press(pilot, "down")
        assert "Db harp" in text(pilot)
        assert "▶ ● C" in await press(pilot, "up")
        assert "2nd position, G: notes" in await press(pilot, "right")
        assert "2nd position, G: degrees" in await press(pilot, "d")
        assert "12th position, F: degrees" in await press(pilot, "left", "left")
        assert "1st position, C: notes" in await press(pilot, "right", "d")
        names = tuning_names()
        for name in (*names[names.index("richter") + 1 :], *names[: names.index("richter")]):
            assert name in await press(pilot, "t")
        assert "Standard (Richter)" in await press(pilot, "t")
        assert "high G harp" in await press(pilot, "end")
        assert "high G harp" not in await press(pilot, "pageup")
        assert text(pilot).count("▶") == 1
        paged = text(pilot)
        assert await press(pilot, "pagedown") != paged
        await press(pilot, "question_mark")
        assert isinstance(pilot.app.screen, HelpScreen)
        await press(pilot, "escape", "h")
        assert isinstance(pilot.app.screen, PracticeScreen)
        await opened(pilot)
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, PracticeScreen)
        assert pilot.app.session.plan.harp == Harp.of("C")  # type: ignore[attr-defined]

    run(test, plan_on(journal), size=size)


@SIZES
def test_worn_reed_is_reported(tmp_path: Path, size: tuple[int, int]) -> None:
    path = tmp_path / "journal.sqlite"
    with Journal(path) as journal:
        journal.add_harp(measured(FIRST - timedelta(hours=1)))
        journal.add(*(evening(day) for day in range(DROPPED + 30)))

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await press(pilot, "home")
        await until(pilot, lambda: "has gone flat" in text(pilot))
        at = 22 if size == SMALL else 34  # where the chart begins
        shown = " ".join(" ".join(line[at:] for line in text(pilot).splitlines()).split())
        assert "Reed watch: -5 has gone flat against the others" in shown
        fell = re.search(r"others: by (\d+) cents", shown)
        assert fell is not None
        assert abs(int(fell[1]) - DROP) <= 3

    run(test, plan_on(path), size=size)


def test_harp_that_was_only_measured_has_too_few_days(journal: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await press(pilot, "home", "down")
        await until(pilot, lambda: "Too few days so far" in " ".join(text(pilot).split()))

    run(test, plan_on(journal))


def test_harp_with_a_missing_tuning_cannot_be_chosen(journal: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        shown = await press(pilot, "home", "down", "down")
        assert "lost tuning" in shown
        await press(pilot, "enter")
        assert isinstance(pilot.app.screen, HarpsScreen)

    run(test, plan_on(journal))


def test_harp_that_cannot_play_the_drill_is_refused(journal: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        names = tuning_names()
        await press(pilot, *["t"] * (names.index("solo") - names.index("richter") + len(names)))
        assert "solo" in text(pilot)
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))
        assert pilot.app.session.plan.harp == Harp.of("C")  # type: ignore[attr-defined]
        await until(pilot, lambda: "cannot" in text(pilot))

    assert not Harp.of("C", "solo").can_play(Tab(3, Breath.DRAW, 3))
    run(test, plan_on(journal))


def test_keys_are_listed_without_a_journal(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await opened(pilot)
        assert "▶ ● C" in shown
        await until(pilot, lambda: "your own harps cannot be read" in " ".join(text(pilot).split()))
        assert "low F harp" in await press(pilot, "end", "up", "up")

    run(test, plan_on(tmp_path / "file" / "journal.sqlite"))


def test_unusual_current_harp_is_listed(journal: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        assert "▶ ● double-low F" in await opened(pilot)

    run(test, plan_on(journal, Harp.of("double-low F")))


@pytest.mark.parametrize("size", STORED)
def test_screen_matches_its_snapshot(journal: Path, size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await opened(pilot)
        await press(pilot, "home", "down")
        await until(pilot, lambda: "Too few days so far" in text(pilot))
        await hold("harps-{}x{}".format(*size), pilot, bare)

    run(test, plan_on(journal), size=size)
