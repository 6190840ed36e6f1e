"""Do recorded reeds earn the marks that the built-in player earns?

    python -m benchmarks.rendered [--record] [--smoke] [DRILL ...]

Each drill of the shelf is exported as a MIDI file and rendered with the harmonica of the sound font
FluidR3 (samples of a real harp), without reverberation or chorus, at 48 kHz. The recording is
marked by the path of `trainer mark`, which searches for the drill. Printed are its score, that of a
faultless pass of the built-in player, and their difference, with an x over `MAX_POINTS`.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.fonts import RATE, FontError, find_font
from benchmarks.results import Results, add_options
from trainer.drill import Drill, find_drill, read_shelf
from trainer.exchange import write_midi
from trainer.harp import Harp
from trainer.practice import PassEnded, Plan, TakeFailed, run_take
from trainer.sound import PlayerSpec, RecordingSpec, SourceSpec

FONT = "FluidR3_GM.sf2"
MAX_POINTS = 3.0
"""Largest difference of the scores, in points (chosen: one careless note of thirty)."""
SMOKE = ("first-clean-notes",)


@dataclass(frozen=True)
class Comparison:
    """The scores of one drill.

    Attributes:
        drill: its name.
        rendered, player: scores of the rendered file and of the built-in player; None where the
            take could not be marked.
        trouble: why it could not.
    """

    drill: str
    rendered: float | None
    player: float | None
    trouble: str = ""

    @property
    def difference(self) -> float | None:
        """Rendered score less the player's."""
        if self.rendered is None or self.player is None:
            return None
        return self.rendered - self.player

    @property
    def holds(self) -> bool:
        """Whether the scores differ by no more than `MAX_POINTS`."""
        return self.difference is not None and abs(self.difference) <= MAX_POINTS

    def line(self) -> str:
        """One line of the table."""
        sign = " " if self.holds else "x"
        values = (self.rendered, self.player)
        scores = " ".join("     -" if score is None else f"{score:6.1f}" for score in values)
        difference = "     -" if self.difference is None else f"{self.difference:+6.1f}"
        return f"{sign} {self.drill:<26} {scores} {difference} {self.trouble}".rstrip()


def render(drill: Drill, harp: Harp, path: Path) -> None:
    """Export a drill's first part as MIDI and render it as a WAV file.

    Raises:
        FontError: the sound font is missing.
    """
    midi = path.with_suffix(".mid")
    write_midi(replace(drill, second=()), harp, midi)
    command = ["fluidsynth", "-niq", "-R0", "-C0", "-g1.0", f"-r{RATE}", "-Ofloat", "-Twav"]
    subprocess.run([*command, "-F", path, find_font(FONT), midi], check=True, capture_output=True)


def score(drill: Drill, harp: Harp, source: SourceSpec) -> tuple[float | None, str]:
    """Return the best score of a source's passes, and the trouble where it has none."""
    scores, trouble = [], ""
    for event in run_take(Plan(harp, source, drill=drill, loop=False)):
        if isinstance(event, PassEnded):
            scores.append(event.result.score)
        elif isinstance(event, TakeFailed):
            trouble = event.sentence
    return max(scores, default=None), trouble


def compare(drill: Drill) -> Comparison:
    """Mark a drill rendered on recorded reeds, and played by the built-in player."""
    harp = Harp.of(drill.key, drill.tuning)
    with tempfile.TemporaryDirectory() as folder:
        recording = Path(folder, f"{drill.name}.wav")
        render(drill, harp, recording)
        rendered, trouble = score(drill, harp, RecordingSpec(recording))
    player, more_trouble = score(drill, harp, PlayerSpec())
    return Comparison(drill.name, rendered, player, trouble or more_trouble)


def run(drills: Sequence[Drill], output: Results, processes: int) -> None:
    """Print the table."""
    output.print(f"  {'drill':<26} {'reeds':>6} {'player':>6} {'':>6}")
    comparisons = []
    with ProcessPoolExecutor(processes) as pool:
        for comparison in pool.map(compare, drills):
            output.print(comparison.line())
            comparisons.append(comparison)
    held = sum(comparison.holds for comparison in comparisons)
    output.print(f"{held} of {len(comparisons)} within {MAX_POINTS:g} points")


def main() -> None:
    """Read the arguments and print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.rendered")
    parser.add_argument("drills", nargs="*", help="names of drills; all if none is given")
    add_options(parser)
    options = parser.parse_args()
    names = options.drills or (SMOKE if options.smoke else ())
    drills = [find_drill(name) for name in names] or list(read_shelf().drills)
    output = Results(
        "benchmarks.rendered",
        f"{FONT}, program 22 (harmonica), rendered by fluidsynth from each drill's MIDI file",
        "the ear was tuned on single notes of this font, and lets go of an entry that the pitch "
        "has left since stack-the-crates; octaves 3 cents wide, the gap of plain notes in MIDI, "
        "the flat onset that dips allow for, and notes and swells of three drills were chosen "
        "after looking at these renderings",
    )
    try:
        run(drills, output, os.cpu_count() or 1)
    except (FontError, FileNotFoundError) as error:
        sys.exit(str(error))
    output.finish(options)


if __name__ == "__main__":
    main()
