"""Marks of what the drill language offers, played with faults of known size.

The built-in player plays. The bounds are those that the project set itself: cents within 3, a
perfect performance at least 98. What a fault costs is computed by hand from the formula at the head
of trainer/marking/criteria.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.drill import CleannessRule, Drill, Goal, parse_drill
from trainer.drill.tab_reader import parse_tab
from trainer.harp import Harp
from trainer.marking import Mark, Measured, Result
from trainer.marking.criteria import criterion_scores, score_criteria
from trainer.marking.score import break_down, step_score
from trainer.practice import PassEnded, PassStarted, Plan, ReadingHeard, StepMarked, run_take
from trainer.practice.tempo_ladder import TempoLadder
from trainer.sound import Fault, PlayerSpec


def drill_of(tab: str, **head: str) -> Drill:
    lines = "".join(f"{name} = {value}\n" for name, value in ({"tempo": "60"} | head).items())
    return parse_drill(f'title = "T"\nharp = "C"\n{lines}tab = """\n{tab}\n"""\n', "slipway")


def played(
    drill: Drill, faults: Mapping[int, Fault] | None = None, key: str = "C", **how: object
) -> Result:
    spec = PlayerSpec(faults=faults or {}, **how)  # type: ignore[arg-type]
    events = list(run_take(Plan(Harp.of(key), spec, drill=drill, count_in=1)))
    return [event.result for event in events if isinstance(event, PassEnded)][-1]


def bar_of(tab: str) -> Drill:
    """A drill of one step, in a bar of its length."""
    beats = tab.partition("{")[0].partition(":")[2]
    return drill_of(tab, meter=f'"{beats}/4"')


def mark_of(tab: str, fault: Fault, key: str = "C") -> Mark:
    return played(bar_of(tab), {0: fault}, key).marks[0]


EVERYTHING = drill_of(
    """
    -4'>-4:2 -4>-4':2 | -3=-3'=-3''=-3''':4 | -2''>-2:1 -3>-3''>-3:3 |
    -4:2{vibrato 5 20} -4':2{vibrato 4 40} | 4>5>6:2 -3@-40:2 | -2/3:1 3/-2:1 4+5:1 -1+4:1 |
    8'=8:2 -2=-2'=-2'':2 | {chord} 4 -4 {blur} 5 5 | {clean} -6 {wah} 4:3 | {} [4 -4 5]:1 ~:1 6o -6
    """
)


@pytest.mark.parametrize("key", ["C", "low F", "F#"])
def test_all_of_the_language_is_performed_and_marked_without_fault(key: str) -> None:
    result = played(EVERYTHING, key=key)
    assert result.score >= 98.0
    assert min(mark.score for mark in result.marks) >= 95.0
    assert not result.extras


# Glides


@pytest.mark.parametrize("cents", [-45.0, -20.0, 20.0, 45.0])
def test_how_far_a_glide_strays_comes_back(cents: float) -> None:
    glides = drill_of("-4'>-4:3 r:1 | -4>-4':3 r:1 | -3>-3''':4 |")
    for mark in played(glides, dict.fromkeys(range(3), Fault(stray_cents=cents))).marks:
        assert mark.measured.stray_cents == pytest.approx(abs(cents), abs=3.0)


@pytest.mark.parametrize("cents", [15.0, 30.0, 60.0])
def test_how_far_a_glide_turns_back_comes_back(cents: float) -> None:
    glides = drill_of("-4'>-4:3 r:1 | -3>-3''':4 |")
    for mark in played(glides, dict.fromkeys(range(2), Fault(back_cents=cents))).marks:
        assert mark.measured.back_cents == pytest.approx(cents, abs=4.0)
        assert cents < 30.0 or "went back by" in mark.sentence


def test_the_ends_of_a_glide_are_not_its_way() -> None:
    mark = mark_of("-4'>-4:4", Fault(cents=-20.0))
    assert mark.measured.cents == pytest.approx(-20.0, abs=3.0)
    assert mark.measured.stray_cents == pytest.approx(0.0, abs=3.0)
    assert mark.measured.back_cents == pytest.approx(0.0, abs=3.0)


def test_a_slide_that_leaves_out_a_hole_is_reported() -> None:
    complete = mark_of("4>5>6:4", Fault()).measured
    assert complete.unheard == ()
    asked = drill_of("4>5>6:4")
    direct = played(drill_of("4>5:4"), {0: Fault(instead="4>6")})
    assert direct.marks[0].sentence.startswith("played")
    step = asked.steps[0]
    missed = replace(complete, unheard=("5",))
    assert criterion_scores(step, missed, Goal(), 1000.0)["motion"] == 0.0


# Ladders


@pytest.mark.parametrize(("rung", "cents"), [(1, -25.0), (2, 12.0), (3, -25.0), (4, 12.0)])
def test_each_rung_is_measured_by_itself(rung: int, cents: float) -> None:
    measured = mark_of("-3=-3'=-3''=-3''':8", Fault(rung=rung, rung_cents=cents)).measured
    expected = [cents if place == rung - 1 else 0.0 for place in range(4)]
    assert [off or 0.0 for off in measured.rungs] == pytest.approx(expected, abs=3.0)


def test_a_ladder_names_its_worst_rung() -> None:
    mark = mark_of("-3=-3'=-3'':6", Fault(rung=2, rung_cents=40.0))
    assert mark.sentence.startswith("draw 3 bent a half step 40 cents sharp")


# Vibrato


# The corners, where rate and depth hide each other, and two between.
@pytest.mark.parametrize(
    ("hz", "cents"),
    [(3.5, 10.0), (3.5, 45.0), (5.0, 25.0), (6.5, 25.0), (8.0, 10.0), (8.0, 45.0)],
)
def test_rate_and_depth_of_a_vibrato_come_back(hz: float, cents: float) -> None:
    mark = mark_of("-4:4{vibrato 5 25}", Fault(vibrato_hz=hz, vibrato_cents=cents))
    assert mark.measured.vibrato_hz == pytest.approx(hz, rel=0.03)
    assert mark.measured.vibrato_cents == pytest.approx(cents, abs=3.0)
    assert mark.measured.cents == pytest.approx(0.0, abs=3.0)


@pytest.mark.parametrize("cents", [-18.0, 15.0])
def test_the_centre_of_a_vibrato_comes_back(cents: float) -> None:
    assert mark_of("-4:4{vibrato 5 30}", Fault(cents=cents)).measured.cents == pytest.approx(
        cents, abs=3.0
    )


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        (Fault(vibrato_cents=0.0), "no vibrato heard"),
        (Fault(vibrato_hz=8.0), "vibrato too fast, 8.0 a second for 5"),
        (Fault(vibrato_cents=8.0), "vibrato too shallow, 8 cents for 25"),
    ],
)
def test_the_fault_of_a_vibrato_is_named(fault: Fault, sentence: str) -> None:
    assert mark_of("-4:4{vibrato 5 25}", fault).sentence == sentence


# Chords and care


def test_a_chord_with_a_hole_missing_or_one_too_many() -> None:
    assert mark_of("4+5:2", Fault(alone=True)).sentence.startswith("hole 5 missing")
    leaking = mark_of("4+5:2", Fault(leak_db=-10.0, leak_hole=6))
    assert leaking.measured.leak_hole == 6
    assert leaking.measured.leak_db == pytest.approx(-10.0, abs=3.0)


@pytest.mark.parametrize("tab", ["-2+5:2", "-3+6:2", "-1+3:2", "2+4:2"])
def test_a_split_that_is_no_octave_is_heard(tab: str) -> None:
    mark = mark_of(tab, Fault())
    assert mark.measured.holes == tuple(entry.hole for entry in mark.step.first)
    assert mark.score >= 98.0
    assert mark_of(tab, Fault(alone=True)).sentence.startswith("hole")


def test_blurred_notes_may_leak_clean_ones_must_not_and_chords_must_not_sound_alone() -> None:
    leak = Fault(leak_db=-10.0)
    plain, blurred, clean = (mark_of(f"-5:2{care}", leak) for care in ("", "{blur}", "{clean}"))
    assert blurred.score >= 98.0
    assert plain.criteria["cleanness"] == pytest.approx(42.0, abs=6.0)
    assert clean.score == pytest.approx(clean.criteria["cleanness"])
    assert clean.score < plain.score < blurred.score
    assert mark_of("-5:2{chord}", Fault()).score >= 98.0
    alone = mark_of("-5:2", Fault())
    step = replace(alone.step, cleanness_rule=CleannessRule.CHORD)
    assert criterion_scores(step, alone.measured, Goal(), 1000.0)["cleanness"] == 0.0


@pytest.mark.parametrize("instead", ["-2", "3"])
def test_either_of_two_holes_will_do(instead: str) -> None:
    assert mark_of("-2/3:2", Fault(instead=instead)).score >= 98.0


# What happened


def test_skipped_wrong_and_extra_notes_are_reported_as_such() -> None:
    drill = drill_of("4 -4 5 r | -5 6 -6 r | 6 -5 5 4")
    faults = {1: Fault(skip=True), 3: Fault(instead="-8"), 5: Fault(extra="8")}
    result = played(drill, faults)
    sentences = {mark.step.index: mark.sentence for mark in result.marks}
    assert sentences[1] == "skipped"
    assert sentences[3].startswith("played -8 instead of -5")
    assert [extra.sentence for extra in result.extras] == ["extra note after step 6: blow 8"]
    assert result.extras[0].after == 5
    rest = [mark.score for mark in result.marks if mark.step.index not in (1, 3)]
    assert min(rest) >= 95.0


def test_an_extra_note_costs_its_length() -> None:
    drill = drill_of("4 -4 5 r | -5 6 -6 r")
    clean, messy = played(drill), played(drill, {2: Fault(extra="8")})
    (extra,) = messy.extras
    assert messy.score == pytest.approx(clean.score * 6.0 / (6.0 + extra.beats), abs=1.0)


@pytest.mark.parametrize(
    "how", [{"rush": 1.4}, {"rush": 0.75}, {"hesitate": {3: 700.0}}, {"hesitate": {2: 1500.0}}]
)
def test_a_player_who_leaves_the_beat_is_marked_for_what_is_played(how: dict[str, object]) -> None:
    drill = drill_of("4 -4 5 -5 | 6 -6 6 -5 | 5 -4 4 -3 | 4 5 6:2", tempo="90")
    result = played(drill, {5: Fault(cents=-20.0)}, **how)
    assert all("pitch" in mark.criteria for mark in result.marks)
    assert result.marks[5].measured.cents == pytest.approx(-20.0, abs=3.0)
    others = [mark.criteria["pitch"] for mark in result.marks if mark.step.index != 5]
    assert min(others) >= 95.0


# A free clock


FREE = drill_of("-4 -4' -4 r | -3'@+50 4+5 -2=-2' 5", clock='"free"', tempo="30")


def test_a_free_clock_marks_each_step_once_it_has_been_held() -> None:
    plan = Plan(Harp.of("C"), PlayerSpec(), drill=FREE)
    events = list(run_take(plan))
    marks = [event.mark for event in events if isinstance(event, StepMarked)]
    assert [mark.step.index for mark in marks] == list(range(7))
    assert all(event.clock is None for event in events if isinstance(event, PassStarted))
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert result.score >= 98.0
    assert all("time" not in mark.criteria for mark in marks)


def test_a_free_clock_waits_for_the_right_note() -> None:
    result = played(FREE, {1: Fault(instead="-5")})
    assert [mark.sentence for mark in result.marks][1:] == ["not played"] * 6
    sharp = played(drill_of("-4:2 r:2", clock='"free"'), {0: Fault(cents=-18.0)})
    assert sharp.marks[0].sentence == "not played"


def test_a_free_clock_counts_the_tries_of_a_step() -> None:
    drill = drill_of("-5:1 -4:1 5:1 r:1", clock='"free"')
    faults = {0: Fault(extra="8"), 1: Fault(cents=-30.0, extra="-4'"), 2: Fault(instead="-4")}
    second = played(drill, faults).marks[1]
    assert (second.measured.tries or 0) >= 3
    assert second.sentence.endswith("tries")
    assert played(drill).marks[0].measured.tries == 1


def test_a_free_clock_holds_for_as_long_as_the_goal_says() -> None:
    reached = []
    for hold in (0.3, 1.5):
        drill = replace(drill_of("-4:2 r:2", clock='"free"'), goal=Goal(hold=hold))
        for event in run_take(Plan(Harp.of("C"), PlayerSpec(), drill=drill)):
            if isinstance(event, ReadingHeard):
                now = event.reading.heard_at
            if isinstance(event, StepMarked):
                reached.append(now)
    assert reached[1] - reached[0] == pytest.approx(1.2, abs=0.02)


# The tempo ladder


def test_a_tempo_ladder_climbs_after_good_passes_and_steps_back_after_a_bad_one() -> None:
    drill = parse_drill(
        'title = "T"\nharp = "C"\ntempo = 80\ntab = "4 5 6 r"\n'
        "[climb]\nby = 5\nafter = 2\nto = 88\n",
        "capstan",
    )
    assert drill.climb is not None
    ladder = TempoLadder(drill.climb, 80.0)
    tempi = []
    for passed in (True, True, True, False, False, True, True, True, True, True):
        ladder.count_pass(passed)
        tempi.append(ladder.tempo)
    assert tempi == [80, 85, 85, 80, 80, 80, 85, 85, 88, 88]


def test_a_looped_drill_climbs_while_it_is_played() -> None:
    drill = parse_drill(
        'title = "T"\nharp = "C"\ntempo = 100\ntab = "4 5 6 r"\n'
        "[climb]\nby = 20\nafter = 1\nto = 140\n",
        "capstan",
    )
    tempi: list[float] = []
    events = run_take(
        Plan(Harp.of("C"), PlayerSpec(), drill=drill, loop=True), lambda: len(tempi) >= 4
    )
    for event in events:
        if isinstance(event, PassStarted):
            assert event.clock is not None
            tempi.append(event.clock.tempo)
    assert tempi == [100.0, 120.0, 140.0, 140.0]


# The formula


STEPS = {
    name: parse_tab(text, None).steps[0]
    for name, text in {
        "glide": "-3>-3'':4",
        "ladder": "-3=-3'=-3'':3",
        "vibrato": "-4:4{vibrato 5 25}",
        "clean": "-4:4{clean}",
    }.items()
}
PERFECT = {
    "glide": Measured(
        start=0, end=1, late_ms=0.0, cents=0.0, wobble_cents=0.0, drift_cents=0.0,
        scoop_cents=0.0, holes=(3,), heard="-3>-3''", stray_cents=0.0, back_cents=0.0,
    ),
    "ladder": Measured(
        start=0, end=1, late_ms=0.0, cents=0.0, wobble_cents=0.0, drift_cents=0.0,
        scoop_cents=0.0, holes=(3,), heard="-3=-3'=-3''", rungs=(0.0, 0.0, 0.0), back_cents=0.0,
    ),
    "vibrato": Measured(
        start=0, end=1, late_ms=0.0, cents=0.0, wobble_cents=0.0, drift_cents=0.0,
        scoop_cents=0.0, settle_ms=20.0, holes=(4,), heard="-4", vibrato_hz=5.0,
        vibrato_cents=25.0,
    ),
    "clean": Measured(
        start=0, end=1, late_ms=0.0, cents=0.0, wobble_cents=0.0, drift_cents=0.0,
        scoop_cents=0.0, settle_ms=20.0, holes=(4,), heard="-4",
    ),
}  # fmt: skip
WORSE = {
    "glide": ("stray_cents", "back_cents", "scoop_cents", "cents", "late_ms"),
    "ladder": ("back_cents", "wobble_cents", "late_ms"),
    "vibrato": ("cents", "late_ms", "wobble_cents"),
    "clean": ("leak_db", "cents", "settle_ms"),
}


def earned(name: str, measured: Measured) -> float:
    step = STEPS[name]
    return step_score(step, measured, criterion_scores(step, measured, Goal(), 1000.0), Goal())


@pytest.mark.parametrize("name", STEPS)
def test_a_perfect_step_earns_all(name: str) -> None:
    assert earned(name, PERFECT[name]) == pytest.approx(100.0)


@given(st.sampled_from(sorted(WORSE)), st.data(), st.floats(0, 300), st.floats(0, 300))
def test_more_fault_never_earns_more(
    name: str, data: st.DataObject, less: float, more: float
) -> None:
    figure = data.draw(st.sampled_from(WORSE[name]))
    floor = -60.0 if figure == "leak_db" else 0.0
    low, high = floor + min(less, more), floor + max(less, more)
    good, bad = (replace(PERFECT[name], **{figure: at}) for at in (low, high))  # type: ignore[arg-type]
    if figure == "cents":
        good, bad = (replace(figures, scoop_cents=figures.cents) for figures in (good, bad))
    assert earned(name, bad) <= earned(name, good) + 1e-9


@given(st.lists(st.floats(-200, 200), min_size=3, max_size=3), st.integers(0, 2), st.floats(0, 50))
def test_a_rung_further_off_never_earns_more(offs: list[float], rung: int, more: float) -> None:
    worse = [off + math.copysign(more, off) * (i == rung) for i, off in enumerate(offs)]
    scores = [
        earned("ladder", replace(PERFECT["ladder"], cents=max(rungs, key=abs), rungs=tuple(rungs)))
        for rungs in (offs, worse)
    ]
    assert scores[1] <= scores[0] + 1e-9


@given(st.floats(3.0, 9.0), st.floats(3.0, 100.0), st.floats(1.0, 2.0))
def test_a_vibrato_further_from_what_is_asked_never_earns_more(
    hz: float, cents: float, times: float
) -> None:
    further = 5.0 * (hz / 5.0) ** times, 25.0 * (cents / 25.0) ** times
    near, far = (
        earned("vibrato", replace(PERFECT["vibrato"], vibrato_hz=rate, vibrato_cents=depth))
        for rate, depth in ((hz, cents), further)
    )
    assert far <= near + 1e-9


def test_weights_of_the_goal_count() -> None:
    late = replace(PERFECT["clean"], late_ms=150.0)
    usual, goal = Goal(), Goal(weights={**Goal().weights, "time": 0.0})
    step = STEPS["clean"]
    parts = criterion_scores(step, late, usual, 1000.0)
    assert step_score(step, late, parts, goal) == pytest.approx(100.0)
    assert step_score(step, late, parts, usual) < 95.0


@pytest.mark.parametrize("name", STEPS)
def test_every_number_of_a_mark_can_be_computed_again(name: str) -> None:
    """By the points that stand with each term, as a reader of the JSON would."""
    goal, step = Goal(), STEPS[name]
    measured = replace(PERFECT[name], late_ms=90.0, wobble_cents=4.0, leak_db=-15.0, leak_hole=5)
    judged = score_criteria(step, measured, goal, 1000.0)
    for part in judged.values():
        each = [term.earned for term in part.terms]
        for term in part.terms:
            if term.at is not None:
                assert term.earned == pytest.approx(_read_off(term.points, term.at))
        assert part.rule in ("best", "worst", "rungs")
        if part.rule != "rungs":
            assert part.earned == (max if part.rule == "best" else min)(each)
    parts = {name: part.earned for name, part in judged.items()}
    breakdown = break_down(step, measured, parts, goal)
    mean = sum(goal.weights[part] * got for part, got in parts.items())
    assert breakdown.mean == pytest.approx(mean / sum(goal.weights[part] for part in parts))
    assert breakdown.score == pytest.approx(step_score(step, measured, parts, goal))


def _read_off(points: tuple[tuple[float, float], ...], at: float) -> float:
    if at <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in pairwise(points):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return points[-1][1]


# Chords of low reeds, whose level beats


CHUG = ("1+2", "1+2+3", "2+3", "2+3+4", "-1+2+3")


@pytest.mark.parametrize("key", ["low F", "G"])
def test_a_low_chord_that_is_held_is_one_note_and_repeated_it_is_several(key: str) -> None:
    """Two reeds beat at the difference of their pitches: F3 and A3 45 times a second."""
    bars = " | ".join(f"{chord}:3 r:1 | {' '.join([chord] * 4)}" for chord in CHUG)
    drill, starts = drill_of(bars, tempo="96"), []
    for event in run_take(Plan(Harp.of(key), PlayerSpec(), drill=drill)):
        if isinstance(event, PassStarted):
            clock = event.clock
        if isinstance(event, ReadingHeard) and event.reading.onset is not None:
            assert clock is not None
            starts.append(clock.beat(event.reading.onset))
    assert starts == pytest.approx([float(step.start) for step in drill.steps], abs=0.05)
