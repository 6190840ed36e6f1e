"""A widget that is drawn row by row and repaints only the rows that changed.

A row is a sequence of text spans, each with the name of a pen. Rows are drawn by pure functions of
a plain state, which can be tested and previewed without a screen; the canvas turns rows into
Textual's strips. It overrides `render_lines`, because Textual's cache would render every line again
for borders and padding that a canvas does not have.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar, Generic, TypeVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.color import Color
from textual.geometry import Region, Size, Spacing
from textual.strip import Strip
from textual.widget import Widget

from trainer.app.theme import THEME_PENS, Pen

TextSpan = tuple[str, str]
"""A text and the name of its pen, a key of a theme in `THEME_PENS`."""

TextRow = tuple[TextSpan, ...]
"""One row of a canvas. Every character is one cell wide."""

StateT = TypeVar("StateT")


def merge_spans(spans: Iterable[TextSpan]) -> TextRow:
    """Return a row with adjacent spans of one pen merged and empty spans dropped."""
    row: list[TextSpan] = []
    for text, pen in spans:
        if row and row[-1][1] == pen:
            row[-1] = (row[-1][0] + text, pen)
        elif text:
            row.append((text, pen))
    return tuple(row)


def row_from_cells(cells: Sequence[str], pens: Sequence[str]) -> TextRow:
    """Return a row from one character and one pen per cell."""
    row: list[TextSpan] = []
    start = 0
    for x in range(1, len(cells) + 1):
        if x == len(cells) or pens[x] != pens[start]:
            row.append(("".join(cells[start:x]), pens[start]))
            start = x
    return tuple(row)


def cell_width(row: TextRow) -> int:
    """Return the width of a row in cells."""
    return sum(len(text) for text, _ in row)


def truncate(row: TextRow, width: int) -> TextRow:
    """Return a row cut to `width` cells, with an ellipsis at the end if it was longer."""
    if cell_width(row) <= width:
        return row
    room = width - 1
    kept: list[TextSpan] = []
    for text, pen in row:
        kept.append((text[:room], pen))
        room -= len(kept[-1][0])
    return merge_spans([*kept, ("…", row[-1][1])])


def justify(left: TextRow, right: TextRow, width: int) -> TextRow:
    """Return a row of `width` cells with text at both ends; the left one is cut if needed."""
    left = truncate(left, max(1, width - cell_width(right) - 1))
    gap = width - cell_width(left) - cell_width(right)
    return merge_spans([*left, (" " * gap, "text"), *right])


class Canvas(Widget, Generic[StateT]):
    """Base class of widgets that are drawn in rows from a state.

    A subclass implements :meth:`draw`; a screen calls :meth:`show`.
    """

    DEFAULT_CSS = "Canvas { height: auto; padding: 0; border: none; }"
    ALLOW_SELECT: ClassVar[bool] = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.state: StateT | None = None
        self.extent = Size(0, 0)
        self._rows: list[TextRow] = []
        self._strips: list[Strip] = []
        self._stale: set[int] = set()
        self._styles: dict[str, Style] = {}
        self._background: Color | None = None

    def draw(self, state: StateT, width: int, height: int) -> Sequence[TextRow]:
        """Draw a state as at most `height` rows of at most `width` cells."""
        raise NotImplementedError

    def show(self, state: StateT) -> None:
        """Set the state and repaint the rows that differ."""
        if state != self.state:
            self.state = state
            self.redraw()

    def redraw(self) -> None:
        """Draw the current state again."""
        if self.state is not None and self.extent:
            rows = self.draw(self.state, *self.extent)
            left: list[TextRow] = [()] * (self.extent.height - len(rows))
            self.paint(enumerate([*rows, *left]))

    def paint(self, rows: Iterable[tuple[int, TextRow]]) -> None:
        """Set rows, given with their line numbers, and repaint those that differ."""
        width, height = self.extent
        changed = []
        for y, row in rows:
            if y < height and self._rows[y] != row:
                self._rows[y] = row
                self._stale.add(y)
                changed.append(Region(0, y, width, 1))
        if changed:
            self.refresh(*changed)

    def on_resize(self, event: events.Resize) -> None:
        """Draw for the new size."""
        # Textual would repaint the changed rows beside where the whole widget is painted.
        assert self.gutter == Spacing(), f"{self!r} has padding; put it into a container that has"
        if event.size != self.extent:
            self.extent = event.size
            self._rows = [()] * self.extent.height
            self._strips = [Strip([])] * self.extent.height
            self._stale = set(range(self.extent.height))
            self.redraw()

    def notify_style_update(self) -> None:
        """Discard the styles of the old theme."""
        super().notify_style_update()
        self._styles.clear()
        self._background = None
        self._stale.update(range(len(self._rows)))

    def render_lines(self, crop: Region) -> list[Strip]:
        """Return the strips of a region."""
        if crop.bottom > len(self._rows):  # painted before the resize event
            return [Strip.blank(crop.width, self._style("text"))] * crop.height
        for y in self._stale:
            self._strips[y] = self._strip(self._rows[y])
        self._stale.clear()
        strips = self._strips[crop.y : crop.bottom]
        if crop.column_span != (0, self.extent.width):
            strips = [strip.crop_extend(crop.x, crop.right, None) for strip in strips]
        return strips

    def _strip(self, row: TextRow) -> Strip:
        strip = Strip([Segment(text, self._style(pen)) for text, pen in row])
        strip = strip.adjust_cell_length(self.extent.width, self._style("text"))
        for line_filter in self.get_line_filters():
            strip = strip.apply_filter(line_filter, self._background_color())
        return strip

    def _style(self, name: str) -> Style:
        style = self._styles.get(name)
        if style is None:
            style = self._styles[name] = _style(
                THEME_PENS[self.app.theme][name], self._background_color().hex6
            )
        return style

    def _background_color(self) -> Color:
        if self._background is None:
            self._background = self.background_colors[1]
        return self._background


def _style(pen: Pen, background: str) -> Style:
    return Style(
        color=pen.color,
        bgcolor=pen.back or background,
        bold=pen.bold,
        reverse=pen.reverse,
        underline=pen.underline,
    )
