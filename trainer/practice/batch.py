"""Many recordings of a drill, marked on all cores.

Each is marked in a process of a pool, by the path that all sound goes; what is wrong with one is
told and stops no other. Where a process dies on one, the rest is marked by new ones.
"""

from __future__ import annotations

import multiprocessing as mp
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

from trainer.core import TrainerError
from trainer.marking import Result
from trainer.practice.events import PassEnded, TakeFailed
from trainer.practice.plan import Plan
from trainer.practice.take import run_take
from trainer.sound import RecordingSpec

NOTHING_DUE = "it was stopped before a step was due; it holds nothing to mark"
CONNECT_S = 10.0
CRASHED = "the trainer fell over it; please report this, with the file"


class BatchError(TrainerError):
    """Recordings cannot be given to whoever is to mark them."""


@dataclass(frozen=True, slots=True)
class MarkedRecording:
    """A recording that was marked, or not.

    Attributes:
        path: the recording.
        passes: the results of the passes in it, in order; none where it could not be marked.
        trouble: why it could not, in a sentence; empty if it was.
    """

    path: Path
    passes: tuple[Result, ...] = ()
    trouble: str = ""

    @property
    def best(self) -> Result | None:
        """The best pass."""
        return max(self.passes, key=lambda result: result.score, default=None)


def mark_recording(plan: Plan) -> MarkedRecording:
    """Mark a recording; whatever is wrong is told and not raised."""
    assert isinstance(plan.source, RecordingSpec)
    path, passes, trouble = plan.source.path, [], ""
    try:
        for event in run_take(plan):
            if isinstance(event, PassEnded):
                passes.append(event.result)
            elif isinstance(event, TakeFailed):
                trouble = event.sentence
    except Exception as error:
        trouble = f"{CRASHED} ({type(error).__name__}: {error})"
    if not passes and not trouble:
        trouble = NOTHING_DUE
    return MarkedRecording(path, tuple(passes), trouble)


def mark_recordings(
    plans: Sequence[Plan], workers: int | str | None = None
) -> Iterator[MarkedRecording]:
    """Mark recordings, each as soon as it is done.

    Args:
        plans: one for each recording.
        workers: processes; None takes as many as there are cores, 1 marks them in this one. A
            text is the address of a Dask scheduler, whose workers mark them; they must see the
            recordings by the same paths.

    Raises:
        BatchError: there is no such scheduler, or Dask is not installed.
    """
    if isinstance(workers, str):
        yield from _by_dask(plans, workers)
        return
    count = min(workers or os.cpu_count() or 1, len(plans))
    if count <= 1:
        yield from map(mark_recording, plans)
        return
    left = dict(enumerate(plans))
    try:
        for place, marked in _in_pool(left, count):
            del left[place]
            yield marked
    except BrokenProcessPool:
        # One of those that are left killed its process: each gets one of its own now.
        for place, plan in list(left.items()):
            try:
                for _, marked in _in_pool({place: plan}, 1):
                    yield marked
            except BrokenProcessPool:
                assert isinstance(plan.source, RecordingSpec)
                yield MarkedRecording(plan.source.path, trouble=CRASHED)


def _in_pool(plans: dict[int, Plan], workers: int) -> Iterator[tuple[int, MarkedRecording]]:
    with ProcessPoolExecutor(workers, mp.get_context("spawn")) as pool:
        waiting = {pool.submit(mark_recording, plan): place for place, plan in plans.items()}
        for done in as_completed(waiting):
            yield waiting[done], done.result()


def _by_dask(plans: Sequence[Plan], address: str) -> Iterator[MarkedRecording]:
    """Mark them by the workers of a Dask scheduler.

    Where a worker dies, Dask gives its recordings to another; one that kills several is told.
    """
    try:
        from distributed import Client, KilledWorker, as_completed
    except ImportError:
        raise BatchError(
            "a scheduler needs Dask: pip install 'harp-trainer[cluster]', here and on each worker"
        ) from None
    try:
        client = Client(address, timeout=CONNECT_S)
    except (OSError, TimeoutError, ValueError) as error:
        why = str(error).splitlines()[0]
        raise BatchError(
            f"no Dask scheduler answers at {address} ({why}); start one with 'dask scheduler'"
        ) from None
    try:
        paths = {}
        for plan in plans:
            assert isinstance(plan.source, RecordingSpec)
            future = client.submit(mark_recording, plan, pure=False)
            paths[future] = plan.source.path
        for future in as_completed(list(paths)):
            try:
                yield future.result()
            except KilledWorker:
                yield MarkedRecording(paths[future], trouble=CRASHED)
            except Exception as error:
                yield MarkedRecording(
                    paths[future], trouble=f"{CRASHED} ({type(error).__name__}: {error})"
                )
            future.release()
    finally:
        client.close()
