"""Notes out of readings: where they begin and end, and how they move.

Readings are made by hand where only their order matters, recorded reeds are moved along known
paths or shut by known envelopes where sound matters, and paths are drawn where the right answer
is known by arithmetic.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import parselmouth
import pytest
import scipy.signal
import scipy.stats

from tests.reeds.excerpts import EXCERPTS, LEAD_S, RATE, Samples, cut, hear, load, speaks
from trainer.ear import HeardNote, Reading, soft_attacks, track_notes
from trainer.ear.motion import estimate_motion, estimate_tremolo, initial_pitch
from trainer.harp import Harp, Tab
from trainer.report.heard_report import heard_note_data, heard_note_text

C = Harp.of("C")

# --- readings made by hand ------------------------------------------------------------------

HOP = 240


def made(
    at: int,
    tab: str,
    count: int,
    *,
    off: float = 0.0,
    leak: float | None = None,
    onset: bool = True,
) -> list[Reading]:
    """Readings of a note held from hop `at` on, for `count` hops."""
    entry = Tab.parse(tab)
    hz = C.hz(entry) * 2.0 ** (off / 1200.0)
    return [
        Reading(
            sample=(at + i) * HOP - 600,
            heard=(at + i) * HOP,
            rate=RATE,
            hz=hz,
            level_db=-20.0,
            sounding=True,
            onset=(at - 4) * HOP if onset and i == 0 else None,
            tab=entry,
            cents=off,
            also=C.same_pitch(entry),
            breath=None if C.same_pitch(entry) else entry.breath,
            holes=(entry.hole,) if leak is None else (entry.hole, entry.hole + 1),
            leak_db=leak,
            leak_hole=None if leak is None else entry.hole + 1,
        )
        for i in range(count)
    ]


def quiet(at: int, count: int) -> list[Reading]:
    return [Reading((at + i) * HOP - HOP, (at + i) * HOP, RATE) for i in range(count)]


def tracked(*parts: list[Reading]) -> list[HeardNote]:
    return list(track_notes([reading for part in parts for reading in part], C))


def test_notes_have_their_start_end_and_figures() -> None:
    first, second = tracked(
        made(100, "4", 60, off=-7.0), quiet(160, 40), made(200, "-5", 60, leak=-14.0)
    )
    assert (str(first.tab), first.holes, first.clean, first.leak_db) == ("4", (4,), True, None)
    assert first.cents == pytest.approx(-7.0)
    assert first.hz == pytest.approx(C.hz(Tab.parse("4")) * 2.0 ** (-7.0 / 1200.0))
    assert first.start == 96 * HOP
    assert first.end == pytest.approx(160 * HOP, abs=2 * HOP)
    assert len(first.path) == 60
    assert (str(second.tab), second.holes, second.clean) == ("-5", (5, 6), False)
    assert (second.leak_db, second.leak_hole) == (-14.0, 6)


def test_a_new_attack_on_the_same_hole_is_a_new_note() -> None:
    first, second = tracked(made(100, "4", 40), made(140, "4", 40))
    assert first.end == second.start == 136 * HOP


def test_another_hole_without_an_attack_is_a_new_note() -> None:
    first, second = tracked(made(100, "4", 40), made(140, "5", 40, onset=False))
    assert [str(note.tab) for note in (first, second)] == ["4", "5"]
    assert first.end == second.start == pytest.approx(138 * HOP, abs=2 * HOP)


def test_in_a_room_another_hole_begins_where_the_level_rises() -> None:
    """The first note rings on above the second one for 50 ms."""
    first, second = made(100, "4", 40), made(140, "5", 40, onset=False)
    levels = np.interp(range(80), (25, 30, 31, 38), (-20, -26, -26, -20)).tolist()
    readings = [replace(r, level_db=db) for r, db in zip(first + second, levels, strict=True)]
    before, after = tracked(readings)
    assert after.start == pytest.approx(130 * HOP, abs=2 * HOP)
    assert before.end < after.start - 2 * HOP


@pytest.mark.parametrize(
    ("db", "attacks"),
    [
        ([-20, -22, -20, -22, -20], []),
        ([-20, -24, -26, -25, -22, -20], [3]),
        ([-20, -26, -20, -26, -20], [1, 3]),
        ([-40, -20, -26], []),
        ([], []),
    ],
)
def test_a_level_that_falls_and_rises_again_shows_an_attack(
    db: list[float], attacks: list[int]
) -> None:
    assert soft_attacks(enumerate(db), 3.0) == attacks


def test_a_bend_without_an_attack_is_the_same_note() -> None:
    (note,) = tracked(made(100, "-4", 40), made(140, "-4'", 60, onset=False))
    assert str(note.tab) == "-4'"


def test_a_slip_of_two_readings_is_no_note() -> None:
    (note,) = tracked(
        made(100, "4", 40), made(140, "5", 2, onset=False), made(142, "4", 40, onset=False)
    )
    assert (str(note.tab), note.holes) == ("4", (4,))


def test_a_short_click_is_no_note() -> None:
    assert tracked(made(100, "4", 3), quiet(103, 40)) == []


def test_draw_2_and_blow_3_are_one_note() -> None:
    """One pitch in Richter tuning: the name may change while it sounds."""
    (note,) = tracked(made(100, "-2", 40), made(140, "3", 30, onset=False))
    assert {str(tab) for tab in (note.tab, *note.also)} == {"-2", "3"}
    assert note.clean


def test_the_sound_may_end_inside_a_note() -> None:
    assert [str(note.tab) for note in tracked(made(100, "4", 40))] == ["4"]


def test_no_readings_are_no_notes() -> None:
    assert tracked() == []
    assert tracked(quiet(0, 100)) == []


def dies_away(at: int) -> list[Reading]:
    """A release of 20 ms, 10 dB a hop, which still has its pitch, and silence."""
    release = [
        replace(reading, level_db=-20.0 - 10.0 * i) for i, reading in enumerate(made(at, "4", 4))
    ]
    return [replace(reading, onset=None) for reading in release] + quiet(at + 4, 40)


def test_a_note_ends_where_its_level_has_fallen_to_half() -> None:
    """6 dB (common practice). A level belongs to the middle of the 10 ms over which it is taken."""
    (note,) = tracked(made(100, "4", 60), dies_away(160))
    assert note.end == pytest.approx((160 + 0.6 - 1.0) * HOP, abs=2)


def test_a_note_that_grows_softer_is_one_note_to_its_end() -> None:
    """12 dB in half a second, and back."""
    levels = -20.0 - 12.0 * np.sin(np.pi * np.arange(200) / 200.0)
    soft = [
        replace(reading, level_db=float(db))
        for reading, db in zip(made(100, "4", 200), levels, strict=True)
    ]
    (note,) = tracked(soft, quiet(300, 40))
    assert note.end == pytest.approx(299 * HOP, abs=2 * HOP)


def test_what_is_heard_while_the_reeds_come_in_is_no_note() -> None:
    """40 ms of another hole after the attack, and then the one that is held."""
    (note,) = tracked(made(100, "-3", 8), made(108, "-2", 60, onset=False))
    assert (str(note.tab), note.start) == ("-2", 96 * HOP)


# --- recorded reeds on known paths ----------------------------------------------------------

Path = Callable[[Samples], Samples]


def along(tab: str, path: Path, name: str = "c-harp", held: bool = False) -> Samples:
    """A recorded note resampled along a path, with silence around it.

    The path is cents over seconds since the onset; `held` leaves the attack out.
    """
    note = cut(name, tab, before=0.0).astype(float)
    note = note[speaks(note) + (round(0.15 * RATE) if held else 0) :]
    fine = parselmouth.Sound(note, RATE).resample(8 * RATE, 50).values[0]
    t = np.arange(round(len(note) / 1.07)) / RATE  # a path goes up by a half step at most
    at = np.concatenate([[0.0], np.cumsum(2.0 ** (path(t) / 1200.0))[:-1]])
    moved = np.interp(8.0 * at, np.arange(len(fine)), fine)
    fade = round(0.005 * RATE)
    moved[-fade:] *= np.linspace(1.0, 0.0, fade)
    lead = np.zeros(round(LEAD_S * RATE))
    return np.concatenate([lead, moved, lead])


def alone(samples: Samples, harp: Harp = C) -> HeardNote:
    (note,) = track_notes(hear(samples, harp), harp)
    return note


@pytest.mark.parametrize(
    ("tab", "hz", "depth"),
    [("4", 5.5, 40.0), ("-2", 6.5, 15.0), ("8", 7.0, 6.0), ("-5", 4.0, 30.0)],
)
def test_the_vibrato_of_a_reed_has_its_rate_and_depth(tab: str, hz: float, depth: float) -> None:
    note = alone(along(tab, lambda t: depth * np.sin(2.0 * np.pi * hz * t), held=True))
    assert note.motion.vibrato is not None
    assert note.motion.vibrato.hz == pytest.approx(hz, rel=0.01)
    assert note.motion.vibrato.depth == pytest.approx(depth, abs=0.5 + 0.02 * depth)
    assert note.motion.wobble_cents is not None
    assert note.motion.wobble_cents < 1.5
    assert note.tremolo is None


@pytest.mark.parametrize("name", ["c-harp", "low-f-harp", "high-g-harp", "bends", "phrase"])
def test_notes_without_vibrato_are_told_to_have_none(name: str) -> None:
    harp = EXCERPTS[name].harp
    for note in track_notes(hear(load(name), harp), harp):
        assert (note.motion.vibrato, note.tremolo) == (None, None)


@pytest.mark.parametrize(
    ("hz", "depth", "has"), [(5.0, 3.0, True), (7.0, 2.0, True), (5.0, 0.2, False)]
)
def test_a_swing_of_the_level_is_tremolo_and_no_vibrato(hz: float, depth: float, has: bool) -> None:
    plain = along("4", np.zeros_like)
    t = np.arange(len(plain)) / RATE - LEAD_S
    note = alone(plain * 10.0 ** (depth * np.sin(2.0 * np.pi * hz * t) / 20.0))
    assert note.motion.vibrato is None
    assert (note.tremolo is not None) is has
    if note.tremolo is not None:
        assert note.tremolo.hz == pytest.approx(hz, rel=0.03)
        assert note.tremolo.depth == pytest.approx(depth, abs=0.3)


@pytest.mark.parametrize(
    ("tab", "start", "seconds"), [("4", -60.0, 0.08), ("-4", 90.0, 0.12), ("8", -30.0, 0.05)]
)
def test_a_scoop_is_told_from_its_very_start(tab: str, start: float, seconds: float) -> None:
    """In a straight line; it is within 10 cents of its end when that much of it is left."""
    scooped = along(tab, lambda t: start * np.clip(1.0 - t / seconds, 0.0, 1.0), held=True)
    motion = alone(scooped).motion
    assert motion.scoop_cents == pytest.approx(start, abs=3.0)
    assert motion.settle_ms == pytest.approx(1e3 * seconds * (1.0 - 10.0 / abs(start)), abs=4.0)
    assert motion.glide is None


def test_a_bend_is_one_note_that_glides() -> None:
    """The excerpts' bends: 100 cents in 150 ms and 200 in 120 ms, after 0.3 s."""
    bends = EXCERPTS["bends"].notes
    for note, played in zip(track_notes(hear(load("bends"), C), C), bends, strict=True):
        glide = note.motion.glide
        assert glide is not None
        assert glide.cents == pytest.approx(played.path[-1][1], abs=5.0)
        assert glide.monotone


