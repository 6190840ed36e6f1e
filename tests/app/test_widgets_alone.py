"""Every widget has a preview: ``python -m devtools.previews NAME``."""

from __future__ import annotations

import asyncio
import importlib
import pkgutil

import pytest

from devtools.previews import PREVIEWS, PreviewApp, main
from trainer.app import widgets
from trainer.app.canvas import Canvas

SIZES = ((80, 24), (120, 40), (200, 60))
PAINTED_WITHIN_S = 10.0


def canvases(name: str) -> list[type]:
    """The canvas classes that a widget module defines."""
    module = importlib.import_module(f"trainer.app.widgets.{name}")
    return [
        value
        for value in vars(module).values()
        if isinstance(value, type)
        and issubclass(value, Canvas)
        and value.__module__ == module.__name__
    ]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", PREVIEWS)
def test_a_widget_draws_alone_at_every_size(name: str, size: tuple[int, int]) -> None:
    async def scene() -> None:
        app = PreviewApp(PREVIEWS[name])
        async with app.run_test(size=size) as pilot:
            async with asyncio.timeout(PAINTED_WITHIN_S):
                while not any(s.text.strip() for s in app.screen._compositor.render_strips()):
                    await pilot.pause(0.02)

    asyncio.run(scene())


def test_every_canvas_has_a_preview() -> None:
    modules = [module.name for module in pkgutil.iter_modules(widgets.__path__)]
    assert {name for name in modules if canvases(name)} == set(PREVIEWS)
    for name, preview in PREVIEWS.items():
        assert preview.widget in canvases(name)


def test_an_unknown_name_lists_the_names(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["banjo"]) == main([]) == 2
    assert "pitch_trace" in capsys.readouterr().out
