"""Run a test on each of many things that are alike, such as the drills of the shelf, as one test.

A parametrized test costs some milliseconds and some kilobytes for each case, in each process.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Iterable
from typing import Any

from trainer.drill import Drill

Test = Callable[..., None]


def each(cases: Iterable[Any], name: Callable[[Any], str] = str) -> Callable[[Test], Test]:
    """Give a test each of some cases as its first argument.

    Args:
        cases: what to test.
        name: name of a case.

    Returns:
        A decorator. All cases are tried; the first error is raised, with the names of all that
        failed. Other arguments of the test are fixtures, the same for all cases.
    """

    def decorate(test: Test) -> Test:
        @functools.wraps(test)
        def run(**fixtures: Any) -> None:
            failed: dict[str, Exception] = {}
            for case in cases:
                try:
                    test(case, **fixtures)
                except Exception as error:
                    failed[name(case)] = error
            for error in failed.values():
                error.add_note(f"fails for {', '.join(failed)}")
                raise error

        signature = inspect.signature(test)
        _, *fixtures = signature.parameters.values()
        run.__signature__ = signature.replace(parameters=fixtures)  # type: ignore[attr-defined]
        return run

    return decorate


def each_drill(drills: Iterable[Drill]) -> Callable[[Test], Test]:
    """Give a test each of some drills."""
    return each(tuple(drills), lambda drill: drill.name)
