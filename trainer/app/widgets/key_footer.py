"""The footer: the keys of the screen, none of them cut.

From `FULL_COLUMNS` on it has all keys of the screen, in as many rows as they need. In narrower
windows it has one row: the keys in the order of the screen's bindings as far as they fit, and an
ellipsis where some are left out. The ways out and help are always there, at the end, and help has
all keys.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from textual import events
from textual.actions import parse
from textual.app import App
from textual.binding import Binding
from textual.geometry import Size
from textual.keys import key_to_character
from textual.screen import Screen

from trainer.app.canvas import Canvas, TextRow, TextSpan, merge_spans
from trainer.app.keys import bindings_of, key_name

FULL_COLUMNS = 120
"""Columns from which all keys are shown."""
LAST_KEYS = ("escape", "question_mark", "q")
"""Keys at the end of the footer, which are never left out."""
GAP = "  "
"""Space between two keys."""
MORE = "…"
"""Sign that keys are left out."""


@dataclass(frozen=True, slots=True)
class FooterEntry:
    """A key and what it does.

    Attributes:
        key: Textual's name of the key, which a click presses.
        shown: the key as the player knows it.
        words: what it does, in a word or two.
    """

    key: str
    shown: str
    words: str

    @property
    def width(self) -> int:
        """Its width in cells."""
        return len(self.shown) + 1 + len(self.words)

    @classmethod
    def of(cls, binding: Binding) -> FooterEntry:
        """Make the entry of a binding; of several keys it shows the first."""
        key = binding.key.split(",")[0]
        return cls(key, binding.key_display or key_name(key), binding.description)


def footer_entries(screen: Screen[Any]) -> tuple[FooterEntry, ...]:
    """Return the keys that have an effect on a screen now, the last ones at the end."""
    listed = [
        FooterEntry.of(binding)
        for owner in (screen, screen.app)
        for binding in bindings_of(owner)
        if binding.show and _has_effect(binding, owner, screen)
    ]
    unique = {entry.key: entry for entry in reversed(listed)}  # the screen's goes before the app's
    return (
        *(entry for entry in listed if entry.key not in LAST_KEYS),
        *(unique[key] for key in LAST_KEYS if key in unique),
    )


def _has_effect(binding: Binding, owner: Screen[Any] | App[Any], screen: Screen[Any]) -> bool:
    """Return whether a key runs its action: it is enabled, and no text is typed with it."""
    _, name, parameters = parse(binding.action)
    if owner.check_action(name, parameters) is False:
        return False
    key, focused = binding.key.split(",")[0], screen.focused
    return (
        binding.priority
        or focused is None
        or not focused.check_consume_key(key, key_to_character(key))
    )


def footer_lines(entries: Sequence[FooterEntry], width: int) -> list[list[FooterEntry | None]]:
    """Return the entries in lines that fit a width; None stands for those left out."""
    last = [entry for entry in entries if entry.key in LAST_KEYS]
    others = [entry for entry in entries if entry.key not in LAST_KEYS]
    if width >= FULL_COLUMNS or _width(entries) <= width:
        lines: list[list[FooterEntry | None]] = [[]]
        for entry in (*others, *last):
            if lines[-1] and _width([*lines[-1], entry]) > width:
                lines.append([])
            lines[-1].append(entry)
        return lines
    kept: list[FooterEntry] = []
    for entry in others:
        if _width([*kept, entry, None, *last]) > width:
            break
        kept.append(entry)
    return [[*kept, None, *last]]


def _width(line: Iterable[FooterEntry | None]) -> int:
    widths = [len(MORE) if entry is None else entry.width for entry in line]
    return sum(widths) + len(GAP) * max(0, len(widths) - 1)


def footer_rows(entries: Sequence[FooterEntry], width: int) -> list[TextRow]:
    """Draw the footer."""
    rows = []
    for line in footer_lines(entries, width):
        spans: list[TextSpan] = []
        for entry in line:
            spans.append((GAP if spans else "", "text"))
            if entry is None:
                spans.append((MORE, "quiet"))
            else:
                spans += [(entry.shown, "key"), (f" {entry.words}", "quiet")]
        rows.append(merge_spans(spans))
    return rows


def entry_at(
    entries: Sequence[FooterEntry], width: int, column: int, row: int
) -> FooterEntry | None:
    """Return the entry at a cell of the footer; None for none."""
    lines = footer_lines(entries, width)
    start = 0
    for entry in lines[row] if row < len(lines) else ():
        end = start + (len(MORE) if entry is None else entry.width)
        if start <= column < end:
            return entry
        start = end + len(GAP)
    return None


class KeyFooter(Canvas[tuple[FooterEntry, ...]]):
    """The footer of a screen. A click on a key presses it."""

    DEFAULT_CSS = "KeyFooter { dock: bottom; height: auto; }"

    def on_mount(self) -> None:
        """Follow the bindings of the screen."""
        self.screen.bindings_updated_signal.subscribe(self, self._follow)
        self.call_after_refresh(self._update)

    def _follow(self, screen: Screen[Any]) -> None:
        if self.is_attached and screen is self.screen:
            self.call_after_refresh(self._update)

    def _update(self) -> None:
        if not self.is_attached:
            return
        height = self.get_content_height(self.extent, self.extent, self.extent.width)
        self.show(footer_entries(self.screen))
        if height != self.get_content_height(self.extent, self.extent, self.extent.width):
            self.refresh(layout=True)

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the number of rows that the keys need."""
        return len(footer_lines(self.state or (), width))

    def draw(self, state: tuple[FooterEntry, ...], width: int, height: int) -> list[TextRow]:
        """Draw all rows."""
        rows = footer_rows(state, width)
        return rows + [()] * (height - len(rows))

    async def on_click(self, event: events.Click) -> None:
        """Press the key that was clicked."""
        entry = entry_at(self.state or (), self.extent.width, event.x, event.y)
        if entry is not None:
            self.app.simulate_key(entry.key)
