"""Command line of the torture: see the package."""

from __future__ import annotations

import argparse
import sys

from devtools.torture.runner import HEAD, KINDS, run_kind


def main() -> int:
    """Run trials and print their table; return 1 if any failed."""
    parser = argparse.ArgumentParser(prog="python -m devtools.torture")
    parser.add_argument("--minutes", type=float, default=10.0, help="time for all kinds together")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="+", choices=KINDS, default=list(KINDS), metavar="KIND")
    parser.add_argument("--trial", type=int, help="repeat this one trial of the kinds")
    asked = parser.parse_args()
    share_s = 60.0 * asked.minutes / len(asked.only)
    numbers = None if asked.trial is None else [asked.trial]
    passed = True
    print(f"Seed {asked.seed}, {share_s:.0f} s for each kind.\n\n{HEAD}")
    for kind in asked.only:
        outcome = run_kind(kind, asked.seed, share_s, numbers)
        print(outcome.row(), flush=True)
        for number, reason in outcome.failures[:5]:
            print(f"trial {number} of {kind}:\n{reason}", file=sys.stderr)
        passed = passed and outcome.passed
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main())
