"""Every widget can be tried alone: ``python -m trainer.app.widgets.NAME``."""

from __future__ import annotations

import asyncio
import importlib
import pkgutil
import runpy
from typing import Any

import pytest

from devtools import scripted
from trainer.app import widgets
from trainer.app.canvas import Canvas

NAMES = [
    one.name
    for one in pkgutil.iter_modules(widgets.__path__)
    if any(
        isinstance(value, type) and issubclass(value, Canvas) and value is not Canvas
        for value in vars(importlib.import_module(f"trainer.app.widgets.{one.name}")).values()
        if getattr(value, "__module__", "").endswith(f".{one.name}")
    )
]
SIZES = ((80, 24), (120, 40), (200, 60))


@pytest.mark.filterwarnings("ignore:.*found in sys.modules.*:RuntimeWarning")
@pytest.mark.parametrize("name", NAMES)
def test_a_widget_draws_alone_at_every_size(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[tuple[Canvas[Any], Any]] = []
    monkeypatch.setattr(scripted, "show", lambda widget, state: shown.append((widget, state)))
    for size in SIZES:
        runpy.run_module(f"trainer.app.widgets.{name}", run_name="__main__")
        widget, state = shown.pop()

        async def scene(
            widget: Canvas[Any] = widget, state: Any = state, size: tuple[int, int] = size
        ) -> None:
            app = scripted.Alone(widget, state)
            async with app.run_test(size=size) as pilot:
                await pilot.pause(0.3)
                strips = app.screen._compositor.render_strips()
                assert any(strip.text.strip() for strip in strips)

        asyncio.run(scene())


def test_they_are_those_that_there_are() -> None:
    assert {"trace", "page", "gauge", "readout", "holes", "notes", "target", "guide"} <= set(NAMES)
