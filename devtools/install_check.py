"""Install the trainer as a musician does: from a wheel, without a compiler, by locked packages.

    python -m devtools.install_check
    python -m devtools.install_check --pipx

A wheel is built, a fresh virtual environment gets the locked packages, each by its hash and built
already, and then the wheel. Commands run there with a path that holds no compiler and in a home of
their own. With `--pipx`, `pipx install` does the same from the wheel, as the README says. It takes
some minutes and the network, so the tests leave it out.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path

ROOT = Path(__file__).parents[1]
LOCK = ROOT / "requirements" / "run.txt"
WITHIN_S = 900.0
"""Longest time of each command, in seconds. Chosen by hand."""
DRILL = "harbour-bell"
CHECKS = (
    ("doctor",),
    ("drill", "show", DRILL),
    ("play", DRILL, "--player", "--plain", "--save", "take.flac"),
    ("mark", "take.flac", "--drill", DRILL, "--format", "json"),
    ("demo", "--plain", "--save", "demo.flac"),
)
"""Commands that have to end with success there."""


def run(*command: str | Path, env: dict[str, str], folder: Path) -> str:
    """Run a command; return its output.

    Raises:
        SystemExit: it fails.
    """
    began = time.monotonic()
    done = subprocess.run(
        list(map(str, command)),
        env=env,
        cwd=folder,
        timeout=WITHIN_S,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    words = " ".join(map(str, command[:6]))
    print(f"{done.returncode} after {time.monotonic() - began:.0f} s: {words}", flush=True)
    if done.returncode:
        raise SystemExit(done.stdout[-4000:])
    return done.stdout


def build_wheel(folder: Path) -> Path:
    """Build the trainer's wheel; return it."""
    pip = (sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", folder)
    run(*pip, ROOT, env=dict(os.environ), folder=folder)
    (wheel,) = folder.glob("*.whl")
    return wheel


def main() -> int:
    """Install it and run it; return 0."""
    parser = argparse.ArgumentParser(prog="python -m devtools.install_check")
    parser.add_argument("--pipx", action="store_true", help="install by pipx, without the lock")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="install-") as name:
        folder = Path(name)
        home, bare = folder / "home", folder / "bare"
        home.mkdir()
        bare.mkdir()
        wheel = build_wheel(folder)
        kept = ("SYSTEMROOT", "TEMP", "TMP", "LANG", "SSL_CERT_FILE", "REQUESTS_CA_BUNDLE")
        env = {k: v for k, v in os.environ.items() if k in kept or k.startswith("PIP_")}
        env |= {"HOME": str(home), "USERPROFILE": str(home), "PATH": str(bare)}
        env |= {"CC": "no-compiler", "CXX": "no-compiler"}
        place = folder / "venv"
        venv.create(place, with_pip=True)
        binaries = place / ("Scripts" if sys.platform == "win32" else "bin")
        python = next(binaries.glob("python*"))
        pip = (python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check")
        if asked.pipx:
            run(*pip, "pipx", env=env, folder=folder)
            env |= {"PIPX_HOME": str(folder / "pipx"), "PIPX_BIN_DIR": str(folder / "pipx-bin")}
            run(python, "-m", "pipx", "install", wheel, env=env, folder=folder)
            trainer = next((folder / "pipx-bin").glob("trainer*"))
        else:
            locked = ("--require-hashes", "--only-binary", ":all:", "--requirement", LOCK)
            run(*pip, *locked, env=env, folder=folder)
            run(*pip, "--no-deps", wheel, env=env, folder=folder)
            trainer = next(binaries.glob("trainer*"))
        for words in CHECKS:
            shown = run(trainer, *words, env=env, folder=home)
            if words == ("doctor",):
                print(shown)
    return 0


if __name__ == "__main__":
    sys.exit(main())
