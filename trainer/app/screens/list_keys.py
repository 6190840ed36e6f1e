"""Cursor keys of a list, bound by the screen and not by the list."""

from __future__ import annotations

from textual.binding import Binding
from textual.widgets import OptionList

LIST_BINDINGS = (
    Binding("up", "choose('cursor_up')", "choose", key_display="↑↓", tooltip="the line above"),
    Binding("down", "choose('cursor_down')", "next", show=False, tooltip="the line below"),
    Binding("pageup", "choose('page_up')", "page up", show=False, tooltip="a page up"),
    Binding("pagedown", "choose('page_down')", "page down", show=False, tooltip="a page down"),
    Binding("home", "choose('first')", "first", show=False, tooltip="the first line"),
    Binding("end", "choose('last')", "last", show=False, tooltip="the last line"),
)
"""For a screen whose ``action_choose`` calls `move_cursor` with its list."""


def move_cursor(choices: OptionList, where: str) -> None:
    """Move the cursor of a list.

    Args:
        choices: the list; its headings are skipped.
        where: a movement as in the actions of `LIST_BINDINGS`.
    """
    getattr(choices, f"action_{where}")()
    if choices.highlighted is None:  # a page up has ended on the top heading
        choices.action_first()