def test_a_bend_and_back_is_a_glide_that_turns() -> None:
    path = ([0.0, 0.18, 0.28, 0.4, 0.5], [0.0, 0.0, -90.0, -90.0, 0.0])
    glide = alone(along("-4", lambda t: np.interp(t, *path))).motion.glide
    assert glide is not None
    assert not glide.monotone
    assert glide.cents == pytest.approx(0.0, abs=5.0)


def test_a_slide_to_the_next_hole_is_two_notes() -> None:
    """One dies while the other comes, in 20 ms, without an attack."""
    low, high = (along(tab, np.zeros_like, held=True) for tab in ("4", "5"))
    begins, slides = round(LEAD_S * RATE), round((LEAD_S + 0.25) * RATE)
    length = round(0.02 * RATE)
    coming = np.clip((np.arange(len(low)) - slides) / length, 0.0, 1.0)
    moved = low * (1.0 - coming)
    high = np.concatenate([np.zeros(slides - begins), high])[: len(low)]
    first, second = track_notes(hear(moved + coming * high, C), C)
    assert [str(first.tab), str(second.tab)] == ["4", "5"]
    assert first.end == second.start == pytest.approx(slides + length / 2, abs=0.01 * RATE)


@cache
def shut(tab: str, db: float, ms: int) -> tuple[HeardNote, ...]:
    """The notes of a reed whose level dips by a number of dB for a time, 0.2 s after its start."""
    plain = along(tab, np.zeros_like, held=True)
    t = np.arange(len(plain)) / RATE - LEAD_S
    closed = np.interp(t, 0.2 + np.array([0.0, 0.005, ms / 1e3 - 0.005, ms / 1e3]), [0, 1, 1, 0])
    gain = 1.0 - (1.0 - 10.0 ** (-db / 20.0)) * (0.5 - 0.5 * np.cos(np.pi * closed))
    return tuple(track_notes(hear(plain * gain, C), C))


