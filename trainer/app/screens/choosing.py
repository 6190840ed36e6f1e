"""The keys by which a list is walked, where they are the screen's and not the list's."""

from __future__ import annotations

from textual.binding import Binding

CHOOSING = (
    Binding("up", "choose('cursor_up')", "choose", key_display="↑↓"),
    Binding("down", "choose('cursor_down')", "next", show=False),
    Binding("pageup", "choose('page_up')", "page up", show=False),
    Binding("pagedown", "choose('page_down')", "page down", show=False),
    Binding("home", "choose('first')", "first", show=False),
    Binding("end", "choose('last')", "last", show=False),
)
"""For screens with an ``action_choose`` that hands them to their list."""
