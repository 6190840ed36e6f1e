"""A recording on disk as a source: WAV, FLAC, OGG or MP3 of any rate, streamed."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Samples
from trainer.sound.block import Block, round_to_24_bits
from trainer.sound.errors import SoundError
from trainer.sound.signal_quality import SignalQuality
from trainer.sound.take_writer import REFERENCE_CHANNEL_TAG

_ON_GRID = frozenset({"PCM_S8", "PCM_U8", "PCM_16", "PCM_24"})
_BLOCK, _READ, _LARGE, _LITTLE = 4096, 16 * 1024, 1 << 16, 1024
"""Frames in a block, and frames read at once: for blocks, for all, and before damage."""
_UNKNOWN = 2**62
"""A length from here on means that the file was never finished."""
_CUT_SHORT = re.compile(r"^data : (\d+) \(should be \d+\)|lacks an end-of-stream", re.MULTILINE)
_STREAMED = 2**31 - 2**16
"""A WAV header with at least so many bytes of sound was written before its length was known."""


class Recording:
    """A source that reads a file from start to end.

    Attributes:
        path: the file.
        name: what it is, in words.
        rate: samples a second.
        channels: how many it has.
        tags: what a take was saved with, if the file is a saved take; otherwise empty.
    """

    def __init__(self, path: Path, channel: int | None = None) -> None:
        """Open a file.

        Args:
            path: WAV, FLAC, OGG or MP3.
            channel: 1 for the first; None mixes all, but for what the trainer itself played in a
                saved take: that is given as :attr:`Block.reference`.

        Raises:
            SoundError: it is not there, cannot be read, is not audio, holds no sound, or has no
                such channel.
        """
        self.path = Path(path)
        self.name = f"recording {self.path.name}"
        self._file = _open(self.path)
        self.rate = int(self._file.samplerate)
        self.channels = int(self._file.channels)
        if channel is not None and not 1 <= channel <= self.channels:
            self.close()
            raise SoundError(
                f"{self.path} has no channel {channel}; it has {self.channels}, counted from 1"
            )
        self.tags = _tags(self._file.comment)
        own = self.tags.get(REFERENCE_CHANNEL_TAG)
        self._own = own if own in range(1, self.channels + 1) and own != channel else None
        every = [i for i in range(self.channels) if i + 1 != self._own]
        self._wanted = every if channel is None else [channel - 1]
        self._facts = SignalQuality(self.rate)
        self._is_damaged = False
        self._is_on_grid = len(self._wanted) == 1 and self._file.subtype in _ON_GRID
        self._cut_short = _is_cut_short(self._file.extra_info, self._file.frames)

    @property
    def frames(self) -> int | None:
        """Its length in samples; None if the file does not say."""
        return None if self._file.frames >= _UNKNOWN else int(self._file.frames)

    @property
    def warnings(self) -> list[str]:
        """What a player should be told about what has been read so far, a sentence each."""
        told = self._facts.sentences()
        if self._cut_short:
            told.insert(0, "it was not finished when it was recorded; it is used as far as it goes")
        return [f"{self.path.name}: {sentence}" for sentence in told]

    def blocks(self) -> Iterator[Block]:
        """Blocks in order, as fast as they are read; holds one at a time.

        Raises:
            SoundError: it cannot be read to its end; all before was given.
        """
        while not self._file.closed:
            first = self._facts.frames
            raw = self._read()
            if not len(raw):
                return
            heard, own = self._parted(raw)
            self._facts.add(heard)
            mixed = self._samples(heard)
            for start in range(0, len(mixed), _BLOCK):
                part = slice(start, start + _BLOCK)
                mine = None if own is None or not own[part].any() else own[part]
                yield Block(first + start, mixed[part], self.rate, mine)
                if self._file.closed:
                    return

    def whole(self, last: int | None = None) -> Samples:
        """All of it, which is much quicker than by blocks; to be asked for instead of them.

        Args:
            last: where to stop, give or take a second; None goes to the end.

        Returns:
            what is heard, float32, shape (n,).

        Raises:
            SoundError: it cannot be read to its end.
        """
        import soundfile

        parts: list[Samples] = []
        try:
            while len(raw := self._file.read(_LARGE, dtype="float64", always_2d=True)):
                parts.append(self._samples(raw[:, self._wanted]))
                if last is not None and sum(map(len, parts)) >= last:
                    break
        except soundfile.SoundFileRuntimeError as error:
            raise self._breaks_off() from error
        return np.concatenate([np.zeros(0, np.float32), *parts])

    def close(self) -> None:
        """Let go of the file. May be called twice."""
        self._file.close()

    def _read(self) -> NDArray[np.float64]:
        """The next frames, shape (n, channels); none at the end."""
        import soundfile

        raw = np.zeros((0, self.channels))
        if not self._is_damaged:
            try:
                raw = self._file.read(_READ, dtype="float64", always_2d=True)
            except soundfile.SoundFileRuntimeError:
                self._is_damaged = True
                raw = self._before_damage()
        if not len(raw) and self._facts.frames < (self.frames or 0):
            raise self._breaks_off()
        return np.asarray(raw)

    def _before_damage(self) -> NDArray[np.float64]:
        """The frames that were not read yet before those that cannot be, shape (n, channels): a
        read that fails gives none of what it had."""
        import soundfile

        parts, read = [np.zeros((0, self.channels))], 0
        again = _forwards(self.path)
        try:
            while len(raw := again.read(_LITTLE, dtype="float64", always_2d=True)):
                read += len(raw)
                if read > self._facts.frames:
                    parts.append(raw)
        except soundfile.SoundFileRuntimeError:
            pass
        finally:
            again.close()
        rest = np.concatenate(parts)
        return rest[len(rest) - max(0, read - self._facts.frames) :]

    def _samples(self, heard: NDArray[np.float64]) -> Samples:
        """What a block holds of the wanted channels; that of a single one of whole numbers is on
        the grid as it is."""
        return (
            heard[:, 0].astype(np.float32) if self._is_on_grid else round_to_24_bits(_mixed(heard))
        )

    def _parted(self, raw: NDArray[np.float64]) -> tuple[NDArray[np.float64], Samples | None]:
        """The wanted channels of frames, and what the trainer played; None if that was not kept."""
        own = None if self._own is None else round_to_24_bits(raw[:, self._own - 1])
        return raw[:, self._wanted], own

    def _breaks_off(self) -> SoundError:
        at, length = self._facts.frames / self.rate, (self.frames or 0) / self.rate
        return SoundError(
            f"{self.path} is damaged: it cannot be read beyond {at:.1f} s of {length:.1f} s; "
            "what comes before was used"
        )


def _mixed(raw: NDArray[np.float64]) -> NDArray[np.float64]:
    """The mean of channels, shape (n,); of one channel that itself, which is much quicker."""
    return raw[:, 0] if raw.shape[1] == 1 else raw.mean(axis=1)


def _forwards(path: Path) -> Any:
    """A sound file that is read from start to end.

    Its library seeks to where it is after every read if it can, which MP3 decoders answer with
    wrong samples and broken files with an error of its own.
    """
    import soundfile

    class Forwards(soundfile.SoundFile):  # type: ignore[misc]  # it has no types
        def seekable(self) -> bool:
            return False

    return Forwards(path)


def _open(path: Path) -> Any:
    import soundfile

    try:
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
        file = _forwards(path)
    except soundfile.SoundFileRuntimeError as error:
        raise SoundError(
            f"{path} is not audio that can be read; use WAV, FLAC, OGG or MP3"
        ) from error
    if not file.frames:
        file.close()
        raise SoundError(f"{path} holds no sound; record it again")
    return file


def _tags(comment: str) -> dict[str, Any]:
    """What :class:`trainer.sound.TakeWriter` put into a file's comment."""
    try:
        tags = json.loads(comment)
    except ValueError:
        return {}
    return tags if isinstance(tags, dict) else {}


def _is_cut_short(log: str, frames: int) -> bool:
    """Whether a file ends before its header says, by the reading library's log of it."""
    found = _CUT_SHORT.search(log)
    if not found:
        return bool(frames >= _UNKNOWN)
    return found[1] is None or int(found[1]) < _STREAMED
