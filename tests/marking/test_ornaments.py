"""Shakes, scoops, dips, falls, grace notes and throat vibrato, through the whole path.

The built-in player plays them with faults of known size, dry and in a modelled living room
(`tests.support.living_room`). The distances in the room and two constants of shakes, `min_together`
and `min_level_swing_db`, were chosen after looking at that room; the others were not. Bounds: a
faultless pass has 98 or more, 95 in the room; a pass that misses the aim lies 10 or more below the
pass mark; and more fault never earns more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.reeds.excerpts import EXCERPTS, RATE, load
from tests.support.living_room import in_living_room
from trainer.core.types import Samples
from trainer.drill import Drill, find_drill, move_to_harp, parse_drill
from trainer.harp import Harp
from trainer.marking import Mark, Result, find_habits
from trainer.practice import PassEnded, Plan, run_take
from trainer.practice.proof import MIN_DISTANCE, MIN_FAULTLESS, perform
from trainer.sound import Fault, PlayerSpec, RecordingSpec
from trainer.sound.sources.player import BuiltInPlayer


def drill_of(tab: str, group: str = "", **head: object) -> Drill:
    fields = "".join(f"{name} = {value!r}\n" for name, value in ({"tempo": 90} | head).items())
    aim = f'[aim]\nmotion = ["{group}"]\n' if group else ""
    return parse_drill(f'title = "T"\nharp = "C"\n{fields}tab = """\n{tab}\n"""\n{aim}', "quay")


DRILLS: Mapping[str, Drill] = {
    "shakes": drill_of("-4<>5:2 5<>6:2{shake 5} | -2<>3:2{shake 7} -1:1 r:1 |", "shakes"),
    "scoops": drill_of("-4:2{scoop} -2:2{scoop 2/3 150} | -3:1{dip 150} -4:1{dip} r:2 |", "scoops"),
    "falls": drill_of("-4:2{fall} -2:2{fall 1/2 150} | -3:2{fall 2/3 200} r:2 |", "falls"),
    "grace notes": drill_of("^-5 -4:1 ^5 4:1 ^-4' -4:1 r:1 | ^-3 -4':2 r:2 |", "grace notes"),
    "vibrato": drill_of("-4:3{vibrato 5 20} r:1 | -4':3{vibrato 6 20} r:1 |", "vibrato"),
}
MISSED: Mapping[str, Fault] = {
    "shakes": Fault(alone=True),
    "scoops": Fault(dip_cents=0.0),
    "falls": Fault(fall_cents=0.0),
    "grace notes": Fault(grace_ms=0.0),
    "vibrato": Fault(vibrato_cents=0.0),
}


def aimed(drill: Drill) -> list[int]:
    return [step.index for aim in drill.aims for step in aim.steps(drill.steps)]


@cache
def played(name: str, fault: Fault | None = None, key: str = "C") -> Result:
    """A pass of one of the drills, with a fault on each step of its aim."""
    drill = DRILLS[name]
    faults = dict.fromkeys(aimed(drill), fault) if fault else {}
    spec = PlayerSpec(faults=faults)  # type: ignore[arg-type]
    plan = Plan(Harp.of(key), spec, drill=drill, count_in=1)
    (result,) = (event.result for event in run_take(plan) if isinstance(event, PassEnded))
    return result


def marks_of(name: str, fault: Fault | None = None) -> list[Mark]:
    result = played(name, fault)
    return [result.marks[index] for index in aimed(DRILLS[name])]


@pytest.mark.parametrize("key", ["C", "low F"])
@pytest.mark.parametrize("name", DRILLS)
def test_a_faultless_pass_earns_full_marks(name: str, key: str) -> None:
    result = played(name, key=key)
    assert result.score >= MIN_FAULTLESS, [mark.sentence for mark in result.marks]
    assert not result.extras
    assert not find_habits(result)


@pytest.mark.parametrize("name", DRILLS)
def test_a_missed_aim_fails_clearly(name: str) -> None:
    drill = DRILLS[name]
    assert played(name, MISSED[name]).score <= drill.goal.pass_mark - MIN_DISTANCE


FAULTS: Mapping[str, tuple[str, Callable[[float], Fault], tuple[float, ...]]] = {
    "slower": ("shakes", lambda x: Fault(shake_hz=6.0 - x), (0.0, 2.0, 4.0)),
    "faster": ("shakes", lambda x: Fault(shake_hz=7.0 + x), (0.0, 2.0, 4.0)),
    "uneven": ("shakes", lambda x: Fault(shake_fraction=x), (0.5, 0.65, 0.75, 0.85)),
    "softer": ("shakes", lambda x: Fault(shake_db=-x), (0.0, 8.0, 14.0, 24.0)),
    "shallower dips": ("scoops", lambda x: Fault(dip_cents=x), (100.0, 40.0, 20.0, 0.0)),
    "longer scoops": ("scoops", lambda x: Fault(dip_ms=x), (200.0, 80.0, 40.0)),
    "shallower falls": ("falls", lambda x: Fault(fall_cents=x), (150.0, 80.0, 40.0, 0.0)),
    "longer grace notes": ("grace notes", lambda x: Fault(grace_ms=x), (60.0, 180.0, 250.0)),
    "shallower vibrato": ("vibrato", lambda x: Fault(vibrato_cents=x), (20.0, 8.0, 0.0)),
    "vibrato above the note": ("vibrato", lambda x: Fault(both_sides=bool(x)), (0.0, 1.0)),
    "flat scoops": ("scoops", lambda x: Fault(cents=-x), (0.0, 12.0, 24.0, 40.0)),
}


@pytest.mark.parametrize("kind", FAULTS)
def test_more_fault_never_earns_more(kind: str) -> None:
    name, fault, sizes = FAULTS[kind]
    scores = [played(name, fault(size)).score for size in sizes]
    assert all(more <= less + 0.5 for less, more in pairwise(scores)), scores
    assert scores[-1] < scores[0] - 1.0, scores


# --- known sizes come back --------------------------------------------------------------------


@pytest.mark.parametrize("hz", [4.0, 6.0, 8.0])
def test_the_rate_of_a_shake_comes_back(hz: float) -> None:
    for mark in marks_of("shakes", Fault(shake_hz=hz)):
        assert mark.measured.shake_hz == pytest.approx(hz, rel=0.03)
        assert mark.measured.holes == tuple(tab.hole for tab in mark.step.tabs)


@pytest.mark.parametrize("fraction", [0.3, 0.7])
def test_the_part_of_a_shake_on_each_hole_comes_back(fraction: float) -> None:
    for mark in marks_of("shakes", Fault(shake_fraction=fraction, shake_hz=5.0)):
        assert mark.measured.shake_fraction == pytest.approx(fraction, abs=0.08)


def test_the_levels_of_a_shake_come_back() -> None:
    for mark in marks_of("shakes", Fault(shake_db=-9.0)):
        assert mark.measured.shake_db == pytest.approx(-9.0, abs=2.5)


@pytest.mark.parametrize("key", ["low C", "low Eb", "G"])
def test_both_holes_of_a_shake_get_their_time_on_low_harps(key: str) -> None:
    harp = Harp.of(key)
    shakes = move_to_harp(DRILLS["shakes"], harp)
    for fraction in (0.5, 0.3):
        fault = Fault(shake_hz=5.0, shake_fraction=fraction)
        for mark in perform(shakes, harp, dict.fromkeys(range(3), fault)).marks[:3]:
            assert mark.measured.shake_fraction == pytest.approx(fraction, abs=0.08)


def test_an_irregular_shake_is_found() -> None:
    even = [mark.measured.shake_spread or 0.0 for mark in marks_of("shakes")]
    uneven = [m.measured.shake_spread or 0.0 for m in marks_of("shakes", Fault(shake_spread=0.4))]
    assert all(spread < 0.08 for spread in even)
    assert float(np.mean(uneven)) > 0.12  # 0.17 by the lengths of the cycles as played


@pytest.mark.parametrize("cents", [50.0, 100.0])
def test_depth_and_length_of_a_scoop_come_back(cents: float) -> None:
    for mark in marks_of("scoops", Fault(dip_cents=cents, dip_ms=150.0)):
        assert mark.measured.dip_cents == pytest.approx(cents, rel=0.05)
        assert mark.measured.dip_ms == pytest.approx(150.0, rel=0.1)
        assert mark.measured.cents == pytest.approx(0.0, abs=1.0)
        assert "attack" not in mark.criteria


@pytest.mark.parametrize("cents", [60.0, 100.0])
def test_the_depth_of_a_fall_comes_back(cents: float) -> None:
    for mark in marks_of("falls", Fault(fall_cents=cents)):
        assert mark.measured.fall_cents == pytest.approx(cents, rel=0.1)
        assert mark.measured.cents == pytest.approx(0.0, abs=1.0)
        assert (mark.measured.drift_cents or 0.0) == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize("ms", [60.0, 80.0, 150.0])
def test_a_grace_note_takes_no_time_of_its_note(ms: float) -> None:
    for mark in marks_of("grace notes", Fault(grace_ms=ms)):
        assert mark.measured.grace_ms == pytest.approx(ms, abs=20.0)
        assert mark.measured.late_ms == pytest.approx(0.0, abs=20.0)
        assert mark.measured.cents == pytest.approx(0.0, abs=1.0)


def test_the_top_of_a_vibrato_is_the_note() -> None:
    natural, bent = marks_of("vibrato")
    assert natural.measured.cents == pytest.approx(0.0, abs=2.0)
    assert bent.measured.cents == pytest.approx(0.0, abs=2.0)
    rises, _ = marks_of("vibrato", Fault(both_sides=True))
    assert rises.measured.cents == pytest.approx(20.0, abs=2.0)
    assert "rises" in rises.sentence


# --- sentences and habits ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "fault", "sentence", "habit"),
    [
        ("shakes", Fault(alone=True), "no shake heard: change between", "no shake"),
        ("shakes", Fault(shake_hz=3.0), "shake faster", "shakes slow"),
        ("shakes", Fault(shake_fraction=0.8), "stay longer on", "shakes lean low"),
        ("shakes", Fault(shake_fraction=0.2), "stay longer on", "shakes lean high"),
        ("scoops", Fault(dip_cents=0.0), "heard: start lower", "no scoops"),
        ("scoops", Fault(dip_cents=45.0), "deeper (45 cents for", "scoops shallow"),
        ("falls", Fault(fall_cents=0.0), "no fall heard", "no falls"),
        ("falls", Fault(fall_cents=50.0), "let it fall further (5", "falls shallow"),
        ("grace notes", Fault(grace_ms=0.0), "no grace note heard: flick", "no grace notes"),
        ("grace notes", Fault(grace_ms=220.0), "grace note too long", "grace notes long"),
        ("vibrato", Fault(vibrato_cents=0.0), "no vibrato heard", "no vibrato"),
        ("vibrato", Fault(vibrato_cents=8.0), "vibrato too shallow", "vibrato shallow"),
    ],
)
def test_what_a_teacher_says(name: str, fault: Fault, sentence: str, habit: str) -> None:
    assert all(sentence in mark.sentence for mark in marks_of(name, fault)[:2])
    assert find_habits(played(name, fault))[0].name == habit


def test_a_chord_is_no_shake() -> None:
    chords = {index: f"{sign}{low}+{low + 1}" for index, sign, low in ((0, "-", 4), (1, "", 5))}
    plan = Plan(
        Harp.of("C"),
        PlayerSpec(faults={index: Fault(instead=tab) for index, tab in chords.items()}),
        drill=DRILLS["shakes"],
    )
    (result,) = (event.result for event in run_take(plan) if isinstance(event, PassEnded))
    assert [result.marks[i].measured.shake_hz for i in (0, 1)] == [None, None]
    assert result.marks[2].measured.shake_hz == pytest.approx(7.0, rel=0.03)


# --- in a room --------------------------------------------------------------------------------

DISTANCES_M = {"shakes": 1.2, "scoops": 0.8, "falls": 1.2, "grace notes": 0.3, "vibrato": 0.5}
"""Greatest distance of the microphone at which each is judged as if dry."""


def in_room(name: str, path: Path, fault: Fault | None = None) -> Result:
    """Marks of a recording of a pass in the living room, which says where it starts."""
    drill, harp = DRILLS[name], Harp.of("C")
    faults = dict.fromkeys(aimed(drill), fault) if fault else {}
    player = BuiltInPlayer(drill, harp, spec=PlayerSpec(faults=faults), count_in=1)  # type: ignore[arg-type]
    samples = np.concatenate([block.samples for block in player.blocks()]).astype(float)
    samples = in_living_room(samples, player.rate, DISTANCES_M[name])
    soundfile.write(path, 0.5 * samples, player.rate, subtype="PCM_24")
    start = player.first_pass().zero / player.rate
    plan = Plan(harp, RecordingSpec(path), drill=drill, start=start)
    return [event.result for event in run_take(plan) if isinstance(event, PassEnded)][-1]


@pytest.mark.parametrize("name", DRILLS)
def test_a_room_does_not_hide_ornaments(name: str, tmp_path: Path) -> None:
    good = in_room(name, tmp_path / "good.wav")
    assert good.score >= 95.0, [mark.sentence for mark in good.marks]
    bad = in_room(name, tmp_path / "bad.wav", MISSED[name])
    assert bad.score <= DRILLS[name].goal.pass_mark - MIN_DISTANCE


@pytest.mark.parametrize("name", ["lantern-on-a-hook", "pebbles-on-the-stair"])
def test_a_recording_without_a_start_time_is_followed(name: str, tmp_path: Path) -> None:
    drill = find_drill(name)
    player = BuiltInPlayer(drill, Harp.of(drill.key))
    samples = np.concatenate([block.samples for block in player.blocks()])
    soundfile.write(tmp_path / "phone.wav", samples, player.rate, subtype="PCM_24")
    plan = Plan(Harp.of(drill.key), RecordingSpec(tmp_path / "phone.wav"), drill=drill)
    (result,) = (event.result for event in run_take(plan) if isinstance(event, PassEnded))
    assert result.score >= MIN_FAULTLESS
    assert not result.extras


# --- recorded reeds ---------------------------------------------------------------------------


def recorded_shake(tabs: tuple[str, str], hz: float, seconds: float, start_s: float) -> Samples:
    """Recorded notes of a C harp in turn, each fading in over 20 ms and out over 40 ms.

    Args:
        tabs: the two notes; the same one twice is a held note.
        hz: full cycles per second.
        seconds: length of the shake.
        start_s: silence before it.
    """
    excerpt, samples = EXCERPTS["c-harp"], load("c-harp")
    notes = {note.tab: note for note in excerpt.notes}
    fade_in, fade_out = round(0.02 * RATE), round(0.04 * RATE)
    half = round(0.5 * RATE / hz)
    out = np.zeros(round((start_s + seconds + 0.5) * RATE))
    gain = np.ones(half + fade_out)
    gain[:fade_in] = np.sin(0.5 * np.pi * np.arange(fade_in) / fade_in) ** 2
    gain[-fade_out:] = np.cos(0.5 * np.pi * np.arange(fade_out) / fade_out) ** 2
    for turn in range(round(2.0 * seconds * hz)):
        # Another place of the recorded note in each turn, past its own attack.
        first = round((notes[tabs[turn % 2]].at + 0.15 + 0.037 * (turn % 7)) * RATE)
        at = round(start_s * RATE) + turn * half
        out[at : at + len(gain)] += gain * samples[first : first + len(gain)]
    return np.asarray(out + 1e-5 * np.random.default_rng(7).standard_normal(len(out)))


def marked(samples: Samples, drill: Drill, path: Path, start_s: float) -> Mark:
    soundfile.write(path, samples, RATE, subtype="PCM_24")
    plan = Plan(Harp.of("C"), RecordingSpec(path), drill=drill, start=start_s)
    (result,) = (event.result for event in run_take(plan) if isinstance(event, PassEnded))
    assert not result.extras
    return result.marks[0]


@pytest.mark.parametrize("hz", [4.0, 6.0, 8.0])
@pytest.mark.parametrize(("own", "other"), [("-4", "-5"), ("2", "3"), ("8", "7")])
def test_a_shake_of_recorded_reeds_is_heard(
    own: str, other: str, hz: float, tmp_path: Path
) -> None:
    drill = drill_of(f"{own}<>{other.removeprefix('-')}:3{{shake {hz:g}}} r:1 |", "shakes")
    shake = recorded_shake((own, other), hz, 1.9, 0.5)
    mark = marked(shake, drill, tmp_path / "shake.wav", 0.5)
    assert mark.measured.shake_hz == pytest.approx(hz, rel=0.04)
    assert mark.measured.holes == tuple(sorted(tab.hole for tab in mark.step.tabs))
    assert mark.criteria["motion"] >= 85.0, mark.sentence


def test_a_held_recorded_note_is_no_shake(tmp_path: Path) -> None:
    drill = drill_of("-4<>5:2 r:2 |", "shakes")
    held = recorded_shake(("-4", "-4"), 6.0, 1.3, 0.5)
    mark = marked(held, drill, tmp_path / "held.wav", 0.5)
    assert mark.measured.shake_hz is None
    assert mark.criteria["motion"] == 0.0
