"""Check comments, docstrings, messages, documents and names for words that the project avoids.

``python -m devtools.prose`` prints each place as ``file:line: words: what to write instead`` and
exits with 1 if there are any. docs/dev/glossary.md has the terms to use.
"""

from __future__ import annotations

import ast
import io
import re
import subprocess
import sys
import tokenize
from collections.abc import Iterator
from pathlib import Path

PHRASES = {
    r"told|tells?(?<!too little to tell)|telling": "report, estimate, detect, show, return, print",
    r"likewise": "also, or name the unit again",
    r"oftener|seldomer": "more often, less often",
    r"so (?:many|much)|such a (?:share|part|number)": "name the quantity and its unit",
    r"at hand|in hand": "available; the selected harp, the current take",
    r"reckon(?:s|ed|ing)?(?! with)": "calculate, compute",
    r"your own one'?s?": "name the thing",
}
"""Patterns of words to avoid, and what to write instead."""
NAMES = {"one", "found", "told", "said", "thing", "things"}
"""Names of variables that say nothing."""
ROOTS = ("trainer", "benchmarks", "devtools", "tests")
DOCUMENTS = ("*.md", "drills/*.toml")
_PHRASES = [
    (re.compile(rf"\b(?:{words})\b", re.IGNORECASE), hint) for words, hint in PHRASES.items()
]


def prose_of(source: str) -> Iterator[tuple[int, str]]:
    """Yield comments and string literals of Python source, each line with its number."""
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type in (tokenize.COMMENT, tokenize.STRING):
            for offset, line in enumerate(token.string.splitlines()):
                yield token.start[0] + offset, line


def names_of(source: str) -> Iterator[tuple[int, str]]:
    """Yield names that Python source binds: variables, loop variables and parameters."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.arg):
            yield node.lineno, node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.lineno, node.id


def findings(path: Path) -> Iterator[str]:
    """Yield what to change in a file, a line each."""
    text = path.read_text(encoding="utf-8")
    python = path.suffix == ".py"
    lines = prose_of(text) if python else enumerate(text.splitlines(), start=1)
    for number, line in lines:
        for pattern, hint in _PHRASES:
            for match in pattern.finditer(line):
                yield f"{path}:{number}: '{match.group()}': {hint}"
    for number, name in names_of(text) if python else ():
        if name in NAMES:
            yield f"{path}:{number}: variable '{name}': say what it is"


def tracked_files() -> list[Path]:
    """Return the tracked files that are checked."""
    patterns = [f"{root}/**/*.py" for root in ROOTS] + [f"{root}/*.py" for root in ROOTS]
    listing = subprocess.run(
        ["git", "ls-files", *patterns, *DOCUMENTS], check=True, capture_output=True, text=True
    )
    return [Path(name) for name in listing.stdout.split() if name != "devtools/prose.py"]


def main() -> int:
    """Check the tracked files, or those named on the command line."""
    paths = [Path(word) for word in sys.argv[1:]] or tracked_files()
    lines = [line for path in paths for line in findings(path)]
    print("\n".join(lines) or f"{len(paths)} files: no words to avoid")
    return bool(lines)


if __name__ == "__main__":
    sys.exit(main())
