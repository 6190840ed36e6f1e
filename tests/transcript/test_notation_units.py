"""Notation of heard notes made by hand, and the guess of the harp from pitches."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from trainer.drill import CleannessRule, PitchEvent, TargetPitch, Vibrato, likeliest_position
from trainer.drill.position import _log_profile
from trainer.ear import HeardNote, Modulation, Motion, estimate_motion
from trainer.harp import Harp, Tab
from trainer.transcript import TranscribedNote
from trainer.transcript.harp_guess import HARP_GUESS, candidate_harps, guess_harps
from trainer.transcript.notation import nearest_entry_of_reed, notate, pitch_events
from trainer.transcript.transcription import estimate_a4, without_reverberation

C, RATE = Harp.of("C"), 48_000


def hz(tab: str) -> float:
    return C.hz(Tab.parse(tab))


def heard(
    tab: str,
    holes: tuple[int, ...] = (),
    leak_db: float | None = None,
    path: list[tuple[float, float]] | None = None,
    seconds: float = 0.5,
    start: float = 1.0,
    level_db: float = -20.0,
    f0: float | None = None,
) -> HeardNote:
    """A note; its path is (seconds from its start, f0) at corners, with lines between."""
    entry = Tab.parse(tab)
    f0 = hz(tab) if f0 is None else f0
    at = np.arange(0.01, seconds, 0.005)
    corners = path or [(0.0, f0), (seconds, f0)]
    pitch = np.interp(at, *zip(*corners, strict=True))
    return HeardNote(
        start=round(start * RATE),
        end=round((start + seconds) * RATE),
        rate=RATE,
        tab=entry,
        hz=f0,
        cents=0.0,
        also=C.same_pitch(entry),
        holes=holes or (entry.hole,),
        leak_db=leak_db,
        leak_hole=None,
        level_db=level_db,
        path=tuple((round((start + t) * RATE), float(p)) for t, p in zip(at, pitch, strict=True)),
        motion=estimate_motion(at, pitch, seconds),
        tremolo=None,
    )


def notated(note: HeardNote) -> list[TranscribedNote]:
    return list(notate([note], C))


def test_a_steady_note_is_one_note_on_its_entry() -> None:
    (note,) = notated(heard("-4", f0=hz("-4") * 2 ** (12 / 1200)))
    assert note.tab == "-4"
    assert note.cents == pytest.approx(12.0)
    assert (note.start, note.end) == (1.0, 1.5)
    assert note.struck
    assert note.explained is None
    assert note.cleanness_rule is CleannessRule.PLAIN


def test_a_glide_between_two_rests_is_a_path() -> None:
    path = [(0.0, hz("-4")), (0.2, hz("-4")), (0.4, hz("-4'")), (0.7, hz("-4'"))]
    (note,) = notated(heard("-4", path=path, seconds=0.7))
    assert note.tab == "-4>-4'"
    assert note.hz == pytest.approx(hz("-4'"), rel=0.003)  # the longer rest
    assert note.alternatives == ()


@pytest.mark.parametrize(("flat_s", "tabs"), [(0.1, ["-4"]), (0.25, ["-4'", "-4"])])
def test_an_attack_that_begins_flat_is_a_scoop_and_no_glide(flat_s: float, tabs: list[str]) -> None:
    path = [(0.0, hz("-4'")), (flat_s, hz("-4'")), (flat_s + 0.15, hz("-4")), (0.9, hz("-4"))]
    notes = notated(heard("-4", path=path, seconds=0.9))
    assert [note.tab for note in notes] == tabs
    assert notes[0].start == 1.0


def test_a_quick_step_between_two_rests_is_two_notes() -> None:
    path = [(0.0, hz("-4'")), (0.3, hz("-4'")), (0.34, hz("-4")), (0.8, hz("-4"))]
    first, second = list(notate([heard("-4", path=path, seconds=0.8)], C, [0.9]))
    assert [first.tab, second.tab] == ["-4'", "-4"]
    assert (first.struck, second.struck) == (True, False)
    assert first.end == second.start == pytest.approx(1.32, abs=0.02)
    assert (first.start, second.end) == (1.0, 1.8)
    assert (first.explained, second.explained) == (0.9, 0.9)


def test_a_bend_down_and_back_is_one_path() -> None:
    rests = [(0.0, "-4"), (0.15, "-4"), (0.4, "-4'"), (0.55, "-4'"), (0.8, "-4"), (0.95, "-4")]
    path = [(at, hz(tab)) for at, tab in rests]
    (note,) = notated(heard("-4", path=path, seconds=0.95))
    assert note.tab == "-4>-4'>-4"


def test_a_step_after_a_glide_is_compared_with_the_whole_glide() -> None:
    """0.16 s are much of the last 0.6 s, and little of 1.1 s."""
    rests = [(0.0, "-3"), (0.2, "-3"), (0.5, "-3''"), (0.72, "-3''"), (0.88, "-3"), (1.1, "-3")]
    path = [(at, hz(tab)) for at, tab in rests]
    first, second = notated(heard("-3", path=path, seconds=1.1))
    assert (first.tab, second.tab) == ("-3>-3''", "-3")
    alone = [(at - 0.5, f0) for at, f0 in path[2:]]
    (glide,) = notated(heard("-3", path=alone, seconds=0.6))
    assert glide.tab == "-3''>-3"


def test_a_step_to_a_rest_too_short_for_a_note_is_a_glide() -> None:
    path = [(0.0, hz("-4'")), (0.3, hz("-4'")), (0.34, hz("-4")), (0.51, hz("-4"))]
    (note,) = notated(heard("-4", path=path, seconds=0.51))
    assert note.tab == "-4'>-4"


def test_a_glide_that_never_rests_goes_from_its_start_to_its_end() -> None:
    path = [(0.0, hz("-3")), (0.3, hz("-3'''"))]
    (note,) = notated(heard("-3", path=path, seconds=0.3))
    assert note.tab == "-3>-3'''"


def test_a_shallow_movement_stays_on_its_entry() -> None:
    path = [(0.0, hz("-4")), (0.3, hz("-4")), (0.34, hz("-4") * 0.98), (0.8, hz("-4") * 0.98)]
    (note,) = notated(heard("-4", path=path, seconds=0.8))
    assert note.tab == "-4"


@pytest.mark.parametrize(
    ("corners", "seconds", "pitches"),
    [
        ([(0.0, "-4'"), (0.08, "-4'"), (0.17, "-4")], 0.17, [[74]]),  # a scoop of the reed
        ([(0.0, "-4"), (0.05, "-4"), (0.17, "-4'")], 0.17, [[74, 73]]),
        ([(0.0, "-4'"), (0.3, "-4'"), (0.34, "-4"), (0.8, "-4")], 0.8, [[73], [74]]),
        ([(0.0, "-4"), (0.2, "-4"), (0.4, "-4'"), (0.7, "-4'")], 0.7, [[74, 73]]),
    ],
)
def test_a_harp_is_guessed_from_the_notes_that_would_be_written(
    corners: list[tuple[float, str]], seconds: float, pitches: list[list[int]]
) -> None:
    path = [(at, hz(tab)) for at, tab in corners]
    events = list(pitch_events(heard("-4", path=path, seconds=seconds), 440.0))
    assert [[pitch.notes[0] for pitch in event.path] for event in events] == pitches
    assert events[0].start == 1.0
    assert events[-1].end == pytest.approx(1.0 + seconds)


@pytest.mark.parametrize(
    ("leak_db", "tab", "rule"),
    [(-6.0, "4+5", "plain"), (-14.0, "4", "blur"), (-25.0, "4", "blur"), (-30.0, "4", "plain")],
)
def test_a_neighbour_is_a_chord_a_leak_or_nothing_by_its_level(
    leak_db: float, tab: str, rule: str
) -> None:
    (note,) = notated(heard("4", (4, 5), leak_db))
    assert note.tab == tab
    assert note.cleanness_rule == rule
    assert note.leak_db == leak_db


def test_holes_whose_level_is_unknown_are_a_chord() -> None:
    (note,) = notated(heard("-4", (4, 5), None))
    assert note.tab == "-4+5"


def test_draw_two_has_blow_three_as_its_alternative_unless_a_neighbour_sounds() -> None:
    (alone,) = notated(heard("-2"))
    assert alone.alternatives == (((Tab.parse("3"),),),)
    (leaking,) = notated(heard("-2", (2, 3), -15.0))
    assert leaking.alternatives == ()


@pytest.mark.parametrize(("depth", "notated_"), [(4.0, False), (6.0, True)])
def test_a_shallow_vibrato_is_not_notated(depth: float, notated_: bool) -> None:
    note = replace(heard("4"), motion=Motion(vibrato=Modulation(5.0, depth)))
    (result,) = notated(note)
    assert result.vibrato == (Vibrato(5.0, depth) if notated_ else None)


def test_the_nearest_entry_of_a_reed_is_of_its_hole_and_breath() -> None:
    assert nearest_entry_of_reed(hz("-3''") * 1.001, Tab.parse("-3"), C) == Tab.parse("-3''")
    assert nearest_entry_of_reed(hz("5"), Tab.parse("-4"), C) == Tab.parse("-4")
    assert nearest_entry_of_reed(hz("6o") * 1.2, Tab.parse("6o"), C) == Tab.parse("6o")


def test_reverberation_is_short_soft_and_directly_after_a_note() -> None:
    note = heard("4")
    cases = {
        "reverberation": ({"start": 1.51, "seconds": 0.1, "level_db": -29.0}, False),
        "long": ({"start": 1.51, "seconds": 0.2, "level_db": -29.0}, True),
        "loud": ({"start": 1.51, "seconds": 0.1, "level_db": -27.0}, True),
        "late": ({"start": 1.53, "seconds": 0.1, "level_db": -29.0}, True),
    }
    for name, (changes, kept) in cases.items():
        other = heard("5", **changes)  # type: ignore[arg-type]
        assert (other in without_reverberation([note, other])) is kept, name
        assert note in without_reverberation([note, other])
    chain = [heard("5", start=1.5 + 0.1 * i, seconds=0.1, level_db=-40.0) for i in range(3)]
    assert without_reverberation([note, *chain]) == [note]
    assert without_reverberation(chain[:1]) == chain[:1]  # nothing before it


@pytest.mark.parametrize("cents", [-30.0, -5.0, 12.0, 45.0])
def test_the_reference_pitch_is_the_mean_deviation_of_long_notes(cents: float) -> None:
    ratio = 2 ** (cents / 1200)
    notes = [heard(tab, f0=hz(tab) * ratio) for tab in ("4", "-4", "5", "6")]
    notes.append(heard("5", f0=hz("5") * 1.03, seconds=0.1))
    assert estimate_a4(notes) == pytest.approx(440.0 * ratio, abs=0.06)


def test_a_small_deviation_or_no_long_note_is_standard_pitch() -> None:
    assert estimate_a4([heard("4", f0=hz("4") * 2 ** (3 / 1200))]) == 440.0
    assert estimate_a4([heard("4", f0=hz("4") * 1.02, seconds=0.1)]) == 440.0


# The guess of the harp


def tune(*notes: int, beat: float = 0.5, last: float = 2.0) -> list[PitchEvent]:
    ends = [beat * (i + 1) for i in range(len(notes) - 1)] + [beat * (len(notes) - 1) + last]
    return [
        PitchEvent(beat * i, end - 0.05, (TargetPitch((note,)),))
        for i, (note, end) in enumerate(zip(notes, ends, strict=True))
    ]


def test_a_major_tune_in_first_position() -> None:
    events = tune(72, 76, 79, 76, 77, 74, 72, 76, 79, 84, 79, 76, 74, 71, 72)
    best, *others = guess_harps(events, candidate_harps())
    assert best.harp.key.name == "C"
    assert best.position == 1
    assert best.missing == 0
    assert best.probability > 0.5
    assert "1st position; has all of the notes" in best.reason
    assert all(a.probability >= b.probability for a, b in pairwise([best, *others]))
    assert sum(guess.probability for guess in (best, *others)) == pytest.approx(1.0)


def test_a_tune_that_ends_on_the_fifth_of_the_harp_is_in_second_position() -> None:
    events = tune(67, 70, 72, 73, 72, 70, 67, 65, 67, 74, 77, 79, 77, 74, 70, 67)
    assert likeliest_position(events, C) == 2
    best = guess_harps(events, candidate_harps())[0]
    assert (best.harp.key.name, best.position) == ("C", 2)


def test_a_harp_that_lacks_notes_says_which_and_is_unlikely() -> None:
    events = tune(72, 76, 79, 82, 61, 61, 72, 76)
    harps = [Harp.of(key) for key in ("C", "low C", "G", "D")]
    by_name = {guess.harp.key.name: guess for guess in guess_harps(events, harps)}
    low = by_name["low C"]
    assert low.missing == 0 or "lacks" in low.reason
    for guess in by_name.values():
        lacks = f"lacks {guess.missing} of the notes" in guess.reason
        assert lacks == (guess.missing > 0)
    assert max(g.missing for g in by_name.values()) > 0
    assert guess_harps([], candidate_harps()) == ()


def test_another_tuning_is_guessed_only_where_it_is_clearly_better() -> None:
    """On the easiest standard harp, Eb, each octave of this minor scale takes a bend."""
    minor = [60, 63, 67, 72, 74, 75, 77, 79, 80, 83, 84]
    major = [72, 74, 76, 77, 79, 81, 83, 84]
    harps = [Harp.of("C", tuning) for tuning in ("richter", *HARP_GUESS.minor_tunings)]
    harps += [Harp.of("Eb"), Harp.of("Eb", "natural-minor")]
    for scale, name in ((minor, "C, harmonic-minor"), (major, "C")):
        best = guess_harps(tune(*[*scale, *scale[::-1]] * 7), harps)[0]
        assert best.harp.name == name


def test_where_both_have_the_notes_a_low_harp_is_less_likely() -> None:
    events = tune(60, 64, 67, 72, 67, 62, 64, 60)
    harps = [Harp.of("C"), Harp.of("low C")]
    by_name = {guess.harp.key.name: guess for guess in guess_harps(events, harps)}
    assert by_name["C"].probability > by_name["low C"].probability


def test_a_glide_that_a_harp_cannot_play_speaks_against_it() -> None:
    glide = PitchEvent(8.0, 9.0, (TargetPitch((73,)), TargetPitch((74,))))  # C harp: -4'>-4
    events = [*tune(72, 76, 79, 76, 72, 74), glide]
    harps = [Harp.of("C"), Harp.of("D")]
    by_name = {guess.harp.key.name: guess for guess in guess_harps(events, harps)}
    assert by_name["C"].missing == 0
    assert by_name["D"].missing > 0


def test_blow_bend_licks_stay_on_their_harp_and_need_no_overblow() -> None:
    """A lick at the top of a G harp: 8 9 10 10'' 9 8' 8 7, called and answered."""
    lick = (83, 86, 91, 89, 86, 82, 83, 79)
    best = guess_harps(tune(*lick, *lick[:5], 83, 79), candidate_harps())[0]
    assert (best.harp.name, best.position) == ("G", 1)
    assert "over" not in best.reason


