"""Print a benchmark's tables and, with ``--record``, store them in RESULTS.md.

RESULTS.md has a section for each benchmark, which a recorded run replaces. A section states the
command, the date, the commit, the machine, and the material with what the constants know of it.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import subprocess
import sys
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

RESULTS = Path(__file__).with_name("RESULTS.md")
INTRODUCTION = """\
# Results of the benchmarks

Written by the benchmarks: `python -m benchmarks.NAME --record` replaces the section of its name.
A figure holds for the material that its section names. "Known" says which constants of the trainer
were chosen on that material.
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that all benchmarks have."""
    parser.add_argument("--record", action="store_true", help=f"store the result in {RESULTS.name}")
    parser.add_argument("--smoke", action="store_true", help="only start it, with the least input")


@dataclass
class Results:
    """The tables of one run.

    Args:
        benchmark: name of the section, as ``benchmarks.guessed``.
        material: what is measured on.
        known: which constants were chosen on this material.

    Attributes:
        lines: what was printed.
    """

    benchmark: str
    material: str
    known: str
    lines: list[str] = field(default_factory=list)

    def print(self, *lines: str) -> None:
        """Print lines and keep them."""
        for line in lines:
            print(line, flush=True)
            self.lines.append(line)

    def finish(self, options: argparse.Namespace) -> None:
        """Store the tables if ``--record`` was given."""
        if options.record:
            store(self.section(), RESULTS)

    def section(self) -> str:
        """Return the section in Markdown. Tables in Markdown stay, other text is verbatim."""
        body = "\n".join(self.lines).strip("\n")
        if not any(line.startswith("|") for line in self.lines):
            body = f"```text\n{body}\n```"
        words = [word for word in sys.argv[1:] if word != "--record"]
        command = " ".join(["python -m", self.benchmark.split()[0], *words])
        return "\n".join(
            [
                f"## {self.benchmark}",
                "",
                f"- Command: `{command}`",
                f"- Run: {date.today()}, commit {commit()}, {machine()}",
                f"- Material: {self.material}",
                f"- Known: {self.known}",
                "",
                body,
                "",
            ]
        )


def store(section: str, file: Path) -> None:
    """Replace the section of the same heading in a file, or add it in alphabetical order."""
    text = file.read_text(encoding="utf-8") if file.exists() else INTRODUCTION
    introduction, *sections = re.split(r"^(?=## )", text, flags=re.MULTILINE)
    heading = section.splitlines()[0]
    sections = [other for other in sections if other.splitlines()[0] != heading]
    # A recorded run must not disturb the order of sections that people wrote.
    before = next(
        (i for i, other in enumerate(sections) if other.splitlines()[0] > heading), len(sections)
    )
    sections.insert(before, section)
    parts = [part.strip("\n") + "\n" for part in (introduction, *sections)]
    file.write_text("\n".join(parts), encoding="utf-8")


def commit() -> str:
    """Return the commit as git describes it, with ``-dirty`` for a changed tree."""
    command = ["git", "describe", "--always", "--dirty", "--exclude=*"]
    folder = Path(__file__).parent
    process = subprocess.run(command, cwd=folder, capture_output=True, text=True)
    return process.stdout.strip() or "unknown"


def machine() -> str:
    """Return the number of cores and the processor's model; no host name, no path."""
    model = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        models = re.findall(r"^model name\s*:\s*(.+)$", cpuinfo.read_text(), re.MULTILINE)
        model = models[0] if models else model
    return f"{os.cpu_count()} cores, {model}"
