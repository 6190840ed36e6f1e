"""Shelf: choose a drill."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from trainer.app.theme import PENS
from trainer.drill import Drill


def entry(drill: Drill, chosen: bool = False) -> Content:
    """A drill in a line: title and what else it trains, with a pointer if it is the chosen one."""
    pointer = ("▶ ", PENS["now"].color) if chosen else "  "
    also = (", ".join(drill.skills[1:]), PENS["quiet"].color)
    return Content.assemble(pointer, (f"{drill.title:<40} ", "bold"), also)


def options(shelf: Sequence[Drill]) -> list[Option]:
    """The list: every drill by its place on the shelf, under the main skill that it trains."""
    listed: list[Option] = []
    skill = ""
    for place, drill in enumerate(shelf):
        main = drill.skills[0] if drill.skills else "other"
        if main != skill:
            heading = ("\n" if listed else "") + main[0].upper() + main[1:]
            listed.append(Option(Content.styled(heading, PENS["quiet"].color), disabled=True))
            skill = main
        listed.append(Option(entry(drill), id=str(place)))
    return listed


def preview(drill: Drill) -> Content:
    """What a drill is about, and its figures."""
    beats, value = drill.meter
    figures = (
        f"{drill.bars} bars of {beats}/{value}, {len(drill.steps)} steps, tempo {drill.tempo:g}, "
        f"in tune within {drill.goal.tolerance:g} cents"
    )
    return Content.assemble(" ".join(drill.about.split()), "\n", (figures, PENS["quiet"].color))


class ShelfScreen(Screen[int | None]):
    """The drills at hand. Gives the place of the chosen one.

    Args:
        shelf: the drills.
        place: which one is in hand; -1 for none.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,s", "dismiss(None)", "back", key_display="esc"),
    ]

    def __init__(self, shelf: Sequence[Drill], place: int) -> None:
        super().__init__()
        self._shelf = shelf
        self._place = max(0, place)

    def compose(self) -> ComposeResult:
        """The list, and what the chosen drill is about."""
        yield Static("The shelf: choose with ↑ ↓, open with enter", classes="title")
        if self._shelf:
            yield OptionList(*options(self._shelf), id="drills")
        else:
            yield Static("There is no drill on the shelf.")
        yield Static(id="preview")
        yield Footer(compact=True)

    def on_mount(self) -> None:
        """Start at the drill in hand."""
        if self._shelf:
            drills = self.query_one(OptionList)
            drills.highlighted = drills.get_option_index(str(self._place))
            drills.focus()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Point at the drill and say what it is about."""
        place = int(event.option_id or 0)
        drills = event.option_list
        drills.replace_option_prompt(str(self._place), entry(self._shelf[self._place]))
        drills.replace_option_prompt(str(place), entry(self._shelf[place], chosen=True))
        self._place = place
        self.query_one("#preview", Static).update(preview(self._shelf[place]))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open the drill."""
        self.dismiss(int(event.option_id or 0))
