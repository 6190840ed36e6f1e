"""A batch of marked recordings as text, a line each, and as JSON data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from statistics import median

from trainer.core.printable import printable
from trainer.core.quantities import quantity_text
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import MarkedRecording
from trainer.report.formatting import fill, score_text
from trainer.report.result_report import result_data
from trainer.report.schemas.results import BestPassData, RecordingData

NAME_COLUMNS = 30
"""Width of the column of file names."""
HARDEST_STEPS = 3
"""Maximum number of hard steps that a summary names."""
A4_HZ = 440.0
"""The reference pitch that needs no mention."""
MIN_HARD_POINTS = 1.0
"""Median loss from which a step is hard, in points of its score."""


def recording_line(recording: MarkedRecording, name: str = "") -> str:
    """Return a recording as a line: its name, best score and weakest step, or what went wrong.

    Args:
        recording: the recording.
        name: the student's name, which stands for the file's where that does not have it.
    """
    name = printable(recording.path.name if name in ("", recording.path.stem) else name)
    if len(name) > NAME_COLUMNS:
        name = f"…{name[-NAME_COLUMNS + 1 :]}"
    best = recording.best
    if best is None:
        indent = " " * (NAME_COLUMNS + 3)
        return fill(f"{name:<{NAME_COLUMNS}} × {printable(recording.trouble)}", rest=indent)
    verdict = "passed" if best.passed else "not yet"
    line = f"{name:<{NAME_COLUMNS}} {score_text(best.score):>3} {verdict:<8}"
    if len(recording.passes) > 1:
        line += f" best of {len(recording.passes)}"
    weakest = best.weakest
    if weakest is not None:
        line += f" weakest: step {weakest.step.index + 1} ({weakest.step.tab}), "
        line += score_text(weakest.score)
    notes = [fill(printable(note), first="  ", rest="  ") for note in recording.notes]
    return "\n".join([line, *notes])


def targets_text(harp: Harp) -> str:
    """Return what sets a harp's targets apart from those of its key and tuning; empty if nothing.

    For example, ``A4 = 442 Hz, 3 offsets of up to 12 cents``.
    """
    parts = []
    if harp.a4 != A4_HZ:
        parts.append(f"A4 = {harp.a4:g} Hz")
    if harp.temperament.name != "equal":
        parts.append(f"temperament {harp.temperament.name}")
    if offsets := [cents for cents in harp.offsets.values() if cents]:
        largest = quantity_text(round(max(map(abs, offsets))), "cent")
        parts.append(f"{quantity_text(len(offsets), 'offset')} of up to {largest}")
    return ", ".join(parts)


def batch_summary_text(recordings: Sequence[MarkedRecording]) -> str:
    """Return how many recordings passed, and which steps were hard for most."""
    results = [best for recording in recordings if (best := recording.best) is not None]
    failed = len(recordings) - len(results)
    parts = [f"{len(results)} of {quantity_text(len(recordings), 'recording')} marked"]
    if results:
        passed = sum(result.passed for result in results)
        middle = score_text(median(result.score for result in results))
        parts.append(f"{passed} passed; the median is {middle}")
    if failed:
        parts.append(f"{failed} could not be marked")
    lines = [f"{'; '.join(parts)}."]
    if hardest := _hardest(results):
        lines.append(f"Hardest for most: {', '.join(hardest)}.")
    return "\n".join(map(fill, lines))


def _hardest(results: Sequence[Result]) -> list[str]:
    """Return the steps with the lowest median scores, with those scores."""
    scores: dict[int, list[float]] = {}
    tabs: dict[int, str] = {}
    for result in results:
        for mark in result.marks:
            scores.setdefault(mark.step.index, []).append(mark.score)
            tabs[mark.step.index] = mark.step.tab
    lost = Counter({index: 100.0 - median(values) for index, values in scores.items()})
    return [
        f"step {index + 1} ({tabs[index]}), {score_text(100.0 - points)}"
        for index, points in lost.most_common(HARDEST_STEPS)
        if points >= MIN_HARD_POINTS
    ]


def recording_data(recording: MarkedRecording) -> RecordingData:
    """Return a recording as JSON data: its path, why it could not be marked, or its best pass."""
    best = best_pass_data(recording)
    path, trouble = str(recording.path), recording.trouble or None
    notes = list(recording.notes)
    if best is None:
        return {"recording": path, "trouble": trouble, "notes": notes}
    return {"recording": path, "trouble": trouble, "notes": notes, **best}


def best_pass_data(recording: MarkedRecording) -> BestPassData | None:
    """Return the best pass of a recording as JSON data with the scores of all; None without one."""
    best = recording.best
    if best is None:
        return None
    return {**result_data(best), "passes": [result.score for result in recording.passes]}
