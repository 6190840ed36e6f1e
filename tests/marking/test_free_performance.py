"""Recordings without a click, from their notes: what the student did is what is found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from tests.support.synthetic_takes import HARP, RATE, drill_of
from trainer.drill import Drill
from trainer.ear import HeardNote
from trainer.ear.motion import Motion
from trainer.harp import Harp, Tab
from trainer.marking import FreePass, OtherPitchError, StartError, find_free_passes
from trainer.marking.alignment import align

WALK = drill_of(
    "4:1 -4:1 5:1 r:1 | -5:1 6:1 5:0.5 -4:0.5 r:1 | -6:1 6:1 -5:1 r:1 | 5:1 -4:1 -3:1 r:1 |"
    "-8:1 8:1 -7:1 r:1 | 7:1 -6:1 6:1 r:1 | -5:1 5:1 -4:0.5 4:0.5 r:1 | -1:1 2:1 1:2 |",
    tempo=90.0,
)
EVERY = list(range(len(WALK.steps)))
BAR = {step.bar: [s.index for s in WALK.steps if s.bar == step.bar] for step in WALK.steps}


def heard(tab: str, start: float, end: float, *, half_steps: float = 0.0) -> HeardNote:
    entry = Tab.parse(tab)
    hz = HARP.hz(entry) * 2.0 ** (half_steps / 12.0)
    near = HARP.nearest_entries(hz)[0]
    return HeardNote(
        round(start * RATE), round(end * RATE), RATE, near, hz, 0.0, HARP.same_pitch(near),
        (near.hole,), None, None, -20.0, (), Motion(), None,
    )  # fmt: skip


def play(
    steps: Sequence[int],
    *,
    at: float = 1.0,
    tempo: float = WALK.tempo,
    rush: float = 1.0,
    stops: dict[int, float] | None = None,
    late: dict[int, float] | None = None,
    half_steps: float = 0.0,
) -> list[HeardNote]:
    """Notes of some steps, one after another; `stops` and `late` in seconds by place."""
    now, notes = at, []
    for place, index in enumerate(steps):
        now += (stops or {}).get(place, 0.0)
        step = WALK.steps[index]
        beat = 60.0 / tempo / (1.0 + (rush - 1.0) * place / len(steps))
        start = now + (late or {}).get(place, 0.0)
        notes.append(
            heard(str(step.first[0]), start, start + float(step.beats) * beat * 0.85,
                  half_steps=half_steps)
        )  # fmt: skip
        following = steps[place + 1] if place + 1 < len(steps) else None
        end = WALK.steps[following].start if following == index + 1 else step.end
        now += float(end - step.start) * beat
    return notes


def passes(notes: list[HeardNote], drill: Drill = WALK) -> list[FreePass]:
    return find_free_passes(notes, drill, HARP, WALK.tempo, RATE)


def remarks(free_pass: FreePass) -> list[str]:
    return [remark.sentence for remark in free_pass.performance.remarks]


def lateness_ms(free_pass: FreePass, notes: list[HeardNote], steps: Sequence[int]) -> list[float]:
    curve = free_pass.performance.curve
    return [
        (note.start - curve.sample(WALK.steps[index].start)) * 1000.0 / RATE
        for note, index in zip(notes, steps, strict=True)
    ]


@pytest.mark.parametrize("factor", [0.6, 0.88, 0.97, 1.0, 1.05, 1.12, 1.5])
def test_any_steady_tempo_is_followed(factor: float) -> None:
    notes = play(EVERY, tempo=90.0 * factor)
    (free_pass,) = passes(notes)
    assert free_pass.performance.curve.tempo == pytest.approx(90.0 * factor, abs=0.2)
    assert lateness_ms(free_pass, notes, EVERY) == pytest.approx([0.0] * len(EVERY), abs=1.0)
    expected = [] if factor == 1.0 else [f"at {90.0 * factor:.0f} instead of 90"]
    assert remarks(free_pass) == expected


@pytest.mark.parametrize("seconds", [0.3, 0.6, 1.4, 8.0])
def test_a_stop_is_a_remark_and_makes_no_note_late(seconds: float) -> None:
    notes = play(EVERY, stops={BAR[3][0]: seconds})
    (free_pass,) = passes(notes)
    assert remarks(free_pass) == [f"stopped for {seconds:.1f} s before bar 3"]
    assert lateness_ms(free_pass, notes, EVERY) == pytest.approx([0.0] * len(EVERY), abs=1.0)
    step = WALK.steps[BAR[3][0] - 1]
    start, end = free_pass.performance.curve.span(step.start, step.end)
    assert end - start == pytest.approx(float(step.beats) * 60.0 / 90.0 * RATE, abs=50)


def test_one_late_note_stays_late() -> None:
    notes = play(EVERY, late={8: 0.08})
    (free_pass,) = passes(notes)
    late = lateness_ms(free_pass, notes, EVERY)
    assert late.pop(8) == pytest.approx(80.0, abs=8.0)
    assert late == pytest.approx([0.0] * len(late), abs=6.0)
    assert remarks(free_pass) == []


def test_late_off_beats_are_late_against_their_beats() -> None:
    off = [i for i in EVERY if WALK.steps[i].start.denominator != 1]
    notes = play(EVERY, late=dict.fromkeys(off, 0.05))
    (free_pass,) = passes(notes)
    late = lateness_ms(free_pass, notes, EVERY)
    assert [late[i] for i in off] == pytest.approx([50.0] * len(off), abs=8.0)


def test_speeding_up_is_a_curve_and_not_lateness() -> None:
    notes = play(EVERY, rush=1.15)
    (free_pass,) = passes(notes)
    assert lateness_ms(free_pass, notes, EVERY) == pytest.approx([0.0] * len(EVERY), abs=10.0)
    assert any(sentence.startswith("sped up from") for sentence in remarks(free_pass))


def test_a_false_start_is_a_remark_and_the_pass_counts() -> None:
    first = play(EVERY[:8])
    whole = play(EVERY, at=10.0)
    (free_pass,) = passes([*first, *whole])
    assert remarks(free_pass) == ["a false start, broken off in bar 3"]
    assert lateness_ms(free_pass, whole, EVERY) == pytest.approx([0.0] * len(EVERY), abs=1.0)
    assert free_pass.begin >= first[-1].end
    tries = free_pass.performance.tries
    assert [(each.first, each.last, each.is_pass) for each in tries] == [
        (0, 7, False),
        (0, len(EVERY) - 1, True),
    ]


def test_every_whole_try_is_a_pass() -> None:
    both = passes([*play(EVERY, tempo=80.0), *play(EVERY, at=40.0)])
    assert [each.performance.curve.tempo for each in both] == [80.0, 90.0]
    assert both[0].close <= both[1].begin
    for each in both:
        assert "2 whole tries; the best counts" in remarks(each)


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        ([*EVERY[: BAR[4][-1] + 1], *EVERY[BAR[4][0] :]], "repeated bar 4"),
        (
            [*EVERY[: BAR[5][1] + 1], *EVERY[BAR[5][0] :]],
            "went back from bar 5, beat 2 to bar 5",
        ),
    ],
)
def test_going_back_is_a_remark_and_the_last_time_counts(path: list[int], sentence: str) -> None:
    notes = play(path)
    (free_pass,) = passes(notes)
    assert remarks(free_pass) == [sentence]
    played = free_pass.performance
    counting = [note for note in notes if played.counts(note.start)]
    assert len(counting) == len(EVERY)
    assert lateness_ms(free_pass, counting, EVERY) == pytest.approx([0.0] * len(EVERY), abs=1.0)


def test_a_note_that_is_played_twice_in_time_is_a_remark_and_the_rest_goes_on() -> None:
    path = [*EVERY[:10], *EVERY[9:]]
    notes = play(path)
    (free_pass,) = passes(notes)
    assert remarks(free_pass) == ["played step 10 again"]
    counting = [note for note in notes if free_pass.performance.counts(note.start)]
    assert lateness_ms(free_pass, counting, EVERY) == pytest.approx([0.0] * len(EVERY), abs=1.0)


def test_a_new_section_at_another_tempo_is_followed_at_once() -> None:
    new = BAR[5][0]
    begins = 1.0 + float(WALK.steps[new].start) * 60.0 / WALK.tempo
    notes = [*play(EVERY[:new]), *play(EVERY[new:], at=begins, tempo=0.85 * WALK.tempo)]
    (free_pass,) = passes(notes)
    assert lateness_ms(free_pass, notes, EVERY) == pytest.approx([0.0] * len(EVERY), abs=12.0)


def test_a_skipped_bar_is_a_remark_and_the_rest_is_in_time() -> None:
    path = [i for i in EVERY if i not in BAR[4]]
    notes = play(path)
    (free_pass,) = passes(notes)
    assert remarks(free_pass) == ["skipped bar 4"]
    assert free_pass.performance.skipped == set(BAR[4])
    assert lateness_ms(free_pass, notes, path) == pytest.approx([0.0] * len(path), abs=1.0)


def test_noodling_before_is_no_part_of_the_pass() -> None:
    tabs = ("7", "-9", "9", "-10", "8", "3")
    noodling = [heard(tab, 1.0 + 0.35 * i, 1.3 + 0.35 * i) for i, tab in enumerate(tabs)]
    (free_pass,) = passes([*noodling, *play(EVERY, at=5.0)])
    assert free_pass.begin >= noodling[-1].end
    assert remarks(free_pass) == []


@pytest.mark.parametrize(("half_steps", "key"), [(2, "D"), (-2, "Bb"), (7, "G"), (12, "high C")])
def test_another_harp_is_named(half_steps: int, key: str) -> None:
    with pytest.raises(OtherPitchError) as error:
        passes(play(EVERY, half_steps=half_steps))
    assert error.value.half_steps == half_steps
    assert Harp.of(error.value.harp).key.tonic - HARP.key.tonic == half_steps
    assert error.value.harp == key or key == "G"


def test_a_flat_harp_is_a_remark() -> None:
    (free_pass,) = passes(play(EVERY, half_steps=-0.22))
    (remark,) = free_pass.performance.remarks
    assert remark.kind == "tuning"
    assert remark.size == pytest.approx(-22.0)
    assert "22 cents flat" in remark.sentence
    assert "--a4 434.4" in remark.sentence


def test_another_tune_is_not_found() -> None:
    tabs = ("1", "10", "-1", "-10", "1", "9", "-2'", "-9") * 3
    notes = [heard(tab, 0.5 * i, 0.5 * i + 0.4) for i, tab in enumerate(tabs)]
    with pytest.raises(StartError, match="cannot be found"):
        passes(notes)
    with pytest.raises(StartError, match="no note is heard"):
        passes([])


def test_a_curve_maps_samples_back_to_beats() -> None:
    notes = play(EVERY, rush=1.2, stops={BAR[3][0]: 1.0})
    (free_pass,) = passes(notes)
    curve = free_pass.performance.curve
    for step in WALK.steps:
        assert curve.beat(curve.sample(step.start)) == pytest.approx(float(step.start), abs=0.01)
    assert curve.beat_s(0) == pytest.approx(60.0 / 90.0, rel=0.05)


def test_a_note_played_again_after_a_gap_is_no_part_of_the_note_before() -> None:
    """A tune of equal notes: the stutter is played for its own step, and none is left over."""
    drill = drill_of("4:1 -4:1 -4:2 | -4:2 5:1 6:1 | -6:2 6:1 5:1 | -4:2 4:2 |", tempo=60.0)
    starts = [(0, 1.0), (1, 2.0), (1, 3.0), (2, 4.0), (3, 6.0), (4, 8.0), (5, 9.0), (6, 10.0)]
    starts += [(7, 12.0), (8, 13.0), (9, 14.0), (10, 16.0)]
    notes = [
        heard(str(drill.steps[step].first[0]), at, at + 0.9 * float(drill.steps[step].beats))
        for step, at in starts
    ]
    path = align(notes, drill.steps, HARP, drill.clock(RATE))
    assert [played.step for played in path] == [step for step, _ in starts]


def test_a_passage_that_is_mended_at_its_last_note_counts_as_it_was_played_last() -> None:
    last = EVERY[-1]
    again = [*EVERY, *BAR[8]]
    notes = play(again)
    wrong = notes[last]
    notes[last] = heard("-5", wrong.start / RATE, wrong.end / RATE)
    (free_pass,) = passes(notes)
    assert free_pass.performance.counts(notes[-1].start + 1)
    assert not free_pass.performance.counts(wrong.start + 1)


def test_what_a_room_rings_on_with_sends_nobody_back() -> None:
    """Faint notes after each note, as reeds beat in a room, are left out at almost no cost."""
    notes = play(EVERY)
    echoes = [
        replace(heard("1", end, end + 0.1), level_db=-50.0)
        for end in (note.end / RATE + 0.02 for note in notes)
    ]
    both = sorted([*notes, *echoes], key=lambda note: note.start)
    path = align(both, WALK.steps, HARP, WALK.clock(RATE))
    assert [(each.step, both[each.note].level_db) for each in path] == [(i, -20.0) for i in EVERY]
