"""The criteria of a solo: from its figures to points and sentences.

Points are 0 to 100, on the curves of :class:`~trainer.marking.parameters.SoloParameters`. Each is
multiplied by the fraction of the wanted notes that were played, at most 1, so that nothing is
earned by playing nothing. The score is the mean of the criteria, but at most 50 more than the
worst.

    criterion    points
    scale        of `off_scale`
    harmony      of `chord_notes`, less in proportion where few strong beats have a note
    pitch        mean of the notes' points as those of steps; the worst `bends_off` bends that the
                 brief allows have at least those of a note at the tolerance
    time         mean of the notes' points for the distance from the nearest part of a beat, 0 where
                 the next part is as near
    cleanness    mean of the notes' points as those of steps
    phrases      of `phrased`, less in proportion where there are few phrases
    range        lesser of those of the range over the wanted one, and of `effective_notes`
    variety      least of those of `repeated_phrases`, `repeated_notes` and `in_runs`
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import mean

import numpy as np

from trainer.core.quantities import quantity_text
from trainer.drill import SOLO_CRITERIA, Clock, Drill, Solo, SoloBrief
from trainer.marking.criteria import late_points, leak_points, pitch_points
from trainer.marking.parameters import SCORE, SOLO, Curve
from trainer.marking.solo_mark import SoloMark, SoloMeasured, SoloNote

GOOD_POINTS = 90.0
"""Points from which a criterion is praised and not corrected (chosen by hand)."""


def mark_solo(
    solo: Solo, notes: Sequence[SoloNote], measured: SoloMeasured, drill: Drill, clock: Clock
) -> SoloMark:
    """Return the mark of a solo.

    Args:
        solo: the passage.
        notes: what was played in it.
        measured: its figures.
        drill: the drill.
        clock: the clock of the pass.
    """
    assert drill.brief is not None
    beat_ms = 1000.0 * clock.beat_s(solo.start)
    points = solo_points(solo, notes, measured, drill, beat_ms)
    sentences = {name: _sentence(name, points[name], measured, drill.brief) for name in points}
    values = list(points.values())
    score = min(mean(values), min(values) + SCORE.max_above_worst)
    return SoloMark(solo, score, points, measured, sentences, tuple(notes))


def solo_points(
    solo: Solo, notes: Sequence[SoloNote], measured: SoloMeasured, drill: Drill, beat_ms: float
) -> dict[str, float]:
    """Return the points of each criterion that can be judged; harmony needs a ground."""
    brief = drill.brief
    assert brief is not None
    judged = [note for note in notes if not note.is_ornament]
    names = [name for name in SOLO_CRITERIA if name != "harmony" or drill.ground is not None]
    if not judged:
        return dict.fromkeys(names, 0.0)
    bars = float(solo.beats) / drill.meter[0]
    strong = min(1.0, measured.strong_beats / max(1.0, SOLO.strong_beats_per_bar * bars))
    room = max(1.0, SOLO.wanted_phrases * bars / brief.phrase_bars)
    phrases = min(1.0, len(measured.phrases) / room)
    span = (measured.range_half_steps or 0) / brief.range_half_steps
    part_ms = beat_ms / brief.division
    points = {
        "scale": _read(SOLO.off_scale, measured.off_scale),
        "harmony": strong * _read(SOLO.chord_notes, measured.chord_notes or 0.0),
        "pitch": _pitch(judged, drill),
        "time": mean(_grid_points(note.late_ms, part_ms) for note in judged),
        "cleanness": mean(leak_points(note.leak_db) for note in judged),
        "phrases": phrases * _read(SOLO.phrased, measured.phrased),
        "range": min(
            _read(SOLO.range_fraction, span), _read(SOLO.effective_notes, measured.effective_notes)
        ),
        "variety": min(
            _read(SOLO.repeated_phrases, measured.repeated_phrases or 0.0),
            _read(SOLO.repeated_notes, measured.repeated_notes),
            _read(SOLO.in_runs, measured.in_runs),
        ),
    }
    enough = min(1.0, measured.notes / measured.wanted_notes)
    return {name: enough * points[name] for name in names}


def _hole_words(tab: str) -> str:
    """Return a tab that does not read as a count: a bare number gets its direction."""
    return f"blow {tab}" if tab.isdigit() else tab


def _read(curve: Curve, at: float | None) -> float:
    places, earned = zip(*curve, strict=True)
    return 0.0 if at is None else float(np.interp(at, places, earned))


def _pitch(notes: Sequence[SoloNote], drill: Drill) -> float:
    """Mean points for the notes' pitch, with the bends forgiven that the brief allows."""
    assert drill.brief is not None
    tolerance = drill.goal.tolerance
    bends = sorted(pitch_points(note.cents, tolerance) for note in notes if note.tab.bend)
    others = [pitch_points(note.cents, tolerance) for note in notes if not note.tab.bend]
    allowed = drill.brief.bends_off
    forgiven = [max(points, SOLO.forgiven_points) for points in bends[:allowed]]
    return mean([*others, *forgiven, *bends[allowed:]])


