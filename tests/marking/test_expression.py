"""Articulation and loudness through the whole path: what the built-in player does comes back.

Dry, and in a modelled living room that neither the constants nor the built-in player know of.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import pytest

from tests.support.performed_takes import performed
from trainer.drill import Drill, parse_drill
from trainer.marking import Result, find_habits
from trainer.sound import Fault

DISTANCES_M = (0.0, 0.3)
"""Dry, and with the microphone at arm's length in the living room."""


def drill_of(tab: str, tempo: int = 100, aim: str = "") -> Drill:
    head = f'title = "T"\nharp = "C"\ntempo = {tempo}\ntab = """\n{tab}\n"""\n'
    return parse_drill(f"{head}{aim}", "t")


@lru_cache(maxsize=64)
def _played(
    tab: str, faults: tuple[tuple[int, Fault], ...], distance_m: float, gain_db: float, tempo: int
) -> Result:
    drill = drill_of(tab, tempo)
    return performed(drill, dict(faults), distance_m=distance_m, gain_db=gain_db)


def played(
    tab: str,
    faults: Mapping[int, Fault] | Sequence[Fault] = (),
    *,
    distance_m: float = 0.0,
    gain_db: float = 0.0,
    tempo: int = 100,
) -> Result:
    """The result of a pass; faults by index, or one for each step."""
    pairs = faults.items() if isinstance(faults, Mapping) else enumerate(faults)
    return _played(tab, tuple(pairs), distance_m, gain_db, tempo)


def figures(result: Result, name: str) -> list[float]:
    return [getattr(mark.measured, name) for mark in result.marks]


def points(result: Result, criterion: str) -> list[float]:
    return [mark.criteria[criterion] for mark in result.marks]


HELD = "-4:1 4:1 -4:1 4:1 |"
STACCATO = "{staccato} -4:1 4:1 -4:1 4:1 |"
LEGATO = "-4:1{legato} -5:1 4:1{legato} 5:1 | -4:1{legato} -5:1 4:1{legato} 5:1 |"
TONGUED = "{tongued} -4:1 -5:1 -5:1 -4:1 |"
ACCENTS = "-4:1{accent} -4:1 5:1{accent} 5:1 | -4:1{accent} -4:1 5:1{accent} 5:1 |"
SWELLS = "{swell} -4:2 r:2 | 4:2 r:2 | -4:2 r:2 | 4:2 r:2 |"
FADES = SWELLS.replace("swell", "fade")
HANDS = SWELLS.replace("swell", "hand vibrato")
WAHS = SWELLS.replace("swell", "wah 3")
SLAPS = "{slap} -4:1 4:1 -5:1 6:1 | -4:1 -4:1 5:0.5 4:0.5 -6:1 |"
GESTURES = "{around} -2+3:1 4+5:1 -3:1 2:1 |"
EVERYTHING = (HELD, STACCATO, LEGATO, TONGUED, ACCENTS, SWELLS, FADES, HANDS, WAHS, SLAPS, GESTURES)


@pytest.mark.parametrize("distance_m", DISTANCES_M)
@pytest.mark.parametrize("tab", EVERYTHING)
def test_done_right_it_earns_full_marks(tab: str, distance_m: float) -> None:
    result = played(tab, distance_m=distance_m)
    assert result.score >= 98.0, [mark.sentence for mark in result.marks]
    assert not result.extras


GRADED = [
    (HELD, "articulation", [Fault(held=part) for part in (0.6, 0.35, 0.2, 0.1)]),
    (STACCATO, "articulation", [Fault(held=part) for part in (0.4, 0.6, 0.75, 0.9)]),
    (LEGATO, "articulation", [Fault(gap_ms=ms) for ms in (0.0, 0.0, 50.0, 0.0, 90.0, 0.0, 140.0)]),
    (SWELLS, "dynamics", [Fault(swell_db=db) for db in (6.0, 3.0, 1.0, 0.0)]),
    (FADES, "dynamics", [Fault(swell_db=-db) for db in (6.0, 3.0, 1.0, 0.0)]),
    (HANDS, "motion", [Fault(vibrato_db=db) for db in (6.0, 2.2, 1.5, 0.0)]),
    (WAHS, "motion", [Fault(wah_db=db) for db in (6.0, 2.2, 1.5, 0.0)]),
]
"""A pass for each technique, in which each note is worse than the one before."""


@pytest.mark.parametrize("distance_m", DISTANCES_M)
@pytest.mark.parametrize(("tab", "criterion", "faults"), GRADED)
def test_more_fault_never_earns_more(
    tab: str, criterion: str, faults: list[Fault], distance_m: float
) -> None:
    earned = points(played(tab, faults, distance_m=distance_m), criterion)
    earned = earned[::2] if tab is LEGATO else earned  # every other note leads into the next
    assert earned == sorted(earned, reverse=True)
    assert earned[0] >= 97.0
    assert earned[3] <= 40.0


def test_the_length_held_comes_back() -> None:
    asked = [0.6, 0.35, 0.2, 0.1]
    held = figures(played(HELD, [Fault(held=part) for part in asked]), "held_fraction")
    assert held == pytest.approx(asked, abs=0.06)


def test_the_gap_after_a_note_comes_back() -> None:
    asked = [0.0, 50.0, 90.0]
    result = played(LEGATO, {2 * i: Fault(gap_ms=ms) for i, ms in enumerate(asked)})
    gaps = figures(result, "gap_ms")
    assert gaps[:6:2] == pytest.approx(asked, abs=20.0)
    assert gaps[1::2] == [None] * 4


