"""Where the passes of a recording begin and close, for given clocks."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from trainer.drill import BeatClock, parse_drill
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.practice.session.pass_finding import PassFinder
from trainer.sound import PlayerSpec

RATE = 48_000
DRILL = parse_drill('title = "T"\nharp = "C"\ntempo = 60\ntab = """\n4:2 5:2 | 6:4 |\n"""\n', "t")


def passes_at(*seconds: float) -> list[Any]:
    source: Any = SimpleNamespace(rate=RATE)
    finder = PassFinder(Plan(Harp.of("C"), PlayerSpec(), drill=DRILL), source)
    clocks = [BeatClock(round(second * RATE), 60.0, RATE) for second in seconds]
    return finder._passes_on(clocks, DRILL, range(3))


def test_passes_without_a_break_close_just_before_the_next_begins() -> None:
    """A first note may come 0.1 s too early."""
    passes = passes_at(1.0, 9.0, 17.0, 40.0)
    assert [a_pass.close / RATE for a_pass in passes[:2]] == [8.9, 16.9]
    assert [a_pass.begin for a_pass in passes] == [0, *(a_pass.close for a_pass in passes[:3])]
    assert 25.0 < passes[2].close / RATE < 39.9  # its tail ends before the fourth
    assert [a_pass.waits for a_pass in passes] == [False, False, False, True]
