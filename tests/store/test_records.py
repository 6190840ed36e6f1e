"""Records made from results: what is stored of each kind of step, and of the whole take."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from fractions import Fraction

import pytest

from trainer.drill import Drill, Solo, parse_drill
from trainer.harp import Harp
from trainer.marking import ExtraNote, Mark, Measured, Result, SoloMark
from trainer.marking.solo_mark import SoloMeasured
from trainer.store import SoloRecord, TakeRecord

WHEN = datetime(2026, 5, 14, 23, 30, tzinfo=timezone(timedelta(hours=2)))
HEAD = 'title = "Ropes"\nharp = "C"\ntempo = 60\nskills = ["bends", "chords"]\n'


def drill(tab: str) -> Drill:
    return parse_drill(f'{HEAD}tab = """\n{tab}\n"""\n', "ropes")


def result(tab: str, measured: Measured, *, tempo: float = 60.0, skip: int = 0) -> Result:
    played = drill(tab)
    steps = [step for step in played.steps if not step.call][skip:]
    marks = tuple(Mark(step, 81.0, {"pitch": 70.0, "time": 90.0}, measured, "so") for step in steps)
    extra = ExtraNote(100, 900, 0.5, None, "-2", "one note too many: -2")
    return Result(played, "C", tempo, marks, 81.0, True, (extra,))


def record(taken: Result) -> TakeRecord:
    return TakeRecord.of(
        taken,
        Harp.of("C"),
        player="Runa",
        began=WHEN,
        source="microphone",
        harp_name="old C",
        audio="takes/a.flac",
    )


MEASURED = Measured(
    start=0,
    end=24_000,
    cents=12.0,
    wobble_cents=1.0,
    drift_cents=-2.0,
    scoop_cents=-30.0,
    settle_ms=40.0,
    leak_db=-14.0,
    leak_hole=4,
    late_ms=-8.0,
    heard="-3'",
)


def test_a_bent_note_is_stored_with_its_entry_and_its_frequency() -> None:
    (step,) = record(result("-3':2 r:2", MEASURED)).steps
    assert (step.index, step.tab, step.kind, step.entry) == (0, "-3'", "note", "-3'")
    assert (step.beats, step.score, step.sentence) == (2.0, 81.0, "so")
    assert step.parts == {"pitch": 70.0, "time": 90.0}
    assert (step.heard, step.cents, step.wobble_cents, step.drift_cents) == ("-3'", 12.0, 1.0, -2.0)
    assert (step.scoop_cents, step.settle_ms) == (-30.0, 40.0)
    assert (step.leak_db, step.leak_hole, step.late_ms) == (-14.0, 4, -8.0)
    # Draw 3 of a C harp is B4; bent by a half step it is Bb4, MIDI note 70 (A4 = 440 Hz).
    assert step.hz == pytest.approx(440.0 * 2.0 ** ((1.0 + 0.12) / 12.0))


def test_a_note_that_was_not_held_has_no_frequency() -> None:
    (step,) = record(result("-3':4", Measured(start=0, end=10))).steps
    assert (step.entry, step.cents, step.hz) == ("-3'", None, None)


@pytest.mark.parametrize(
    ("tab", "kind", "entry"),
    [
        ("4", "note", "4"),
        ("4+5", "chord", None),
        ("-4>-4'", "glide", "-4'"),
        ("-4'>-4", "glide", "-4"),
        ("-2>-2'>-2''", "glide", "-2''"),
    ],
)
def test_the_pitch_of_a_glide_is_that_of_its_end_and_a_chord_has_none(
    tab: str, kind: str, entry: str | None
) -> None:
    (step,) = record(result(f"{tab}:4", MEASURED)).steps
    assert (step.kind, step.entry) == (kind, entry)
    assert (step.hz is None) is (entry is None)


@pytest.mark.parametrize(
    ("tab", "entry"),
    [("-4<>5", "-4"), ("-4:4{vibrato}", "-4"), ("-3/-3'", None), ("-4:4{around}", None)],
)
def test_a_pitch_that_moves_or_is_not_known_says_nothing_of_a_reed(
    tab: str, entry: str | None
) -> None:
    (step,) = record(result(tab if ":" in tab else f"{tab}:4", MEASURED)).steps
    assert (step.entry, step.hz) == (entry, None)


@pytest.mark.parametrize(
    ("tab", "semitones"), [("-3@-40:4", 11.0 - 0.4), ("-4@+30>-4'@-20:4", 13.0 - 0.2)]
)
def test_the_frequency_counts_from_the_target_of_the_last_sound(tab: str, semitones: float) -> None:
    """Semitones from C4, MIDI note 60; the pitch is 12 cents above the target."""
    (step,) = record(result(tab, MEASURED)).steps
    midi = 60.0 + semitones + 0.12
    assert step.hz == pytest.approx(440.0 * 2.0 ** ((midi - 69.0) / 12.0))


def test_a_take_keeps_who_played_what_and_when() -> None:
    take = record(result("4:2 -4:2", MEASURED, tempo=90.0))
    assert (take.player, take.drill, take.title) == ("Runa", "ropes", "Ropes")
    assert take.skills == ("bends", "chords")
    assert (take.harp.key, take.harp.tuning, take.harp.name) == ("C", "richter", "old C")
    assert (take.tempo, take.source, take.score, take.passed) == (90.0, "microphone", 81.0, True)
    assert take.began == datetime(2026, 5, 14, 21, 30, tzinfo=UTC)
    assert take.day == date(2026, 5, 14)  # where it was played, half an hour before midnight
    assert take.extras == ("one note too many: -2",)
    assert take.audio == "takes/a.flac"
    assert len(take.id) == 32
    assert take.id != record(result("4:2 -4:2", MEASURED)).id


def test_a_take_keeps_the_points_of_its_solos() -> None:
    points = {"scale": 90.0, "phrases": 40.0}
    sentences = {"scale": "in the scale", "phrases": "leave a rest after two bars"}
    solo = Solo(Fraction(4), Fraction(8), 2)
    mark = SoloMark(solo, 65.0, points, SoloMeasured(notes=9), sentences)
    taken = record(replace(result("-3':2 r:2", MEASURED), solos=(mark,)))
    assert taken.solos == (SoloRecord(2, 8.0, 65.0, points, 9, "leave a rest after two bars"),)


def test_a_faster_take_is_shorter() -> None:
    slow, fast = (record(result("4:2 -4:2", MEASURED, tempo=tempo)) for tempo in (60.0, 120.0))
    assert slow.seconds == pytest.approx(drill("4:2 -4:2").seconds)
    assert fast.seconds == pytest.approx(slow.seconds / 2.0)


def test_a_part_of_a_drill_is_not_the_whole() -> None:
    assert record(result("4 -4 5:2", MEASURED)).whole
    assert not record(result("4 -4 5:2", MEASURED, skip=1)).whole


def test_calls_of_a_drill_are_not_the_players() -> None:
    taken = result("{call} 4 -4 {answer} 4 -4", MEASURED)
    assert [step.index for step in record(taken).steps] == [2, 3]
    assert record(taken).whole