def test_a_chord_of_one_breath_speaks_for_its_harp() -> None:
    """Draw 4 and 5 of a C harp sound together; on an F harp they are blow 6 and draw 5."""
    notes = tune(74, 77, 74, 72, 74, 77, 76, 74)
    chord = replace(notes[2], path=(TargetPitch((74, 77)),))
    harps = [Harp.of("C"), Harp.of("F")]
    alone, doubled = (
        {guess.harp.name: guess.probability for guess in guess_harps(events, harps)}
        for events in (notes, [*notes[:2], chord, *notes[3:]])
    )
    assert doubled["C"] / doubled["F"] > alone["C"] / alone["F"]


def test_reasons_tell_what_a_harp_lacks_from_what_it_cannot_play_together() -> None:
    events = tune(72, 76, 79, 76, 72)
    events.append(PitchEvent(9.0, 10.0, (TargetPitch((72, 74)),)))  # blow 4 and draw 4
    by_name = {guess.harp.name: guess for guess in guess_harps(events, candidate_harps())}
    assert "has all of the notes; cannot play 1 of the glides and chords" in by_name["C"].reason
    assert by_name["C"].missing == 1


def test_notes_outside_a_mode_are_unlikely() -> None:
    profile = _log_profile((0, 4, 7), ((0, 2.0),))
    assert profile[0] > profile[4] > profile[1] + 1.0
    assert np.exp(profile).sum() == pytest.approx(1.0)
