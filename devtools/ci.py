"""Run all checks and tests in a fresh virtual environment, on any system.

    python -m devtools.ci                  # into .ci/venv-X.Y
    python -m devtools.ci --no-install     # with the packages of this Python
    python -m devtools.ci --no-install --only format types

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
LINT_IMPORTS = "from importlinter.cli import lint_imports_command as lint; lint()"
"""import-linter has no module to run, and the name of its command differs between systems."""
CHECKS = {
    "format": ("-m", "ruff", "format", "--check"),
    "lint": ("-m", "ruff", "check"),
    "types": ("-m", "mypy"),
    "rooms": ("-c", LINT_IMPORTS),
    "spelling": ("-m", "codespell_lib"),
    "words": ("-m", "devtools.prose"),
    "commands' pages": ("-m", "devtools.commands", "--check"),
    "formats' pages": ("-m", "devtools.schemas", "--check"),
    "tests": ("-m", "pytest", "--numprocesses", "3", "--dist", "loadgroup"),
}
"""Arguments of Python for each check."""


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
    parser.add_argument("--only", nargs="+", choices=CHECKS, help="checks to run [default: all]")
    options = parser.parse_args()
    python = Path(sys.executable) if options.no_install else make_environment()
    failed = [name for name in options.only or CHECKS if run(python, *CHECKS[name])]
    print("failed: " + ", ".join(failed) if failed else "all checks passed")
    return min(len(failed), 1)


if __name__ == "__main__":
    sys.exit(main())
