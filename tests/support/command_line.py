"""The command line, called in the process of the test."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest

from trainer.cli import main


class Answer(NamedTuple):
    """Exit code and output of a command."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """Its output, which must be JSON."""
        return json.loads(self.out)


Trainer = Callable[..., Answer]
"""Runs ``trainer WORDS`` and returns the answer."""


def runner(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], *first: str
) -> Trainer:
    """Return a function that runs ``trainer FIRST WORDS``; no traceback may be printed."""

    def run(*words: str) -> Answer:
        monkeypatch.setattr(sys, "argv", ["trainer", *first, *words])
        capfd.readouterr()
        code: Any = 0
        try:
            main()
        except SystemExit as end:
            code = end.code or 0
        out, err = capfd.readouterr()
        assert "Traceback" not in err
        return Answer(int(code), out, err)

    return run


@pytest.fixture
def trainer(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Trainer:
    """Run a command in this process, as ``trainer WORDS`` would."""
    return runner(monkeypatch, capfd)