@pytest.mark.parametrize("tab", [SWELLS, FADES])
def test_a_change_of_loudness_comes_back(tab: str) -> None:
    asked = [6.0, 3.0, -2.0, 0.0]
    swells = figures(played(tab, [Fault(swell_db=db) for db in asked]), "swell_db")
    assert swells == pytest.approx(asked, abs=1.0)  # the player's breath itself varies by 0.5 dB


@pytest.mark.parametrize(
    ("tab", "prefix", "faults"),
    [
        (HANDS, "vibrato", [Fault(vibrato_hz=hz, vibrato_db=4.0) for hz in (3.5, 5.0, 6.0, 7.0)]),
        (WAHS, "wah", [Fault(wah_hz=hz, wah_db=4.0) for hz in (2.0, 3.0, 4.0, 5.0)]),
    ],
)
def test_rate_and_depth_of_the_hands_come_back(tab: str, prefix: str, faults: list[Fault]) -> None:
    result = played(tab, faults)
    asked = [getattr(fault, f"{prefix}_hz") for fault in faults]
    assert figures(result, f"{prefix}_hz") == pytest.approx(asked, rel=0.05)
    assert figures(result, f"{prefix}_db") == pytest.approx([4.0] * 4, abs=0.6)
    assert result.marks[1].criteria["motion"] >= 97.0


@pytest.mark.parametrize(("distance_m", "gain_db"), [(0.0, 0.0), (0.0, -14.0), (0.3, 8.0)])
def test_an_accent_comes_back_whatever_the_microphone(distance_m: float, gain_db: float) -> None:
    faults = {0: 5.0, 2: 3.0, 4: 1.0, 6: 0.0}
    result = played(
        ACCENTS,
        {index: Fault(accent_db=db) for index, db in faults.items()},
        distance_m=distance_m,
        gain_db=gain_db,
    )
    accents = [mark for mark in result.marks if mark.step.accent]
    assert [m.measured.accent_db for m in accents] == pytest.approx(list(faults.values()), abs=0.7)
    earned = [mark.criteria["dynamics"] for mark in accents]
    assert earned == sorted(earned, reverse=True)
    assert all("dynamics" not in m.criteria for m in result.marks if not m.step.accent)
    assert accents[3].sentence.startswith("louder on the accent: it was no louder than")


@pytest.mark.parametrize("distance_m", DISTANCES_M)
def test_notes_that_run_on_are_not_tongued(distance_m: float) -> None:
    result = played(TONGUED, {i: Fault(run_on=True) for i in (1, 3)}, distance_m=distance_m)
    earned = points(result, "articulation")
    assert [earned[0], earned[2]] == [100.0, 100.0]
    assert max(earned[1], earned[3]) <= 20.0
    assert "tongue it again: it ran on from the note before" in result.marks[1].sentence


def test_a_note_that_is_held_through_the_next_one_is_said_to_be() -> None:
    mark = played(TONGUED, {2: Fault(run_on=True)}).marks[2]
    assert mark.score <= 50.0
    assert "from the note before" in mark.sentence


@pytest.mark.parametrize("distance_m", DISTANCES_M)
def test_a_slap_is_heard_and_is_no_other_fault(distance_m: float) -> None:
    result = played(SLAPS, {1: Fault(alone=True), 4: Fault(alone=True)}, distance_m=distance_m)
    assert not result.extras
    for mark in result.marks:
        is_slapped = mark.step.index not in (1, 4)
        assert mark.measured.slap is is_slapped, mark
        assert "attack" not in mark.criteria
        assert mark.criteria["cleanness"] >= 85.0, mark
    assert result.marks[1].sentence == "slap it: no chord sounded with its attack"


def test_staccato_is_not_blamed_for_being_short() -> None:
    result = played("{staccato} -4:0.5 5:0.5 -3:0.5 4:0.5 6:0.5 -6:0.5 -4':0.5 2:0.5 |", tempo=110)
    assert all(value >= 90.0 for mark in result.marks for value in mark.criteria.values())


@pytest.mark.parametrize(
    ("played_instead", "score"),
    [("-3+4", 100.0), ("-1+2+3", 100.0), ("-5+6", 0.0), ("2+3", 0.0)],
)
def test_a_gesture_is_a_chord_near_the_written_one(played_instead: str, score: float) -> None:
    result = played(GESTURES, {0: Fault(instead=played_instead)})
    assert result.marks[0].score == pytest.approx(score, abs=1.0)


def test_notes_that_are_all_cut_short_do_not_pass() -> None:
    tab = "-4:1 4:1 -3:1 4:1 | 5:1 -5:1 6:1 -6:1 |"
    at_90 = [Fault(held=0.18)] * 8  # 120 ms of 667
    result = played(tab, at_90, tempo=90)
    assert result.score < 80.0
    assert [habit.name for habit in find_habits(result)] == ["notes cut short"]
    assert result.marks[0].sentence == (
        "hold it for its whole length: you let go three quarters of a beat early"
    )


def test_a_slow_fade_does_not_end_a_note() -> None:
    assert min(figures(played(FADES), "held_fraction")) > 0.9
    assert min(figures(played(WAHS), "held_fraction")) > 0.9
