"""The geometry of the plots on a student's page, on readings and marks made by hand."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf

from trainer.drill import Drill, parse_drill
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Mark, Measured, Result
from trainer.report.page_sound import flac_base64
from trainer.report.step_plots import PLOT, hole_plot, pitch_plot, timing_plot

RATE = 48_000
HARP = Harp.of("C")
FIRST, LAST = 1.0, 2.0
"""The plotted range in seconds."""


def drill_of(tab: str) -> Drill:
    return parse_drill(f'title = "x"\nharp = "C"\ntempo = 60\ntab = """\n{tab}\n"""\n', "x")


def mark_of(drill: Drill, index: int = 0, **measured: object) -> Mark:
    figures = replace(Measured(start=RATE, end=2 * RATE), **measured)  # type: ignore[arg-type]
    return Mark(drill.steps[index], 50.0, {}, figures, "why")


def result_of(drill: Drill, marks: Sequence[Mark]) -> Result:
    return Result(drill, "C", 60.0, tuple(marks), 50.0, False)


def reading(second: float, hz: float | None, holes: tuple[int, ...] = (4,)) -> Reading:
    sample = round(second * RATE)
    return Reading(sample, sample, RATE, hz, -20.0, True, holes=holes)


def hz_of(cents: float) -> float:
    return HARP.hz(drill_of("-4:1 r:3").steps[0].first[0]) * 2.0 ** (cents / 1200.0)


def test_pitch_is_drawn_upwards_and_time_to_the_right() -> None:
    drill = drill_of("-4:1 r:3")
    mark = mark_of(drill)
    readings = [reading(1.25, hz_of(-20.0)), reading(1.25 + 0.005, hz_of(20.0))]
    plot = pitch_plot(mark, result_of(drill, [mark]), HARP, RATE, readings, FIRST, LAST)
    (line,) = plot.played
    middle, scale = PLOT.pitch_height_px / 2, PLOT.pitch_height_px / (2 * PLOT.pitch_range_cents)
    assert line[0] == pytest.approx((PLOT.width_px / 4, middle + 20.0 * scale), abs=0.01)
    assert line[1] == pytest.approx((0.255 * PLOT.width_px, middle - 20.0 * scale), abs=0.01)
    heights = {round(y, 6) for _, y in plot.band}
    tolerance = drill.goal.tolerance * scale
    assert heights == {round(middle - tolerance, 6), round(middle + tolerance, 6)}
    assert plot.band[0][0] == pytest.approx(0.0)
    assert {reed.label for reed in plot.reachable} == {"-4", "-4'", "4o"}
    assert next(reed.y for reed in plot.reachable if reed.label == "-4") == pytest.approx(middle)


def test_the_target_begins_when_the_beat_does() -> None:
    drill = drill_of("-4:1 r:3")
    mark = mark_of(drill, late_ms=100.0)
    plot = pitch_plot(mark, result_of(drill, [mark]), HARP, RATE, [], FIRST, LAST)
    assert plot.band[0][0] == pytest.approx(-0.1 * PLOT.width_px)
    assert plot.played == ()


def test_a_line_breaks_at_a_gap_and_at_a_jump_and_leaves_out_what_is_out_of_range() -> None:
    drill = drill_of("-4:1 r:3")
    mark = mark_of(drill)
    offsets = [(1.10, 0.0), (1.11, 1.0), (1.14, 2.0), (1.15, 90.0), (1.16, 90.0), (1.17, 400.0)]
    readings = [reading(second, hz_of(cents)) for second, cents in reversed(offsets)]
    readings.append(reading(1.105, None))
    plot = pitch_plot(mark, result_of(drill, [mark]), HARP, RATE, readings, FIRST, LAST)
    assert [len(line) for line in plot.played] == [2, 1, 2]


def test_wanted_holes_and_leaks_are_spans_on_their_rows() -> None:
    drill = drill_of("-4:1 r:3")
    readings = [reading(1.0 + 0.01 * i, 440.0, (4,)) for i in range(11)]
    readings += [reading(1.5 + 0.01 * i, 440.0, (4, 5)) for i in range(11)]
    plot = hole_plot(mark_of(drill), readings, FIRST, LAST)
    row = PLOT.hole_row_px
    spans = [(round(s.x / PLOT.width_px, 3), round(s.width / PLOT.width_px, 3)) for s in plot.spans]
    assert spans == [(0.0, 0.1), (0.5, 0.1), (0.5, 0.1)]  # hole 4 twice, then hole 5
    assert [span.kind for span in plot.spans] == ["wanted", "wanted", "leak"]
    assert [span.y for span in plot.spans] == pytest.approx([2 * row + 3] * 2 + [row + 3])
    assert [line.hole for line in plot.rows] == [3, 4, 5, 6]
    assert plot.rows[0].y > plot.rows[-1].y  # the highest hole is on top
    assert [tick.label for tick in plot.ticks] == ["0 s", "0.5 s", "1 s"]
    assert [tick.place for tick in plot.ticks] == pytest.approx([0.0, 280.0, 560.0])


def test_what_sounds_before_a_step_is_no_leak_of_it() -> None:
    readings = [reading(1.0 + 0.01 * i, 440.0, (5,)) for i in range(11)]
    plot = hole_plot(mark_of(drill_of("-4:1 r:3"), start=round(1.2 * RATE)), readings, FIRST, LAST)
    assert [span.kind for span in plot.spans] == ["beside"]


def test_a_short_span_stays_visible() -> None:
    plot = hole_plot(mark_of(drill_of("-4:1 r:3")), [reading(1.5, 440.0)], FIRST, LAST)
    assert [span.width for span in plot.spans] == [1.0]


def test_onsets_are_dots_about_the_beat_and_stay_inside_the_plot() -> None:
    drill = drill_of("-4:1 4:1 -4:1 4:1")
    late = [30.0, -75.0, 4000.0, None]
    marks = [mark_of(drill, i, late_ms=late[i]) for i in range(4)]
    plot = timing_plot(result_of(drill, marks))
    assert plot is not None
    half, reach = PLOT.width_px / 2, PLOT.width_px / 2 - PLOT.timing_margin_px
    assert [dot.x for dot in plot.dots] == pytest.approx(
        [half + 0.2 * reach, half - 0.5 * reach, half + reach]
    )
    assert [dot.label for dot in plot.dots] == [
        "step 1: 30 ms late",
        "step 2: 75 ms early",
        "step 3: 4000 ms late",
    ]
    assert plot.median == "+30 ms at the median"
    assert timing_plot(result_of(drill, marks[3:])) is None


def test_sound_is_decimated_by_its_mean() -> None:
    """A tone at the Nyquist frequency of the file averages out, instead of folding down to 0 Hz."""
    import base64

    tone = np.tile(np.array([0.5, -0.5], dtype=np.float32), 4800)
    sound, rate = sf.read(io.BytesIO(base64.b64decode(flac_base64(tone, RATE))))
    assert rate == RATE // 2
    assert len(sound) == 4800
    assert np.max(np.abs(sound)) < 1e-3
    slow, rate = sf.read(io.BytesIO(base64.b64decode(flac_base64(tone, 22_050))))
    assert (rate, len(slow)) == (22_050, 9600)
