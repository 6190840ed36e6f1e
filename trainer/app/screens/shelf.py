"""Shelf: find a drill, hear it, open it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.content import Content
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from trainer.app.course_view import load_course
from trainer.app.playback import drill_playback_plan
from trainer.app.screens.course import CourseScreen
from trainer.app.screens.list_keys import move_cursor
from trainer.app.screens.playback_base import PlaybackScreen
from trainer.app.session import Session
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.drill_preview import (
    DrillPreview,
    DrillPreviewState,
    SearchableDrill,
    feature_signs,
)
from trainer.app.widgets.key_footer import KeyFooter
from trainer.core.quantities import quantity_text
from trainer.drill import Drill

SPLIT_COLUMNS = 110
"""Columns from which the preview stands beside the list."""
WIDE_COLUMNS = 170
"""Columns from which a line also lists the drill's other skills."""


def drill_line(drill: Drill, chosen: bool = False, *, wide: bool = False) -> Content:
    """Return a line of the list: title, level, features and, if wide, other skills."""
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    quiet = CSS_PENS["quiet"].color
    notes = [*feature_signs(drill), *(drill.skills[1:] if wide else ())]
    return Content.assemble(
        pointer,
        (f"{drill.title:<34} ", "bold"),
        (f"level {drill.level}  ", quiet),
        "  ".join(notes),
    )


def drill_options(matches: Iterable[tuple[int, Drill]], *, wide: bool = False) -> list[Option]:
    """Return the options of the list: drills under the main skill that each trains.

    Args:
        matches: the drills with their places on the shelf.
        wide: whether lines list the other skills.
    """
    listed: list[Option] = []
    skill = ""
    for place, drill in matches:
        main = drill.skills[0] if drill.skills else "other"
        if main != skill:
            heading = ("\n" if listed else "") + main[0].upper() + main[1:]
            listed.append(Option(Content.styled(heading, CSS_PENS["quiet"].color), disabled=True))
            skill = main
        listed.append(Option(drill_line(drill, wide=wide), id=str(place)))
    return listed


