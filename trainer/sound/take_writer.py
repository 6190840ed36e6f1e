"""A take saved while it is played: 24-bit FLAC, which holds every block exactly.

The reference signal is saved beside the sound where there is any, because the echo canceller needs
it to give the same result again. The file then has two channels, the sound in the first,
:attr:`trainer.sound.Block.reference` in the second, and a tag with the number of the second.
"""

from __future__ import annotations

import json
import os
from collections.abc import Generator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from trainer.core.system import replace_path
from trainer.sound.block import Block
from trainer.sound.errors import SoundError

_TO_INT32 = 2.0**31
"""Full scale of 32-bit integers; the library writes the upper 24 bits of each."""
_COPIED_FRAMES = 1 << 20
"""Frames copied at a time: 20 s."""
TAG_ROOM = 32_768
"""Bytes kept free for the tags at the start of a file, which are known at the end: enough for some
140 passes, and as much as half a second of sound."""
REFERENCE_CHANNEL_TAG = "own_channel"
"""Tag with the channel of the reference signal, counted from 1. Part of the file format."""


class TakeWriter:
    """Writes the blocks of a take.

    While it is played, the sound goes to ``NAME.part.flac``, which can be read as far as it got if
    the trainer is killed. Tags are known only at the end, and a FLAC file has them at its start, so
    room is kept for them: finishing the file fills it and gives it its name. Only where there are
    more tags, or a reference signal was expected and none came, is the sound copied.
    """

    def __init__(self, path: Path, rate: int, *, with_reference: bool = False) -> None:
        """Start a file; nothing is overwritten.

        Args:
            path: ``….flac``.
            rate: samples per second.
            with_reference: whether blocks may carry a reference signal.

        Raises:
            SoundError: the name is taken, is not FLAC, or cannot be written.
        """
        self.path = Path(path)
        self.part = self.path.with_suffix(".part.flac")
        self._rate = rate
        self._channels = 2 if with_reference else 1
        self._frames = 0
        self._has_reference = False
        if self.path.suffix.lower() != ".flac":
            raise SoundError(f"takes are saved as FLAC; name the file {self.path.stem}.flac")
        if not self.path.parent.is_dir():
            raise SoundError(f"there is no folder {self.path.parent} to save the take in; make it")
        if os.path.lexists(self.path):
            raise SoundError(f"{self.path} exists already; choose another name, or delete it")
        if os.path.lexists(self.part):
            raise SoundError(
                f"rename or delete {self.part}: it holds the sound of a take that was cut off"
            )
        try:
            self._file = _create(self.part, rate, self._channels, {}, TAG_ROOM)
        except (OSError, RuntimeError) as error:
            raise SoundError(
                f"the take cannot be saved in {self.part}: {_reason(error)}"
            ) from error

    def write(self, block: Block) -> None:
        """Add a block; at most a tenth of a second of sound is not on disk yet.

        Raises:
            SoundError: it cannot be written; the file can still be finished with all before it.
        """
        sound = np.zeros((len(block.samples), self._channels), dtype=np.int32)
        sound[:, 0] = block.samples * _TO_INT32
        if block.reference is not None and self._channels > 1:
            sound[:, 1] = block.reference * _TO_INT32
            self._has_reference = self._has_reference or bool(sound[:, 1].any())
        try:
            self._file.write(sound)
        except RuntimeError as error:
            raise SoundError(
                f"the take cannot be saved any further: {_reason(error)}; the disk may be full, so "
                "free some space; the sound so far is kept"
            ) from error
        self._frames += len(block.samples)

    def close(self, tags: Mapping[str, Any] | None = None) -> Path | None:
        """Finish the file, as :meth:`finish` does."""
        work = self.finish(tags)
        while True:
            try:
                next(work)
            except StopIteration as done:
                result: Path | None = done.value
                return result

    def finish(self, tags: Mapping[str, Any] | None = None) -> Generator[float, None, Path | None]:
        """Finish the file.

        Args:
            tags: what to keep with the sound, as JSON can hold it;
                :attr:`trainer.sound.Recording.tags` reads it back.

        Yields:
            The fraction that is done, where it takes time.

        Returns:
            The file; None if nothing was written.

        Raises:
            SoundError: it cannot be finished; the sound stays in the part file.
        """
        self._file.close()
        if not self._frames:
            self.part.unlink(missing_ok=True)
            return None
        tagged = self.path.with_suffix(".tagged.flac")
        tagged.unlink(missing_ok=True)
        try:
            if self._fill_in(dict(tags or {})):
                replace_path(self.part, self.path)
            else:
                yield from self._copy(tagged, dict(tags or {}))
                replace_path(tagged, self.path)
                self.part.unlink()
        except (OSError, RuntimeError) as error:
            raise SoundError(
                f"the take cannot be saved as {self.path}: {_reason(error)}; its sound is kept in "
                f"{self.part}"
            ) from error
        finally:
            tagged.unlink(missing_ok=True)
        return self.path

    def _fill_in(self, tags: dict[str, Any]) -> bool:
        """Write tags into the room that was kept for them; return False where they do not fit."""
        if self._channels > 1 and not self._has_reference:
            return False
        return _write_tags(self.part, tags, self._channels)

    def _copy(self, to: Path, tags: dict[str, Any]) -> Generator[float]:
        """Copy the part file, with tags and without a silent reference signal.

        The library takes tags only before the first sample.
        """
        import soundfile

        channels, copied = self._channels if self._has_reference else 1, 0
        with (
            soundfile.SoundFile(self.part) as part,
            _create(to, self._rate, channels, tags) as copy,
        ):
            while len(samples := part.read(_COPIED_FRAMES, dtype="int32", always_2d=True)):
                copy.write(samples[:, :channels])
                copied += len(samples)
                yield copied / self._frames


