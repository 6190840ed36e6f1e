"""A recording on disk as a source: WAV, FLAC, OGG or MP3 of any rate, streamed."""

from __future__ import annotations

import json
import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from trainer.core.system import name_for_library
from trainer.core.types import Samples
from trainer.sound.block import Block, round_to_24_bits
from trainer.sound.errors import SoundError
from trainer.sound.signal_quality import SignalQuality
from trainer.sound.sources.source import DrillSetup, Source, SourceSpec
from trainer.sound.take_writer import REFERENCE_CHANNEL_TAG

_EXACT_SUBTYPES = frozenset({"PCM_S8", "PCM_U8", "PCM_16", "PCM_24"})
"""Encodings whose samples lie on the grid of 24-bit audio already."""
_BLOCK = 4096
"""Frames in a block."""
_READ = 16 * 1024
"""Frames read at once for blocks."""
_READ_ALL = 1 << 16
"""Frames read at once where the whole file is wanted."""
_READ_DAMAGED = 1024
"""Frames read at once before damage: a read that fails gives none of its frames."""
MIN_RATE, MAX_RATE, MAX_CHANNELS = 2_000, 384_000, 64
"""Rates in samples per second, and numbers of channels, that are read; a header can claim any, and
memory is taken by the second. Chosen by hand."""
_UNKNOWN_LENGTH = 2**62
"""A length in frames from here on means that the file was never finished."""
_CUT_SHORT = re.compile(r"^data : (\d+) \(should be \d+\)|lacks an end-of-stream", re.MULTILINE)
_STREAMED_BYTES = 2**31 - 2**16
"""A WAV header with at least this many bytes of sound was written before its length was known."""


@dataclass(frozen=True, slots=True)
class RecordingSpec(SourceSpec):
    """A recording on disk.

    Attributes:
        path: WAV, FLAC, OGG or MP3.
        channel: 1 for the first; None mixes all.
        aloud: whether it is played through the output, at its own pace.
        first, last: seconds between which it is played aloud; None plays it to its end.
        output: which output, as in :class:`MicrophoneSpec`.
    """

    path: Path
    channel: int | None = None
    aloud: bool = False
    first: float = 0.0
    last: float | None = None
    output: str | int | None = None

    kind: ClassVar[str] = "recording"

    @property
    def file(self) -> Path:
        """The recording itself."""
        return self.path

    def open(self, setup: DrillSetup) -> Recording:
        """Open the file, and an output where it is played aloud."""
        if self.aloud:
            from trainer.sound.sources.replay import Replay

            return Replay(self.path, self.channel, self.first, self.last, self.output)
        return Recording(self.path, self.channel)


