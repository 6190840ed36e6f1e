"""The sound of a take, saved while it is played."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trainer.core import TrainerError
from trainer.practice.events import Event, Notice
from trainer.practice.passes import OwnTime, Pass, tags_of
from trainer.practice.plan import Plan
from trainer.practice.recorder import ResultRecorder
from trainer.sound import Block, Source, TakeWriter


class SoundSaver:
    """Saves the blocks of a take where the player, the journal or a screen wants them."""

    def __init__(self, plan: Plan, recorder: ResultRecorder) -> None:
        self._plan, self._recorder = plan, recorder
        self._writer: TakeWriter | None = None

    def start(self, source: Source) -> None:
        """Start the file, if the sound is wanted.

        Raises:
            SoundError: it cannot be created.
        """
        file = self._recorder.sound_file()
        if file is not None:
            self._writer = TakeWriter(file, source.rate, with_reference=source.is_live)

    def save(self, block: Block) -> Iterator[Event]:
        """Save a block; practice goes on where that fails."""
        if self._writer is None:
            return
        try:
            self._writer.write(block)
        except TrainerError as error:
            self._writer = None
            yield Notice(f"{error}; practice goes on unsaved")

    def finish(
        self, passes: Sequence[Pass], own_time: OwnTime | None = None
    ) -> tuple[str | None, str | None]:
        """Finish the file.

        Args:
            passes: the passes of the take.
            own_time: how it was played without a click; None with one.

        Returns:
            Where the player wanted it, and where the sound can be heard for now.

        Raises:
            TrainerError: the sound cannot be saved.
        """
        plan = self._plan
        if self._writer is None:
            return None, str(plan.source.file) if plan.source.file else None
        path = self._writer.close(tags_of(plan.drill, plan.harp, passes, own_time))
        if path is None or plan.save is not None:
            return (str(path), str(path)) if path else (None, None)
        stored = self._recorder.store_sound(path)
        return None, str(stored) if stored else None
