"""Decisions of the ear's stages, on both sides of each limit.

The neighbouring stages are replaced where that isolates the decision: a scripted fit shows which
pitches a stage tries, and a recorder which part of the sound it reads.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import SimpleNamespace

import numpy as np
import pytest

from trainer.core.types import Floats
from trainer.ear import FrameSpectrum, ReedMixture
from trainer.ear import ear as ear_module
from trainer.ear import pitch_tracker as pitch_module
from trainer.ear.ear import Ear
from trainer.ear.frontend import Frontend
from trainer.ear.harmonic_fit import HarmonicFit
from trainer.ear.pitch_tracker import PitchEstimate, PitchTracker
from trainer.ear.reed_detector import ReedEstimate
from trainer.ear.reed_mixture import _weighted_median
from trainer.harp import Breath, Harp, Tab

C, RATE = Harp.of("C"), 24_000
LOWEST_HZ, HIGHEST_HZ = 90.0, 3000.0
ONSET = 12_000


def hz(tab: str) -> float:
    return C.hz(Tab.parse(tab))


def raised(f0: float, by_cents: float) -> float:
    return f0 * 2.0 ** (by_cents / 1200.0)


def reed(f0: float, samples: int, level: float = 0.1) -> Floats:
    """A sum of partials at 1 / k, with fixed phases."""
    t = np.arange(samples) / RATE
    orders = range(1, int(9000 / f0) + 1)
    partials = [np.sin(2 * np.pi * k * f0 * t + k * k) / k for k in orders]
    return np.asarray(level * np.sum(partials, axis=0))


def frontend_with(sound: Floats) -> Frontend:
    frontend = Frontend(RATE, 2.0)
    frontend.resample(sound)
    return frontend


class ScriptedFit:
    """Stands for `fit_harmonics`; records lengths and guesses, and returns given fits in turn.

    A result is an f0 in hertz, a whole fit, or None. The last one repeats.
    """

    def __init__(self, *results: float | HarmonicFit | None) -> None:
        self.results = list(results)
        self.guesses: list[tuple[float, ...]] = []
        self.lengths: list[int] = []

    def __call__(
        self, window: Floats, rate: float, guesses: tuple[float, ...]
    ) -> HarmonicFit | None:
        self.guesses.append(guesses)
        self.lengths.append(len(window))
        result = self.results.pop(0) if len(self.results) > 1 else self.results[0]
        return HarmonicFit((result,), ([1.0],), 0.1) if isinstance(result, float) else result


# Pitch tracker: following


def scripted_tracker(
    monkeypatch: pytest.MonkeyPatch, *results: float | HarmonicFit | None
) -> tuple[PitchTracker, ScriptedFit]:
    """A tracker on a reed of 440 Hz whose fits are scripted, and for which aubio finds no pitch."""
    fit = ScriptedFit(*results)
    monkeypatch.setattr(pitch_module, "fit_harmonics", fit)
    tracker = PitchTracker(frontend_with(reed(440.0, 24_000)), 240, LOWEST_HZ, HIGHEST_HZ)
    monkeypatch.setattr(tracker._aubio, "hz", lambda end: None)
    return tracker, fit


def test_the_next_pitch_is_extrapolated_along_the_slope(monkeypatch: pytest.MonkeyPatch) -> None:
    tracker, fit = scripted_tracker(monkeypatch, 440.0, 442.0, 450.0)
    for end in (14_000, 14_120, 14_240):
        assert tracker.estimate(end, ONSET) is not None
    assert fit.guesses[0][0] == pytest.approx(440.0, abs=2.0)  # by the search
    assert fit.guesses[1:] == [(440.0,), (pytest.approx(444.0),)]


def test_the_slope_refers_to_the_centres_of_growing_windows(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tracker, fit = scripted_tracker(monkeypatch, 440.0, 442.0, 442.0)
    first, second, _ = (tracker.estimate(ONSET + age, ONSET) for age in (300, 420, 540))
    assert fit.lengths == [300, 420, 540]
    assert first is not None
    assert second is not None
    assert (first.centre, second.centre) == (ONSET + 149.5, ONSET + 209.5)
    assert fit.guesses[2] == pytest.approx((442.0 + 2.0 / 60.0 * 120.0,))


@pytest.mark.parametrize(
    ("first", "second", "guess"),
    [
        (440.0, 870.0, 1300.0),
        (440.0, 900.0, 900.0),  # 1360 Hz would be more than 1.5 times 900
        (600.0, 460.0, 320.0),
        (600.0, 440.0, 440.0),  # 280 Hz would be less than 440 over 1.5
    ],
)
def test_an_extrapolation_too_far_away_is_ignored(
    monkeypatch: pytest.MonkeyPatch, first: float, second: float, guess: float
) -> None:
    tracker, fit = scripted_tracker(monkeypatch, first, second, second)
    for end in (14_000, 14_120, 14_240):
        tracker.estimate(end, ONSET)
    assert fit.guesses[2] == pytest.approx((guess,))


@pytest.mark.parametrize(("gap", "follows"), [(288, True), (289, False)])
def test_a_pitch_is_searched_anew_after_twelve_milliseconds(
    monkeypatch: pytest.MonkeyPatch, gap: int, follows: bool
) -> None:
    tracker, fit = scripted_tracker(monkeypatch, 460.0)
    tracker.estimate(14_000, ONSET)
    tracker.estimate(14_000 + gap, ONSET)
    assert (fit.guesses[1] == (460.0,)) is follows
    assert fit.guesses[1][0] == pytest.approx(460.0 if follows else 440.0, abs=2.0)


def test_a_gap_or_a_new_note_forgets_the_slope(monkeypatch: pytest.MonkeyPatch) -> None:
    tracker, fit = scripted_tracker(monkeypatch, 440.0, 445.0, 440.0, 440.0)
    for end in (14_000, 14_120, 15_000, 15_120):
        tracker.estimate(end, ONSET)
    assert fit.guesses[3] == (440.0,)
    tracker, fit = scripted_tracker(monkeypatch, 440.0, 445.0, 440.0, 440.0)
    tracker.estimate(14_000, ONSET)
    tracker.estimate(14_120, ONSET)
    tracker.restart()
    tracker.estimate(14_240, ONSET)
    tracker.estimate(14_360, ONSET)
    assert fit.guesses[2][0] == pytest.approx(440.0, abs=2.0)
    assert fit.guesses[3] == (440.0,)


@pytest.mark.parametrize(
    ("off_cents", "age", "follows"),
    [
        (140.0, 2000, True),
        (160.0, 2000, False),
        (-140.0, 2000, True),
        (-160.0, 2000, False),
        (160.0, 1024, False),
        (160.0, 1023, True),  # aubio's buffer is not inside the note yet
        (None, 2000, True),
    ],
)
def test_the_range_is_searched_if_aubio_disagrees(
    monkeypatch: pytest.MonkeyPatch, off_cents: float | None, age: int, follows: bool
) -> None:
    tracker, fit = scripted_tracker(monkeypatch, 460.0)
    tracker.estimate(14_000, ONSET)
    other = raised(460.0, off_cents) if off_cents is not None else None
    monkeypatch.setattr(tracker._aubio, "hz", lambda end: other)
    tracker.estimate(14_120, 14_120 - age)
    assert (fit.guesses[1] == (460.0,)) is follows


def test_aubio_gets_its_buffer_once_a_hop_and_not_before_the_note_fills_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ends: list[int] = []

    class Recorder:
        def __init__(self, rate: float, buffer: int) -> None:
            assert (rate, buffer) == (RATE, 1024)

        def process(self, window: Floats) -> float:
            assert len(window) == 1024
            ends.append(int(window[-1]) + 1)
            return 440.0

    monkeypatch.setattr(pitch_module, "AubioPitch", Recorder)
    monkeypatch.setattr(pitch_module, "fit_harmonics", ScriptedFit(440.0))
    tracker = PitchTracker(frontend_with(np.arange(24_000.0)), 240, LOWEST_HZ, HIGHEST_HZ)
    tracker._last = PitchEstimate(440.0, 9000.0, 9480, 0.1)
    for end in (9600, 9720, 9839, 9840, 9960, 10_080):
        tracker.estimate(end, 9839 - 1024)
    assert ends == [9839, 10_080]


@pytest.mark.parametrize(
    ("unexplained", "fundamental", "is_reed"),
    [(0.34, 1.0, True), (0.36, 1.0, False), (0.1, 0.051, True), (0.1, 0.049, False)],
)
def test_a_fit_is_a_reed_if_it_explains_the_sound_with_a_fundamental(
    monkeypatch: pytest.MonkeyPatch, unexplained: float, fundamental: float, is_reed: bool
) -> None:
    powers = [fundamental**2, 1.0] if fundamental < 1.0 else [1.0]
    tracker, _ = scripted_tracker(monkeypatch, HarmonicFit((440.0,), (powers,), unexplained))
    estimate = tracker.estimate(14_000, ONSET)
    assert (estimate is not None) is is_reed
    if estimate is not None:
        assert (estimate.hz, estimate.end, estimate.unexplained) == (440.0, 14_000, unexplained)


@pytest.mark.parametrize(
    ("f0", "length"), [(440.0, 648), (112.0, 648), (100.0, 720), (72_000 / 721, 720)]
)
def test_a_window_has_three_periods_and_an_even_length(
    monkeypatch: pytest.MonkeyPatch, f0: float, length: int
) -> None:
    tracker, fit = scripted_tracker(monkeypatch, f0)
    tracker.estimate(14_000, ONSET)
    estimate = tracker.estimate(14_120, ONSET)
    assert fit.lengths[1] == length
    assert estimate is not None
    assert estimate.centre == 14_120 - (length + 1) / 2


# Pitch tracker: search


class Search:
    """A tracker whose autocorrelation, candidates and fits are scripted.

    Attributes:
        windows: (length, longest lag) of each autocorrelation.
        shortest: shortest period of each list of candidates.
        guesses: f0s that were fitted.
    """

    def __init__(
        self,
        monkeypatch: pytest.MonkeyPatch,
        candidates: Sequence[tuple[float, float]],
        unexplained: dict[float, float | None] | None = None,
        lowest: float = LOWEST_HZ,
    ) -> None:
        self.windows: list[tuple[int, int]] = []
        self.shortest: list[int] = []
        self.guesses: list[float] = []

        def correlate(window: Floats, longest: int) -> Floats:
            self.windows.append((len(window), longest))
            return np.zeros(1)

        def find(correlation: Floats, shortest: int) -> list[tuple[float, float]]:
            self.shortest.append(shortest)
            return list(candidates)

        def fit(window: Floats, rate: float, guesses: tuple[float, ...]) -> HarmonicFit | None:
            self.guesses.append(round(guesses[0], 6))
            left = (unexplained or {}).get(round(guesses[0], 6), 0.1)
            return None if left is None else HarmonicFit(guesses, ([1.0],), left)

        monkeypatch.setattr(pitch_module, "autocorrelation", correlate)
        monkeypatch.setattr(pitch_module, "candidate_periods", find)
        monkeypatch.setattr(pitch_module, "fit_harmonics", fit)
        self._tracker = PitchTracker(frontend_with(np.zeros(24_000)), 240, lowest, HIGHEST_HZ)

    def at(self, age: int) -> float | None:
        """F0 of the estimate at an age in samples."""
        estimate = self._tracker.estimate(14_000, 14_000 - age)
        return round(estimate.hz, 6) if estimate is not None else None


@pytest.mark.parametrize(
    ("unexplained", "clarity", "chosen"),
    [(0.09, 0.92, 240.0), (0.11, 0.92, 480.0), (0.09, 0.914, 480.0), (None, 0.92, 480.0)],
)
def test_a_longer_period_is_chosen_if_it_is_clearer_and_fits_twice_as_well(
    monkeypatch: pytest.MonkeyPatch, unexplained: float | None, clarity: float, chosen: float
) -> None:
    search = Search(monkeypatch, [(50, 0.9), (100, clarity)], {480.0: 0.2, 240.0: unexplained})
    assert search.at(2000) == chosen
    assert search.guesses == ([480.0, 240.0] if clarity > 0.915 else [480.0])


def test_three_longer_periods_are_tried_and_each_must_beat_the_best(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    candidates = [(50, 0.9), (100, 0.95), (150, 0.95), (200, 0.95), (250, 0.95)]
    left: dict[float, float | None] = {480.0: 0.3, 240.0: 0.1, 160.0: 0.06, 120.0: 0.04}
    search = Search(monkeypatch, candidates, left)
    assert search.at(2000) == 120.0
    assert search.guesses == [480.0, 240.0, 160.0, 120.0]


def test_no_longer_period_is_tried_without_a_first_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    search = Search(monkeypatch, [(50, 0.9), (100, 0.95)], {480.0: None})
    assert search.at(600) is None
    assert search.guesses == [480.0]


@pytest.mark.parametrize(
    ("age", "clarity", "is_pitch"),
    [
        (500, 0.955, False),  # too short for the lowest notes
        (500, 0.965, True),
        (600, 0.895, False),
        (600, 0.905, True),
        (1296, 0.85, False),  # twice the longest window
        (1297, 0.85, True),
        (1297, 0.795, False),
        (215, 0.99, False),  # shorter than any window
        (216, 0.99, True),
    ],
)
def test_the_clarity_that_a_pitch_needs_falls_with_the_age_of_the_note(
    monkeypatch: pytest.MonkeyPatch, age: int, clarity: float, is_pitch: bool
) -> None:
    search = Search(monkeypatch, [(50, clarity)])
    assert (search.at(age) is not None) is is_pitch
    assert bool(search.windows) is (age >= 216)


@pytest.mark.parametrize(
    ("age", "window"), [(500, (500, 217)), (600, (600, 268)), (2000, (648, 268))]
)
def test_lags_are_searched_as_far_as_the_window_permits(
    monkeypatch: pytest.MonkeyPatch, age: int, window: tuple[int, int]
) -> None:
    search = Search(monkeypatch, [])
    assert search.at(age) is None
    assert search.windows == [window]
    assert search.shortest == [8]  # 3000 Hz


@pytest.mark.parametrize(("age", "lengths"), [(393, [393]), (394, [394, 262]), (2000, [648, 262])])
def test_a_search_that_fails_is_repeated_in_a_shorter_window(
    monkeypatch: pytest.MonkeyPatch, age: int, lengths: list[int]
) -> None:
    search = Search(monkeypatch, [], lowest=200.0)
    assert search.at(age) is None
    assert [length for length, _ in search.windows] == lengths


# The ear: glides, segments and the joint fit


@pytest.fixture
def ear() -> Ear:
    """An ear in the middle of a held note, on a ramp whose samples are their own numbers."""
    result = Ear(RATE, C)
    result._sound.resample(np.arange(30_000.0))
    result._end = 24_000
    result._note.restart(100)
    return result


def several(main: str = "4", *others: str) -> ReedEstimate:
    entry = Tab.parse(main)
    return ReedEstimate(hz(main), entry, entry.breath, (), tuple(hz(other) for other in others))


def test_a_glide_is_extrapolated_to_the_end_of_the_frame(ear: Ear) -> None:
    ear._note.track.extend([(23_000, 400.0), (23_600, 440.0), (23_720, 450.0), (23_840, 448.0)])
    track = ear._track_over(1200)
    assert track is not None
    assert len(track) == 1200
    slope = (448.0 - 440.0) / 240.0
    assert track[-1] == pytest.approx(448.0 + slope * 159.0)
    assert track[1200 - 160] == pytest.approx(448.0)
    assert track[1200 - 280] == pytest.approx(450.0)
    assert track[1200 - 400] == pytest.approx(440.0)
    assert track[500] == pytest.approx(420.0)
    assert track[0] == 400.0


@pytest.mark.parametrize(
    ("before_hz", "last_hz", "ahead_hz"),
    [(320.0, 300.0, 240.0), (300.0, 230.0, 230.0), (300.0, 460.0, 460.0)],
)
def test_a_steep_glide_is_not_extrapolated_by_more_than_half(
    ear: Ear, before_hz: float, last_hz: float, ahead_hz: float
) -> None:
    """Over a gap it would lead below 0 Hz: 0.7 Hz a sample, 300 samples ahead."""
    ear._note.track.extend([(23_600, before_hz), (23_610, before_hz), (23_700, last_hz)])
    track = ear._track_over(1200)
    assert track is not None
    assert track[-1] == pytest.approx(ahead_hz, abs=1.0)


@pytest.mark.parametrize(("moved_cents", "glides"), [(2.9, False), (3.1, True), (-3.1, True)])
def test_a_glide_moves_by_three_cents(ear: Ear, moved_cents: float, glides: bool) -> None:
    last = raised(440.0, moved_cents)
    ear._note.track.extend([(23_600, 440.0), (23_720, 440.0), (23_840, last)])
    assert (ear._track_over(1000) is not None) is glides


def test_a_glide_needs_three_pitches_inside_the_frame(ear: Ear) -> None:
    ear._note.track.extend([(23_600, 440.0), (23_720, 450.0)])
    assert ear._track_over(1000) is None
    ear._note.track.append((23_840, 460.0))
    assert ear._track_over(400) is not None
    assert ear._track_over(399) is None


def test_a_jump_of_one_reed_begins_a_segment(ear: Ear) -> None:
    assert ear._track_tab(hz("4"), 20_000.0) == Tab.parse("4")
    assert list(ear._note.track) == [(20_000.0, hz("4"))]
    ear._note.reeds = several("4")
    assert ear._track_tab(hz("6"), 20_300.6) == Tab.parse("6")
    assert ear._note.segment == 20_301
    assert ear._note.onset == 100
    assert ear._note.reeds is None
    assert not ear._note.track


def test_a_segment_never_begins_before_the_last(ear: Ear) -> None:
    ear._track_tab(hz("4"), 20_000.0)
    ear._note.segment = 21_000
    ear._track_tab(hz("6"), 20_300.0)
    assert ear._note.segment == 21_000


def test_a_jump_among_several_reeds_begins_no_segment(ear: Ear) -> None:
    ear._note.reeds = several("4", "5")
    ear._track_tab(hz("4"), 20_000.0)
    ear._track_tab(hz("6"), 20_300.0)
    assert ear._note.segment == 100
    assert list(ear._note.track) == [(20_300.0, hz("6"))]
    ear._note.reeds = None  # the first pitch after several reeds may be either one
    ear._track_tab(hz("4"), 20_600.0)
    assert ear._note.segment == 100
    ear._track_tab(hz("6"), 20_900.0)
    assert ear._note.segment == 20_900


@pytest.mark.parametrize(("age", "young"), [(3599, True), (3600, False)])
def test_a_note_is_young_for_150_milliseconds(ear: Ear, age: int, young: bool) -> None:
    assert ear._is_young(ear._end - age) is young


@pytest.mark.parametrize(
    ("is_open", "age", "end", "step"),
    [
        (True, 719, 24_000, 30),
        (True, 720, 24_000, 120),
        (True, 720, 24_030, 90),
        (False, 100, 24_000, 120),
    ],
)
def test_readings_are_closer_after_an_attack(
    ear: Ear, is_open: bool, age: int, end: int, step: int
) -> None:
    ear._gate.open = is_open
    ear._end, ear._note.onset = end, end - age
    assert ear._samples_to_next() == step


def joint(ear: Ear, monkeypatch: pytest.MonkeyPatch, unexplained: float = 0.1) -> ScriptedFit:
    fit = ScriptedFit(HarmonicFit((500.0, 600.0), ([1.0], [1.0]), unexplained))
    monkeypatch.setattr(ear_module, "fit_harmonics", fit)
    ear._note.reeds = several("4", "5", "6", "7")
    return fit


@pytest.mark.parametrize(("off_cents", "is_kept"), [(90.0, True), (-90.0, True), (110.0, False)])
def test_the_joint_fit_starts_at_the_last_pitch_if_that_is_near(
    ear: Ear, monkeypatch: pytest.MonkeyPatch, off_cents: float, is_kept: bool
) -> None:
    fit = joint(ear, monkeypatch)
    last = raised(hz("4"), off_cents)
    ear._note.track.append((23_880, last))
    assert ear._main_pitch(None) == ((500.0, 600.0), 24_000 - 516.5)
    assert fit.guesses == [(last if is_kept else hz("4"), hz("5"), hz("6"))]
    assert fit.lengths == [1032]
    assert ear._schedule.unexplained == 0.1


def test_the_joint_fit_stays_inside_its_segment(ear: Ear, monkeypatch: pytest.MonkeyPatch) -> None:
    fit = joint(ear, monkeypatch)
    ear._note.segment = 24_000 - 901
    assert ear._main_pitch(None) == ((500.0, 600.0), 24_000 - 450.5)
    assert fit.lengths == [900]


@pytest.mark.parametrize(("unexplained", "fits"), [(0.49, True), (0.51, False)])
def test_a_joint_fit_that_leaves_half_is_none(
    ear: Ear, monkeypatch: pytest.MonkeyPatch, unexplained: float, fits: bool
) -> None:
    joint(ear, monkeypatch, unexplained)
    ear._note.track.append((23_880, hz("4")))
    assert (ear._main_pitch(None) is not None) is fits
    assert bool(ear._note.track) is fits
    assert ear._schedule.unexplained == unexplained


def test_one_reed_alone_has_the_pitch_of_the_tracker(ear: Ear) -> None:
    estimate = pitch_module.PitchEstimate(441.0, 23_700.0, 24_000, 0.1)
    ear._note.reeds = several("4")
    assert ear._main_pitch(estimate) == ((441.0,), 23_700.0)
    ear._note.reeds = None
    assert ear._main_pitch(estimate) == ((441.0,), 23_700.0)
    assert ear._main_pitch(None) is None


def test_a_reading_lists_the_holes_that_sound_by_level(ear: Ear) -> None:
    levels = ((2, -34.0), (3, -20.0), (4, 0.0), (5, -10.0), (6, -32.0))
    ear._note.reeds = ReedEstimate(hz("4"), Tab.parse("4"), Breath.BLOW, levels, (1.0,))
    pitches = (raised(hz("4"), 7.0), 660.0, 390.0)
    reading = ear._pitched_reading(-20.0, None, pitches, 23_000.0, Tab.parse("4"))
    assert reading.holes == (3, 4, 5, 6)
    assert (reading.leak_hole, reading.leak_db) == (5, -10.0)
    assert reading.pitches == ((4, pitches[0]), (5, 660.0), (3, 390.0))
    assert reading.levels == ((2, -34.0), (3, -20.0), (5, -10.0), (6, -32.0))
    assert reading.cents == pytest.approx(7.0)
    assert (reading.sample, reading.heard) == (23_000, 24_000)


@pytest.mark.parametrize(
    ("tab", "breath"), [("4", Breath.BLOW), ("-4", Breath.DRAW), ("-2", None), ("3", None)]
)
def test_a_pitch_alone_shows_the_breath_unless_both_breaths_have_it(
    ear: Ear, tab: str, breath: Breath | None
) -> None:
    """Draw 2 and blow 3 of a Richter harp are one note."""
    ear._note.reeds = None
    reading = ear._pitched_reading(-20.0, None, (hz(tab),), 23_000.0, Tab.parse(tab))
    assert reading.breath is breath
    assert reading.tab == Tab.parse(tab)


class DetectorStub:
    """Stands for the reed detector; records its frame and options."""

    def __init__(self, result: Callable[[float | None], ReedEstimate | None]) -> None:
        self.calls: list[SimpleNamespace] = []
        self._result = result

    def detect(
        self, frame: Floats, guess: float | None, tab: Tab | None, **options: object
    ) -> ReedEstimate | None:
        self.calls.append(SimpleNamespace(frame=frame, guess=guess, tab=tab, **options))
        return self._result(guess)


def estimate_at(f0: float) -> pitch_module.PitchEstimate:
    return pitch_module.PitchEstimate(f0, 23_700.0, 24_000, 0.1)


def test_reeds_are_detected_in_the_last_frame_of_the_segment(ear: Ear) -> None:
    stub = DetectorStub(lambda guess: several("4"))
    ear._reeds = stub  # type: ignore[assignment]
    ear._track_tab(hz("4"), 23_880.0)
    ear._detect_reeds(estimate_at(525.0))
    (call,) = stub.calls
    assert (call.frame[0], call.frame[-1], len(call.frame)) == (24_000 - 2040, 23_999, 2040)
    assert (call.guess, call.tab) == (525.0, Tab.parse("4"))
    assert (call.young, call.gliding, call.end) == (False, False, 24_000)
    assert ear._schedule.moved_cents == 0.0
    ear._note.segment = 24_000 - 719
    ear._detect_reeds(estimate_at(525.0))
    assert len(stub.calls) == 1  # 30 ms are not full
    ear._note.segment = 24_000 - 720
    ear._detect_reeds(estimate_at(525.0))
    assert len(stub.calls[1].frame) == 720
    assert stub.calls[1].young


def test_the_frame_of_a_glide_has_its_mean_pitch(ear: Ear) -> None:
    def estimate(guess: float | None) -> ReedEstimate:
        assert guess is not None
        return ReedEstimate(guess, Tab.parse("4"), Breath.BLOW, (), ())

    stub = DetectorStub(estimate)
    ear._reeds = stub  # type: ignore[assignment]
    ear._note.track.extend([(22_000, 500.0), (22_900, 510.0), (23_800, 520.0)])
    ear._detect_reeds(estimate_at(520.0))
    (call,) = stub.calls
    assert call.gliding
    assert call.guess == pytest.approx(510.9, abs=0.1)  # the mean over the frame
    assert not np.array_equal(call.frame, ear._sound.window(24_000, 2040))
    assert ear._schedule.moved_cents > 10.0
    assert ear._note.reeds is not None
    assert ear._note.reeds.hz == 520.0  # the reed itself has moved on


# Several reeds in a frame


def mixture_of(*f0s: float) -> ReedMixture:
    sound = np.sum([reed(f0, 2040) for f0 in f0s], axis=0)
    return ReedMixture(FrameSpectrum(np.asarray(sound), RATE), f0s)


def test_partials_that_coincide_with_those_of_another_reed_are_masked() -> None:
    mixture = mixture_of(400.0, 600.0)
    orders = np.arange(1, 13)
    expected = [*(orders % 3 == 0), *((orders % 2 == 0) & (orders < 9))]
    assert mixture._masked.tolist() == [*expected]
    assert not mixture_of(400.0, 650.0)._masked[:12][[0, 1, 2, 3, 4]].any()


def test_masked_partials_are_expected_to_fall_by_six_decibels_per_octave() -> None:
    mixture = mixture_of(400.0, 600.0)
    truth = np.concatenate([5.0 / np.arange(1, 13) ** 2, 3.0 / np.arange(1, 13) ** 2])
    power = np.where(mixture._masked, 99.0, truth)
    assert mixture._expected_power(power) == pytest.approx(truth)
    mixture._masked[:] = True  # no clear partial to go by
    assert mixture._expected_power(power).tolist() == power.tolist()


@pytest.mark.parametrize("levels", [(1.0, 0.3), (0.3, 1.0)])
def test_masked_partials_are_shared_by_the_levels_of_their_reeds(
    levels: tuple[float, float],
) -> None:
    sound = levels[0] * reed(400.0, 2040) + levels[1] * reed(600.0, 2040)
    mixture = ReedMixture(FrameSpectrum(sound, RATE), (400.0, 600.0))
    assert mixture.hz == pytest.approx((400.0, 600.0), rel=2e-4)
    assert mixture.level_db(1) == pytest.approx(20 * np.log10(levels[1] / levels[0]), abs=0.6)


def test_unsteadiness_is_the_median_residual_over_the_amplitudes() -> None:
    mixture = mixture_of(400.0)
    amplitudes = np.abs(mixture._amplitudes[:6])
    places = np.rint(mixture._points[:6]).astype(int)
    residual = np.zeros_like(mixture._residual)

    def unsteadiness(ratios: Sequence[float]) -> float:
        residual[places] = (np.array(ratios) * amplitudes) ** 2
        return mixture._estimate_unsteadiness(residual)

    assert unsteadiness([0.12, 0.02, 0.1, 0.04, 0.08, 0.06]) == pytest.approx(0.08)
    assert unsteadiness([0.0] * 6) == 0.01
    assert unsteadiness([3.0] * 6) == 1.0


def test_the_residual_lacks_what_the_unsteadiness_of_the_reeds_leaves() -> None:
    rng = np.random.default_rng(0)
    sound = reed(400.0, 2040) + 0.01 * rng.standard_normal(2040)
    spectrum = FrameSpectrum(sound, RATE)
    mixture = ReedMixture(spectrum, (400.0,))
    amplitudes = mixture._amplitudes
    rest, skirts = spectrum.residual(mixture._points, amplitudes, np.abs(amplitudes) ** 2)
    left = rest - 2.25 * mixture._unsteadiness**2 * skirts
    assert (left < 0.0).any()
    assert mixture._residual == pytest.approx(np.maximum(left, 0.0))


@pytest.mark.parametrize(("f0", "counts"), [(1000.0, True), (4900.0, True), (5300.0, False)])
def test_unexplained_energy_is_that_of_a_foreign_tone_below_the_highest_partial(
    f0: float, counts: bool
) -> None:
    t = np.arange(2040) / RATE
    sound = reed(400.0, 2040) + 0.02 * np.sin(2 * np.pi * f0 * t)
    left = ReedMixture(FrameSpectrum(sound, RATE), (400.0,)).unexplained
    assert left == pytest.approx(4e-4 if counts else 0.0, abs=4e-5)


@pytest.mark.parametrize(
    ("partials", "left", "whole", "explains"),
    [
        (3, 0.49, 1.0, True),
        (2, 0.1, 1.0, False),
        (6, 0.51, 1.0, False),
        (0, 1.0, 0.69, True),
        (0, 1.0, 0.71, False),
    ],
)
def test_a_reed_must_explain_half_near_half_of_its_partials_or_a_third_of_all(
    partials: int, left: float, whole: float, explains: bool
) -> None:
    smaller, larger = mixture_of(400.0), mixture_of(400.0, 530.0)
    smaller._residual, smaller.unexplained = np.ones_like(smaller._residual), 1.0
    larger._residual, larger.unexplained = np.ones_like(larger._residual), whole
    for order in range(1, partials + 1):
        place = round(order * larger.hz[-1] * larger.spectrum.per_hz)
        larger._residual[place + larger.spectrum.lobe] = left
    assert larger.explains(smaller) is explains


def test_no_reed_is_searched_within_a_bin_and_a_half_of_a_known_one() -> None:
    mixture = mixture_of(400.0)
    mixture._residual = np.ones_like(mixture._residual)
    bin_hz = RATE / 2040
    candidates = 400.0 + np.arange(-3.0, 3.1, 0.25) * bin_hz
    estimate = mixture.search(candidates)
    assert estimate is None or abs(estimate[0] - 400.0) >= 1.5 * bin_hz
    near = 400.0 + np.arange(-1.4, 1.41, 0.2) * bin_hz
    assert mixture.search(near) is None


def test_another_reed_takes_the_unsteadiness_as_noise() -> None:
    mixture = mixture_of(400.0)
    mixture._unsteadiness = 0.2
    assert mixture.with_reed(530.0)._noise == pytest.approx(0.04)
    mixture._unsteadiness = 0.001
    assert mixture.with_reed(530.0)._noise == pytest.approx(1e-4)


def test_a_weighted_median() -> None:
    values = np.array([3.0, 1.0, 2.0])
    for weights, median in (([1, 1, 5], 2.0), ([1, 5, 1], 1.0), ([5, 1, 1], 3.0), ([1, 1, 1], 2.0)):
        assert _weighted_median(values, np.array(weights, float)) == median
    assert _weighted_median(np.array([1.0, 2.0]), np.array([1.0, 1.0])) == 1.0
