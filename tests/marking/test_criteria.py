"""The formula by hand: points of each criterion, and the score that follows from them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.support.synthetic_takes import drill_of
from trainer.drill import DEFAULT_WEIGHTS, Goal, Step
from trainer.harp import Harp
from trainer.marking import ExtraNote, Mark, Measured, break_down, mean_score
from trainer.marking.criteria import (
    can_be_judged,
    criterion_scores,
    is_wrong_note,
    missing_holes,
    score_criteria,
    sounds_alone,
)
from trainer.marking.sentence import describe_sound, mark_sentence

PERFECT = Measured(
    start=0, end=1, late_ms=0.0, cents=0.0, wobble_cents=0.0, drift_cents=0.0, scoop_cents=0.0,
    settle_ms=10.0, holes=(4,),
)  # fmt: skip


def step_of(tab: str) -> Step:
    return drill_of(tab).steps[0]


def points(tab: str, beat_ms: float = 600.0, **figures: object) -> dict[str, float]:
    measured = replace(PERFECT, **figures)  # type: ignore[arg-type]
    return criterion_scores(step_of(tab), measured, Goal(), beat_ms)


def score(tab: str, goal: Goal | None = None, **figures: object) -> float:
    measured = replace(PERFECT, **figures)  # type: ignore[arg-type]
    goal, step = goal or Goal(), step_of(tab)
    return break_down(step, measured, criterion_scores(step, measured, goal, 600.0), goal).score


def sentence(tab: str, **figures: object) -> str:
    measured = replace(PERFECT, **figures)  # type: ignore[arg-type]
    step = step_of(tab)
    earned = criterion_scores(step, measured, Goal(), 600.0)
    return mark_sentence(step, measured, earned, harp=Harp.of("C"), beat_ms=600.0)


# --- criteria ---------------------------------------------------------------------------------


def test_a_wrong_note_has_no_points_for_pitch() -> None:
    assert points("-4:1", heard="-5", cents=0.0)["pitch"] == 0.0
    assert points("-4:1", heard="-4", cents=0.0)["pitch"] == 100.0
    wrong = replace(PERFECT, heard="-5")
    assert score_criteria(step_of("-4:1"), wrong, Goal(), 600.0)["pitch"].rule == "wrong note"


@pytest.mark.parametrize("heard", ["-4>-4", "-4'>-4'", "-5>-5"])
def test_a_glide_is_wrong_at_either_end(heard: str) -> None:
    assert is_wrong_note(step_of("-4'>-4:1"), replace(PERFECT, heard=heard))
    assert not is_wrong_note(step_of("-4'>-4:1"), replace(PERFECT, heard="-4'>-4"))


@pytest.mark.parametrize(("heard", "wrong"), [("-4=-4", True), ("-3=-4", False), ("-3=-3'", False)])
def test_a_ladder_is_wrong_on_every_rung(heard: str, wrong: bool) -> None:
    assert is_wrong_note(step_of("-3=-3':2"), replace(PERFECT, heard=heard)) is wrong


def test_a_chord_is_wrong_without_any_of_its_holes() -> None:
    assert is_wrong_note(step_of("4+5:1"), replace(PERFECT, heard="6+7"))
    assert is_wrong_note(step_of("4+5:1"), replace(PERFECT, heard="-4+5"))
    assert not is_wrong_note(step_of("4+5:1"), replace(PERFECT, heard="5+6"))


def test_either_of_two_holes_is_right() -> None:
    assert not is_wrong_note(step_of("-2/3:1"), replace(PERFECT, heard="3"))
    assert not is_wrong_note(step_of("-2/3:1"), replace(PERFECT, heard="-2"))
    assert is_wrong_note(step_of("-2/3:1"), replace(PERFECT, heard="4"))


def test_a_glide_has_the_worse_of_its_ends() -> None:
    assert points("-4'>-4:1", cents=10.0, scoop_cents=-20.0)["pitch"] == pytest.approx(50.0)
    assert points("-4'>-4:1", cents=20.0, scoop_cents=0.0)["pitch"] == pytest.approx(50.0)
    assert "attack" not in points("-4'>-4:1")


@pytest.mark.parametrize(
    ("rungs", "earned"),
    [((0.0, 0.0, 10.0), 95.0), ((0.0, 0.0, 80.0), 50.0), ((0.0, None, 0.0), 50.0)],
)
def test_a_ladder_has_the_mean_of_its_rungs_but_at_most_50_above_the_worst(
    rungs: tuple[float | None, ...], earned: float
) -> None:
    assert points("-3=-3'=-3'':3", rungs=rungs)["pitch"] == pytest.approx(earned)


@pytest.mark.parametrize(
    ("tab", "stray", "earned"),
    [("-3'>-3'':1", 50.0, 70.0), ("-3>-3''':1", 150.0, 70.0), ("-4@-30>-4@-10:1", 25.0, 70.0)],
)
def test_straying_is_measured_by_a_fifth_of_the_path_or_by_the_tolerance(
    tab: str, stray: float, earned: float
) -> None:
    """200 cents on -3'>-3'' would be the depth of its end, not the length of its path."""
    assert points(tab, stray_cents=stray)["motion"] == pytest.approx(earned)


