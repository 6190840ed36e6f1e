"""The files, modules and names that the documents name exist."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("trainer", "benchmarks", "devtools", "tests")
DOCUMENTS = [*ROOT.glob("*.md"), *ROOT.glob("docs/*.md"), *ROOT.glob("docs/dev/*.md")]
HISTORY = ("CHANGELOG.md",)  # it names what a version had
TEXTS = "strings.md"  # texts of the program, which name other things than code
MADE_LATER = ("benchmarks/results", "trainer.log")  # by a run of the benchmarks; by the program
CODE_SPAN = re.compile(r"`([^`\n]+)`")
PYTHON_FILE = re.compile(r"[\w/.-]*\w\.py")
PATH = re.compile(rf"(?:{'|'.join(PACKAGES)})/[\w/.-]+")
MODULE = re.compile(rf"(?:{'|'.join(PACKAGES)})(?:\.\w+)+")
IDENTIFIER = re.compile(r"[A-Z][a-z]+(?:[A-Z][a-z]*)+|[a-z]+(?:_[a-z]+)+")


def code_spans(document: str, pattern: re.Pattern[str]) -> Iterator[str]:
    """Yield what matches a pattern in the code spans and commands of a document."""
    for line in (ROOT / document).read_text(encoding="utf-8").splitlines():
        indented = [line] if line.startswith("    ") else []
        for text in (*CODE_SPAN.findall(line), *indented):
            for match in re.finditer(rf"(?<![\w/.-])(?:{pattern.pattern})(?![\w-])", text):
                if not match.group().startswith(MADE_LATER):
                    yield match.group()


@cache
def python_files() -> tuple[str, ...]:
    """Paths of all modules, each with a leading slash."""
    return tuple(
        "/" + path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
    )


@cache
def identifiers() -> frozenset[str]:
    """All names that the code uses: definitions, attributes, parameters and keys."""
    names: set[str] = set()
    for path in python_files():
        for node in ast.walk(ast.parse((ROOT / path[1:]).read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef | ast.FunctionDef):
                names.add(node.name)
            elif isinstance(node, ast.Name):
                names.add(node.id)
            elif isinstance(node, ast.Attribute):
                names.add(node.attr)
            elif isinstance(node, ast.arg):
                names.add(node.arg)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                names.add(node.value)
        names.add(Path(path).stem)
    return frozenset(names)


def is_module_or_member(dotted: str) -> bool:
    """Whether a dotted name is a module, a package, or a name that its module mentions."""
    path = ROOT / dotted.replace(".", "/")
    if path.is_dir() or path.with_suffix(".py").is_file():
        return True
    parent, _, name = dotted.rpartition(".")
    path = ROOT / parent.replace(".", "/")
    module = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    return module.is_file() and bool(re.search(rf"\b{name}\b", module.read_text(encoding="utf-8")))


documents = pytest.mark.parametrize(
    "document",
    sorted(path.relative_to(ROOT).as_posix() for path in DOCUMENTS if path.name not in HISTORY),
)


@documents
def test_files_exist(document: str) -> None:
    missing = [
        name
        for name in code_spans(document, PYTHON_FILE)
        if not any(path.endswith(f"/{name}") for path in python_files())
    ]
    missing += [path for path in code_spans(document, PATH) if not (ROOT / path).exists()]
    assert missing == []


@documents
def test_modules_exist(document: str) -> None:
    assert [name for name in code_spans(document, MODULE) if not is_module_or_member(name)] == []


@pytest.mark.parametrize(
    "document",
    [path for path in DOCUMENTS if path.parent.name == "dev" and path.name != TEXTS],
    ids=lambda path: path.name,
)
def test_names_of_the_developers_documents_are_in_the_code(document: Path) -> None:
    text = str(document.relative_to(ROOT))
    assert [name for name in code_spans(text, IDENTIFIER) if name not in identifiers()] == []


def test_stale_names_are_detected(tmp_path: Path) -> None:
    stale = tmp_path / "stale.md"
    stale.write_text("`trainer/ear/gone.py`, `gone.py`, `trainer.gone`, `trainer.ear.Ear`\n")
    files = list(code_spans(str(stale), PYTHON_FILE))
    assert files == ["trainer/ear/gone.py", "gone.py"]
    assert not any(path.endswith(f"/{name}") for path in python_files() for name in files)
    modules = list(code_spans(str(stale), MODULE))
    assert [is_module_or_member(name) for name in modules] == [False, True]
