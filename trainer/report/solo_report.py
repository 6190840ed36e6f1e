"""The marks of solos as text and as JSON data."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, cast

from trainer.drill import Drill, GroundChord, SoloBrief, entries_of
from trainer.harp import Harp
from trainer.marking import SoloMark
from trainer.report.formatting import fill, score_text

if TYPE_CHECKING:
    from trainer.report.schemas.results import SoloData, SoloMeasuredData

CRITERION_WIDTH = 9
"""Width of the column of criteria in characters."""


def solo_name(mark: SoloMark, drill: Drill) -> str:
    """Return where a solo is, such as ``solo, bars 3 to 4``."""
    solo, beats = mark.solo, drill.meter[0]
    first = max(1, solo.bar)
    last = max(first, -(-solo.end // beats))
    return f"solo, bars {first} to {last}" if last > first else f"solo, bar {first}"


def brief_text(brief: SoloBrief) -> str:
    """Return what is asked of a solo, in words."""
    bars = f"{brief.phrase_bars:g} bar{'s' * (brief.phrase_bars != 1)}"
    beats = f"{brief.rest_beats:g} beat{'s' * (brief.rest_beats != 1)}"
    return f"{brief.scale} scale, phrases of up to {bars} with {beats} of rest"


def solo_guide(drill: Drill, harp: Harp, beat: float | None) -> str:
    """Return what a soloist needs at a beat: bar, chord and its holes, next chord.

    Within a bar before a solo it is what the solo asks for; elsewhere it is empty.

    Args:
        drill: the drill.
        harp: the harp it is played on.
        beat: the beat; None before the first.
    """
    brief, bar = drill.brief, drill.meter[0]
    at = float(drill.start) if beat is None else beat
    solo = next((each for each in drill.solos if each.start - bar <= at < each.end), None)
    if brief is None or solo is None:
        return ""
    if at < solo.start or beat is None:
        return f"then your own: {brief_text(brief)}"
    number = int((at - float(solo.start)) // bar) + 1
    place = f"your own, bar {number} of {-(-solo.beats // bar)}"
    now, following = chords_at(drill, at)
    wanted = set(brief.half_steps)
    if now is not None:
        wanted = wanted & set(now.chord.half_steps) or set(now.chord.half_steps)
    entries = entries_of(tuple(wanted), harp, drill.position or 1)
    holes = " ".join(dict.fromkeys(str(tab) for tab in entries))
    text = f"{place}: {now.chord.in_key if now else brief.scale} on {holes}"
    return f"{text}; next {following.chord.in_key}" if following else text


def chords_at(drill: Drill, beat: float) -> tuple[GroundChord | None, GroundChord | None]:
    """Return the chord of the ground at a beat, and the next one that differs from it."""
    now: GroundChord | None = None
    for each in drill.chords:
        if each.start <= beat < each.end:
            now = each
        elif now is not None and each.chord != now.chord:
            return now, each
    return now, None


def solo_lines(mark: SoloMark, drill: Drill, width: int = 0) -> list[str]:
    """Return a solo's mark as lines: where it is, and the points and reason of each criterion.

    Args:
        mark: the mark.
        drill: the drill.
        width: line width in columns; 0 does not break lines.
    """
    lines = [f"{solo_name(mark, drill)}: {score_text(mark.score)}"]
    for name, points in mark.criteria.items():
        head = f"  {name:<{CRITERION_WIDTH}} {score_text(points):>3}  "
        sentence = mark.sentences[name]
        lines.append(fill(sentence, width, head, " " * len(head)) if width else head + sentence)
    return lines


def solo_data(mark: SoloMark, drill: Drill) -> SoloData:
    """Return a solo's mark as JSON data."""
    solo, brief = mark.solo, drill.brief
    assert brief is not None
    measured = asdict(mark.measured)
    return {
        "bar": max(1, solo.bar),
        "start": float(solo.start),
        "beats": float(solo.beats),
        "target": {
            "scale": brief.scale,
            "position": drill.position or 1,
            "phrase_bars": brief.phrase_bars,
            "rest_beats": brief.rest_beats,
            "range_half_steps": brief.range_half_steps,
            "division": brief.division,
            "bends_off": brief.bends_off,
        },
        "score": mark.score,
        "parts": dict(mark.criteria),
        "measured": cast("SoloMeasuredData", {**measured, "phrases": list(mark.measured.phrases)}),
        "sentence": mark.sentence,
        "sentences": dict(mark.sentences),
        "notes": [
            {
                "tab": str(note.tab),
                "start": note.start,
                "end": note.end,
                "beat": note.beat,
                "beats": note.beats,
                "late_ms": note.late_ms,
                "cents": note.cents,
                "leak_db": note.leak_db,
            }
            for note in mark.notes
        ],
    }
