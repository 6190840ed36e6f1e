"""Run all checks and tests in a fresh virtual environment, on any system.

    python -m devtools.ci                  # into .ci/venv-X.Y
    python -m devtools.ci --no-install     # with the packages of this Python

Needs Python 3.11 or newer and nothing else. Continuous integration calls it for each system and
version of Python. Tests whose programs are missing (PulseAudio, tmux, a browser) are skipped.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).parents[1]
CHECKS = (
    ("ruff", "format", "--check"),
    ("ruff", "check"),
    ("mypy",),
    ("codespell_lib",),
    ("devtools.prose",),
    ("devtools.commands", "--check"),
    ("pytest", "--numprocesses", "2", "--dist", "loadgroup"),
)


def run(*command: str | Path) -> int:
    """Run a command in the repository's root, print it, and return its exit code."""
    print("$", *command, flush=True)
    return subprocess.run(list(map(str, command)), cwd=ROOT).returncode


def make_environment() -> Path:
    """Create a virtual environment with the locked packages, and return its Python."""
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    folder = ROOT / ".ci" / f"venv-{version}"
    venv.create(folder, with_pip=True, clear=True)
    python = folder / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    pip = (python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check")
    for packages in (
        ("--require-hashes", "--requirement", "requirements/dev.txt"),
        ("--no-deps", "--no-build-isolation", "--editable", "."),
    ):
        if run(*pip, *packages):
            sys.exit("the packages cannot be installed")
    return python


def main() -> int:
    """Run the checks; return 1 if one of them fails."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--no-install", action="store_true", help="use the packages of this Python")
    python = Path(sys.executable) if parser.parse_args().no_install else make_environment()
    failed = [check[0] for check in CHECKS if run(python, "-m", *check)]
    # import-linter has no module to run; its command is beside Python.
    if run(python.with_name("lint-imports")):
        failed.append("import-linter")
    print("failed: " + ", ".join(failed) if failed else "all checks passed")
    return min(len(failed), 1)


if __name__ == "__main__":
    sys.exit(main())
