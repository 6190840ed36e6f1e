"""Help: the keys, and the meaning of shapes and words."""

from __future__ import annotations

import textwrap
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from trainer.app.keys import key_lines
from trainer.app.shapes import DOUBTFUL_SIGN, OLD_SHAPE
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.key_footer import KeyFooter
from trainer.report.grades import GRADES, MISSED

LEFT_CELLS = 15
"""Width of the first column of a table in cells."""
MAX_CELLS, MARGIN_CELLS = 90, 6
"""Largest width of a table, and the margins beside it, in cells."""
WIDE_COLUMNS = 110
"""Columns from which keys and signs stand side by side."""
VOCABULARY = (
    ("4  -4", "blow and draw; ' for each half step of bend, o overblow or overdraw"),
    ("▼ flat", "below the target; in cents, hundredths of a half step"),
    ("▲ sharp", "above the target"),
    ("● in tune", "within tolerance: the band of trace and gauge"),
    ("× not", "the wrong note sounds"),
    ("clean", "one hole sounds"),
    ("!3  ▒ leak", "a neighbouring hole sounds too; its level in dB below the wanted one"),
    ("[4]", "the wanted hole"),
    ("▴ ▾", "the pitch is above or below the trace"),
    ("level", "input level; too loud means close to clipping"),
)


def two_columns(rows: tuple[tuple[str, str], ...], width: int) -> Content:
    """Return pairs as a table of two columns, the second one wrapped."""
    now = f"bold {CSS_PENS['key'].color}"
    lines = []
    for left, right in rows:
        first, *more = textwrap.wrap(right, max(20, width - LEFT_CELLS)) or [""]
        lines.append(Content.assemble((f"  {left:<{LEFT_CELLS - 2}}", now), first))
        lines += [Content(" " * LEFT_CELLS + line) for line in more]
    return Content("\n").join(lines)


def keys_content(under: type, everywhere: type, width: int = MAX_CELLS) -> Content:
    """Return what a screen is for, and its keys.

    Args:
        under: class of the screen below.
        everywhere: class of the app, whose keys work on every screen.
        width: width in cells.
    """
    about = getattr(under, "ABOUT", "")
    return Content("\n").join(
        [
            *([Content(f"{about}\n")] if about else []),
            Content.styled("Keys", "bold"),
            two_columns(_key_rows(under), width),
            Content.styled("\nKeys on every screen", "bold"),
            two_columns(_key_rows(everywhere), width),
        ]
    )


def signs_content(width: int = MAX_CELLS) -> Content:
    """Return the marks, words and signs of all screens, wrapped to a width in cells."""
    marks = tuple(
        (grade.shape, f"{grade.meaning}, from {grade.least:.0f}") for grade in GRADES if grade.least
    )
    rest = (
        (GRADES[-1].shape, GRADES[-1].meaning),
        (MISSED.shape, MISSED.meaning),
        (OLD_SHAPE, "from the pass before"),
        (DOUBTFUL_SIGN, "written down with doubt: check it by ear"),
    )
    return Content("\n").join(
        [
            Content.styled("Marks", "bold"),
            two_columns(marks + rest, width),
            Content.styled("\nWords and signs", "bold"),
            two_columns(VOCABULARY, width),
            Content.styled(
                "\nKeep headphones at a moderate level. If you feel light-headed, stop, "
                "sit down and breathe normally.",
                CSS_PENS["quiet"].color,
            ),
        ]
    )


def _key_rows(owner: type) -> tuple[tuple[str, str], ...]:
    return tuple((line.keys, line.description) for line in key_lines(owner))


class HelpScreen(Screen[None]):
    """The help page.

    Args:
        under: the screen below.
    """

    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDE_COLUMNS, "-wide")]  # noqa: RUF012
    DEFAULT_CSS = """
    HelpScreen {
        #columns { height: auto; layout: vertical; }
        #columns Static { height: auto; margin: 0 0 1 0; }
        &.-wide #columns { layout: horizontal; }
        &.-wide #columns Static { width: 1fr; margin: 0 2 0 0; }
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,space", "dismiss", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(self, under: Screen[Any]) -> None:
        super().__init__()
        self._under = type(under)

    def compose(self) -> ComposeResult:
        """Yield the page in a scrolling container."""
        yield Static("Help", classes="title")
        with VerticalScroll(id="help"), Container(id="columns"):
            yield Static(id="keys")
            yield Static(id="signs")
        yield KeyFooter()

    def on_resize(self) -> None:
        """Wrap the page to the new width."""
        wide = self.size.width >= WIDE_COLUMNS
        width = min(MAX_CELLS, self.size.width // (2 if wide else 1) - MARGIN_CELLS)
        self.query_one("#keys", Static).update(keys_content(self._under, type(self.app), width))
        self.query_one("#signs", Static).update(signs_content(width))

    def on_mount(self) -> None:
        """Focus the page, so that the arrow keys scroll it."""
        self.query_one("#help").focus()
