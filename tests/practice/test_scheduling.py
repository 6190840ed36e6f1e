"""Which pass comes next, with a source and a conductor that record what they are asked for."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from trainer.drill import BeatClock, Climb, Drill, parse_drill
from trainer.harp import Harp
from trainer.practice import PassStarted, Plan
from trainer.practice.passes import Pass
from trainer.practice.session.scheduling import PassScheduler
from trainer.sound import PlayerSpec

RATE = 48_000
CLIMB = Climb(by=4.0, to=70.0, after=1)
HEAD = 'title = "T"\nharp = "C"\ntempo = 60\n'


def drill_of(tab: str, head: str = "") -> Drill:
    return parse_drill(f'{HEAD}{head}tab = """\n{tab}\n"""\n', "t")


class Stage:
    """A scheduler between a source and a conductor that record its requests."""

    def __init__(self, plan: Plan) -> None:
        self.asked: list[Any] = []
        self.begun: list[Pass] = []
        self.results: list[bool] = []
        self.plan = plan
        source = SimpleNamespace(
            rate=RATE,
            can_start_passes=True,
            tags={},
            advice="",
            name="stage",
            clicks_audible=False,
            first_pass=lambda: self._clock(("first",)),
            next_pass=lambda tempo=None, seamless=False: self._clock(("next", tempo, seamless)),
            resume_pass=lambda bars, tempo=None: self._clock(("resume", bars, tempo)),
        )
        conductor = SimpleNamespace(
            passes=self.begun,
            passed=self.results,
            running=True,
            begin=self.begun.append,
            resume_bar=lambda step, sample: max(1, plan.drill.steps[step].bar),  # type: ignore[union-attr]
        )
        finder: Any = None
        self.scheduler = PassScheduler(plan, source, conductor, finder)  # type: ignore[arg-type]

    def _clock(self, request: tuple[Any, ...]) -> BeatClock:
        self.asked.append(request)
        tempo = request[1] if request[0] == "next" and request[1] else self.plan.first_tempo
        return BeatClock(len(self.asked) * 100 * RATE, tempo, RATE)

    def first(self) -> None:
        (event,) = self.scheduler.begin_first()
        assert isinstance(event, PassStarted)

    def next(self, *, stopping: bool = False) -> list[Any]:
        return list(self.scheduler.begin_next(stopping=lambda: stopping))


FOUR = drill_of("4:1 5:1 6:1 -6:1 | 4:4 |")


def test_a_loop_begins_again_where_the_last_pass_closed() -> None:
    stage = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True))
    stage.first()
    for _ in range(3):
        stage.results.append(True)
        (event,) = stage.next()
        assert (event.first, event.last) == (0, 5)
    assert stage.asked == [("first",), *[("next", None, False)] * 3]
    for before, after in zip(stage.begun, stage.begun[1:], strict=False):
        assert after.begin == before.close


def test_no_pass_follows_without_a_loop_or_when_the_player_stops() -> None:
    once = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=False))
    once.first()
    assert once.next() == []
    stopped = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True))
    stopped.first()
    assert stopped.next(stopping=True) == []
    assert len(stopped.begun) == 1


def test_the_next_pass_of_a_loop_is_scheduled_once_just_before_the_last_one_ends() -> None:
    stage = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True))
    stage.first()
    close = stage.begun[-1].close
    stage.scheduler.look_ahead(close - round(0.95 * RATE))
    assert len(stage.asked) == 1
    for _ in range(3):
        stage.scheduler.look_ahead(close - round(0.85 * RATE))
    assert stage.asked[1:] == [("next", None, True)]
    stage.next()
    assert len(stage.asked) == 2  # it is the scheduled one
    assert stage.begun[-1].zero == 200 * RATE
    stage.next()
    assert stage.asked[2:] == [("next", None, False)]


def test_a_scheduled_pass_is_forgotten_when_the_current_one_is_interrupted() -> None:
    stage = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True))
    stage.first()
    stage.scheduler.look_ahead(stage.begun[-1].close)
    stage.scheduler.forget_scheduled()
    stage.next()
    assert stage.asked[1:] == [("next", None, True), ("next", None, False)]


def test_a_climbing_loop_waits_for_the_result_and_takes_its_tempo() -> None:
    plan = Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True, climb=CLIMB)
    stage = Stage(plan)
    stage.first()
    stage.scheduler.look_ahead(stage.begun[-1].close)
    assert stage.asked == [("first",)]
    tempos = []
    for passed in (True, True, True, False):
        stage.results.append(passed)
        stage.next()
        tempos.append(stage.asked[-1][1])
    assert tempos[:3] == [64.0, 68.0, 70.0]
    assert tempos[3] < 70.0
    list(stage.scheduler.resume(4, 0))
    assert stage.asked[-1] == ("resume", (2, 2), tempos[3])


def test_a_climbing_loop_keeps_its_tempo_until_a_pass_has_a_result() -> None:
    stage = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True, climb=CLIMB))
    stage.first()
    stage.next()
    assert stage.asked[-1] == ("next", 60.0, False)


def test_a_pass_resumes_at_the_bar_of_its_step_and_ends_where_it_would_have() -> None:
    plan = Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True, bars=(1, 1))
    stage = Stage(plan)
    stage.first()
    (event,) = stage.scheduler.resume(2, 123)
    assert (event.first, event.last) == (2, 4)
    assert stage.asked[-1] == ("resume", (1, 1), None)
    assert stage.begun[-1].begin == 123


def test_a_pick_up_belongs_to_the_first_bar() -> None:
    drill = drill_of("4:1 | 5:4 | 6:3 |", "pickup = 1\n")
    stage = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=drill))
    stage.first()
    list(stage.scheduler.resume(0, 0))
    list(stage.scheduler.resume(1, 0))
    list(stage.scheduler.resume(2, 0))
    assert [bars for _, bars, _ in stage.asked[1:]] == [(1, 2), (1, 2), (2, 2)]


def test_a_loop_follows_in_time_and_any_other_pass_waits_for_a_late_player() -> None:
    plan = Plan(Harp.of("C"), PlayerSpec(), drill=FOUR, loop=True)
    for changed, waits in (
        (plan, False),
        (replace(plan, loop=False), True),
        (replace(plan, climb=CLIMB), True),
    ):
        stage = Stage(changed)
        stage.first()
        assert stage.begun[0].waits is waits


def test_a_drill_without_a_clock_begins_where_the_last_pass_closed() -> None:
    free = drill_of("4:1 5:1 6:1 -6:1 |", 'clock = "free"\n')
    stage = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=free, loop=True))
    (event,) = stage.scheduler.begin_first()
    assert isinstance(event, PassStarted)
    assert event.clock is None
    stage.begun[0] = replace(stage.begun[0], close=777)
    stage.next()
    assert stage.asked == []
    assert stage.begun[-1].begin == 777
    (event,) = stage.scheduler.resume(2, 999)
    assert isinstance(event, PassStarted)
    assert (event.first, stage.begun[-1].begin) == (2, 999)


def test_a_source_without_a_drill_only_listens() -> None:
    stage = Stage(Plan(Harp.of("C"), PlayerSpec()))
    (event,) = stage.scheduler.begin_first()
    assert event == PassStarted(None, 0, 0, "stage", False)
    assert stage.begun == []


@pytest.mark.parametrize("advice", ["", "use headphones"])
def test_advice_of_a_source_comes_before_the_first_pass(advice: str) -> None:
    stage = Stage(Plan(Harp.of("C"), PlayerSpec(), drill=FOUR))
    stage.scheduler._source.advice = advice  # type: ignore[misc]
    *notices, started = stage.scheduler.begin_first()
    assert isinstance(started, PassStarted)
    assert [notice.sentence for notice in notices] == [advice] * bool(advice)  # type: ignore[union-attr]
