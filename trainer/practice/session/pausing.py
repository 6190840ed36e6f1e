"""Pausing, resuming and going back, by the player's command or after a loss of sound."""

from __future__ import annotations

from collections.abc import Iterator

from trainer.practice.commands import PassControl
from trainer.practice.conductor import Conductor
from trainer.practice.events import Event, Notice, TakePaused, TakeResumed
from trainer.practice.plan import Plan
from trainer.practice.session.scheduling import PassScheduler
from trainer.sound import Source


class Pausing:
    """Pauses and resumes the current pass."""

    def __init__(
        self, plan: Plan, source: Source, conductor: Conductor, scheduler: PassScheduler
    ) -> None:
        self._plan, self._source = plan, source
        self._conductor, self._scheduler = conductor, scheduler
        self._paused_at: int | None = None
        """The sample at which the player paused."""
        self._bars_back = 0
        """Bars to play once more when the pass resumes."""

    @property
    def paused(self) -> bool:
        """Whether the player has paused."""
        return self._paused_at is not None

    def position(self, sample: int) -> int:
        """Return the sample that the pass has reached: where it is paused, else the current one."""
        return sample if self._paused_at is None else self._paused_at

    def obey(self, control: PassControl, sample: int) -> Iterator[Event]:
        """Carry out a command at a sample."""
        if self._plan.drill is None or not self._conductor.running:
            return
        if self._plan.follows:
            yield Notice("stop, or go back, and play on: you are followed")
            return
        if not self._source.can_pause:
            yield Notice("a recording cannot be paused or taken back; start it again instead")
            return
        was_paused = self.paused
        if control is PassControl.PAUSE and not was_paused:
            self._paused_at, self._bars_back = sample, 0
            self._scheduler.forget_scheduled()
            self._source.pause()
        elif control is PassControl.GO_BACK:
            self._bars_back += 1
        if self.paused and control is not PassControl.RESUME:
            yield self._paused_event()
        elif was_paused or control is PassControl.GO_BACK:
            yield from self._resume(sample)

    def resume_after_loss(self, sample: int) -> Iterator[Event]:
        """Resume the current pass after the source was lost, unless the player has paused it.

        Args:
            sample: the last sample before the loss.
        """
        if self._plan.drill is None or self._plan.follows:
            yield from self._scheduler.listen_again()
            return
        self._scheduler.forget_scheduled()
        if self.paused:
            yield self._paused_event()
        elif self._conductor.running:
            yield from self._scheduler.resume(self._conductor.interrupt(sample), sample)

    def _resume(self, sample: int) -> Iterator[Event]:
        self._scheduler.forget_scheduled()
        step = self._conductor.interrupt(self.position(sample), self._bars_back)
        self._paused_at, self._bars_back = None, 0
        yield TakeResumed()
        yield from self._scheduler.resume(step, sample)

    def _paused_event(self) -> TakePaused:
        """Return the event that shows the bar from which the pass will resume."""
        drill = self._plan.drill
        assert drill is not None
        assert self._paused_at is not None
        step = self._conductor.resume_step(self._paused_at, self._bars_back)
        return TakePaused(bar=self._conductor.resume_bar(step, self._paused_at))