def test_a_slide_has_the_fraction_of_sounds_that_were_heard() -> None:
    slide = "4>5>6>7:2"
    assert points(slide)["motion"] == 100.0
    assert points(slide, unheard=("5",))["motion"] == 50.0
    assert points(slide, unheard=("5", "6"))["motion"] == 0.0


@pytest.mark.parametrize(
    ("hz", "cents", "earned"),
    [
        (5.0, 20.0, 100.0),
        (5.0 * 2**0.3, 20.0, 85.0),
        (5.0 / 2**0.6, 20.0, 50.0),
        (2.0, 20.0, 0.0),
        (5.0, 20.0 * 2**0.6, 85.0),
        (5.0, 10.0, 50.0),
        (None, None, 0.0),
    ],
)
def test_a_vibrato_is_off_by_octaves_of_rate_and_depth(
    hz: float | None, cents: float | None, earned: float
) -> None:
    earned_points = points("-4:2{vibrato 5 20}", vibrato_hz=hz, vibrato_cents=cents)
    assert earned_points["motion"] == pytest.approx(earned, abs=0.2)


def test_the_octave_that_cannot_be_heard_is_not_missing() -> None:
    split = step_of("-1+4:1")
    assert missing_holes(split, replace(PERFECT, holes=(1,))) == [4]
    assert missing_holes(split, replace(PERFECT, holes=(1,), hidden=(4,))) == []
    assert missing_holes(split, replace(PERFECT, holes=())) == []
    assert missing_holes(step_of("-4:1"), replace(PERFECT, holes=(1,))) == []


@pytest.mark.parametrize(("holes", "alone"), [((5,), True), ((4, 5), False), ((5, 6), False)])
def test_a_note_that_must_be_a_chord_sounds_alone_without_a_neighbour(
    holes: tuple[int, ...], alone: bool
) -> None:
    measured = replace(PERFECT, holes=holes)
    assert sounds_alone(step_of("{chord} -5:1"), measured) is alone
    assert not sounds_alone(step_of("-5:1"), measured)
    assert points("{chord} -5:1", holes=holes)["cleanness"] == (0.0 if alone else 100.0)


@pytest.mark.parametrize(
    ("beat_ms", "late_ms", "earned"),
    [
        (800.0, 20.0, 100.0),  # 2.5 % of a beat
        (300.0, 10.0, 100.0),  # at least 10 ms
        (300.0, -20.0, 85.0),  # 0.2 of a third of a beat
        (90.0, 3.0, 100.0),  # but a tenth of a third of a beat
        (180.0, 9.0, 92.5),
        (90.0, 10.0, 69.4),
        (90.0, 30.0, 0.0),
        (1200.0, 125.0, 50.0),  # a third of a beat, at most 250 ms
        (1200.0, 250.0, 0.0),
    ],
)
def test_time_is_measured_by_the_beat(beat_ms: float, late_ms: float, earned: float) -> None:
    assert points("-4:1", beat_ms, late_ms=late_ms)["time"] == pytest.approx(earned, abs=0.1)


