"""Apply small mutants to a room and count how many its tests detect.

    python -m devtools.mutants marking --count 20 --seed 1
    python -m devtools.mutants core --count 1 --tests tests/core/test_statistics.py

A mutant changes one place of one module: a comparison, an arithmetic or boolean operator, a
constant, a condition, or a returned value. Each runs in a copy of the tree, by the room's own tests
(`tests/ROOM`) with ``-x``. A failure or a time-out kills it. Survivors are printed with their
change; some of them are equivalent to the original and cannot be killed.

The tests that call the changed function run first, the quickest file first, and the others only if
those pass (`devtools/call_trace.py` records which test calls what). This changes the time that a
verdict takes, not the verdict.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

ROOT = Path(__file__).parent.parent
COPIED = ("trainer", "tests", "benchmarks", "devtools", "drills", "docs", "pyproject.toml")
IGNORED = ("__pycache__", ".corpus", "results", "*.svg")
COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
TIMEOUT_S = 900.0
"""Time limit of the unchanged tests; a mutant has three times what they took."""


@dataclass(frozen=True)
class Mutant:
    """One change of one module.

    Attributes:
        path: module, relative to the root of the tree.
        line: line of the change.
        before, after: source of the changed expression or statement.
        change: changes the module and returns its source.
    """

    path: Path
    line: int
    before: str
    after: str
    change: Callable[[], str] = field(compare=False, repr=False)

    @property
    def source(self) -> str:
        """Source of the whole changed module."""
        return self.change()


def changes(node: ast.AST) -> list[ast.AST]:
    """Return the mutants of one node, most of which have none."""
    mutants: list[ast.AST] = []
    if isinstance(node, ast.Compare):
        for i, operator in enumerate(node.ops):
            changed = copy.deepcopy(node)
            changed.ops[i] = COMPARISONS[type(operator)]()
            mutants.append(changed)
    elif isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        changed_operation = copy.deepcopy(node)
        changed_operation.op = OPERATORS[type(node.op)]()
        mutants.append(changed_operation)
    elif isinstance(node, ast.BoolOp):
        changed_logic = copy.deepcopy(node)
        changed_logic.op = ast.And() if isinstance(node.op, ast.Or) else ast.Or()
        mutants.append(changed_logic)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        mutants.append(copy.deepcopy(node.operand))
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        mutants.append(ast.Constant(not node.value))
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        mutants += [ast.Constant(node.value + 1), ast.Constant(node.value - 1)]
    elif isinstance(node, ast.Constant) and isinstance(node.value, float):
        mutants += [ast.Constant(1.1 * node.value), ast.Constant(0.9 * node.value)]
        if node.value == 0.0:
            mutants = [ast.Constant(1.0)]
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        negated = copy.deepcopy(node)
        negated.test = ast.UnaryOp(ast.Not(), negated.test)
        mutants.append(negated)
    elif isinstance(node, ast.Return) and ast.unparse(node) not in ("return", "return None"):
        mutants.append(ast.Return(ast.Constant(None)))
    return mutants


def mutants_of(path: Path, root: Path = ROOT) -> Iterator[Mutant]:
    """Yield all mutants of a module."""
    source = (root / path).read_text(encoding="utf-8")
    tree = ast.parse(source)
    # Types and options such as `slots` are no behaviour.
    left_out = {
        id(inner)
        for node in ast.walk(tree)
        for name, value in ast.iter_fields(node)
        if name in ("annotation", "returns", "decorator_list")
        for outer in (value if isinstance(value, list) else [value])
        if isinstance(outer, ast.AST)
        for inner in ast.walk(outer)
    }
    for parent in ast.walk(tree):
        if id(parent) in left_out:
            continue
        for name, value in ast.iter_fields(parent):
            if name in ("annotation", "returns", "decorator_list"):
                continue
            nodes = value if isinstance(value, list) else [value]
            for i, node in enumerate(nodes):
                if not isinstance(node, ast.AST):
                    continue
                for changed in changes(node):
                    before = ast.unparse(node).splitlines()[0]
                    after = ast.unparse(changed).splitlines()[0]
                    place = (parent, name, i, value)
                    change = partial(_mutated_source, tree, place, node, changed)
                    yield Mutant(path, getattr(node, "lineno", 0), before, after, change)


def _mutated_source(
    tree: ast.Module, place: tuple[ast.AST, str, int, object], node: ast.AST, changed: ast.AST
) -> str:
    _replace(*place, changed)
    source = ast.unparse(ast.fix_missing_locations(tree))
    _replace(*place, node)
    return source


def _replace(parent: ast.AST, name: str, i: int, value: object, node: ast.AST) -> None:
    if isinstance(value, list):
        value[i] = node
    else:
        setattr(parent, name, node)


def sample(room: str, count: int, seed: int, root: Path = ROOT) -> list[Mutant]:
    """Return mutants of a room, drawn without replacement, at most one a line."""
    by_line: dict[tuple[Path, int], list[Mutant]] = {}
    for file in sorted((root / "trainer" / room).rglob("*.py")):
        for mutant in mutants_of(file.relative_to(root), root):
            by_line.setdefault((mutant.path, mutant.line), []).append(mutant)
    generator = random.Random(seed)
    lines = generator.sample(sorted(by_line), min(count, len(by_line)))
    return [generator.choice(by_line[line]) for line in lines]


def copy_tree(folder: Path) -> None:
    """Copy what the tests need of the tree."""
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns(*IGNORED))
        else:
            shutil.copy(ROOT / name, folder / name)


@dataclass(frozen=True)
class CallsOfTest:
    """What one test did in the unchanged tree.

    Attributes:
        test: its node id.
        seconds: its duration, with its fixtures.
        functions: the functions of the room that it called, as path and qualified name.
    """

    test: str
    seconds: float
    functions: frozenset[tuple[str, str]]


def read_calls(file: Path) -> list[CallsOfTest]:
    """Read what `devtools/call_trace.py` has recorded."""
    return [
        CallsOfTest(test, seconds, frozenset((path, name) for path, name in functions))
        for test, (seconds, functions) in json.loads(file.read_text(encoding="utf-8")).items()
    ]


def function_of(path: Path, line: int, root: Path = ROOT) -> tuple[str, str] | None:
    """Return the innermost function around a line, as path and qualified name; None outside any."""
    tree = ast.parse((root / path).read_text(encoding="utf-8"))
    name = _name_around(tree, line)
    return None if name is None else (path.as_posix(), name)


def _name_around(parent: ast.AST, line: int, prefix: str = "") -> str | None:
    for node in ast.iter_child_nodes(parent):
        inside = getattr(node, "lineno", 0) <= line <= (getattr(node, "end_lineno", 0) or 0)
        if isinstance(node, ast.ClassDef) and inside:
            return _name_around(node, line, f"{prefix}{node.name}.")
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and inside:
            # A default in the signature is read when the function is defined.
            outer = node.name if node.body[0].lineno <= line else None
            inner = _name_around(node, line, f"{prefix}{node.name}.<locals>.")
            return inner or (None if outer is None else prefix + outer)
        if not isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            name = _name_around(node, line, prefix)
            if name is not None:
                return name
    return None


def ordered(calls: Sequence[CallsOfTest], function: tuple[str, str] | None) -> list[list[str]]:
    """Return the tests that call a function, and the other tests, the quickest file first."""
    groups: list[list[str]] = []
    for calling in (True, False):
        group = [c for c in calls if (function is None or function in c.functions) is calling]
        seconds: dict[str, float] = {}
        for call in group:
            file = call.test.split("::")[0]
            seconds[file] = seconds.get(file, 0.0) + call.seconds
        group.sort(key=lambda call: (seconds[call.test.split("::")[0]], call.test.split("::")[0]))
        groups.append([call.test for call in group])
    return [group for group in groups if group]


def run_tests(
    folder: Path, tests: Sequence[str], timeout_s: float, options: Sequence[str] = ()
) -> int | None:
    """Run tests in a copy of the tree; return pytest's exit code, or None for a time-out."""
    listed = folder / "tests-to-run.txt"
    listed.write_text("\n".join(tests), encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *options]
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    environment.pop("HARP_TRAINER_NO_SKIP", None)
    words = ["-m", "not needs_pulse and not needs_tmux and not needs_chromium", f"@{listed}"]
    process = subprocess.Popen(
        [*command, *words],
        cwd=folder,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return process.wait(timeout_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, 9)
        process.wait()
        return None


def audit(room: str, count: int, seed: int, tests: Sequence[str]) -> Iterator[str]:
    """Run a sample of mutants; yield a line each, and the share that was killed.

    Raises:
        RuntimeError: the tests fail without a mutant.
    """
    with tempfile.TemporaryDirectory(prefix="mutants-") as name:
        folder = Path(name)
        copy_tree(folder)
        chosen = sample(room, count, seed, folder)
        calls_file = folder / "calls.json"
        trace = ("-p", "devtools.call_trace", f"--traced-room={room}", f"--calls={calls_file}")
        began = os.times().elapsed
        if run_tests(folder, tests, TIMEOUT_S, trace) != 0:
            raise RuntimeError(f"{' '.join(tests)} must pass within {TIMEOUT_S:g} s")
        limit_s = 3.0 * (os.times().elapsed - began) + 10.0
        calls = read_calls(calls_file)
        killed = 0
        for mutant in chosen:
            file = folder / mutant.path
            original = file.read_text(encoding="utf-8")
            file.write_text(mutant.source, encoding="utf-8")
            code: int | None = 0
            for group in ordered(calls, function_of(mutant.path, mutant.line, folder)):
                code = run_tests(folder, group, limit_s)
                if code != 0:
                    break
            file.write_text(original, encoding="utf-8")
            survived = code == 0
            killed += not survived
            verdict = "SURVIVED" if survived else "killed" if code is not None else "timed out"
            yield f"{verdict:9} {mutant.path}:{mutant.line}: {mutant.before} -> {mutant.after}"
    yield f"{killed} of {len(chosen)} mutants of {room} killed ({killed / len(chosen):.0%})"


def main() -> None:
    """Audit the rooms named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m devtools.mutants")
    parser.add_argument("rooms", nargs="+", help="packages of trainer, such as marking")
    parser.add_argument("--count", type=int, default=20, help="mutants of each room")
    parser.add_argument("--seed", type=int, default=1, help="chooses the mutants")
    parser.add_argument("--tests", nargs="+", help="tests to run instead of tests/ROOM")
    options = parser.parse_args()
    for room in options.rooms:
        tests = options.tests or [f"tests/{room}"]
        for line in audit(room, options.count, options.seed, tests):
            print(line, flush=True)


if __name__ == "__main__":
    main()
