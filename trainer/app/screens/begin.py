"""Begin: where a player begins, who may be no beginner; and the levels that were found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.placing import Beginning
from trainer.app.screens.list_keys import LIST_BINDINGS, move_cursor
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.key_footer import KeyFooter
from trainer.core import TrainerError
from trainer.store import Placement

PLACE = "place"
"""Result of the screen: find the level by playing."""
FROM_HERE = "here"
"""Id of the choice that changes nothing."""
SKILL_CELLS = 28
"""Width of a skill in cells."""


def choice_line(words: str, about: str, *, chosen: bool) -> Content:
    """Return the line of a way to begin."""
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    return Content.assemble(pointer, (f"{words:<30}", "bold"), (about, CSS_PENS["quiet"].color))


def skill_line(skill: str, level: int, *, ticked: bool, chosen: bool) -> Content:
    """Return the line of a skill that the player may have already."""
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    tick = ("● ", CSS_PENS["good"].color) if ticked else "○ "
    about = f"up to level {level}"
    return Content.assemble(
        pointer, tick, f"{skill:<{SKILL_CELLS}}", (about, CSS_PENS["quiet"].color)
    )


class BeginScreen(Screen[str | tuple[str, ...] | None]):
    """Where the player begins.

    Its result is `PLACE`, the names of the skills that the player has, or None for no change.

    Args:
        load: loads what is known; called in a thread, because it reads the journal.
    """

    DEFAULT_CSS = """
    BeginScreen {
        #words { height: auto; padding: 1 2; }
        #choices {
            height: 1fr;
            border: none;
            background: $background;
            padding: 0 1;
            scrollbar-size-vertical: 1;
        }
        #choices > .option-list--option-highlighted {
            color: $foreground;
            background: $surface;
            text-style: none;
        }
    }
    """
    ABOUT: ClassVar[str] = "Where to begin: at the first drill, at your level, or at what you know."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "go_on", "go on", tooltip="begin so"),
        Binding("space", "tick", "tick", tooltip="name this skill as yours, or not"),
        *LIST_BINDINGS,
        Binding("escape", "dismiss(None)", "back", key_display="esc", tooltip="back, as before"),
    ]

    def __init__(self, load: Callable[[], Beginning]) -> None:
        super().__init__()
        self._load = load
        self._beginning: Beginning | None = None
        self._ticked: set[str] = set()

    @property
    def _chosen(self) -> str:
        """Id of the line with the cursor."""
        choices = self.query_one(OptionList)
        place = choices.highlighted
        chosen = None if place is None else choices.get_option_at_index(place).id
        return chosen or FROM_HERE

    def compose(self) -> ComposeResult:
        """Yield the question and the choices."""
        yield Static("Where do you begin?", classes="title")
        yield Static(
            "If you play already, the first drills are too easy. Let the trainer find your level, "
            "or tick what you can.",
            id="words",
        )
        choices = OptionList(id="choices")
        choices.can_focus = False  # its keys are the screen's
        yield choices
        yield KeyFooter()

    def on_mount(self) -> None:
        """Read what is known."""
        self._read()

    @work(thread=True)
    def _read(self) -> None:
        worker = get_current_worker()
        outcome: Beginning | str
        try:
            outcome = self._load()
        except TrainerError as error:
            outcome = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show, outcome)

    def _show(self, outcome: Beginning | str) -> None:
        if isinstance(outcome, str):
            self.query_one("#words", Static).update(outcome)
            return
        self._beginning = outcome
        heading = Content.styled("\n  I can already:", CSS_PENS["quiet"].color)
        choices = self.query_one(OptionList)
        choices.add_options(
            [
                Option("", id=FROM_HERE),
                Option("", id=PLACE),
                Option(heading, disabled=True),
                *(Option("", id=f"skill-{skill}") for skill, _ in outcome.skills),
            ]
        )
        self._redraw()
        choices.highlighted = 0

    def _redraw(self) -> None:
        """Draw all lines."""
        if self._beginning is None:
            return
        choices, chosen = self.query_one(OptionList), self._chosen
        here = "At the beginning" if self._beginning.is_new else "Where I am"
        about = "the first drills" if self._beginning.is_new else "your takes and levels stay"
        lines = {
            FROM_HERE: choice_line(here, about, chosen=chosen == FROM_HERE),
            PLACE: choice_line(
                "Find my level",
                "about five minutes of playing",
                chosen=chosen == PLACE,
            ),
        }
        for skill, level in self._beginning.skills:
            lines[f"skill-{skill}"] = skill_line(
                skill, level, ticked=skill in self._ticked, chosen=chosen == f"skill-{skill}"
            )
        for name, line in lines.items():
            choices.replace_option_prompt(name, line)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the chosen line."""
        self._redraw()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Take the line that was clicked."""
        if self._chosen.startswith("skill-"):
            self.action_tick()
        else:
            self.action_go_on()

    def action_choose(self, where: str) -> None:
        """Move the cursor."""
        move_cursor(self.query_one(OptionList), where)

    def action_tick(self) -> None:
        """Name the chosen skill, or take it back."""
        if self._chosen.startswith("skill-"):
            self._ticked ^= {self._chosen.removeprefix("skill-")}
            self._redraw()

    def action_go_on(self) -> None:
        """Begin as chosen: what is ticked counts, unless the level is to be found."""
        if self._beginning is None:
            return
        if self._chosen == PLACE:
            self.dismiss(PLACE)
        elif self._ticked:
            self.dismiss(tuple(s for s, _ in self._beginning.skills if s in self._ticked))
        else:
            self.dismiss(None)


class LevelsScreen(Screen[None]):
    """The levels that a placement has found, or that the player has named.

    Args:
        placements: the levels.
    """

    DEFAULT_CSS = """
    LevelsScreen {
        #heading { height: auto; padding: 1 2; }
        #levels { height: 1fr; padding: 0 2; scrollbar-size-vertical: 1; }
    }
    """
    ABOUT: ClassVar[str] = "Your level in each skill; what you play from now on corrects it."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter,space", "dismiss", "go on", key_display="enter", tooltip="on to today's set"
        ),
        Binding("escape", "dismiss", "back", key_display="esc", tooltip="on to today's set"),
    ]

    def __init__(self, placements: Sequence[Placement]) -> None:
        super().__init__()
        self._placements = sorted(placements, key=lambda each: (-each.level, each.skill))

    def compose(self) -> ComposeResult:
        """Yield the heading and a line for each level."""
        yield Static("Your levels", classes="title")
        words = "Today's set begins here. What you play from now on corrects it."
        if not self._placements:
            words = "The course begins at level 1."
        yield Static(words, id="heading")
        lines = [
            Content.assemble((f"{each.skill:<{SKILL_CELLS}}", "bold"), f"level {each.level}")
            for each in self._placements
        ]
        with VerticalScroll(id="levels"):
            yield Static(Content("\n").join(lines))
        yield KeyFooter()