class Recording(Source):
    """A source that reads a file from start to end.

    Attributes:
        path: the file.
        channels: how many it has.
    """

    def __init__(self, path: Path, channel: int | None = None) -> None:
        """Open a file.

        Args:
            path: WAV, FLAC, OGG or MP3.
            channel: 1 for the first; None mixes all, except for the reference signal of a saved
                take, which is passed on as :attr:`Block.reference`.

        Raises:
            SoundError: it is missing, cannot be read, is not audio, is empty, or has no such
                channel.
        """
        self.path = Path(path)
        self.name = f"recording {self.path.name}"
        self._channel = channel
        self._file = _open(self.path)
        self.rate = int(self._file.samplerate)
        self.channels = int(self._file.channels)
        if channel is not None and not 1 <= channel <= self.channels:
            self.close()
            raise SoundError(
                f"{self.path} has no channel {channel}; it has {self.channels}, counted from 1"
            )
        self._tags = _tags(self._file.comment)
        tagged = self._tags.get(REFERENCE_CHANNEL_TAG)
        has_reference = tagged in range(1, self.channels + 1) and tagged != channel
        self._reference_channel = tagged if has_reference else None
        every = [i for i in range(self.channels) if i + 1 != self._reference_channel]
        self._wanted = every if channel is None else [channel - 1]
        self._quality = SignalQuality(self.rate)
        self._is_damaged = False
        self._is_exact = len(self._wanted) == 1 and self._file.subtype in _EXACT_SUBTYPES
        self._cut_short = _is_cut_short(self._file.extra_info, self._file.frames)

    @property
    def frames(self) -> int | None:
        """Its length in samples; None if the file does not give it."""
        return None if self._file.frames >= _UNKNOWN_LENGTH else int(self._file.frames)

    @property
    def tags(self) -> dict[str, Any]:
        """What a take was saved with, if the file is a saved take; else empty."""
        return self._tags

    @property
    def warnings(self) -> list[str]:
        """What is wrong with the sound read so far, a sentence each."""
        sentences = self._quality.warnings()
        if self.damage:
            sentences.insert(0, f"the recording {self.damage}; what comes before was used")
        return [f"{self.path.name}: {sentence}" for sentence in sentences]

    @property
    def damage(self) -> str:
        """What is missing at its end, as far as it was read; empty if nothing is."""
        if self._is_damaged:
            at, length = self._quality.frames / self.rate, (self.frames or 0) / self.rate
            return f"is damaged: it cannot be read beyond {at:.1f} s of {length:.1f} s"
        return "was cut off" if self._cut_short else ""

    def reader(self) -> Recording:
        """Open the file once more."""
        return Recording(self.path, self._channel)

    def blocks(self) -> Iterator[Block]:
        """Yield blocks in order, as fast as they are read; one at a time is in memory.

        A damaged file ends where the damage begins; :attr:`warnings` then says so.

        Raises:
            SoundError: none of it can be read.
        """
        while not self._file.closed:
            first = self._quality.frames
            raw = self._read()
            if not len(raw):
                return
            frames, reference = self._split(raw)
            self._quality.measure(frames)
            samples = self._mixed(frames)
            for start in range(0, len(samples), _BLOCK):
                part = slice(start, start + _BLOCK)
                audible = reference is not None and reference[part].any()
                yield Block(
                    first + start,
                    samples[part],
                    self.rate,
                    reference[part] if reference is not None and audible else None,
                )
                if self._file.closed:
                    return

    def whole(self, last: int | None = None) -> Samples:
        """Return all samples, much quicker than by blocks; use one or the other.

        Args:
            last: where to stop, in samples, within a second; None reads to the end.

        Returns:
            float32, shape (n,), without the reference signal; of a damaged file what comes before
            the damage.
        """
        parts: list[Samples] = []
        read = 0
        while len(raw := self._next_frames(_READ_ALL, read)):
            parts.append(self._mixed(raw[:, self._wanted]))
            read += len(raw)
            if last is not None and read >= last:
                break
        return np.concatenate([np.zeros(0, np.float32), *parts])

    def close(self) -> None:
        """Close the file. May be called twice."""
        self._file.close()

    def _read(self) -> NDArray[np.float64]:
        """Return the next frames, shape (n, channels); none at the end.

        Raises:
            SoundError: none of the file can be read.
        """
        raw = self._next_frames(_READ, self._quality.frames)
        if not len(raw) and self._quality.frames < (self.frames or 0):
            self._is_damaged = True
            if not self._quality.frames:
                raise SoundError(f"{self.path} is damaged: none of it can be read; record it again")
        return raw

    def _next_frames(self, count: int, read: int) -> NDArray[np.float64]:
        """Return up to `count` frames after those read, shape (n, channels); none at the end."""
        import soundfile

        raw = np.zeros((0, self.channels))
        if not self._is_damaged:
            try:
                raw = self._file.read(count, dtype="float64", always_2d=True)
            except soundfile.SoundFileRuntimeError:
                self._is_damaged = True
                raw = self._before_damage(read)
        return np.asarray(raw)

    def _before_damage(self, done: int) -> NDArray[np.float64]:
        """Return the frames from number `done` on that lie before the damage, (n, channels)."""
        import soundfile

        parts, read = [np.zeros((0, self.channels))], 0
        second = _open_forwards(self.path)
        try:
            while len(raw := second.read(_READ_DAMAGED, dtype="float64", always_2d=True)):
                read += len(raw)
                if read > done:
                    parts.append(raw)
        except soundfile.SoundFileRuntimeError:
            pass
        finally:
            second.close()
        rest = np.concatenate(parts)
        return rest[len(rest) - max(0, read - done) :]

    def _mixed(self, frames: NDArray[np.float64]) -> Samples:
        """Return frames, shape (n, channels), as the samples of a block, shape (n,)."""
        if self._is_exact:
            return frames[:, 0].astype(np.float32)
        return round_to_24_bits(_mean(frames))

    def _split(self, raw: NDArray[np.float64]) -> tuple[NDArray[np.float64], Samples | None]:
        """Split frames into the wanted channels and the reference signal, if that was saved."""
        channel = self._reference_channel
        reference = None if channel is None else round_to_24_bits(raw[:, channel - 1])
        return raw[:, self._wanted], reference


