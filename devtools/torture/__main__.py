"""Command line of the torture: see the package."""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from devtools.torture.runner import HEAD, KINDS, REACH, Tally, run_kind


def main() -> int:
    """Run trials and print their table; return 1 if any failed."""
    parser = argparse.ArgumentParser(prog="python -m devtools.torture")
    parser.add_argument("what", nargs="?", choices=("trials", "live"), default="trials")
    parser.add_argument("--minutes", type=float, default=10.0, help="time for all kinds together")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="+", choices=KINDS, default=list(KINDS), metavar="KIND")
    parser.add_argument("--trial", type=int, help="repeat this one trial of the kinds")
    parser.add_argument("--tally", type=Path, help="file that adds up the trials of several runs")
    parser.add_argument("--reach", action="store_true", help="stop a kind at its number of trials")
    parser.add_argument("--log", type=Path, help="file for what a live take samples")
    asked = parser.parse_args()
    if asked.what == "live":
        return _run_live(asked.minutes, asked.log)
    numbers = None if asked.trial is None else [asked.trial]
    tally = Tally(asked.tally, asked.seed)
    until = time.monotonic() + 60.0 * asked.minutes
    passed = True
    print(f"Seed {tally.seed}, {asked.minutes:g} minutes.\n\n{HEAD}")
    for left, kind in zip(range(len(asked.only), 0, -1), asked.only, strict=True):
        share_s = max(0.0, until - time.monotonic()) / left
        goal = REACH[kind] if asked.reach else None
        outcome = run_kind(kind, tally, share_s, numbers=numbers, goal=goal)
        print(outcome.row(), flush=True)
        for number, reason in outcome.failures[:5]:
            print(f"trial {number} of {kind}:\n{reason}", file=sys.stderr)
        passed = passed and outcome.passed
    return 0 if passed else 1


def _run_live(minutes: float, log: Path | None) -> int:
    """Run a live take, and print its report; return 1 if anything was lost."""
    from devtools.torture.live import run_live

    with tempfile.TemporaryDirectory() as folder:
        outcome = run_live(minutes, log or Path(folder, "live.jsonl"))
    print("\n".join(outcome.lines()))
    return 0 if outcome.passed else 1


if __name__ == "__main__":
    sys.exit(main())