@pytest.mark.parametrize("ms", [20, 60])
@pytest.mark.parametrize("db", [6.0, 10.0, 20.0, 100.0])
@pytest.mark.parametrize("tab", ["2", "-4", "8"])
def test_a_tongue_that_shuts_for_a_moment_makes_two_notes(tab: str, db: float, ms: int) -> None:
    """Each to the hop of 5 ms: the first ends where it shuts, the other starts where it opens."""
    first, second = shut(tab, db, ms)
    assert first.tab == second.tab
    shuts, opens = LEAD_S + 0.2025, LEAD_S + 0.2 + ms / 1e3 - 0.005
    assert first.end / RATE == pytest.approx(shuts, abs=0.005)
    assert second.start / RATE == pytest.approx(opens, abs=0.005)


# --- paths that are drawn -------------------------------------------------------------------


def wander(seed: int, cents: float, hz: float, seconds: float = 0.9) -> tuple[Samples, Samples]:
    """Times, and noise of a Gaussian spectrum below some rate, by its standard deviation."""
    t = np.arange(0.0, seconds + 2.0, 0.005)
    noise = np.random.default_rng(seed).standard_normal(len(t))
    rates = np.fft.rfftfreq(len(t), 0.005)
    path = np.fft.irfft(np.fft.rfft(noise) * np.exp(-0.5 * (rates / hz) ** 2), len(t))
    count = round(seconds / 0.005)
    return t[:count], cents * path[200 : 200 + count] / path.std()


