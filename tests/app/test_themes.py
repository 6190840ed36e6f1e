"""Themes: contrast, distance of colours, and screens whose state needs no colour."""

from __future__ import annotations

import asyncio
import itertools
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Awaitable, Callable, Iterable, Iterator
from pathlib import Path

import numpy as np
import pytest
from rich.color import Color, ColorSystem
from rich.segment import Segment
from textual.content import Content
from textual.pilot import Pilot
from textual.screen import Screen
from textual.widgets import Static

from devtools import scripted
from tests.support.colour import contrast, light
from tests.support.pilots import next_frame, until
from tests.support.terminal import DEMO, Terminal
from trainer.app import theme
from trainer.app.app import TrainerApp
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.take_state import Phase
from trainer.app.widgets.gauge import GaugeState, needle_row
from trainer.app.widgets.head_line import HeadState
from trainer.app.widgets.head_line import head_row as head_row
from trainer.app.widgets.hole_strip import HoleStripState, hole_numbers_row
from trainer.app.widgets.pitch_trace import PitchTrace
from trainer.app.widgets.progress_plot import VERDICT_SIGNS
from trainer.app.widgets.readout import readout_of
from trainer.cli.screen import run_app
from trainer.harp import Harp, Tab
from trainer.practice import Event, Plan
from trainer.report.grades import GRADES
from trainer.sound import PlayerSpec

NAMES = ("dark", "light", "plain")
DRAWN = {"faint", "band", "aim"}
"""Pens of lines, bands and large text; the others are for text."""
STATES = ("good", "sharp", "flat", "leak", "wrong", "text")
GROUNDS = {"dark": (theme.NIGHT, theme.QUAY), "light": (theme.PAPER, theme.SAND)}
PLAN = Plan(Harp.of("C"), PlayerSpec(), scripted.DRILL)
STANDS_S = 5.0
"""A second of the scripted take in its third step: the count-in takes 3, a beat 0.75."""
Rgb = np.ndarray


def lab(rgb: Rgb) -> Rgb:
    """CIE L*a*b* of light under D65 (CIE 15:2004; matrix of IEC 61966-2-1)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    shares = xyz @ np.clip(rgb, 0.0, 1.0) / (0.9505, 1.0, 1.0890)
    root = np.where(shares > (6 / 29) ** 3, np.cbrt(shares), shares * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


EYES = {
    "all cones": np.eye(3),
    "no red cones": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "no green cones": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
}
"""What is left of light for some eyes: Machado, Oliveira and Fernandes, "A Physiologically-based
Model for Simulation of Color Vision Deficiency" (2009), severity 1.0; from memory."""


def downgraded(colour: str) -> Color:
    """Return the colour that Rich sends to a terminal with 256 colours."""
    return Color.parse(colour).downgrade(ColorSystem.EIGHT_BIT)


def run(test: Callable[[Pilot[None]], Awaitable[None]], name: str, motion: str = "full") -> None:
    """Run a test on the app in a theme, with a scripted take that stops in its third step."""

    def begin(plan: Plan) -> Iterator[tuple[float, Event]]:
        return itertools.takewhile(
            lambda timed: timed[0] < STANDS_S, scripted.scripted_events(plan)
        )

    async def inside() -> None:
        script = scripted.ScriptedListener(begin, pace=20.0)
        app = TrainerApp(script, scripted.DRILLS, PLAN, autostart=True, theme=name, motion=motion)
        async with app.run_test(size=(120, 40)) as pilot:

            def stands_still() -> bool:
                step = app.session.take.step
                return step is not None and step.index == 2 and not script._due

            await until(pilot, stands_still)
            await next_frame(pilot)
            await test(pilot)

    asyncio.run(inside())


def segments(pilot: Pilot[None]) -> Iterable[Segment]:
    """Yield the segments on the screen."""
    for strip in pilot.app.screen._compositor.render_strips():
        yield from strip


def colours(pilot: Pilot[None]) -> set[str]:
    """Return all foreground and background colours on the screen."""
    used = set()
    for _, style, _ in segments(pilot):
        for colour in (style.color, style.bgcolor) if style else ():
            if colour is not None and not colour.is_default:
                used.add(colour.get_truecolor().hex)
    return used


def test_colours_are_the_published_set() -> None:
    """RGB values of Okabe and Ito 2008, as printed on their page."""
    published = {
        theme.BLACK: (0, 0, 0),
        theme.ORANGE: (230, 159, 0),
        theme.SKY_BLUE: (86, 180, 233),
        theme.BLUISH_GREEN: (0, 158, 115),
        theme.YELLOW: (240, 228, 66),
        theme.BLUE: (0, 114, 178),
        theme.VERMILION: (213, 94, 0),
        theme.REDDISH_PURPLE: (204, 121, 167),
    }
    for colour, rgb in published.items():
        assert tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5)) == rgb


