"""A test of many cases tries them all and names those that fail."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.each import each


def test_all_cases_are_tried_and_those_that_fail_are_named() -> None:
    tried = []

    @each(range(5))
    def check(case: int) -> None:
        tried.append(case)
        assert case % 2 == 0, f"{case} is odd"

    with pytest.raises(AssertionError, match="1 is odd") as caught:
        check()
    assert tried == [0, 1, 2, 3, 4]
    assert caught.value.__notes__ == ["fails for 1, 3"]


@each(["a", "b"])
def test_other_arguments_are_fixtures(name: str, tmp_path: Path) -> None:
    (tmp_path / name).touch()
    assert len(list(tmp_path.iterdir())) == (1 if name == "a" else 2)