def hz_of(cents: Samples) -> Samples:
    return 440.0 * 2.0 ** (cents / 1200.0)


@pytest.mark.parametrize(("cents", "hz"), [(2.0, 8.0), (3.0, 4.0), (5.0, 2.0), (10.0, 1.0)])
def test_wander_is_no_vibrato(cents: float, hz: float) -> None:
    swings = [
        estimate_motion(t, hz_of(path), 0.95).vibrato
        for t, path in (wander(seed, cents, hz) for seed in range(60))
    ]
    assert sum(swing is not None for swing in swings) <= 1


@pytest.mark.parametrize("cycles", [1.5, 2.0, 3.0])
def test_a_few_cycles_of_a_deep_vibrato_are_enough(cycles: float) -> None:
    """In the middle of a note that else only wanders."""
    for seed in range(20):
        t, path = wander(seed, 1.0, 5.0)
        inside = (t > 0.3) & (t < 0.3 + cycles / 5.5)
        swung = path + np.where(inside, 25.0 * np.sin(2.0 * np.pi * 5.5 * (t - 0.3)), 0.0)
        vibrato = estimate_motion(t, hz_of(swung), 0.95).vibrato
        assert vibrato is not None
        assert vibrato.hz == pytest.approx(5.5, rel=0.1)


