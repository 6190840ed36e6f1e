"""The passage of a recording to transcribe: the request, its samples and its notes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from trainer.core import TrainerError
from trainer.core.types import Floats
from trainer.ear import Frontend, HeardNote, analyze_blocks, track_notes
from trainer.harp import Harp
from trainer.sound import Block, Recording
from trainer.transcript.confidence import explained_fractions


class TranscriptError(TrainerError):
    """A recording that cannot be transcribed."""


@dataclass(frozen=True, slots=True)
class TranscriptRequest:
    """A recording to transcribe, and what is known about it; None is to be estimated.

    Attributes:
        path: file of the recording.
        channel: as in :class:`trainer.sound.RecordingSpec`.
        first, last: passage in seconds; a `last` of None is the end.
        harp: the harp.
        harps: number of harps that sound together, 1 or 2.
        tuning: tuning of the harps that are tried if `harp` is None; None for the usual ones.
        a4: reference pitch of the harp, Hz.
        pick: which of the guessed harps the tab is written for, from 1, the most likely.
        tempo: beats per minute.
        meter: beats per bar and note value of a beat.
        first_beat: seconds at which the first full bar begins.
        free_time: whether there are no beats to be found; then the three before are None.
    """

    path: Path
    channel: int | None = None
    first: float = 0.0
    last: float | None = None
    harp: Harp | None = None
    harps: int | None = None
    tuning: str | None = None
    a4: float | None = None
    pick: int = 1
    tempo: float | None = None
    meter: tuple[int, int] | None = None
    first_beat: float | None = None
    free_time: bool = False


def hear_passage(
    request: TranscriptRequest, harp: Harp, span: tuple[float, float] | None = None
) -> list[HeardNote]:
    """Return the notes of the passage on a harp; their times count from the recording's start.

    Args:
        request: the passage.
        harp: the harp.
        span: lowest and highest f0 in Hz; None takes the harp's.

    Raises:
        SoundError: the recording cannot be read.
        TranscriptError: there are no notes, or there is no such passage.
    """
    recording = Recording(request.path, request.channel)
    try:
        blocks = _blocks(recording, request)
        notes = list(track_notes(analyze_blocks(blocks, recording.rate, harp, span), harp))
    finally:
        recording.close()
    first = round(request.first * recording.rate)
    inside = [note for note in notes if note.start >= first]
    if not inside:
        raise TranscriptError(
            f"no note is heard in {request.path.name}; check that the file is right and loud enough"
        )
    return inside


def resample_passage(request: TranscriptRequest) -> tuple[Floats, float, int]:
    """Return the passage at the ear's rate: samples, their rate, and the recording's rate."""
    recording = Recording(request.path, request.channel)
    try:
        samples = np.concatenate([block.samples for block in _blocks(recording, request)])
    finally:
        recording.close()
    frontend = Frontend(recording.rate, len(samples) / recording.rate)
    frontend.resample(samples)
    return frontend.window(frontend.count, frontend.count), frontend.rate, recording.rate


def explain_passage(
    request: TranscriptRequest,
    notes: Sequence[HeardNote],
    harp: Harp,
    others: Sequence[HeardNote] = (),
) -> tuple[list[float], str]:
    """Return how much of the energy the reeds of each note explain, and what the file lacks.

    `others` are the notes of another player, which explain their part of it.

    Returns:
        Fraction of each note, 0 to 1; and :attr:`trainer.sound.Recording.damage`.
    """
    recording = Recording(request.path, request.channel)
    try:
        return explained_fractions(recording, notes, harp, others), recording.damage
    finally:
        recording.close()


def _blocks(recording: Recording, request: TranscriptRequest) -> Iterator[Block]:
    """Blocks up to the end of the passage, silent before its start.

    Raises:
        TranscriptError: the recording ends before the passage.
    """
    first = round(request.first * recording.rate)
    last = None if request.last is None else round(request.last * recording.rate)
    reached = 0
    for block in recording.blocks():
        reached = block.end
        if last is not None and block.start >= last:
            return
        if block.start < first:
            samples = np.array(block.samples)
            samples[: first - block.start] = 0.0
            block = replace(block, samples=samples)
        if last is not None and block.end > last:
            inside = slice(last - block.start)
            reference = None if block.reference is None else block.reference[inside]
            block = replace(block, samples=block.samples[inside], reference=reference)
        yield block
    if reached <= first:
        raise TranscriptError(
            f"start before second {request.first:g}: {request.path.name} is "
            f"{reached / recording.rate:.1f} s long"
        )
