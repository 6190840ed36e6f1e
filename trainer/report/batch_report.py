"""Many recordings of a drill, marked: a line each, and who needs what."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence
from statistics import median
from typing import Any

from trainer.practice.batch import MarkedRecording
from trainer.report.formatting import quantity_text, score_text
from trainer.report.result_report import result_data
from trainer.report.schemas.results import BestPassData, RecordingData

WIDTH = 80
NAME = 30
WORST = 3
"""Steps that a summary names."""


def recording_line(one: MarkedRecording) -> str:
    """A recording in a line: its name, its best score, and its weakest step or what is wrong."""
    name = one.path.name if len(one.path.name) <= NAME else f"…{one.path.name[-NAME + 1 :]}"
    best = one.best
    if best is None:
        return textwrap.fill(f"{name:<{NAME}} × {one.trouble}", WIDTH, subsequent_indent=" " * 33)
    verdict = "passed" if best.passed else "not yet"
    told = f"{name:<{NAME}} {score_text(best.score):>3} {verdict:<8}"
    if len(one.passes) > 1:
        told += f" best of {len(one.passes)}"
    weakest = best.weakest
    if weakest is not None:
        told += f" weakest: step {weakest.step.index + 1} ({weakest.step.tab}), "
        told += score_text(weakest.score)
    return told


def batch_summary_text(all_marked: Sequence[MarkedRecording]) -> str:
    """What came of it: how many passed, and which steps most of them find hard."""
    best = [result for one in all_marked if (result := one.best) is not None]
    wrong = len(all_marked) - len(best)
    told = [f"{len(best)} of {quantity_text(len(all_marked), 'recording')} marked"]
    if best:
        passed = sum(result.passed for result in best)
        middle = score_text(median(result.score for result in best))
        told.append(f"{passed} passed; the median is {middle}")
    if wrong:
        told.append(f"{wrong} could not be marked")
    lines = [f"{'; '.join(told)}."]
    hard = _hardest([result for result in best])
    if hard:
        lines.append(f"Hardest for most: {', '.join(hard)}.")
    return "\n".join(textwrap.fill(line, WIDTH) for line in lines)


def _hardest(best: Sequence[Any]) -> list[str]:
    """The steps in which most lose most, with the median of what they earned."""
    scores: dict[int, list[float]] = {}
    tabs: dict[int, str] = {}
    for result in best:
        for mark in result.marks:
            scores.setdefault(mark.step.index, []).append(mark.score)
            tabs[mark.step.index] = mark.step.tab
    lost = Counter({index: 100.0 - median(some) for index, some in scores.items()})
    return [
        f"step {index + 1} ({tabs[index]}), {score_text(100.0 - points)}"
        for index, points in lost.most_common(WORST)
        if points >= 1.0
    ]


def recording_data(recording: MarkedRecording) -> RecordingData:
    """Return a recording as JSON data: its path, why it could not be marked, or its best pass."""
    best = best_pass_data(recording)
    path, trouble = str(recording.path), recording.trouble or None
    if best is None:
        return {"recording": path, "trouble": trouble}
    return {"recording": path, "trouble": trouble, **best}


def best_pass_data(recording: MarkedRecording) -> BestPassData | None:
    """Return the best pass of a recording as JSON data with the scores of all; None without one."""
    best = recording.best
    if best is None:
        return None
    return {**result_data(best), "passes": [result.score for result in recording.passes]}