def test_readings_at_any_times_give_the_same_vibrato_as_a_periodogram() -> None:
    """The rate is where the periodogram of the uneven readings is highest.

    The reference is scipy's Lomb-Scargle periodogram (Lomb 1976, Scargle 1982).
    """
    rng = np.random.default_rng(4)
    t = np.sort(rng.uniform(0.0, 1.2, 300))
    path = 20.0 * np.sin(2.0 * np.pi * 6.3 * t + 1.0) + 0.5 * rng.standard_normal(300)
    rates = np.arange(3.0, 9.0, 0.01)
    power = scipy.signal.lombscargle(t, path - path.mean(), 2.0 * np.pi * rates)
    vibrato = estimate_motion(t, hz_of(path), 1.25).vibrato
    assert vibrato is not None
    assert vibrato.hz == pytest.approx(rates[power.argmax()], abs=0.05)
    assert vibrato.depth == pytest.approx(20.0, abs=0.5)


def test_drift_and_wobble_are_those_of_the_line_through_the_held_part() -> None:
    """The line as scipy draws it after Theil and Sen, and the spread about it."""
    t = np.arange(0.0, 1.0, 0.005)
    path = 20.0 * t + np.random.default_rng(2).standard_normal(len(t))
    estimate = estimate_motion(t, hz_of(path), 1.04)
    line = scipy.stats.theilslopes(path, t)
    assert estimate.drift_cents_s == pytest.approx(line.slope, abs=0.5)
    assert estimate.wobble_cents == pytest.approx(1.0, abs=0.15)
    assert estimate.scoop_cents == pytest.approx(0.0, abs=3.0)
    assert estimate.settle_ms == 0.0


def test_the_start_of_a_path_is_where_its_first_readings_lead_back_to() -> None:
    t = np.array([5.0, 5.6, 6.2, 7.0, 9.0, 12.0, 16.0, 21.0]) / 1e3
    assert initial_pitch(t, -60.0 + 700.0 * t) == pytest.approx(-60.0, abs=1e-6)
    assert initial_pitch(t[:1], np.array([-7.0])) == -7.0
    # Not by more than 20 cents: so fast a reed only seems to be.
    assert initial_pitch(t, 9000.0 * t) == pytest.approx(45.0 - 20.0, abs=1e-6)


@pytest.mark.parametrize("count", [0, 1, 3, 8])
def test_too_few_readings_tell_nothing(count: int) -> None:
    t = 0.005 * np.arange(count)
    estimate = estimate_motion(t, np.full(count, 440.0), 0.005 * count)
    assert (estimate.vibrato, estimate.glide) == (None, None)
    assert estimate_tremolo(t, np.full(count, -20.0)) is None


# --- as text and data -----------------------------------------------------------------------


def test_a_moving_note_is_told_in_words_that_fit() -> None:
    def path(t: Samples) -> Samples:
        return -60.0 * np.clip(1.0 - t / 0.1, 0.0, 1.0) + 40.0 * np.sin(2.0 * np.pi * 5.5 * t)

    samples = along("-4", path)
    t = np.arange(len(samples)) / RATE - LEAD_S
    note = alone(samples * 10.0 ** (3.0 * np.sin(2.0 * np.pi * 6.0 * t) / 20.0))
    lines = heard_note_text(note).splitlines()
    assert all(len(line) <= 80 for line in lines)
    words = " ".join(line.strip() for line in lines[1:])
    assert "vibrato 5.5 Hz ±" in words
    assert "tremolo 6" in words
    data = heard_note_data(note)
    assert data["vibrato"]["hz"] == pytest.approx(5.5, abs=0.1)
    assert data["vibrato"]["cents"] == pytest.approx(40.0, abs=2.0)
    assert data["tremolo"]["db"] == pytest.approx(3.0, abs=0.5)


def test_a_still_note_is_told_in_one_line() -> None:
    note = alone(along("8", np.zeros_like, held=True))
    assert "\n" not in heard_note_text(note)
    data = heard_note_data(note)
    assert (data["vibrato"], data["tremolo"], data["glide"]) == (None, None, None)
    assert abs(data["scoop_cents"]) < 3.0
    assert data["settle_ms"] == 0.0
