"""Mark a backlog in a process of its own, as `trainer mark` does; for benchmarks.backlog.

The processes that mark import this module, so it imports no more than they need.
"""

from __future__ import annotations

import os
import pickle
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from trainer.practice import Job, MarkedRecording, Plan, mark_recording, run_jobs


@dataclass(frozen=True, slots=True)
class TimedRecording(MarkedRecording):
    """A marked recording, with what it cost.

    Attributes:
        cpu_s: CPU time of the process meanwhile, in seconds.
        process: number of the process.
        order: how many recordings the process had marked before.
    """

    cpu_s: float = 0.0
    process: int = 0
    order: int = 0


_marked = 0
"""Recordings that this process has marked."""


def mark_timed(plan: Plan) -> TimedRecording:
    """Mark a recording, and measure the CPU time of it."""
    global _marked
    began = time.process_time()
    done = mark_recording(plan)
    cpu_s = time.process_time() - began
    _marked += 1
    return TimedRecording(
        done.path, done.passes, done.trouble, done.notes, cpu_s, os.getpid(), _marked - 1
    )


def main(plans: str, workers: str, out: str) -> None:
    """Mark the plans of a file, and write the recordings marked to another."""
    todo: Sequence[Plan] = pickle.loads(Path(plans).read_bytes())
    jobs = [Job(plan.source.file, partial(mark_timed, plan)) for plan in todo if plan.source.file]
    done = list(run_jobs(jobs, workers or None))
    Path(out).write_bytes(pickle.dumps(done))
