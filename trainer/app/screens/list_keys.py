"""The keys by which a list is walked, where they are the screen's and not the list's."""

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
"""For screens with an ``action_choose`` that hands them to their list."""


def move_cursor(choices: OptionList, where: str) -> None:
    """Another line of a list.

    Args:
        choices: the list; a heading in it cannot be chosen.
        where: as in the actions of `CHOOSING`.
    """
    getattr(choices, f"action_{where}")()
    if choices.highlighted is None:  # a page up has ended on the heading at the top
        choices.action_first()