@pytest.mark.parametrize(
    ("dark", "published"),
    [
        (theme.DARK_ORANGE, theme.ORANGE),
        (theme.DARK_GREEN, theme.BLUISH_GREEN),
        (theme.DARK_VERMILION, theme.VERMILION),
        (theme.DARK_PURPLE, theme.REDDISH_PURPLE),
    ],
)
def test_darkened_colours_keep_their_proportions_of_light(dark: str, published: str) -> None:
    shares = [light(colour) / light(colour).sum() for colour in (dark, published)]
    assert shares[0] == pytest.approx(shares[1], abs=0.01)
    assert light(dark).sum() < light(published).sum()


@pytest.mark.parametrize("name", GROUNDS)
def test_contrast_suffices_for_text_and_lines(name: str) -> None:
    """WCAG 2.2: 4.5 for text (1.4.3), 3 for what is drawn (1.4.11)."""
    for ground, (pen_name, pen) in itertools.product(GROUNDS[name], theme.THEME_PENS[name].items()):
        ratio = contrast(pen.color, pen.back or ground)
        assert ratio >= (3.0 if pen_name in DRAWN else 4.5), (pen_name, ground)


@pytest.mark.parametrize("name", GROUNDS)
@pytest.mark.parametrize("eye", EYES)
def test_states_differ_for_every_kind_of_colour_vision(name: str, eye: str) -> None:
    """By 10 or more of the CIE's differences of 1976; 2.3 can just be noticed (from memory)."""
    seen = {state: lab(EYES[eye] @ light(theme.THEME_PENS[name][state].color)) for state in STATES}
    for first, second in itertools.combinations(STATES, 2):
        assert np.linalg.norm(seen[first] - seen[second]) > 10.0, (first, second)


@pytest.mark.parametrize("name", GROUNDS)
def test_states_differ_with_256_colours(name: str) -> None:
    pens = theme.THEME_PENS[name]
    by_colour = {pen.color: downgraded(pen.color) for pen in pens.values()}
    written = {colour.number for colour in by_colour.values()}
    assert len(written) >= len(by_colour) - (name == "light")  # black and ink are one
    grounds = {downgraded(ground) for ground in GROUNDS[name]}
    assert not written & {ground.number for ground in grounds}
    for ground, (pen_name, pen) in itertools.product(grounds, pens.items()):
        behind = downgraded(pen.back) if pen.back else ground
        ratio = contrast(downgraded(pen.color).get_truecolor().hex, behind.get_truecolor().hex)
        assert ratio >= (3.0 if pen_name in DRAWN else 4.5), pen_name


def test_every_state_has_a_word_or_a_shape() -> None:
    shown = {
        "good": DisplayedReading(Tab.parse("-4"), 1, holes=(4,)),
        "sharp": DisplayedReading(Tab.parse("-4"), 20, holes=(4,)),
        "flat": DisplayedReading(Tab.parse("-4"), -20, holes=(4,)),
        "wrong": DisplayedReading(
            Tab.parse("-4"), 1, (Tab.parse("5"),), wrong_note=True, holes=(4,)
        ),
        "silent": DisplayedReading(),
        "leak": DisplayedReading(Tab.parse("-4"), 1, holes=(3, 4), leak_hole=3, leak_db=-12.0),
    }
    texts = {readout_of(state).words for state in shown.values()}
    assert len(texts) == len(shown)
    holes = {
        _plain(hole_numbers_row(HoleStripState.of(shown[name]), 5)) for name in ("good", "leak")
    }
    assert len(holes) == 2
    gauges = {_plain(needle_row(GaugeState.of(shown[name]), 60)) for name in ("good", "flat")}
    assert len(gauges) == 2
    heads = {_plain(head_row(HeadState("", (), phase), 60)) for phase in Phase}
    assert len(heads) == len(Phase)
    for shapes in (
        [grade.shape for grade in GRADES],
        [sign for sign, _ in VERDICT_SIGNS.values()],
    ):
        assert len(set(shapes)) == len(shapes)


def _plain(row: Iterable[tuple[str, str]]) -> str:
    return "".join(text for text, _ in row)


def test_plain_theme_has_the_same_text_without_colour() -> None:
    texts = {}
    for name in NAMES:

        async def test(pilot: Pilot[None], name: str = name) -> None:
            assert bool(colours(pilot)) == (name != "plain")
            assert any(style and style.reverse for _, style, _ in segments(pilot))
            await pilot.press("s")
            await pilot.pause()
            assert isinstance(pilot.app.screen, ShelfScreen)
            assert bool(colours(pilot)) == (name != "plain")
            texts[name] = "".join(segment.text for segment in segments(pilot))
            assert "▶" in texts[name]

        run(test, name)
    assert texts["plain"] == texts["dark"] == texts["light"]


