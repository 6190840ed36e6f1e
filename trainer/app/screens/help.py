"""Help: the keys, and what the shapes and words mean."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Static

from trainer.app.keys import key_lines
from trainer.app.shapes import MARK_GRADES, MISSED, OLD_SHAPE
from trainer.app.theme import CSS_PENS

VOCABULARY = (
    ("4  -4", "blow and draw; ' a half step bent, o overblown or overdrawn"),
    ("▼ flat", "under the note, in cents: a hundredth of a half step"),
    ("▲ sharp", "over it"),
    ("● in tune", "inside the band of the trace and the gauge"),
    ("× not", "another note sounds"),
    ("clean", "one hole sounds"),
    ("!3  ▒ leak", "a neighbour sounds too, so many dB under the wanted hole"),
    ("[4]", "the hole that is wanted"),
    ("▴ ▾", "what sounds lies above or below the trace"),
    ("level", "of the sound taken in; too loud is about to be cut off"),
)


def two_columns(rows: tuple[tuple[str, str], ...]) -> Content:
    """Two columns."""
    now = f"bold {CSS_PENS['now'].color}"
    lines = [Content.assemble((f"  {left:<13}", now), right) for left, right in rows]
    return Content("\n").join(lines)


def help_content(under: type, everywhere: type) -> Content:
    """The whole page.

    Args:
        under: the screen that help is asked on.
        everywhere: the app, whose keys work on every screen.
    """
    marks = tuple(
        (grade.shape, f"{grade.word}, from {grade.least:.0f}")
        for grade in MARK_GRADES
        if grade.least
    )
    rest = (
        (MARK_GRADES[-1].shape, MARK_GRADES[-1].word),
        (MISSED.shape, MISSED.word),
        (OLD_SHAPE, "from the pass before"),
    )
    about = getattr(under, "ABOUT", "")
    return Content("\n").join(
        [
            *([Content(f"{about}\n")] if about else []),
            Content.styled("Keys", "bold"),
            two_columns(_keys(under)),
            Content.styled("\nKeys on every screen", "bold"),
            two_columns(_keys(everywhere)),
            Content.styled("\nMarks", "bold"),
            two_columns(marks + rest),
            Content.styled("\nWords and signs", "bold"),
            two_columns(VOCABULARY),
            Content.styled(
                "\nKeep the sound in headphones moderate. If you feel light-headed, stop, "
                "breathe and sit down.",
                CSS_PENS["quiet"].color,
            ),
        ]
    )


def _keys(owner: type) -> tuple[tuple[str, str], ...]:
    return tuple((line.keys, line.words) for line in key_lines(owner))


class HelpScreen(Screen[None]):
    """The keys and the words.

    Args:
        under: the screen that help is asked on.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,space", "dismiss", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(self, under: Screen[Any]) -> None:
        super().__init__()
        self._under = type(under)

    def compose(self) -> ComposeResult:
        """The page, to scroll where it does not fit."""
        yield Static("Help", classes="title")
        with VerticalScroll(id="help"):
            yield Static(help_content(self._under, type(self.app)))
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Let the arrow keys scroll."""
        self.query_one("#help").focus()