class SearchInput(Input):
    """The search input; a question mark opens help instead."""

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Return whether the input consumes a key."""
        return character != "?" and super().check_consume_key(key, character)


class ShelfScreen(PlaybackScreen[int | None]):
    """The available drills, with a search.

    Its result is the place of the chosen drill; None for none. Letters, digits and signs go to the
    search; the other keys move the cursor.

    Args:
        shelf: the drills.
        place: place of the current drill; -1 for none.
        session: its listener plays drills while no take runs.
    """

    DEFAULT_CSS = """
    ShelfScreen {
        #body { height: 1fr; layout: vertical; }
        #search { background: $background; padding: 0 1; height: 1; border: none; }
        #shelf-preview { height: 9; background: $surface; }
        #preview-box { height: auto; padding: 0; background: $surface; }
        #sound { height: 1; padding: 0 2; background: $surface; text-wrap: nowrap; }
        &.-tall #preview-box { padding: 1 0; }
        &.-tall #shelf-preview { height: 13; }
        &.-split #body { layout: horizontal; }
        &.-split #drills { width: 1fr; }
        &.-split #preview-box { width: 46%; height: 1fr; padding: 1 0; }
        &.-split #shelf-preview { height: 1fr; }
        #drills > .option-list--option-highlighted {
            color: $foreground;
            background: $surface;
            text-style: none;
        }
    }
    """
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (SPLIT_COLUMNS, "-split")]  # noqa: RUF012
    CAUTION = "tab plays it. Headphones: moderate level."
    ABOUT: ClassVar[str] = "All drills. Type to search: a title, a skill, level 3, -4', hole 2."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape",
            "leave",
            "back",
            key_display="esc",
            tooltip="stop playback, or clear the search, or back",
        ),
        Binding(
            "up",
            "choose('cursor_up')",
            "choose",
            key_display="↑↓",
            tooltip="the drill above",
        ),
        Binding(
            "down",
            "choose('cursor_down')",
            "next",
            show=False,
            tooltip="the drill below",
        ),
        Binding("pageup", "choose('page_up')", "page up", show=False, tooltip="a page up"),
        Binding(
            "pagedown",
            "choose('page_down')",
            "page down",
            show=False,
            tooltip="a page down",
        ),
        Binding("enter", "open", "open", tooltip="open this drill"),
        Binding("ctrl+o", "course", "course", priority=True, tooltip="the shelf as a course"),
        Binding("tab", "hear", "hear", priority=True, tooltip="hear it played, or stop"),
        Binding(
            "question_mark", "app.help", "help", key_display="?", priority=True, tooltip="this page"
        ),
    ]

    def __init__(self, shelf: Sequence[Drill], place: int, session: Session) -> None:
        super().__init__(session)
        self._of = session
        self._shelf = shelf
        self._place = max(0, place)
        self._entries: tuple[SearchableDrill, ...] = ()
        self._matches = list(range(len(shelf)))
        self._search = SearchInput(
            placeholder="type to search: a title, a skill, level 3, -4', hole 2, free",
            id="search",
            compact=True,
            select_on_focus=False,
        )
        self._search.cursor_blink = False  # it would wake an idle screen twice a second
        self._drills = OptionList(id="drills")
        self._drills.can_focus = False  # letters go to the search
        self._preview = DrillPreview(id="shelf-preview")

    def compose(self) -> ComposeResult:
        """Yield the search, the list and a preview of the chosen drill."""
        yield Static(id="count", classes="title")
        yield self._search
        with Container(id="body"):
            yield self._drills
            with Container(id="preview-box"):
                yield self._preview
        yield Static(self.CAUTION, id="sound")
        yield KeyFooter()

    def on_mount(self) -> None:
        """Focus the search."""
        self._search.focus()

    def on_resize(self) -> None:
        """Fill the list for the new width."""
        self._list()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Search again."""
        self._entries = self._entries or tuple(SearchableDrill.of(drill) for drill in self._shelf)
        matches = [place for place, entry in enumerate(self._entries) if entry.matches(event.value)]
        if matches != self._matches:
            self._matches = matches
            if matches and event.value.strip():
                self._place = matches[0]
            self._list()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Open the chosen drill.

        Enter is no priority key: one would be handled before the letters typed just before it.
        """
        self.action_open()

    def _list(self) -> None:
        """Fill the list with the drills found, and restore the cursor."""
        shelf, matches = self._shelf, self._matches
        count = quantity_text(len(shelf), "drill")
        total = count if len(matches) == len(shelf) else f"{len(matches)} of {count}"
        self.query_one("#count", Static).update(f"Shelf: {total}")
        wide = self.size.width >= WIDE_COLUMNS
        self._drills.clear_options()
        self._drills.add_options(
            drill_options(((place, shelf[place]) for place in matches), wide=wide)
        )
        if not matches:
            missing = "No drill matches. Delete a word, or press esc to clear the search."
            self._preview.show(DrillPreviewState(None, missing if shelf else "The shelf is empty."))
            return
        self._drills.highlighted = self._drills.get_option_index(str(self._place))
        self.call_after_refresh(self._drills.scroll_to_highlight)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the chosen drill and show its preview."""
        place = int(event.option_id or 0)
        if place not in self._matches:
            return  # the list has changed meanwhile
        wide = self.size.width >= WIDE_COLUMNS
        for other in {self._place, place} & set(self._matches):
            self._drills.replace_option_prompt(
                str(other), drill_line(self._shelf[other], other == place, wide=wide)
            )
        self._place = place
        self._preview.show(DrillPreviewState(self._shelf[place]))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open the drill that was clicked."""
        self.leave(int(event.option_id or 0))

    def action_choose(self, where: str) -> None:
        """Move the cursor."""
        move_cursor(self._drills, where)

    def action_open(self) -> None:
        """Open the chosen drill."""
        if (line := self._drills.highlighted) is not None:
            self.leave(int(self._drills.get_option_at_index(line).id or 0))

    def action_course(self) -> None:
        """Show the shelf as a course; a drill that is chosen there is opened."""
        if self.playing is not None:
            self.stop_playback()
        plan = self._of.plan
        self.app.push_screen(CourseScreen(lambda: load_course(plan), self._shelf), self._take)

    def _take(self, place: int | None) -> None:
        if place is not None:
            self.leave(place)

    def action_leave(self) -> None:
        """Stop playback, or else clear the search, or else go back."""
        if self.playing is not None:
            self.stop_playback()
        elif self._search.value:
            self._search.value = ""
        else:
            self.leave(None)

    def action_hear(self) -> None:
        """Play the chosen drill aloud by the built-in player, or stop it."""
        if self.playing is not None:
            self.stop_playback()
        elif self._matches:
            plan = drill_playback_plan(self._shelf[self._place], self._of.plan)
            title = self._shelf[self._place].title
            self.play(plan, f"{title}, on a {plan.harp.name} harp; tab stops it")
