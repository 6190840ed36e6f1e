"""Mark many recordings of a drill, on all cores.

Each is marked in a process of a pool, by the path that all sound takes. An error in one recording
is reported and stops no other. Where a process dies on one, new processes mark the rest.

Importing what marks a recording takes a process as long as marking some ten seconds of sound. So on
Linux the processes are forks of this one where it has no other threads.
"""

from __future__ import annotations

import multiprocessing as mp
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from trainer.core import TrainerError
from trainer.core.system import CAN_FORK
from trainer.core.threads import limit_blas_threads
from trainer.ear import Reading
from trainer.marking import Result
from trainer.practice.events import Notice, PassEnded, ReadingHeard, TakeFailed
from trainer.practice.plan import Plan
from trainer.practice.session import run_take

NOTHING_DUE = "it was stopped before a step was due; it holds nothing to mark"
CRASHED = "the trainer crashed on it; please report this, with the file"
CONNECT_S = 10.0
"""Time that a scheduler has to answer, in seconds."""


class BatchError(TrainerError):
    """Recordings cannot be sent to the processes that mark them."""


@dataclass(frozen=True, slots=True)
class MarkedRecording:
    """A recording with its results, or the reason why it has none.

    Attributes:
        path: the recording.
        passes: the results of its passes, in order; empty where it could not be marked.
        trouble: why it could not, in a sentence; empty if it was.
        notes: what else is to be known of it, a sentence each: damage, or targets of its own.
    """

    path: Path
    passes: tuple[Result, ...] = ()
    trouble: str = ""
    notes: tuple[str, ...] = ()

    @property
    def best(self) -> Result | None:
        """The best pass."""
        return max(self.passes, key=lambda result: result.score, default=None)


@dataclass(frozen=True, slots=True)
class Job:
    """The marking of one recording, which is pickled to the process that does it.

    Attributes:
        path: the recording.
        work: marks it, and raises nothing.
    """

    path: Path
    work: Callable[[], MarkedRecording]


def mark_recording(plan: Plan, readings: list[Reading] | None = None) -> MarkedRecording:
    """Mark a recording; errors are reported in the result and not raised.

    Args:
        plan: of the recording.
        readings: receives all readings, if a list is given.
    """
    passes, trouble, notes = [], "", []
    try:
        for event in run_take(plan):
            if isinstance(event, PassEnded):
                passes.append(event.result)
            elif isinstance(event, ReadingHeard) and readings is not None:
                readings.append(event.reading)
            elif isinstance(event, TakeFailed):
                trouble = event.sentence
            elif isinstance(event, Notice):
                notes.append(event.sentence)
    except Exception as error:
        trouble = crash_sentence(error)
    if not passes and not trouble:
        trouble = NOTHING_DUE
    return MarkedRecording(_path(plan), tuple(passes), trouble, tuple(notes))


def mark_recordings(
    plans: Sequence[Plan], workers: int | str | None = None
) -> Iterator[MarkedRecording]:
    """Mark recordings, and yield each as soon as it is done.

    Args:
        plans: one for each recording.
        workers: number of processes; None takes one for each core, 1 marks in this process. A
            text is the address of a Dask scheduler, whose workers must find the recordings under
            the same paths.

    Raises:
        BatchError: there is no such scheduler, or Dask is not installed.
    """
    return run_jobs([Job(_path(plan), partial(mark_recording, plan)) for plan in plans], workers)


def run_jobs(jobs: Sequence[Job], workers: int | str | None = None) -> Iterator[MarkedRecording]:
    """Do some jobs, and yield each result as soon as it is there.

    Args:
        jobs: one for each recording.
        workers: as for :func:`mark_recordings`.

    Raises:
        BatchError: there is no such scheduler, or Dask is not installed.
    """
    if isinstance(workers, str):
        yield from _by_dask(jobs, workers)
        return
    count = min(workers or os.cpu_count() or 1, len(jobs))
    if count <= 1:
        for job in jobs:
            yield job.work()
        return
    waiting = dict(enumerate(jobs))
    try:
        for index, marked in _in_pool(waiting, count):
            del waiting[index]
            yield marked
    except BrokenProcessPool:
        # One of the waiting jobs killed its process: each gets a process of its own now.
        for index, job in list(waiting.items()):
            try:
                for _, marked in _in_pool({index: job}, 1):
                    yield marked
            except BrokenProcessPool:
                yield MarkedRecording(job.path, trouble=CRASHED)


def _in_pool(jobs: dict[int, Job], workers: int) -> Iterator[tuple[int, MarkedRecording]]:
    with ProcessPoolExecutor(workers, _context()) as pool:
        futures = {pool.submit(job.work): index for index, job in jobs.items()}
        for future in as_completed(futures):
            yield futures[future], future.result()


def _context() -> mp.context.BaseContext:
    """Return how the processes of a pool are started.

    A fork has only the thread that made it, and may wait for ever for a lock that another one held.
    Elsewhere than on Linux, the system's own libraries may hold such locks.
    """
    if not CAN_FORK or threading.active_count() > 1:
        return mp.get_context("spawn")
    limit_blas_threads()
    return mp.get_context("fork")


def _by_dask(jobs: Sequence[Job], address: str) -> Iterator[MarkedRecording]:
    """Mark recordings by the workers of a Dask scheduler.

    Where a worker dies, Dask gives its recordings to another; a recording that kills several is
    reported.
    """
    try:
        from distributed import Client, KilledWorker, as_completed
    except ImportError:
        raise BatchError(
            "a scheduler needs Dask: python -m pip install distributed, here and on each worker"
        ) from None
    try:
        client = Client(address, timeout=CONNECT_S)
    except (OSError, TimeoutError, ValueError) as error:
        reason = str(error).splitlines()[0]
        raise BatchError(
            f"no Dask scheduler answers at {address} ({reason}); start one with 'dask scheduler'"
        ) from None
    try:
        futures = {client.submit(job.work, pure=False): job.path for job in jobs}
        for future in as_completed(list(futures)):
            try:
                yield future.result()
            except KilledWorker:
                yield MarkedRecording(futures[future], trouble=CRASHED)
            except Exception as error:
                yield MarkedRecording(futures[future], trouble=crash_sentence(error))
            future.release()
    finally:
        client.close()


def _path(plan: Plan) -> Path:
    """The recording that a plan marks."""
    assert plan.source.file is not None
    return plan.source.file


def crash_sentence(error: Exception) -> str:
    """Return what is said of a recording on which the trainer itself failed."""
    return f"{CRASHED} ({type(error).__name__}: {error})"
