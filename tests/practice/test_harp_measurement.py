"""Measuring a harp, against the built-in player, whose reeds lie where they are put, and Praat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import parselmouth
import pytest
import soundfile as sf

from tests.reeds.excerpts import EXCERPTS, RATE, load, path_of
from tests.support.own_harps import HOLES, off_by, tab, walk
from trainer.ear import Reading, analyze_blocks
from trainer.harp import (
    Harp,
    natural_entries,
)
from trainer.music import cents
from trainer.practice import (
    AttackMeasured,
    HarpMeasured,
    HarpMeasurement,
    MeasurementEvent,
    PassStarted,
    Plan,
    ReedRequested,
    ReedSounding,
    RepeatRequested,
    TakeFailed,
    TakeFinished,
    measure_harp,
)
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec, RecordingSpec
from trainer.store import ReedRecord

C = Harp.of("C")
REEDS = natural_entries(C)


def events_of(
    plain: Harp,
    played: Harp,
    *,
    attacks: int = 1,
    times: int = 1,
    holes: range = HOLES,
    faults: Mapping[int, Fault] | None = None,
) -> list[MeasurementEvent]:
    """What measuring says while the built-in player walks along the reeds of another harp.

    The reeds of other holes than `holes` are known already.
    """
    spec = PlayerSpec(faults=faults or {})
    player = BuiltInPlayer(walk(times, holes), played, spec=spec, count_in=0)
    known = [entry for entry in natural_entries(plain) if entry.hole not in holes]
    measuring = HarpMeasurement(plain, attacks, known=known)
    events = [
        event
        for reading in analyze_blocks(player.blocks(), player.rate, plain)
        for event in measuring.add_reading(reading)
        if not isinstance(event, ReedSounding)
    ]
    return [*events, *measuring.finish()]


def result(events: list[MeasurementEvent]) -> dict[str, ReedRecord]:
    done = events[-1]
    assert isinstance(done, HarpMeasured)
    return {reed.tab: reed for reed in done.reeds}


@dataclass(frozen=True)
class Case:
    """A fault on -4 and the sentence that it causes."""

    fault: Fault
    sentence: str


FOURTH_DRAW = 7
"""Index of -4 in a walk along all holes."""
NEAR = range(3, 6)
"""Holes around -4, which is the fourth note of a walk along them."""


@pytest.mark.parametrize(("key", "shift"), [("C", -45.0), ("low F", 45.0), ("high G", 0.0)])
def test_offsets_of_reeds_are_measured(key: str, shift: float) -> None:
    played = off_by(shift, key)
    events = events_of(Harp.of(key), played)
    pitches = result(events)
    entries = natural_entries(played)
    errors = [cents(pitches[str(entry)].hz, played.hz(entry)) for entry in entries]
    print(f"{key} {shift:+.0f}: worst {max(map(abs, errors)):.3f} cents")
    assert max(map(abs, errors)) < 0.1
    assert all(reed.spread_cents < 0.5 for reed in pitches.values())
    assert not [event for event in events if isinstance(event, RepeatRequested)]
    asked = [str(event.tab) for event in events if isinstance(event, ReedRequested)]
    # The first was asked for before anything was heard.
    assert asked == [str(entry) for entry in natural_entries(played)][1:]


def test_recorded_reeds_agree_with_praat() -> None:
    plan = Plan(C, RecordingSpec(path_of("c-harp")))
    events = list(measure_harp(plan, attacks=1))
    assert isinstance(events[0], PassStarted)
    assert isinstance(events[-1], TakeFinished)
    done = events[-2]
    assert isinstance(done, HarpMeasured)
    assert not done.missing
    pitch = parselmouth.Sound(load("c-harp").astype(float), RATE).to_pitch_ac(
        time_step=0.005,
        pitch_floor=180.0,
        pitch_ceiling=4500.0,
        very_accurate=True,
        max_number_of_candidates=15,
        octave_cost=0.01,
    )
    times, hz = pitch.xs(), pitch.selected_array["frequency"]
    pitches = {reed.tab: reed.hz for reed in done.reeds}
    errors = {}
    for note in EXCERPTS["c-harp"].notes:
        inside = (times > note.at + 0.15) & (times < note.end - 0.1)
        errors[note.tab] = cents(pitches[note.tab], float(np.median(hz[inside])))
    print("from Praat, cents:", {name: round(error, 2) for name, error in errors.items()})
    assert max(map(abs, errors.values())) < 1.0


@pytest.mark.parametrize(
    "case",
    [
        Case(Fault(short_ms=600.0), "hold it longer"),
        Case(Fault(leak_db=-6.0), "play one hole alone: hole 3 sounded too"),
        Case(Fault(vibrato_hz=5.5, vibrato_cents=20.0), "without vibrato"),
        Case(Fault(drift_cents=-40.0), "play it softer and evenly"),
        Case(Fault(cents=-74.0), "74 cents below hole 4 draw: play softer, without a bend"),
        Case(Fault(instead="-4'"), "100 cents below hole 4 draw"),
    ],
    ids=lambda case: case.sentence[:20],
)
def test_an_unusable_note_is_requested_again(case: Case) -> None:
    events = events_of(C, C, holes=NEAR, faults={3: case.fault})
    sentences = [event.sentence for event in events if isinstance(event, RepeatRequested)]
    assert any(case.sentence in sentence for sentence in sentences), sentences
    done = events[-1]
    assert isinstance(done, HarpMeasured)
    assert [str(entry) for entry in done.missing if entry.hole in NEAR] == ["-4"]
    # It stays the one that is asked for while the others are played.
    asked = [str(event.tab) for event in events if isinstance(event, ReedRequested)]
    assert asked[-1] == "-4"


def test_another_hole_counts_for_its_own_reed() -> None:
    events = events_of(C, C, times=2, faults={FOURTH_DRAW: Fault(instead="-5")})
    attacks = [event for event in events if isinstance(event, AttackMeasured)]
    assert [(str(entry.tab), entry.asked) for entry in attacks[6:9]] == [
        ("4", True),
        ("-5", False),
        ("5", False),
    ]
    assert set(result(events)) == {str(entry) for entry in REEDS}


def test_of_two_reeds_with_one_note_the_requested_one_counts() -> None:
    events = events_of(C, C)
    attacks = [event for event in events if isinstance(event, AttackMeasured)]
    pairs = [(str(attack.tab), attack.asked) for attack in attacks]
    assert ("-2", True) in pairs
    assert ("3", True) in pairs


def test_attacks_that_disagree_request_another() -> None:
    """One was played 15 cents flat, steadily: the median of three is not."""
    faults = {3: Fault(cents=-15.0)}
    two = events_of(C, C, attacks=2, times=2, holes=NEAR, faults=faults)
    assert len(result(two)) == 2 * len(NEAR)
    assert result(two)["-4"].spread_cents == pytest.approx(15.0, abs=0.3)
    sentences = [entry.sentence for entry in two if isinstance(entry, RepeatRequested)]
    assert sentences == ["once more, a little softer: hole 4 draw differs from before"]
    three = events_of(C, C, attacks=2, times=3, holes=NEAR, faults=faults)
    assert cents(result(three)["-4"].hz, C.hz(tab("-4"))) == pytest.approx(0.0, abs=0.1)


def test_a_large_offset_counts_when_it_is_confirmed() -> None:
    played = off_by(0.0, **{"-5": -75.0})
    once, twice = (events_of(C, played, times=times) for times in (1, 2))
    assert "-5" not in result(once)
    assert cents(result(twice)["-5"].hz, C.hz(tab("-5"))) == pytest.approx(-75.0, abs=0.1)


def test_another_key_is_noticed() -> None:
    events = events_of(C, Harp.of("Db"))
    sentences = [event.sentence for event in events if isinstance(event, RepeatRequested)]
    assert any("no reed of a C harp has this pitch" in entry for entry in sentences)


def test_it_ends_when_all_reeds_are_measured(tmp_path: Path) -> None:
    blocks = list(BuiltInPlayer(walk(2), C, spec=PlayerSpec()).blocks())
    path = tmp_path / "twice.wav"
    sf.write(path, np.concatenate([block.samples for block in blocks]), blocks[0].rate)
    events = list(measure_harp(Plan(C, RecordingSpec(path)), attacks=1))
    attacks = [event for event in events if isinstance(event, AttackMeasured)]
    assert len(attacks) == 20


def test_stopping_keeps_the_measured_reeds() -> None:
    plan = Plan(C, RecordingSpec(path_of("c-harp")))
    known: list[AttackMeasured] = []
    for event in measure_harp(plan, attacks=1, should_stop=lambda: len(known) >= 4):
        if isinstance(event, AttackMeasured):
            known.append(event)
        if isinstance(event, HarpMeasured):
            assert [reed.tab for reed in event.reeds] == ["1", "2", "3", "4"]
            assert len(event.missing) == 16
    assert len(known) == 4


def test_an_unreadable_recording_is_reported(tmp_path: Path) -> None:
    events = list(measure_harp(Plan(C, RecordingSpec(tmp_path / "none.wav"))))
    assert [type(event) for event in events] == [TakeFailed, HarpMeasured, TakeFinished]


# What single notes bring. A note is made of readings at one pitch.


def play(
    measurement: HarpMeasurement,
    start_hz: float,
    seconds: float = 1.2,
    *,
    at: float = 0.0,
    drift: float = 0.0,
) -> list[MeasurementEvent]:
    """Events of a note that begins after `at` seconds and drifts, with silence after it."""
    first = round(at * RATE)
    events: list[MeasurementEvent] = []
    for i in range(round((seconds + 0.3) / 0.005)):
        sample = first + round(i * 0.005 * RATE)
        sounds = i * 0.005 < seconds
        hz = start_hz * 2.0 ** (drift * min(1.0, i * 0.005 / seconds) / 1200.0)
        near = C.nearest_entries(hz)[0]
        reading = Reading(
            sample,
            sample,
            RATE,
            hz=hz if sounds else None,
            level_db=-20.0 if sounds else -90.0,
            sounding=sounds,
            onset=first if i == 0 else None,
            tab=near if sounds else None,
            cents=cents(hz, C.hz(near)) if sounds else None,
            breath=near.breath if sounds else None,
            holes=(near.hole,) if sounds else (),
        )
        events += measurement.add_reading(reading)
    return events


def sentences_of(events: list[MeasurementEvent]) -> list[str]:
    return [event.sentence for event in events if isinstance(event, RepeatRequested)]


def raised(entry: str, off: float) -> float:
    return C.hz(tab(entry)) * 2.0 ** (off / 1200.0)


def test_a_note_is_measured_from_a_certain_length_of_its_steady_part_on() -> None:
    measurement = HarpMeasurement(C, attacks=1)
    assert sentences_of(play(measurement, raised("1", 0.0), 0.4)) == [
        "hold it longer: two seconds, with an even breath"
    ]
    assert measurement.requested == tab("1")
    (attack,) = [
        e for e in play(measurement, raised("1", 12.0), 1.2) if isinstance(e, AttackMeasured)
    ]
    assert attack.asked
    assert attack.twin is None
    assert attack.cents == pytest.approx(12.0, abs=0.01)
    assert attack.spread_cents == pytest.approx(0.0, abs=0.01)
    assert measurement.requested == tab("-1")


@pytest.mark.parametrize(
    ("off", "sentence"),
    [
        (-370.0, "370 cents below hole 10 blow: play softer, without a bend; if the reed"),
        (-430.0, "play hole 10 blow: no reed has this pitch"),
        (70.0, "play hole 10 blow: no reed has this pitch"),
    ],
)
def test_a_note_under_the_requested_reed_is_reported_as_its_bend(off: float, sentence: str) -> None:
    known = [entry for entry in REEDS if entry != tab("10")]
    measurement = HarpMeasurement(C, attacks=1, known=known)
    assert measurement.requested == tab("10")
    (sentence_,) = sentences_of(play(measurement, raised("10", off)))
    assert sentence_.startswith(sentence)


def test_what_sounds_is_reported_ten_times_a_second_with_its_deviation() -> None:
    measurement = HarpMeasurement(C, attacks=1)
    sounding = [e for e in play(measurement, raised("1", -8.0), 1.0) if isinstance(e, ReedSounding)]
    assert len(sounding) == pytest.approx(10, abs=1)
    assert {event.tab for event in sounding} == {tab("1")}
    assert [event.cents for event in sounding] == pytest.approx([-8.0] * len(sounding))
    assert np.diff([event.seconds for event in sounding]) == pytest.approx(0.1, abs=0.01)


def test_of_two_reeds_of_one_note_the_nearer_to_the_last_is_taken() -> None:
    """Draw 2 and blow 3 are G4; neither is asked for."""
    for before, near in (("3", "3"), ("4", "3"), ("-3", "-2"), ("-2", "-2"), ("-1", "-2")):
        known = [entry for entry in REEDS if entry not in (tab("10"), tab(before))]
        measurement = HarpMeasurement(C, attacks=1, known=known)
        play(measurement, raised(before, 0.0))
        events = play(measurement, raised("3", 0.0), at=2.0)
        (attack,) = [event for event in events if isinstance(event, AttackMeasured)]
        assert (before, attack.tab) == (before, tab(near))
        assert not attack.asked
        assert attack.twin == tab("-2" if near == "3" else "3")


@pytest.mark.parametrize(("count", "believed"), [(3, False), (4, True)])
def test_a_very_flat_reed_is_believed_when_it_is_confirmed_and_four_are_known(
    count: int, believed: bool
) -> None:
    measurement = HarpMeasurement(C, attacks=1)
    for i, entry in enumerate(REEDS[:count]):
        play(measurement, raised(str(entry), 0.0), at=2.0 * i)
    flat = measurement.requested
    assert flat == REEDS[count]
    assert sentences_of(play(measurement, raised(str(flat), -75.0), at=20.0))
    events = play(measurement, raised(str(flat), -73.0), at=22.0)
    attacks = [event for event in events if isinstance(event, AttackMeasured)]
    assert [attack.tab for attack in attacks] == [flat] * believed
    if believed:
        assert attacks[0].cents == pytest.approx(-73.0, abs=0.01)


def test_two_very_flat_notes_that_differ_confirm_nothing() -> None:
    measurement = HarpMeasurement(C, attacks=1)
    for i, entry in enumerate(REEDS[:5]):
        play(measurement, raised(str(entry), 0.0), at=2.0 * i)
    flat = str(measurement.requested)
    for at, off in ((20.0, -80.0), (22.0, -71.5), (24.0, -80.0)):
        assert sentences_of(play(measurement, raised(flat, off), at=at))
    events = play(measurement, raised(flat, -72.5), at=26.0)
    assert [event.tab for event in events if isinstance(event, AttackMeasured)] == [tab(flat)]


@pytest.mark.parametrize(("drift", "even"), [(9.0, True), (10.0, False)])
def test_a_note_may_move_by_eight_cents_in_its_steady_part(drift: float, even: bool) -> None:
    """That is 1.75 of 2 s, and from the 2nd to the 98th percentile: 0.84 of the drift."""
    measurement = HarpMeasurement(C, attacks=1)
    sentences = sentences_of(play(measurement, raised("1", 0.0), 2.0, drift=drift))
    assert bool(sentences) is not even


def test_a_reed_is_very_flat_against_the_harp_as_a_whole() -> None:
    measurement = HarpMeasurement(C, attacks=1)
    for i, entry in enumerate(REEDS[:4]):
        play(measurement, raised(str(entry), -20.0), at=2.0 * i)
    flat = str(measurement.requested)
    assert sentences_of(play(measurement, raised(flat, -95.0), at=20.0))
    events = play(measurement, raised(flat, -95.0), at=22.0)
    assert [event.tab for event in events if isinstance(event, AttackMeasured)] == [tab(flat)]
