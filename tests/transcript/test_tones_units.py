"""Tones and their assignment to two players, on synthetic signals with known answers."""

from __future__ import annotations

import numpy as np
import pytest

from trainer.core.types import Floats
from trainer.harp import Harp, Tab
from trainer.transcript.tones import (
    Tone,
    _crossing,
    _separable,
    _split_at_dips,
    find_tones,
    fit_reeds,
    on_partial,
)
from trainer.transcript.two_parts import (
    PartAssignment,
    ToneGroup,
    candidate_entries,
    group_tones,
    separate_players,
    to_heard_note,
)

C, RATE = Harp.of("C"), 24_000


def hz(tab: str) -> float:
    return C.hz(Tab.parse(tab))


def reed(f0: float, seconds: float, level: float = 0.1) -> Floats:
    t = np.arange(round(seconds * RATE)) / RATE
    partials = [np.sin(2 * np.pi * k * f0 * t + k) / k for k in range(1, int(9000 / f0))]
    return np.asarray(level * np.sum(partials, axis=0))


def tone(
    tab: str, start: float, end: float, db: float = -20.0, fall: float = 0.0, f0: float = 0.0
) -> Tone:
    at = np.arange(start, end, 0.02)
    return Tone(start, end, at, np.full(len(at), f0 or hz(tab)), db, fall)


def group(tab: str, start: float, end: float, db: float = -20.0, fall: float = 0.0) -> ToneGroup:
    return ToneGroup((tone(tab, start, end, db, fall),), (Tab.parse(tab),))


def tabs(notes: tuple[ToneGroup, ...]) -> list[str]:
    return [str(note.tabs[0]) for note in notes]


# Tones


@pytest.mark.parametrize(("db", "count"), [(0.0, 2), (-18.0, 2), (-32.0, 1)])
def test_reeds_of_a_frame_have_pitch_and_energy(db: float, count: int) -> None:
    level = 0.1 * 10 ** (db / 20)
    frame = reed(hz("2"), 0.085) + reed(hz("-5"), 0.085, level)
    reeds = fit_reeds(frame, RATE, 150.0, 2500.0)
    assert len(reeds) == count
    assert reeds[0][0] == pytest.approx(hz("2"), rel=1e-3)
    if count == 2:
        assert reeds[1][0] == pytest.approx(hz("-5"), rel=1e-3)
        assert 10 * np.log10(reeds[1][1] / reeds[0][1]) == pytest.approx(db, abs=1.0)
    assert fit_reeds(frame, RATE, 150.0, 200.0) == ()


def test_pitches_on_partials_of_a_lower_one_are_masked() -> None:
    ratios = np.array([1.0, 1.5, 2.0, 2.03, 2.04 * 1.01, 3.0, 2.5])
    assert on_partial(200.0 * ratios, 200.0).tolist() == [
        False, False, True, True, False, True, False
    ]  # fmt: skip


def test_another_reed_is_searched_from_80_cents_on_and_not_on_partials() -> None:
    grid = 400.0 * 2.0 ** (np.array([-90, -81, -79, 0, 79, 81, 1150, 1200, 1250]) / 1200.0)
    assert _separable(grid, 400.0).tolist() == [
        True, True, False, False, False, True, True, False, True
    ]  # fmt: skip
    assert on_partial(800.0 * 2.0 ** (np.array([-46, -44, 44, 46]) / 1200.0), 400.0).tolist() == [
        False, True, True, False
    ]  # fmt: skip


def test_onsets_offsets_and_repeated_notes_of_two_players() -> None:
    sound = np.zeros(2 * RATE)
    plan = [("2", 0.3, 0.9), ("2", 1.0, 1.6), ("-5", 0.5, 1.4)]
    for tab, start, end in plan:
        first, last = round(start * RATE), round(end * RATE)
        sound[first:last] += reed(hz(tab), end - start)[: last - first]
    tones = find_tones(sound, RATE, (150.0, 2500.0))
    assert len(tones) == 3
    for found_tone, (tab, start, end) in zip(tones, sorted(plan, key=lambda p: p[1]), strict=True):
        assert found_tone.held_hz == pytest.approx(hz(tab), rel=1e-3)
        assert found_tone.start == pytest.approx(start, abs=0.008)
        assert found_tone.end == pytest.approx(end, abs=0.008)
        assert found_tone.seconds == pytest.approx(end - start, abs=0.015)
        assert abs(found_tone.fall_db_s) < 3.0


