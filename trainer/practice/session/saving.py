"""The sound of a take, saved while it is played."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Mapping
from pathlib import Path
from typing import Any

from trainer.core import TrainerError
from trainer.practice.events import Event, Notice, SavingProgress
from trainer.practice.plan import Plan
from trainer.practice.recorder import ResultRecorder
from trainer.sound import Block, Source, TakeWriter


class SoundSaver:
    """Saves the blocks of a take where the player, the journal or a screen wants them."""

    def __init__(self, plan: Plan, recorder: ResultRecorder) -> None:
        self._plan, self._recorder = plan, recorder
        self._writer: TakeWriter | None = None
        self._failed = False

    def start(self, source: Source) -> None:
        """Start the file, if the sound is wanted.

        Raises:
            SoundError: it cannot be created.
        """
        file = self._recorder.sound_file()
        if file is not None:
            self._writer = TakeWriter(file, source.rate, with_reference=source.may_play)

    def save(self, block: Block) -> Iterator[Event]:
        """Save a block; practice goes on where that fails, and what is saved by then is kept."""
        if self._writer is None or self._failed:
            return
        try:
            self._writer.write(block)
        except TrainerError as error:
            self._failed = True
            yield Notice(f"{error}; practice goes on unsaved")

    def finish(
        self, tags: Mapping[str, Any]
    ) -> Generator[Event, None, tuple[str | None, str | None]]:
        """Finish the file.

        Args:
            tags: what to keep with the sound.

        Yields:
            `SavingProgress` where it takes time.

        Returns:
            Where the player wanted it, and where the sound can be heard for now.

        Raises:
            TrainerError: the sound cannot be saved.
        """
        plan = self._plan
        if self._writer is None:
            return None, str(plan.source.file) if plan.source.file else None
        path = yield from _progress(self._writer.finish(tags))
        if path is None or plan.save is not None:
            return (str(path), str(path)) if path else (None, None)
        stored = self._recorder.store_sound(path)
        return None, str(stored) if stored else None


def _progress(
    work: Generator[float, None, Path | None],
) -> Generator[Event, None, Path | None]:
    """Yield the progress of some work as events; return its result."""
    while True:
        try:
            yield SavingProgress(next(work))
        except StopIteration as done:
            result: Path | None = done.value
            return result
        except GeneratorExit:  # nobody reads any more; the sound is kept all the same
            list(work)
            raise
