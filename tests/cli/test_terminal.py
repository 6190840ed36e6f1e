"""The live screen for real: tmux is the terminal, keys are typed and what it shows is read."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import pytest

from tests.support.terminal import DEMO, Terminal

pytestmark = pytest.mark.needs_tmux

ROOT = Path(__file__).parent.parent.parent
TOO_SMALL = r"Enlarge the window to 80 columns and 24 rows \(now 60 and 15\)"


def test_make_demo_runs_on_the_live_screen_to_its_total(terminal: Terminal) -> None:
    # With the environment that these tests run in, as if it were the one that make made.
    bin_folder = shlex.quote(str(Path(sys.executable).parent))
    terminal.start(f"make demo BIN={bin_folder} --assume-old=.venv/run-stamp")

    page = terminal.wait_for(r"playing .*●9\d")
    assert len(page.splitlines()) == 24
    assert re.search(r"4─+ 5─+ 4─+", page)  # the page of tab
    assert re.search(r"flat.*░.*sharp", page)  # the gauge
    assert re.search(r"1 +2 +3 ", page)  # the strip of holes

    terminal.keys("?")
    terminal.wait_for("start with a count-in, or stop")
    terminal.keys("Escape")
    terminal.wait_for(r"\d+ of 100, not passed yet .* 2 5 ● \d+ hole 4 leaking, 1[234] dB down")
    terminal.keys("q")
    terminal.wait_for("exit code 0")


def test_a_wide_screen_survives_being_made_too_small(terminal: Terminal) -> None:
    terminal.start(shlex.join(DEMO), 120, 40)
    page = terminal.wait_for(r"playing .*●9\d")
    assert len(page.splitlines()) == 40
    terminal.resize(60, 15)
    terminal.wait_for(TOO_SMALL)
    terminal.resize(120, 40)
    terminal.wait_for(r"◆100 ●9\d")
    terminal.keys("q")
    terminal.wait_for("exit code 0")


def test_a_terminal_too_small_from_the_start_is_reported(terminal: Terminal) -> None:
    terminal.start(shlex.join(DEMO), 60, 15)
    terminal.wait_for(TOO_SMALL)
    terminal.keys("q")
    terminal.wait_for("exit code 0")


def test_through_a_pipe_the_demo_is_lines_of_text(terminal: Terminal) -> None:
    terminal.start(f"{shlex.join(DEMO)} | cat", 100, 40)
    screen = terminal.wait_for("exit code 0")
    assert "count-in 4 of 4" in screen
    assert re.search(r"8 +-3 +\d+ +hole 2 leaking, 1[234] dB down", screen)
    assert re.search(r"Total \d+ of 100, (not )?passed", screen)


def test_a_dumb_terminal_gets_lines(terminal: Terminal) -> None:
    terminal.start(f"TERM=dumb {shlex.join(DEMO)}", rows=40)
    terminal.wait_for("Harbour bell: C harp.* Total .* exit code 0")


def test_a_recording_opens_as_tab_with_its_pick_list(terminal: Terminal) -> None:
    command = [sys.executable, *["-m", "trainer", "tab", "tests/reeds/phrase.flac", "--open"]]
    terminal.start(shlex.join(command))
    terminal.wait_for(r"▶\d .* position .* note 1 of ")
    terminal.keys("q")
    terminal.wait_for("exit code 0")