def _grid_points(late_ms: float, part_ms: float) -> float:
    """Points for a distance from the nearest part of a beat: 0 points halfway to the next one."""
    beat_ms = SOLO.lost_grid * part_ms * 3.0  # a step's time is lost at a third of a beat
    return late_points(late_ms, beat_ms)


def _sentence(name: str, points: float, measured: SoloMeasured, brief: SoloBrief) -> str:
    """The reason for a criterion's points: what to do first, then what was played."""
    m, good = measured, points >= GOOD_POINTS
    if not m.notes:
        return "play something of your own here: nothing was heard"
    if m.notes < m.wanted_notes:
        return (
            f"play more: {quantity_text(m.notes, 'note')}, at least {m.wanted_notes} fill the solo"
        )
    match name:
        case "scale":
            if good:
                return f"in the {brief.scale} scale"
            off = quantity_text(round(m.notes * (m.off_scale or 0.0)), "note")
            return (
                f"stay in the {brief.scale} scale: {off} of {m.notes} outside, "
                f"most often {_hole_words(m.foreign)}"
            )
        case "harmony":
            if good:
                return "notes of the chord on the strong beats"
            if m.chord_notes is None:
                return "play on the strong beats, on notes of the chord: nothing sounds on them"
            hits = round(m.strong_beats * m.chord_notes)
            return (
                f"land on notes of the chord on the strong beats: {hits} of {m.strong_beats} were"
            )
        case "pitch":
            if good:
                return "in tune"
            if m.bends_off > brief.bends_off:
                return (
                    f"hear each bend before you play it: {m.bends_off} off pitch, up to "
                    f"{brief.bends_off} are free"
                )
            return f"play in tune: {quantity_text(round(m.cents or 0.0), 'cent')} off on average"
        case "time":
            if good:
                return "in time"
            return f"begin notes on the beat or its parts: {m.late_ms or 0.0:.0f} ms off on average"
        case "cleanness":
            if good:
                return "one hole at a time"
            leaks = round(m.notes * (m.leaks or 0.0))
            return f"narrow the mouth: a neighbouring hole sounds in {leaks} of {m.notes} notes"
        case "phrases":
            return "phrases with rests between them" if good else _phrase_sentence(m, brief)
        case "range":
            span = quantity_text(m.range_half_steps or 0, "half step")
            if good:
                return f"a range of {span}"
            if (m.range_half_steps or 0) >= brief.range_half_steps:
                return "share the time among more notes: a few of them take most of it"
            return (
                f"use more of the harp: {span} from the lowest to the highest note, "
                f"{brief.range_half_steps} are asked for"
            )
        case _:
            return "one idea leads to another" if good else _variety_sentence(m)


def _phrase_sentence(m: SoloMeasured, brief: SoloBrief) -> str:
    longest = max(m.phrases, default=0.0)
    bars = f"{brief.phrase_bars:g} bar{'s' * (brief.phrase_bars != 1)}"
    if len(m.phrases) == 1 or (m.phrased or 0.0) < 0.5:
        rest = quantity_text(brief.rest_beats, "beat")
        return (
            f"rest for {rest} after each phrase of up to {bars}: the "
            f"longest lasts {quantity_text(round(longest), 'beat')}"
        )
    played = quantity_text(len(m.phrases), "phrase")
    return f"make whole phrases of up to {bars}: {played}, some too short"


def _variety_sentence(m: SoloMeasured) -> str:
    runs = _read(SOLO.in_runs, m.in_runs)
    repeats = min(
        _read(SOLO.repeated_phrases, m.repeated_phrases or 0.0),
        _read(SOLO.repeated_notes, m.repeated_notes),
    )
    if runs < repeats:
        return f"leap and turn back: {100 * (m.in_runs or 0.0):.0f} % run up or down the scale"
    return "change the phrase when it comes again: most of it has been played before"
