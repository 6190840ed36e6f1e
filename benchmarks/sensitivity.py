"""How much the output changes when each constant changes by 10 %.

    python -m benchmarks.sensitivity [ear marking] [--match gate] [--top 20]

Each numeric field of the parameter objects of a room (module constants whose class is named
``…Parameters``) is scaled by 0.9 and 1.1 in turn, whole numbers by at least 1. Fixed recordings
(`tests/reeds`) are analysed and marked again, and the largest change is printed:

- *notes*: change of the number of notes, or number of notes with another tab;
- *cents*: largest change of a note's pitch;
- *ms*: largest change of a note's onset;
- *score*, *step*: change of a take's score, and largest change of a step's score, in points.

A constant matters more than it should (``!``) if 10 % of it change the number of notes, a pitch by
over `MAX_CENTS`, an onset by over `MAX_MS`, or the score by over `MAX_POINTS`: then a small error
in its choice shows. Goals and scales of the score are meant to matter.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import pkgutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import _lru_cache_wrapper
from typing import Any

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks import results
from tests.reeds.excerpts import EXCERPTS, path_of
from trainer.drill import find_drill
from trainer.ear import HeardNote, analyze_blocks, track_notes
from trainer.marking import Result
from trainer.practice import PassEnded, Plan, run_take
from trainer.sound import Recording, RecordingSpec

ROOMS = ("ear", "marking")
FACTORS = (0.9, 1.1)
EAR_EXCERPTS = ("bends", "again")
MARKED_EXCERPT, DRILL = "faulty-phrase", "harbour-bell"
MAX_CENTS, MAX_MS, MAX_POINTS = 1.0, 5.0, 2.0
"""Limits of the changes that 10 % may cause: cents, a hop of the ear in ms, and points of the score
(chosen, not fitted)."""


@dataclass(frozen=True)
class Constant:
    """A numeric field of a parameter object."""

    name: str
    parameters: Any
    field: str

    @property
    def value(self) -> float:
        """The current value."""
        return getattr(self.parameters, self.field)

    def set(self, value: float) -> None:
        """Change the value in place, so that all users of the object see it."""
        object.__setattr__(self.parameters, self.field, value)
        for cached in [item for item in gc.get_objects() if type(item) is _lru_cache_wrapper]:
            cached.cache_clear()

    def scaled(self, factor: float) -> float:
        """Return the current value scaled; a whole number changes by at least 1."""
        if isinstance(self.value, int):
            step = max(1, round(abs(self.value) * abs(factor - 1.0)))
            return self.value + (step if factor > 1.0 else -step)
        return self.value * factor


@dataclass(frozen=True)
class Output:
    """What the trainer reports about the recordings.

    Attributes:
        notes: of each excerpt.
        result: of the marked take; None where no pass was found.
    """

    notes: tuple[tuple[HeardNote, ...], ...]
    result: Result | None


@dataclass(frozen=True)
class Change:
    """The largest differences between two outputs; infinite where there is no output.

    `invalid` is set where a value raises an error.
    """

    notes: float = 0.0
    cents: float = 0.0
    ms: float = 0.0
    score: float = 0.0
    step: float = 0.0
    invalid: bool = False

    @property
    def excessive(self) -> bool:
        """Whether it is more than a change of 10 % should cause."""
        limits = ((self.notes, 0.0), (self.cents, MAX_CENTS), (self.ms, MAX_MS))
        return any(size > limit for size, limit in (*limits, (self.score, MAX_POINTS)))

    @property
    def rank(self) -> float:
        """Size in units of the limits, for sorting."""
        sizes = (self.cents / MAX_CENTS, self.ms / MAX_MS, self.score / MAX_POINTS)
        return 10.0 * self.notes + max(*sizes, 0.1 * self.step)

    def largest(self, other: Change) -> Change:
        """Return the larger of each difference."""
        pairs = ((getattr(self, f.name), getattr(other, f.name)) for f in fields(self))
        return Change(*map(max, pairs))


def constants(rooms: Sequence[str]) -> Iterator[Constant]:
    """Yield the numeric fields of all parameter objects of some rooms."""
    seen: set[int] = set()
    for room in rooms:
        package = importlib.import_module(f"trainer.{room}")
        names = [package.__name__]
        names += [
            f"{package.__name__}.{info.name}" for info in pkgutil.iter_modules(package.__path__)
        ]
        for module in map(importlib.import_module, names):
            for value in vars(module).values():
                kind = type(value)
                if (
                    is_dataclass(value)
                    and not isinstance(value, type)
                    and kind.__name__.endswith("Parameters")
                    and id(value) not in seen
                ):
                    seen.add(id(value))
                    for item in fields(value):
                        number = getattr(value, item.name)
                        if isinstance(number, int | float) and not isinstance(number, bool):
                            yield Constant(f"{room}: {kind.__name__}.{item.name}", value, item.name)


def output(*, with_notes: bool = True) -> Output:
    """Analyse the recordings (with `with_notes`), and mark the take."""
    notes = []
    for name in EAR_EXCERPTS if with_notes else ():
        harp = EXCERPTS[name].harp
        recording = Recording(path_of(name))
        readings = analyze_blocks(recording.blocks(), recording.rate, harp)
        notes.append(tuple(track_notes(readings, harp)))
    plan = Plan(
        EXCERPTS[MARKED_EXCERPT].harp, RecordingSpec(path_of(MARKED_EXCERPT)), find_drill(DRILL)
    )
    passes = [event.result for event in run_take(plan) if isinstance(event, PassEnded)]
    return Output(tuple(notes), passes[0] if passes else None)


def compare(before: Output, after: Output) -> Change:
    """Return the largest differences between two outputs."""
    notes, cents, ms = 0.0, 0.0, 0.0
    for first, second in zip(before.notes, after.notes, strict=True):
        notes += abs(len(first) - len(second))
        if len(first) != len(second):
            continue
        for old, new in zip(first, second, strict=True):
            if old.tab != new.tab:
                notes += 1
            else:
                cents = max(cents, abs(new.cents - old.cents))
            ms = max(ms, abs(new.start - old.start) / old.rate * 1000.0)
    if before.result is None or after.result is None:
        return Change(notes, cents, ms, float("inf"), float("inf"))
    pairs = zip(before.result.marks, after.result.marks, strict=True)
    step = max(abs(new.score - old.score) for old, new in pairs)
    return Change(notes, cents, ms, abs(after.result.score - before.result.score), step)


def measure(constant: Constant, before: Output) -> Change:
    """Return the largest change that a constant causes at either factor."""
    with_notes = bool(before.notes)
    original, change = constant.value, Change()
    try:
        for value in [constant.scaled(factor) for factor in FACTORS]:
            constant.set(value)
            try:
                change = change.largest(compare(before, output(with_notes=with_notes)))
            except Exception:  # such as an even window where it must be odd
                change = replace(change, invalid=True)
    finally:
        constant.set(original)
    return change


def lines(changes: Sequence[tuple[Constant, Change]], top: int) -> Iterator[str]:
    """Yield the table of the constants that matter most, and how many matter too much."""
    yield f"{'':<56}{'value':>9}{'notes':>7}{'cents':>8}{'ms':>7}{'score':>7}{'step':>7}"
    ranked = sorted(changes, key=lambda pair: -pair[1].rank)
    for constant, change in ranked[:top]:
        mark = "! " if change.excessive else "  "
        yield (
            f"{mark}{constant.name:<54}{constant.value:>9.4g}{change.notes:>7.0f}"
            f"{change.cents:>8.2f}{change.ms:>7.1f}{change.score:>7.2f}{change.step:>7.1f}"
        )
    excessive = sum(change.excessive for _, change in changes)
    unchanged = sum(change in (Change(), Change(invalid=True)) for _, change in changes)
    yield (
        f"{excessive} of {len(changes)} constants matter more than they should; {unchanged} change "
        "nothing on these recordings; "
        f"{sum(change.invalid for _, change in changes)} raise an error at one of the values"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.sensitivity")
    parser.add_argument("rooms", nargs="*", default=list(ROOMS), help="packages of trainer")
    parser.add_argument("--match", default="", help="only fields whose name contains this")
    parser.add_argument("--top", type=int, default=20, help="rows to print")
    results.add_options(parser)
    options = parser.parse_args()
    chosen = [item for item in constants(options.rooms) if options.match in item.name]
    if options.smoke:
        chosen = chosen[:1]
    table = results.Results(
        f"benchmarks.sensitivity {' '.join(options.rooms)}",
        f"recordings {', '.join(EAR_EXCERPTS)} and {MARKED_EXCERPT} of tests/reeds; "
        f"{len(chosen)} constants of {', '.join(options.rooms)}, changed by 10 %",
        "the tests of the ear and of marking use these recordings",
    )
    # Marking comes after the ear: its constants cannot change the notes.
    before = output(with_notes=options.rooms != ["marking"] and not options.smoke)
    changes = [(constant, measure(constant, before)) for constant in chosen]
    for line in lines(changes, options.top):
        table.print(line)
    table.finish(options)


if __name__ == "__main__":
    main()