def finish_cut_off(part: Path, path: Path, tags: Mapping[str, Any]) -> None:
    """Finish the file of a take whose process was killed, with tags where there is room for them.

    Args:
        part: its sound, as :class:`TakeWriter` left it.
        path: the name that it gets; an existing file is overwritten.
        tags: as for :meth:`TakeWriter.finish`.

    Raises:
        SoundError: it cannot be renamed; it stays where it is.
    """
    try:
        any(_write_tags(part, dict(tags), channels) for channels in (1, 2))
        replace_path(part, path)
    except OSError as error:
        raise SoundError(
            f"the take in {part} cannot be renamed to {path.name}: {_reason(error)}; free some "
            "space, or rename it by hand"
        ) from error


def _write_tags(part: Path, tags: dict[str, Any], channels: int) -> bool:
    """Write tags into the room that a file keeps for them; return False where they do not fit."""
    room, text = (_comment(each, channels) for each in ({}, tags))
    room = room.ljust(TAG_ROOM)
    if len(text) > len(room):
        return False
    with part.open("r+b") as file:
        at = file.read(2 * TAG_ROOM).find(room)
        if at < 0:
            return False
        file.seek(at)
        file.write(text.ljust(TAG_ROOM))
    return True


def _create(path: Path, rate: int, channels: int, tags: dict[str, Any], room: int = 0) -> Any:
    """Create a file, which must not exist yet, with `room` bytes for tags.

    Raises:
        OSError, RuntimeError: it cannot be created.
    """
    import soundfile

    path.open("xb").close()  # gives a reason, where the library only says "System error"
    file = soundfile.SoundFile(path, "w", rate, channels, "PCM_24", format="FLAC")
    file.comment = _comment(tags, channels).ljust(room).decode()
    return file


def _comment(tags: dict[str, Any], channels: int) -> bytes:
    """Return tags as the file holds them, with that of the reference signal if there is one."""
    channel_tag = {REFERENCE_CHANNEL_TAG: 2} if channels > 1 else {}
    return json.dumps(tags | channel_tag, ensure_ascii=False).encode()


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error).rstrip(".")