def _mean(frames: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of the channels, shape (n,); of one channel the channel itself, which is quicker."""
    return frames[:, 0] if frames.shape[1] == 1 else frames.mean(axis=1)


def _open_forwards(path: Path) -> Any:
    """Open a sound file that is read from start to end.

    After every read its library seeks to the current frame if it can, which MP3 decoders answer
    with wrong samples and damaged files with an error of its own.
    """
    import soundfile

    class ForwardsFile(soundfile.SoundFile):  # type: ignore[misc]  # it has no types
        def seekable(self) -> bool:
            return False

    return ForwardsFile(name_for_library(path))


def _open(path: Path) -> Any:
    import soundfile

    try:
        if not stat.S_ISREG(path.stat().st_mode) and not path.is_dir():
            raise SoundError(f"{path} is a pipe or a device; name a recording")
        with path.open("rb") as file:
            empty = not file.read(1)
    except FileNotFoundError as error:
        raise SoundError(f"there is no recording {path}; check the name and the folder") from error
    except OSError as error:
        if os.path.isdir(path):
            raise SoundError(f"{path} is a folder; name a recording inside it") from error
        raise SoundError(f"{path} cannot be read: {error.strerror}") from error
    if empty:
        raise SoundError(f"{path} is an empty file; record it again")
    try:
        file = _open_forwards(path)
    except (soundfile.SoundFileRuntimeError, TypeError, ValueError) as error:
        # TypeError: the library wants to know more of sound without a header.
        raise SoundError(
            f"{path} is not audio that can be read; use WAV, FLAC, OGG or MP3"
        ) from error
    if not MIN_RATE <= file.samplerate <= MAX_RATE or file.channels > MAX_CHANNELS:
        what = f"{file.samplerate} samples a second in {file.channels} channels"
        file.close()
        raise SoundError(
            f"{path} has {what}; the trainer reads {MIN_RATE} to {MAX_RATE} in {MAX_CHANNELS} at "
            "most"
        )
    if not file.frames:
        file.close()
        raise SoundError(f"{path} holds no sound; record it again")
    return file


def _tags(comment: str) -> dict[str, Any]:
    """Parse what :class:`trainer.sound.TakeWriter` put into a file's comment."""
    try:
        tags = json.loads(comment)
    except (ValueError, RecursionError):  # anybody can write a comment, as deep as they like
        return {}
    return tags if isinstance(tags, dict) else {}


def _is_cut_short(log: str, frames: int) -> bool:
    """Whether a file ends before its header claims, by the reading library's log."""
    match = _CUT_SHORT.search(log)
    if not match:
        return bool(frames >= _UNKNOWN_LENGTH)
    return match[1] is None or int(match[1]) < _STREAMED_BYTES