def test_what_has_no_pitch_can_be_judged_if_several_holes_sound() -> None:
    assert can_be_judged(step_of("4+5:1"), replace(PERFECT, cents=None, holes=(4,)))
    assert can_be_judged(step_of("4:1"), replace(PERFECT, cents=None, holes=(4, 5)))
    assert not can_be_judged(step_of("4:1"), replace(PERFECT, cents=None, holes=(4,)))
    assert not can_be_judged(step_of("4+5:1"), replace(PERFECT, cents=None, holes=()))


# --- the score --------------------------------------------------------------------------------


def test_a_pitch_far_off_shrinks_the_score() -> None:
    """24 cents: 40 points, so 0.8 of the mean; the other four criteria are perfect."""
    weights = DEFAULT_WEIGHTS
    judged = ("pitch", "steadiness", "attack", "cleanness", "time")
    total = sum(weights[name] for name in judged)
    mean = 100.0 - 60.0 * weights["pitch"] / total
    assert score("-4:1", cents=24.0, scoop_cents=24.0) == pytest.approx(0.8 * min(mean, 90.0))


def test_the_score_of_a_chord_is_of_the_holes_that_sound() -> None:
    assert score("3+4+5:1", holes=(3, 4)) == pytest.approx(200.0 / 3.0)


def test_a_step_that_must_be_clean_scores_at_most_its_cleanness() -> None:
    assert score("{clean} -4:1", leak_db=-18.0, leak_hole=3) == pytest.approx(67.5)
    assert score("-4:1", leak_db=-18.0, leak_hole=3) > 80.0


def test_a_criterion_without_weight_costs_nothing() -> None:
    goal = Goal(weights={**DEFAULT_WEIGHTS, "time": 0.0})
    assert score("-4:1", goal, late_ms=400.0) == 100.0
    nothing = Goal(weights=dict.fromkeys(DEFAULT_WEIGHTS, 0.0))
    assert score("-4:1", nothing, late_ms=400.0) == 100.0
    assert score("-4:1", nothing, heard="-5") == 0.0  # a wrong note earns nothing in any case


def test_extra_notes_count_as_steps_that_earned_nothing() -> None:
    step = step_of("-4:3")
    mark = Mark(step, 80.0, {}, PERFECT, "")
    extra = ExtraNote(0, 1, 1.0, None, "8", "")
    assert mean_score([mark, mark], [extra, extra]) == pytest.approx(80.0 * 6.0 / 8.0)
    assert mean_score([]) == 0.0


