"""Runs the benchmarks: ``python -m benchmarks``, as `make bench` does."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from benchmarks import cost, melody, notes, plots, table
from benchmarks.conditions import CONDITIONS, HARPS
from benchmarks.corpus import HIGHEST_MIDI, LOWEST_MIDI, Player
from benchmarks.fonts import VOICES, FontError, prepare
from benchmarks.materials import ASKED, FROZEN, MATERIALS, OFF_THEORY
from benchmarks.peers import PEERS
from benchmarks.rows import BENDS
from benchmarks.scores import Job, Scores, score_all

RESULTS = Path(__file__).parent / "results"
KEYS = ("C", "A", "D", "G", "low F", "high G")
QUICK_KEYS = {
    "harmonica 1": ("C", "A", "low F", "high G"),
    "harmonica 2": ("C", "D", "low F", "high G"),
    "reed organ 1": ("G", "A"),
    "reed organ 2": ("C", "D"),
}
"""Without FULL: fewer harps, and of each only some notes and pairs, not always the same."""
EVERY, EVERY_UNDER, EVERY_NOTE = 5, 5, 18
FEW = {"bend 100": 2, "bend 200": 1, "hard": 2, "leak in bend": 3, "leak in whole": 1, "split": 3}
"""Of materials that begin so there are few, or short ones: of these more are played."""
OFF_CENTS = 40.0
HEARD_BY_PEERS = (
    "steady",
    *BENDS,
    "steady 20 dB",
    "bend 100 20 dB",
    "bend 200 20 dB",
    "hard",
    *FROZEN,
)
"""Materials that the quick peers hear too."""
HEARD_BY_SLOW = ("steady", "bend 100")
"""Those that the slow ones hear, too, on two C harps."""


def jobs(full: bool) -> Iterator[Job]:
    """All that is to be heard."""
    quick = tuple(peer.name for peer in PEERS.values() if not peer.slow)
    slow = tuple(peer.name for peer in PEERS.values() if peer.slow)

    def every(material: str) -> int:
        few = next((n for name, n in FEW.items() if material.startswith(name)), EVERY)
        return 1 if full else few

    for voice in VOICES:
        for key in KEYS if full else QUICK_KEYS[voice]:
            for material in (*MATERIALS, *FROZEN):
                peers = quick if material in HEARD_BY_PEERS else ()
                if material in HEARD_BY_SLOW and key == "C" and voice.startswith("harmonica"):
                    peers += slow
                yield Job(material, voice, key, every=every(material), peers=peers)
            for material in OFF_THEORY:
                yield Job(material, voice, key, off=OFF_CENTS, every=every(material))
        key = QUICK_KEYS[voice][0]
        for condition in (*CONDITIONS, *HARPS):
            for what in ASKED:
                yield Job(f"{what} | {condition}", voice, key, every=1 if full else EVERY_UNDER)


def main() -> None:
    """Reads the arguments, hears everything, and writes tables and pictures."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--full", action="store_true", help="every harp, every note and pair")
    parser.add_argument("--misses", action="store_true", help="name the items that miss a goal")
    parser.add_argument("--only", default="", help="only materials that begin so, such as 'pair'")
    parser.add_argument("--processes", type=int, default=2, help="that listen at a time; 2")
    parser.add_argument("--memory", type=float, metavar="MINUTES", help="only memory, over so long")
    asked = parser.parse_args()
    try:
        if asked.memory:
            for line in cost.memory(asked.memory):
                print(line, flush=True)
            return
        run(asked.full, asked.only, asked.misses, asked.processes)
    except FontError as error:
        sys.exit(str(error))


def run(full: bool, only: str, with_misses: bool, processes: int) -> None:
    """Everything, or the tables of some materials alone."""
    begun = time.monotonic()
    prepare(range(LOWEST_MIDI, HIGHEST_MIDI + 1), processes)
    todo = [job for job in jobs(full) if job.material.startswith(only)]
    scores = Scores()
    for done, found in enumerate(score_all(todo, processes), 1):
        scores.scores += found
        _progress(f"{done} of {len(todo)} materials heard, {time.monotonic() - begun:.0f} s")
    _progress("")
    sections: list[tuple[str, Callable[[], list[str]]]] = [
        ("This ear against its goals", lambda: list(table.goals(scores))),
    ]
    if not only:
        sections += [
            ("This ear and its peers, on the same items", lambda: list(table.detectors(scores))),
            ("Conditions: tuned on / kept aside", lambda: list(table.conditions(scores))),
            ("Melodies of thirty notes, by mir_eval", _melodies),
            (
                "Notes and how they move",
                lambda: list(notes.table(1 if full else EVERY_NOTE, processes)),
            ),
            ("CPU on the same audio", cost.cost_lines),
        ]
    if with_misses:
        sections.append(("Items that miss a goal", lambda: list(table.misses(scores))))
    RESULTS.mkdir(exist_ok=True)
    with (RESULTS / "table.md").open("w", encoding="utf-8") as file:
        for title, lines in sections:
            text = "\n".join([f"## {title}", "", *lines(), ""])
            print(text, flush=True)
            file.write(text + "\n")
    if not only:
        files = plots.draw_all(scores, RESULTS)
        print("Pictures:", ", ".join(file.name for file in files), "in", RESULTS.name)
    spent = sum(os.times()[:4])  # children too, once they have ended
    print(f"{len(scores.scores)} items in {time.monotonic() - begun:.0f} s, {spent:.0f} s of CPU")


def _melodies() -> list[str]:
    rows = [melody.HEAD, "|" + " --- |" * (melody.HEAD.count("|") - 1)]
    for voice in ("harmonica 1", "harmonica 2"):
        for soft in (False, True):
            rows += melody.lines(Player(voice, "C"), soft)
    return rows


def _progress(text: str) -> None:
    if sys.stderr.isatty():
        print(f"\r\033[K{text}", end="", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
