"""The marks of solos as text and as JSON data."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, cast

from trainer.drill import Drill
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