def test_a_tone_that_dies_away_has_its_rate() -> None:
    t = np.arange(round(0.8 * RATE)) / RATE
    sound = np.concatenate(
        [np.zeros(4800), reed(hz("4"), 0.8) * 10 ** (-10.0 * t / 20), np.zeros(4800)]
    )
    found_tone = max(find_tones(sound, RATE, (150.0, 2500.0)), key=lambda tone: tone.level_db)
    assert found_tone.fall_db_s == pytest.approx(10.0, abs=2.0)
    assert find_tones(np.zeros(RATE), RATE, (150.0, 2500.0)) == []


def test_levels_are_split_at_deep_dips_only() -> None:
    up, deep, shallow = [0.0] * 5, [-10.0] * 3, [-4.0] * 3
    assert _split_at_dips(np.array([*up, *deep, *up])) == [(0, 5), (5, 13)]
    assert _split_at_dips(np.array([*up, *shallow, *up])) == [(0, 13)]
    assert _split_at_dips(np.array([*up, -10.0, -12.0, -10.0, *up, *deep, *up]))[0] == (0, 6)
    assert len(_split_at_dips(np.array([*up, *deep, *up, *deep, *up]))) == 3
    assert _split_at_dips(np.array([-20.0, *up, -20.0])) == [(0, 7)]


def test_a_level_is_crossed_between_two_points() -> None:
    at, db = np.array([0.0, 0.005, 0.01, 0.015]), np.array([-12.0, 0.0, 0.0, -6.0])
    assert _crossing(at, db, 1, -1, -6.0) == pytest.approx(0.0025)
    assert _crossing(at, db, 2, 1, -3.0) == pytest.approx(0.0125)
    assert _crossing(at, db, 2, 1, -9.0) == 0.01
    assert _crossing(at, db, 3, 1, -9.0) == 0.015
    assert _crossing(at, db, 0, -1, -20.0) == 0.0


# Two players


@pytest.mark.parametrize(
    ("start", "end", "groups"),
    [(0.04, 1.07, 1), (0.07, 1.0, 2), (0.0, 1.1, 2), (-0.04, 0.93, 1), (-0.07, 1.0, 2)],
)
def test_neighbours_are_one_note_if_they_begin_and_end_together(
    start: float, end: float, groups: int
) -> None:
    tones = [tone("4", 0.0 + 1, 1.0 + 1), tone("5", start + 1, end + 1, -22.0)]
    assert len(group_tones(tones, C)) == groups


def test_a_group_is_led_by_its_loudest_and_has_no_gap() -> None:
    (chord,) = group_tones([tone("4", 1, 2, -24.0), tone("5", 1, 2), tone("6", 1, 2, -22.0)], C)
    assert [str(tab) for tab in chord.tabs] == ["5", "6", "4"]
    assert chord.level_db == -20.0
    assert len(group_tones([tone("4", 1, 2), tone("6", 1, 2)], C)) == 2
    assert len(group_tones([tone("4", 1, 2), tone("-5", 1, 2)], C)) == 2


def test_a_tone_alone_may_be_either_of_two_entries() -> None:
    (alone,) = group_tones([tone("-2", 1, 2)], C)
    assert sorted(alone.holes) == [2, 3]
    (beside, *_) = group_tones([tone("-2", 1, 2), tone("-3", 1, 2, -22.0)], C)
    assert beside.holes == (2,)
    assert [str(tab) for tab in beside.tabs] == ["-2", "-3"]


