"""Every widget has a preview: ``python -m devtools.previews NAME``."""

from __future__ import annotations

import asyncio
import importlib
import pkgutil

import pytest
from textual.app import App, ComposeResult

from devtools.previews import PREVIEWS, PreviewApp, main
from tests.support.pilots import WAIT_S, text, until
from trainer.app import widgets
from trainer.app.canvas import Canvas, TextRow
from trainer.app.theme import apply_theme

SIZES = ((80, 24), (120, 40), (200, 60))


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
            async with asyncio.timeout(WAIT_S):
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


class Ladder(Canvas[int]):
    """A canvas with as many rows as its state says."""

    def draw(self, state: int, width: int, height: int) -> list[TextRow]:
        return [(("rung", "text"),)] * state


def test_a_state_with_fewer_rows_leaves_none_of_those_before() -> None:
    async def inside() -> None:
        ladder = Ladder()

        class Wall(App[None]):
            def compose(self) -> ComposeResult:
                yield ladder

            def on_mount(self) -> None:
                apply_theme(self, "dark")

        async with Wall().run_test(size=(20, 10)) as pilot:
            ladder.styles.height = 6
            await pilot.pause()
            for rungs in (5, 2):
                ladder.show(rungs)
                await until(pilot, lambda rungs=rungs: text(pilot).count("rung") == rungs)  # type: ignore[misc]

    asyncio.run(inside())