# --- sentences --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tab", "figures", "expected"),
    [
        ("-4'>-4:1", {"cents": 12.0, "scoop_cents": -30.0}, "starts 30 cents flat"),
        ("-4'>-4:1", {"cents": -30.0, "scoop_cents": 12.0}, "ends 30 cents flat"),
        ("-4'>-4:1", {"stray_cents": 80.0, "back_cents": 10.0}, "strayed 80 cents from the path"),
        ("-4'>-4:1", {"stray_cents": 60.0, "back_cents": 50.0}, "went back by 50 cents on the way"),
        ("4>5>6:1", {"unheard": ("5",)}, "slid past 5 unheard"),
        ("-3=-3':2", {"rungs": (4.0, -40.0)}, "draw 3 bent a half step 40 cents flat"),
        ("-3=-3':2", {"rungs": (None, -40.0)}, "draw 3 missing"),
        ("-4:1", {"cents": 30.0, "scoop_cents": 30.0}, "30 cents sharp"),
        ("-4:1", {"cents": -19.0, "scoop_cents": -19.0}, "19 cents flat"),
        ("-4:1", {"cents": -21.0, "scoop_cents": -21.0}, "21 cents flat, as if bent by accident"),
        ("-4:1", {"scoop_cents": 24.0, "settle_ms": 300.0}, "settled after 300 ms"),
        (
            "-4:1",
            {"scoop_cents": -26.0, "settle_ms": 300.0},
            "scooped from 26 cents below, settled after 300 ms",
        ),
        ("-4:1", {"late_ms": 39.0}, "in tune, clean, in time (39 ms late)"),
        ("-4:1", {"late_ms": 41.0}, "41 ms late"),
        ("-4:1", {"late_ms": 24.0}, "in tune, clean, in time (24 ms late)"),
        ("-4:1", {"late_ms": 18.0}, "in tune, clean, in time"),
        ("4+5:1", {"cents": -30.0, "scoop_cents": -30.0, "holes": (4, 5)}, "30 cents flat"),
        ("4+5+6:1", {"holes": (5,)}, "holes 4 and 6 missing"),
        ("{chord} -5:1", {"holes": (5,)}, "sounded alone, and should be a chord"),
        ("-4:1", {"wobble_cents": 12.0, "drift_cents": 20.0}, "wobbling by 12 cents"),
        ("-4:1", {"wobble_cents": 6.0, "drift_cents": 30.0}, "rising by 30 cents"),
        ("-4:1", {"heard": "-5", "late_ms": 200.0}, "played -5 instead of -4; 200 ms late"),
        ("-4:1", {"heard": "-5", "wobble_cents": 40.0}, "played -5 instead of -4"),
        ("-4':1", {"heard": "-4"}, "no bend: you played -4"),
        ("-3'':1", {"heard": "-3'"}, "not deep enough: you played -3'"),
        ("-3'':1", {"heard": "-3'''"}, "too deep: you played -3'''"),
        (
            "-4':1",
            {"cents": 40.0, "scoop_cents": 40.0},
            "not deep enough (40 cents above the half step)",
        ),
        (
            "-3'':1",
            {"cents": -30.0, "scoop_cents": -30.0},
            "too deep (30 cents below the whole step)",
        ),
        ("4:1", {"cents": -40.0, "scoop_cents": -40.0}, "40 cents flat"),
        ("-8:1", {"cents": -40.0, "scoop_cents": -40.0}, "40 cents flat"),
        (
            "-4:1",
            {"wobble_cents": 498.0, "late_ms": 200.0},
            "no steady -4: the pitch moved from note to note; 200 ms late",
        ),
        ("-4:1", {"drift_cents": 620.0}, "no steady -4: the pitch moved from note to note"),
        ("-4:1", {"late_ms": 1649.0}, "about 3 beats late"),
        (
            "1+4:2",
            {"holes": (1,), "hidden": (4,)},
            "not judged: hole 4 cannot be heard without beats",
        ),
        ("-4:1", {"tries": 3}, "in tune, clean, in time; after 3 tries"),
        (
            "-4:2{vibrato 5 20}",
            {"vibrato_hz": 2.5, "vibrato_cents": 15.0},
            "vibrato too slow, 2.5 a second for 5",
        ),
        (
            "-4:2{vibrato 5 20}",
            {"vibrato_hz": 5.5, "vibrato_cents": 60.0},
            "vibrato too wide, 60 cents for 20",
        ),
        (
            "-4:2{vibrato 5 20}",
            {"vibrato_hz": 5.5, "vibrato_cents": 9.0},
            "vibrato too shallow, 9 cents for 20",
        ),
        # What costs most comes first: by weight and by points.
        (
            "-4:1",
            {"late_ms": 90.0, "cents": 45.0, "scoop_cents": 45.0},
            "45 cents sharp; 90 ms late",
        ),
        (
            "-4:1",
            {"late_ms": 250.0, "cents": 11.0, "scoop_cents": 11.0},
            "250 ms late; 11 cents sharp",
        ),
    ],
)
def test_a_sentence_has_the_trades_words(
    tab: str, figures: dict[str, object], expected: str
) -> None:
    assert sentence(tab, **figures) == expected


@pytest.mark.parametrize(
    ("tab", "words"),
    [
        ("-4:1", "draw 4"),
        ("-3''':1", "draw 3 bent a step and a half"),
        ("-2'':1", "draw 2 bent a whole step"),
        ("6o:1", "overblow 6"),
        ("-7o:1", "overdraw 7"),
        ("4+5:1", "blow 4 and 5"),
        ("-4+5+6:1", "draw 4, 5 and 6"),
    ],
)
def test_a_sound_in_words(tab: str, words: str) -> None:
    assert describe_sound(step_of(tab).first) == words