@pytest.mark.parametrize("name", GROUNDS)
def test_a_screen_uses_the_colours_of_its_theme(name: str) -> None:
    async def test(pilot: Pilot[None]) -> None:
        pens = theme.THEME_PENS[name]
        known = {*GROUNDS[name], *(pen.color for pen in pens.values())}
        known |= {pen.back for pen in pens.values() if pen.back}
        assert colours(pilot) <= known
        label = Static(Content.styled("calm", theme.CSS_PENS["quiet"].color))
        await pilot.app.push_screen(Screen())
        await pilot.app.screen.mount(label)
        await pilot.pause()
        (calm,) = [part for part in segments(pilot) if part.text.strip() == "calm"]
        assert calm.style
        assert calm.style.color
        assert calm.style.color.name == pens["quiet"].color

    run(test, name)


def test_theme_switches_at_once() -> None:
    async def test(pilot: Pilot[None]) -> None:
        await pilot.press("space")
        await pilot.pause()
        assert theme.NIGHT in colours(pilot)
        pilot.app.theme = "light"
        await pilot.pause()
        assert theme.PAPER in colours(pilot)
        assert not colours(pilot) & {*GROUNDS["dark"], theme.CHALK, theme.FOG}
        trace = pilot.app.screen.query_one(PitchTrace)
        back = trace.render_lines(trace.size.region)[0]._segments[0].style
        assert back
        assert back.bgcolor
        assert back.bgcolor.name == theme.PAPER

    run(test, "dark")


def test_only_these_themes_are_offered() -> None:
    async def test(pilot: Pilot[None]) -> None:
        assert set(pilot.app.available_themes) == set(NAMES)

    run(test, "dark")


def test_reduced_motion_keeps_the_needle_in_whole_cents() -> None:
    shown = DisplayedReading(Tab.parse("-4"), 7)
    assert GaugeState.of(shown).cents == 7
    for motion, level in (("full", "full"), ("reduced", "none")):

        async def test(pilot: Pilot[None], level: str = level) -> None:
            assert pilot.app.animation_level == level

        run(test, "dark", motion)


@pytest.mark.parametrize(
    ("terminal", "no_color", "expected"),
    [
        ("xterm-256color", "", "light"),
        ("xterm-256color", "1", "plain"),
        ("vt100", "", "plain"),
        ("dumb", "", "plain"),
    ],
)
@pytest.mark.skipif(os.name == "nt", reason="Windows has no terminfo")
def test_theme_is_plain_without_colours(terminal: str, no_color: str, expected: str) -> None:
    """By terminfo: a VT100 has no colours."""
    script = "from trainer.app.theme import effective_theme; print(effective_theme('light'))"
    done = subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "TERM": terminal, "NO_COLOR": no_color},
        check=True,
        capture_output=True,
        encoding="utf-8",
    )
    assert done.stdout.strip() == expected


def test_settings_set_theme_and_motion(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = tmp_path / "settings.toml"
    monkeypatch.setenv("TRAINER_SETTINGS", str(settings))
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr("trainer.practice.Listener", scripted.ScriptedListener)
    made: list[tuple[str, str]] = []
    monkeypatch.setattr(
        TrainerApp, "run", lambda app: made.append((app.theme, app.animation_level))
    )
    settings.write_text("")
    run_app(PLAN)
    settings.write_text('[screen]\ntheme = "light"\nmotion = "reduced"\n')
    run_app(PLAN)
    assert made == [("dark", "full"), ("light", "none")]


@pytest.mark.needs_tmux
@pytest.mark.parametrize(
    ("environment", "codes"),
    [
        ("TERM=screen-256color COLORTERM= NO_COLOR=1", set()),
        ("TERM=screen-256color COLORTERM=", {"38;5", "48;5"}),
        ("TERM=screen-256color COLORTERM=truecolor", {"38;2", "48;2"}),
    ],
)
def test_terminal_receives_only_colours_it_has(environment: str, codes: set[str]) -> None:
    """By what tmux understood: 256 colours, true colour, or none."""
    if not shutil.which("tmux"):
        pytest.skip("needs tmux")
    with tempfile.TemporaryDirectory(prefix="tmux-") as folder:
        terminal = Terminal(folder)
        try:
            terminal.start(f"{environment} {shlex.join(DEMO)}")
            terminal.wait_for("playing .*●")
            sent = terminal._tmux("capture-pane", "-p", "-e")
        finally:
            terminal.close()
    codes_sent = [
        code for codes in re.findall(r"\x1b\[([0-9;]*)m", sent) for code in codes.split(";")
    ]
    assert set(re.findall(r"[34]8;[25]", sent)) == codes
    if not codes:
        assert not [code for code in codes_sent if re.fullmatch(r"(3|4|9|10)[0-7]", code)]
        assert "7" in codes_sent  # the step in play, reversed
