"""Drafts of drills from transcripts made by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from trainer.drill import CleannessRule, DrillError, Vibrato
from trainer.harp import Harp, Tab
from trainer.transcript import Meter, TranscribedNote, Transcript, draft_drill

C = Harp.of("C")


def note(
    tab: str,
    start: float,
    end: float,
    at: Fraction | int | None = None,
    beats: Fraction | int | None = None,
    cents: float = 0.0,
    rule: CleannessRule = CleannessRule.PLAIN,
    vibrato: Vibrato | None = None,
) -> TranscribedNote:
    sounds = tuple(
        tuple(Tab.parse(entry) for entry in sound.split("+")) for sound in tab.split(">")
    )
    return TranscribedNote(
        start,
        end,
        sounds,
        cents,
        C.hz(sounds[0][0]),
        cleanness_rule=rule,
        vibrato=vibrato,
        at=None if at is None else Fraction(at),
        beats=None if beats is None else Fraction(beats),
    )


def transcript(*notes: TranscribedNote, meter: Meter | None = None) -> Transcript:
    return Transcript("take.wav", C, tuple(notes), meter=meter)


FOUR = Meter(120.0, (4, 4), (0.0, 0.5, 1.0, 1.5, 2.0))


def test_an_overlapping_step_is_cut_where_the_next_begins() -> None:
    drill = draft_drill(
        transcript(note("4", 0.0, 1.0, 0, 2), note("5", 0.75, 1.5, Fraction(3, 2), 1), meter=FOUR),
        "x",
        "X",
    )
    assert [(step.start, step.beats) for step in drill.steps] == [(0, Fraction(3, 2)), (1.5, 1)]


def test_a_step_that_ends_where_the_next_begins_or_before_is_kept() -> None:
    drill = draft_drill(
        transcript(note("4", 0.0, 0.5, 0, 1), note("5", 0.5, 1.0, 1, 1), note("4", 1.5, 2, 3, 1)),
        "x",
        "X",
    )
    assert [step.beats for step in drill.steps] == [1, 1, 1]


def test_a_cut_step_keeps_the_shortest_length_of_the_format() -> None:
    drill = draft_drill(
        transcript(note("4", 0.0, 1.0, 0, 2), note("5", 0.0, 0.5, Fraction(1, 1000), 1)), "x", "X"
    )
    assert 0 < drill.steps[0].beats <= Fraction(1, 12)
    assert drill.steps[0].beats > Fraction(1, 1000)


def test_without_a_beat_seconds_from_the_first_note_are_beats_on_a_grid_of_twelfths() -> None:
    drill = draft_drill(
        transcript(note("4", 10.0, 10.49), note("5", 10.52, 10.53), note("-4", 15.3, 15.8)),
        "x",
        "X",
    )
    assert drill.tempo == 60.0
    assert drill.meter == (4, 4)
    assert [step.start for step in drill.steps] == [0, Fraction(1, 2), Fraction(16, 3)]
    assert [step.beats for step in drill.steps] == [Fraction(1, 2), Fraction(1, 12), Fraction(1, 2)]
    assert [step.bar for step in drill.steps] == [1, 1, 2]
    assert drill.end == 8


def test_bars_are_counted_from_one_and_a_pick_up_is_bar_zero() -> None:
    drill = draft_drill(
        transcript(
            note("4", 0.0, 0.5, -1, 1),
            note("5", 0.5, 1.0, 0, 1),
            note("6", 2.0, 2.5, 3, 1),
            note("5", 2.5, 3.0, 4, 1),
            meter=FOUR,
        ),
        "x",
        "X",
    )
    assert [step.bar for step in drill.steps] == [0, 1, 1, 2]
    assert drill.start == -1
    assert drill.end == 8
    assert drill.tempo == 120.0


def test_the_end_is_the_bar_line_at_or_after_the_last_note() -> None:
    full = draft_drill(transcript(note("4", 0.0, 2.0, 0, 4), meter=FOUR), "x", "X")
    assert full.end == 4
    assert full.start == 0


@pytest.mark.parametrize(("tempo", "written"), [(10.0, 20.0), (350.0, 300.0), (99.6, 100.0)])
def test_the_tempo_is_whole_and_within_the_format(tempo: float, written: float) -> None:
    meter = Meter(tempo, (3, 4), (0.0, 1.0, 2.0), swing=1.5)
    drill = draft_drill(transcript(note("4", 0.0, 0.5, 0, 1), meter=meter), "x", "X")
    assert drill.tempo == written
    assert drill.meter == (3, 4)
    assert drill.swing == 1.5


@pytest.mark.parametrize(
    ("cents", "offsets"),
    [
        (24.9, ()),
        (-24.9, ()),
        (25.0, (25.0,)),
        (28.0, (30.0,)),
        (-48.0, (-50.0,)),
        (120.0, (95.0,)),
        (-120.0, (-95.0,)),
    ],
)
def test_a_pitch_far_from_its_entry_is_written_as_an_offset(
    cents: float, offsets: tuple[float, ...]
) -> None:
    (step,) = draft_drill(transcript(note("4", 0, 1, 0, 1, cents=cents)), "x", "X").steps
    assert step.offsets_cents == offsets


@pytest.mark.parametrize("tab", ["4+5", "-4>-4'"])
def test_chords_and_glides_have_no_offset(tab: str) -> None:
    (step,) = draft_drill(transcript(note(tab, 0, 1, 0, 1, cents=50.0)), "x", "X").steps
    assert step.offsets_cents == ()


def test_a_blurred_note_stays_blurred_and_a_chord_does_not() -> None:
    blur = CleannessRule.BLUR
    drill = draft_drill(
        transcript(note("4", 0, 1, 0, 1, rule=blur), note("4+5", 1, 2, 1, 1, rule=blur)), "x", "X"
    )
    rules = [step.cleanness_rule for step in drill.steps]
    assert rules == [CleannessRule.BLUR, CleannessRule.PLAIN]


@pytest.mark.parametrize(
    ("hz", "cents", "written"),
    [(5.3, 12.0, (5.5, 10.0)), (2.0, 1.0, (3.0, 5.0)), (11.0, 140.0, (9.0, 100.0))],
)
def test_vibrato_is_rounded_to_the_format(
    hz: float, cents: float, written: tuple[float, float]
) -> None:
    (step,) = draft_drill(
        transcript(note("4", 0, 1, 0, 1, vibrato=Vibrato(hz, cents))), "x", "X"
    ).steps
    assert step.vibrato == Vibrato(*written)


def test_the_second_part_starts_with_the_first_and_may_last_longer() -> None:
    both = Transcript(
        "take.wav", C, (note("4", 1.0, 1.5),), second=(note("6", 0.5, 1.0), note("6", 5.0, 6.0))
    )
    drill = draft_drill(both, "x", "X")
    assert [step.start for step in drill.steps] == [Fraction(1, 2)]
    assert [step.start for step in drill.second] == [0, Fraction(9, 2)]
    assert drill.end == 8


def test_nothing_to_write_is_refused() -> None:
    with pytest.raises(DrillError, match=r"take\.wav"):
        draft_drill(transcript(), "x", "X")