def test_a_gliding_tone_is_on_a_hole_that_reaches_both_ends() -> None:
    at = np.arange(1.0, 2.0, 0.02)
    glide = Tone(1.0, 2.0, at, np.geomspace(hz("-3"), hz("-3'''"), len(at)), -20.0, 0.0)
    assert {entry.hole for entry in candidate_entries(glide, C)} == {3}
    assert all(entry.breath == Tab.parse("-3").breath for entry in candidate_entries(glide, C))


def test_two_notes_that_overlap_go_to_two_parts() -> None:
    notes = [group("4", 1.0, 2.0), group("-8", 1.2, 2.2), group("5", 2.3, 3.0), group("-9", 2.4, 3)]
    result = separate_players(notes)
    assert sorted([tabs(result.first), tabs(result.second)]) == [["-8", "-9"], ["4", "5"]]
    assert result.left == ()


@pytest.mark.parametrize(("overlap", "count"), [(0.03, 0), (0.12, 1)])
def test_notes_of_one_part_may_overlap_by_reverberation_only(overlap: float, count: int) -> None:
    notes = [group("4", 1.0, 2.0 + overlap), group("-8", 1.2, 1.8), group("4", 2.0, 3.0)]
    result = separate_players(notes)
    apart = [part for part in (result.first, result.second) if "4" in tabs(part)]
    assert len(apart) == 1 + count


def test_a_note_far_from_the_level_of_both_parts_is_left_out_if_both_play() -> None:
    notes = [
        part
        for i in range(4)
        for part in (group("4", i, i + 0.9, -18.0), group("-8", i, i + 0.9, -26.0))
    ]
    notes.append(group("10", 3.1, 3.8, -42.0))
    result = separate_players(notes)
    assert tabs(result.left) == ["10"]


def test_the_part_that_sounds_more_comes_first_and_is_louder_by_its_median() -> None:
    notes = [group("4", 1.0, 2.0, -26.0), group("-8", 1.0, 2.0, -18.0)]
    result = separate_players(notes)
    assert tabs(result.first) == ["-8"]
    assert result.louder_db == pytest.approx(8.0)
    assert separate_players(notes[:1]).louder_db == 0.0


def two(
    seconds: float, db: float = -20.0, fall: float = 0.0, rest: float = 0.0, left: float = 0.0
) -> bool:
    """Whether two players are detected in an overlap of that length."""
    first = (group("4", 0.0, seconds + rest),)
    second = (group("-8", 0.0, seconds, db, fall),)
    return PartAssignment(first, second, (group("10", 0.0, left),) if left else ()).two


def test_two_players_are_those_who_blow_together_for_long_enough() -> None:
    assert two(1.5)
    assert not two(0.8)
    assert two(1.5, rest=4.0)
    assert not two(1.5, rest=9.0)
    assert two(1.5, left=2.0)
    assert not two(1.5, left=4.0)
    assert two(1.5, db=-35.0)
    assert not two(1.5, db=-45.0)
    assert two(1.5, fall=8.0)
    assert not two(1.5, fall=16.0)


def test_short_overlaps_do_not_count() -> None:
    first = tuple(group("4", i, i + 0.5) for i in range(40))
    for overlap, detected in ((0.15, True), (0.05, False)):
        second = tuple(group("-8", i + 0.5 - overlap, i + 0.9) for i in range(40))
        assert PartAssignment(first, second, ()).two is detected


def test_a_group_becomes_a_heard_note() -> None:
    chord = ToneGroup(
        (tone("4", 1.0, 2.0, f0=hz("4") * 2 ** (8 / 1200)), tone("5", 1.0, 2.0, -30.0)),
        (Tab.parse("4"), Tab.parse("5")),
    )
    note = to_heard_note(chord, C, 48_000)
    assert (note.start, note.end, note.rate) == (48_000, 96_000, 48_000)
    assert note.tab == Tab.parse("4")
    assert note.cents == pytest.approx(8.0, abs=0.1)
    assert (note.leak_db, note.leak_hole) == (-10.0, 5)
    assert note.holes == (4, 5)
    assert note.path[0][0] == 48_000
    soft = ToneGroup((tone("4", 1, 2), tone("5", 1, 2, -50.0)), chord.tabs)
    assert to_heard_note(soft, C, 48_000).holes == (4,)
