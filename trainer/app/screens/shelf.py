"""Shelf: find a drill, hear it, open it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer, Input, OptionList, Static
from textual.widgets.option_list import Option

from trainer.app.playback import drill_playback_plan
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
from trainer.drill import Drill
from trainer.report.formatting import quantity_text

WIDE_COLUMNS = 100
"""Columns from which a line also says what else a drill trains."""


def drill_line(drill: Drill, chosen: bool = False, *, wide: bool = False) -> Content:
    """A drill in a line: title, level, signs and what else it trains; a pointer if it is chosen."""
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    quiet = CSS_PENS["quiet"].color
    told = [*feature_signs(drill), *(drill.skills[1:] if wide else ())]
    return Content.assemble(
        pointer, (f"{drill.title:<38} ", "bold"), (f"level {drill.level}  ", quiet), "  ".join(told)
    )


def drill_options(found: Iterable[tuple[int, Drill]], *, wide: bool = False) -> list[Option]:
    """The list: drills by their place on the shelf, under the main skill that each trains."""
    listed: list[Option] = []
    skill = ""
    for place, drill in found:
        main = drill.skills[0] if drill.skills else "other"
        if main != skill:
            heading = ("\n" if listed else "") + main[0].upper() + main[1:]
            listed.append(Option(Content.styled(heading, CSS_PENS["quiet"].color), disabled=True))
            skill = main
        listed.append(Option(drill_line(drill, wide=wide), id=str(place)))
    return listed


class SearchInput(Input):
    """Where one types; a question mark asks for help instead."""

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Whether a key is typed in."""
        return character != "?" and super().check_consume_key(key, character)


class ShelfScreen(PlaybackScreen[int | None]):
    """The drills at hand. Gives the place of the chosen one.

    Letters, digits and signs go into the search; the other keys choose.

    Args:
        shelf: the drills.
        place: which one is in hand; -1 for none.
        session: through whose listener a drill is heard, while no take runs.
    """

    DEFAULT_CSS = """
    ShelfScreen {
        #search { background: $background; padding: 0 1; height: 1; border: none; }
        #shelf-preview { height: 9; background: $surface; }
        #sound { height: 1; padding: 0 2; background: $surface; text-wrap: nowrap; }
        &.-tall #shelf-preview { height: 15; padding: 1 0; }
        #drills > .option-list--option-highlighted {
            color: $foreground;
            background: $surface;
            text-style: none;
        }
    }
    """
    CAUTION = "tab lets you hear it. Set a moderate level first, above all in headphones."
    ABOUT: ClassVar[str] = "All drills. Type to search: a title, a skill, level 3, -4', hole 2."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape",
            "leave",
            "back",
            key_display="esc",
            tooltip="quiet what is heard, or take the search away, or back",
        ),
        Binding(
            "up",
            "choose('cursor_up')",
            "choose",
            key_display="↑↓",
            priority=True,
            tooltip="the drill above",
        ),
        Binding(
            "down",
            "choose('cursor_down')",
            "next",
            show=False,
            priority=True,
            tooltip="the drill below",
        ),
        Binding(
            "pageup", "choose('page_up')", "page up", show=False, priority=True, tooltip="a page up"
        ),
        Binding(
            "pagedown",
            "choose('page_down')",
            "page down",
            show=False,
            priority=True,
            tooltip="a page down",
        ),
        Binding("enter", "open", "open", priority=True, tooltip="open this drill"),
        Binding(
            "tab", "hear", "hear it, or stop", priority=True, tooltip="hear it played, or stop that"
        ),
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
        self._found = list(range(len(shelf)))
        self._search = SearchInput(
            placeholder="type to search: a title, a skill, level 3, -4', hole 2, free",
            id="search",
            compact=True,
            select_on_focus=False,
        )
        self._search.cursor_blink = False  # it would wake an idle screen twice a second
        self._drills = OptionList(id="drills")
        self._drills.can_focus = False  # letters are for the search
        self._preview = DrillPreview(id="shelf-preview")

    def compose(self) -> ComposeResult:
        """The search, the list, and what the chosen drill is about."""
        yield Static(id="count", classes="title")
        yield self._search
        yield self._drills
        yield self._preview
        yield Static(self.CAUTION, id="sound")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Let letters go into the search."""
        self._search.focus()

    def on_resize(self) -> None:
        """List the drills, with as much in a line as there is room for."""
        self._list()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Find anew."""
        self._entries = self._entries or tuple(SearchableDrill.of(drill) for drill in self._shelf)
        found = [place for place, one in enumerate(self._entries) if one.fits(event.value)]
        if found != self._found:
            self._found = found
            if found and event.value.strip():
                self._place = found[0]
            self._list()

    def _list(self) -> None:
        """List what was found, and point at the drill that was pointed at."""
        shelf, found = self._shelf, self._found
        count = quantity_text(len(shelf), "drill")
        told = count if len(found) == len(shelf) else f"{len(found)} of {count}"
        self.query_one("#count", Static).update(f"The shelf: {told}")
        wide = self.size.width >= WIDE_COLUMNS
        self._drills.clear_options()
        self._drills.add_options(
            drill_options(((place, shelf[place]) for place in found), wide=wide)
        )
        if not found:
            missing = "No drill has all of that. Take a word away, or esc takes all away."
            self._preview.show(
                DrillPreviewState(None, missing if shelf else "There is no drill on the shelf.")
            )
            return
        self._drills.highlighted = self._drills.get_option_index(str(self._place))
        self.call_after_refresh(self._drills.scroll_to_highlight)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Point at the drill and say what it is about."""
        place = int(event.option_id or 0)
        if place not in self._found:
            return  # the list has changed since
        wide = self.size.width >= WIDE_COLUMNS
        for other in {self._place, place} & set(self._found):
            self._drills.replace_option_prompt(
                str(other), drill_line(self._shelf[other], other == place, wide=wide)
            )
        self._place = place
        self._preview.show(DrillPreviewState(self._shelf[place]))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open the drill that was clicked on."""
        self.leave(int(event.option_id or 0))

    def action_choose(self, where: str) -> None:
        """Another drill."""
        move_cursor(self._drills, where)

    def action_open(self) -> None:
        """Open the chosen drill."""
        if self._found:
            self.leave(self._place)

    def action_leave(self) -> None:
        """Quiet what is heard, or else take the search away, or else go back."""
        if self.heard is not None:
            self.quiet()
        elif self._search.value:
            self._search.value = ""
        else:
            self.leave(None)

    def action_hear(self) -> None:
        """Let the built-in player play the chosen drill aloud, or stop it."""
        if self.heard is not None:
            self.quiet()
        elif self._found:
            plan = drill_playback_plan(self._shelf[self._place], self._of.plan)
            title = self._shelf[self._place].title
            self.hear(plan, f"{title}, on a {plan.harp.name} harp; tab stops it")
