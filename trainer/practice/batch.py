"""Mark many recordings of a drill, on all cores.

Each is marked in a process of a pool, by the path that all sound takes. An error in one recording
is reported and stops no other. Where a process dies on one, new processes mark the rest.

Importing what marks a recording takes a process as long as marking some ten seconds of sound. So on
Linux the processes are forks of this one where it has no other threads.
"""

from __future__ import annotations

import contextlib
import logging
import multiprocessing as mp
import os
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from trainer.core import TrainerError
from trainer.core.system import CAN_FORK
from trainer.core.threads import limit_blas_threads
from trainer.ear import Reading
from trainer.marking import Result
from trainer.practice.events import Notice, PassEnded, ReadingHeard, TakeFailed
from trainer.practice.plan import Plan
from trainer.practice.session import run_take
from trainer.sound import RecordingSpec

NOTHING_DUE = "it was stopped before a step was due; it holds nothing to mark"
CRASHED = "the trainer crashed on it; please report this, with the file"
MARKED_HERE = "it was marked on this machine, because the scheduler or a worker had gone"
CONNECT_S = 10.0
"""Time that a scheduler has to answer, in seconds."""
WORKERS_S = 8.0
"""Time within which a scheduler must have a worker, and each worker answer, in seconds."""
PING_S = 3.0
"""Time without a result after which the scheduler is asked whether it is there, in seconds."""
POLL_S = 0.02
CLOSE_S = 2.0
"""Time for taking leave of the scheduler, in seconds."""

_log = logging.getLogger(__name__)


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
    return run_jobs(
        [Job(_path(plan), partial(mark_recording, with_absolute_path(plan))) for plan in plans],
        workers,
    )


def with_absolute_path(plan: Plan) -> Plan:
    """Return a plan whose recording is found from any folder, such as that of a worker."""
    source = plan.source
    if not isinstance(source, RecordingSpec):
        return plan
    return replace(plan, source=replace(source, path=source.path.absolute()))


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
            yield replace(job.work(), path=job.path)
        return
    waiting = dict(enumerate(jobs))
    try:
        for index, marked in _in_pool(waiting, count):
            yield replace(marked, path=waiting.pop(index).path)
    except BrokenProcessPool:
        # One of the waiting jobs killed its process: each gets a process of its own now.
        for index, job in list(waiting.items()):
            try:
                for _, marked in _in_pool({index: job}, 1):
                    yield replace(marked, path=job.path)
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
    reported. Where the scheduler dies, what is left is marked here.
    """
    try:
        from distributed import Client, KilledWorker
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
    left: list[Job] = []
    try:
        _check_workers(client, address)
        pending = {client.submit(job.work, pure=False): job for job in jobs}
        asked = time.monotonic()
        while pending:
            finished = [future for future in pending if future.done()]
            for future in finished:
                job = pending.pop(future)
                try:
                    yield replace(future.result(timeout=CONNECT_S), path=job.path)
                except KilledWorker:
                    yield MarkedRecording(job.path, trouble=CRASHED)
                except Exception as error:  # a job raises nothing: it is the cluster's failure
                    _log.warning("%s is marked here: %s", job.path, error)
                    left.append(job)
                future.release()
            if finished:
                continue
            if time.monotonic() > asked + PING_S:
                if not _answers(client):
                    break
                asked = time.monotonic()
            time.sleep(POLL_S)
        left += pending.values()
    finally:
        with contextlib.suppress(Exception):  # it waits for a scheduler that may be gone
            client.close(timeout=CLOSE_S)
    for marked in run_jobs(left):
        yield replace(marked, notes=(*marked.notes, MARKED_HERE))


def _answers(client: Any) -> bool:
    """Whether the scheduler of a client still answers."""
    try:
        client.sync(client.scheduler.identity, callback_timeout=PING_S)
    except Exception:  # whatever a connection that is gone raises
        return False
    return bool(client.status == "running")


def _check_workers(client: Any, address: str) -> None:
    """Check that there is a worker, and that each has this version of the trainer.

    Raises:
        BatchError: there is none, or one has no trainer or another version.
    """
    try:
        client.wait_for_workers(1, timeout=WORKERS_S)
    except TimeoutError:
        raise BatchError(
            f"the Dask scheduler at {address} has no worker; start one on each machine with "
            f"'dask worker {address}'"
        ) from None

    def version() -> str:  # pickled as it is written here: a worker may have no trainer
        try:
            import trainer
            from trainer.practice import code_digest
            from trainer.practice.fingerprint import MARKING_ROOMS
        except ImportError:
            return ""
        return f"{trainer.__version__} {code_digest(MARKING_ROOMS)}"

    own = version()
    workers = list(client.scheduler_info(n_workers=-1)["workers"])
    answers = {worker: client.submit(version, workers=[worker], pure=False) for worker in workers}
    for worker, answer in answers.items():
        try:
            other = answer.result(timeout=WORKERS_S)
        except Exception as error:  # whatever the worker raises, it cannot be used
            raise BatchError(
                f"the worker {worker} does not answer ({type(error).__name__}); restart it"
            ) from None
        if not other:
            raise BatchError(f"the worker {worker} has no trainer; install this version there")
        if other != own:
            raise BatchError(
                f"the worker {worker} has another version of the trainer, {other.split()[0]}; "
                f"install {own.split()[0]}, the same files, there"
            )


def _path(plan: Plan) -> Path:
    """The recording that a plan marks."""
    assert plan.source.file is not None
    return plan.source.file


def crash_sentence(error: Exception) -> str:
    """Return what is said of a recording on which the trainer itself failed."""
    return f"{CRASHED} ({type(error).__name__}: {error})"
