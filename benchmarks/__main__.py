"""This ear and its peers on the corpus: ``python -m benchmarks``, as `make bench` runs it."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from benchmarks import cost, melody, notes, plots, results, table
from benchmarks.conditions import CONDITIONS, HARPS
from benchmarks.corpus import HIGHEST_MIDI, LOWEST_MIDI, Player
from benchmarks.fonts import VOICES, FontError, prepare
from benchmarks.materials import FROZEN, IN_CONDITIONS, MATERIALS, OFF_THEORY
from benchmarks.peers import PEERS
from benchmarks.rows import BENDS
from benchmarks.scores import Job, Scores, score_all

TABLES = Path(__file__).parent / "results"
KEYS = ("C", "A", "D", "G", "low F", "high G")
QUICK_KEYS = {
    "harmonica 1": ("C", "A", "low F", "high G"),
    "harmonica 2": ("C", "D", "low F", "high G"),
    "reed organ 1": ("G", "A"),
    "reed organ 2": ("C", "D"),
}
"""Without ``--full``: fewer harps, and of each only some notes and pairs."""
EVERY, EVERY_UNDER, EVERY_NOTE = 5, 5, 18
FEW = {"bend 100": 2, "bend 200": 1, "hard": 2, "leak in bend": 3, "leak in whole": 1, "split": 3}
"""1 in how many items is used of materials that begin so: they are few, or short."""
OFF_CENTS = 40.0
PEER_MATERIALS = (
    "steady",
    *BENDS,
    "steady 20 dB",
    "bend 100 20 dB",
    "bend 200 20 dB",
    "hard",
    *FROZEN,
)
"""Materials that the quick peers analyse too."""
SLOW_PEER_MATERIALS = ("steady", "bend 100")
"""Materials that the slow peers analyse too, on two C harps."""


def jobs(full: bool) -> Iterator[Job]:
    """Yield all jobs."""
    quick = tuple(peer.name for peer in PEERS.values() if not peer.slow)
    slow = tuple(peer.name for peer in PEERS.values() if peer.slow)

    def every(material: str) -> int:
        few = next((n for name, n in FEW.items() if material.startswith(name)), EVERY)
        return 1 if full else few

    for voice in VOICES:
        for key in KEYS if full else QUICK_KEYS[voice]:
            for material in (*MATERIALS, *FROZEN):
                peers = quick if material in PEER_MATERIALS else ()
                if material in SLOW_PEER_MATERIALS and key == "C" and voice.startswith("harmonica"):
                    peers += slow
                yield Job(material, voice, key, every=every(material), peers=peers)
            for material in OFF_THEORY:
                yield Job(material, voice, key, off=OFF_CENTS, every=every(material))
        key = QUICK_KEYS[voice][0]
        for condition in (*CONDITIONS, *HARPS):
            for material in IN_CONDITIONS:
                yield Job(f"{material} | {condition}", voice, key, every=1 if full else EVERY_UNDER)


def main() -> None:
    """Read the arguments, analyse everything, and write tables and plots."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--full", action="store_true", help="every harp, every note and pair")
    parser.add_argument("--misses", action="store_true", help="list the items that miss a goal")
    parser.add_argument("--only", default="", help="only materials that begin so, such as 'pair'")
    parser.add_argument("--processes", type=int, default=2, help="number of processes; 2")
    parser.add_argument("--memory", type=float, metavar="MINUTES", help="only measure memory")
    results.add_options(parser)
    options = parser.parse_args()
    try:
        if options.memory:
            for line in cost.memory(options.memory):
                print(line, flush=True)
            return
        run(options)
    except FontError as error:
        sys.exit(str(error))


def run(options: argparse.Namespace) -> None:
    """Analyse everything, or some materials, and print the tables."""
    began = time.monotonic()
    if not options.smoke:  # a smoke run records the few reeds that it needs
        prepare(range(LOWEST_MIDI, HIGHEST_MIDI + 1), options.processes)
    full, only = options.full, options.only
    todo = [job for job in jobs(full) if job.material.startswith(only)]
    if options.smoke:
        todo = [replace(job, every=20) for job in todo if job.material == "hard"][:1]
        only = "hard"
    output = results.Results(
        "benchmarks",
        "recorded reeds of the sound fonts, moved along known paths"
        + ("" if full else "; a sample of harps, notes and pairs"),
        "the ear was tuned on voice harmonica 1, and on no other voice",
    )
    scores = Scores()
    for done, job_scores in enumerate(score_all(todo, options.processes), 1):
        scores.scores += job_scores
        _progress(f"{done} of {len(todo)} materials analysed, {time.monotonic() - began:.0f} s")
    _progress("")
    sections: list[tuple[str, Callable[[], list[str]]]] = [
        ("This ear and its goals", lambda: list(table.goals(scores))),
    ]
    if not only:
        sections += [
            ("This ear and its peers, on the same items", lambda: list(table.detectors(scores))),
            ("Conditions: tuned on / held out", lambda: list(table.conditions(scores))),
            ("Melodies of 30 notes, by mir_eval", _melodies),
            (
                "Notes, vibrato and scoops",
                lambda: list(notes.table(1 if full else EVERY_NOTE, options.processes)),
            ),
            ("CPU on the same audio", cost.cost_lines),
        ]
    if options.misses:
        sections.append(("Items that miss a goal", lambda: list(table.misses(scores))))
    for title, lines in sections:
        output.print(f"### {title}", "", *lines(), "")
    if not options.smoke:
        TABLES.mkdir(exist_ok=True)
        (TABLES / "table.md").write_text("\n".join(output.lines) + "\n", encoding="utf-8")
    if not only:
        files = plots.draw_all(scores, TABLES)
        print("Plots:", ", ".join(file.name for file in files), "in", TABLES.name)
    cpu = sum(os.times()[:4])  # includes ended children
    output.print(
        f"{len(scores.scores)} items in {time.monotonic() - began:.0f} s, {cpu:.0f} s of CPU"
    )
    output.finish(options)


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
