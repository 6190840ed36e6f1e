"""A widget that is drawn row by row and repaints only the rows that changed.

A row is a few stretches of text, each with the name of a pen. What draws rows is a pure function
of a plain state, so that it can be tested and tried without a screen; the canvas turns rows into
Textual's strips. It answers `render_lines` from its own strips, because Textual's cache would
build every line again for borders and padding that a canvas does not have.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar, Generic, TypeVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.color import Color
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from trainer.app.theme import THEME_PENS, Pen

TextSpan = tuple[str, str]
"""A stretch of text and the name of its pen, one of those in `LOOKS`."""

TextRow = tuple[TextSpan, ...]

StateT = TypeVar("StateT")


def merge_spans(spans: Iterable[TextSpan]) -> TextRow:
    """A row, with neighbours of one pen joined and empty stretches left out."""
    row: list[TextSpan] = []
    for text, pen in spans:
        if row and row[-1][1] == pen:
            row[-1] = (row[-1][0] + text, pen)
        elif text:
            row.append((text, pen))
    return tuple(row)


def row_from_cells(cells: Sequence[str], pens: Sequence[str]) -> TextRow:
    """A row from a character and a pen for each cell."""
    row: list[TextSpan] = []
    start = 0
    for x in range(1, len(cells) + 1):
        if x == len(cells) or pens[x] != pens[start]:
            row.append(("".join(cells[start:x]), pens[start]))
            start = x
    return tuple(row)


def cell_width(row: TextRow) -> int:
    """Cells of a row whose characters are one cell wide."""
    return sum(len(text) for text, _ in row)


def truncate(row: TextRow, width: int) -> TextRow:
    """A row of at most so many cells; one that is longer ends in an ellipsis."""
    if cell_width(row) <= width:
        return row
    room = width - 1
    kept: list[TextSpan] = []
    for text, pen in row:
        kept.append((text[:room], pen))
        room -= len(kept[-1][0])
    return merge_spans([*kept, ("…", row[-1][1])])


def justify(left: TextRow, right: TextRow, width: int) -> TextRow:
    """A row with one part at its left end and one at its right; the left one gives way."""
    left = truncate(left, max(1, width - cell_width(right) - 1))
    gap = width - cell_width(left) - cell_width(right)
    return merge_spans([*left, (" " * gap, "text"), *right])


class Canvas(Widget, Generic[StateT]):
    """Base of the widgets that are drawn in rows from a state.

    A subclass gives :meth:`draw`; whoever feeds it calls :meth:`show`.
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
        """All rows of a state, at most `height` of at most `width` cells."""
        raise NotImplementedError

    def show(self, state: StateT) -> None:
        """Take a new state and repaint what it changes."""
        if state != self.state:
            self.state = state
            self.redraw()

    def redraw(self) -> None:
        """Draw the present state again."""
        if self.state is not None and self.extent:
            self.paint(enumerate(self.draw(self.state, *self.extent)))

    def paint(self, rows: Iterable[tuple[int, TextRow]]) -> None:
        """Put rows in their places, each with its line number, and repaint those that differ."""
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
        if event.size != self.extent:
            self.extent = event.size
            self._rows = [()] * self.extent.height
            self._strips = [Strip([])] * self.extent.height
            self._stale = set(range(self.extent.height))
            self.redraw()

    def notify_style_update(self) -> None:
        """Forget the styles that were made from the old theme."""
        super().notify_style_update()
        self._styles.clear()
        self._background = None
        self._stale.update(range(len(self._rows)))

    def render_lines(self, crop: Region) -> list[Strip]:
        """The strips of a part of the canvas."""
        if crop.bottom > len(self._rows):  # painted before it was told of its new size
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
            strip = strip.apply_filter(line_filter, self._back())
        return strip

    def _style(self, name: str) -> Style:
        style = self._styles.get(name)
        if style is None:
            style = self._styles[name] = _style(THEME_PENS[self.app.theme][name], self._back().hex6)
        return style

    def _back(self) -> Color:
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
