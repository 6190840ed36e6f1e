"""The documents: generated pages are current, links and commands exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import typer.main

from devtools.commands import DOCS, PAGES
from trainer.cli import app

ROOT = DOCS.parent
BASES = (ROOT, ROOT / "trainer")
TEXTS = [*ROOT.glob("*.md"), *DOCS.rglob("*.md"), *ROOT.glob("drills/*.md")]
LINK = re.compile(r"\]\(([^)#:\s]+)(#[^)\s]*)?\)")
COMMAND = re.compile(r"(?m)^(?:    |\| `|.*?`)trainer ([a-z]+)(?: ([a-z]+))?")


@pytest.mark.parametrize("name", PAGES)
def test_a_generated_page_is_current(name: str) -> None:
    assert (DOCS / name).read_text("utf-8") == PAGES[name](), "run python -m devtools.commands"


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_to_files(path: Path) -> None:
    targets = [target for target, _ in LINK.findall(path.read_text("utf-8"))]
    missing = [target for target in targets if not (path.parent / target).exists()]
    assert not missing


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_commands_exist(path: Path) -> None:
    root = typer.main.get_command(app)
    unknown = []
    for name, member in COMMAND.findall(path.read_text("utf-8")):
        command = root.commands.get(name) if name in root.commands else None  # type: ignore[attr-defined]
        if command is None:
            unknown.append(name)
        elif member and hasattr(command, "commands") and name not in ("harp",):
            unknown += [f"{name} {member}"] * (member not in command.commands)
    assert not unknown


def test_modules_named_in_the_architecture_exist() -> None:
    text = (DOCS / "dev" / "architecture.md").read_text("utf-8")
    paths = re.findall(r"`((?:\w+/)+(?:\w+\.\w+)?)`", text)
    assert len(paths) > 30
    assert not [path for path in paths if not any((base / path).exists() for base in BASES)]
