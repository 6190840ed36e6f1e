"""What players install is all that the trainer imports."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_the_trainer_imports_only_what_it_requires() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    lines = (ROOT / "requirements" / "run.txt").read_text("utf-8").splitlines()
    lines = [line for line in lines if re.match(r"\w", line)]
    for extra, wanted in project["optional-dependencies"].items():
        lines += wanted if extra not in ("dev", "bench") else []
    required = {_name(line) for line in lines}
    places: dict[str, str] = {}
    for path in (ROOT / "trainer").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            modules = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.module and not node.level:
                modules = [node.module]
            for module in modules:
                places.setdefault(module.split(".")[0], str(path.relative_to(ROOT)))
    of_module = packages_distributions()
    for module, place in places.items():
        if module != "trainer" and module not in sys.stdlib_module_names:
            names = {_name(name) for name in of_module.get(module, [module])}
            assert names & required, f"{module} in {place}"


def _name(requirement: str) -> str:
    """Return the name of a distribution, as PEP 503 normalises it."""
    match = re.match(r"[\w.-]+", requirement)
    assert match
    return re.sub(r"[-_.]+", "-", match.group()).lower()
