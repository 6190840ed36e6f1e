"""Help: the keys, and what the shapes and words mean."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Static

from trainer.app.shapes import GRADES, MISS, OLD_SHAPE
from trainer.app.theme import PENS

KEYS = (
    ("space", "start with the count-in, or stop"),
    ("r", "again from the count-in"),
    ("k", "pause, and go on with a count-in; b goes a bar back"),
    ("c", "let the tempo climb in a loop, or not; < > change how far"),
    ("l", "loop on or off; the running pass is played to its end"),
    ("↑ ↓  or + -", "tempo up or down; 0 is the drill's own"),
    ("[ ]", "begin a bar later, end a bar sooner, then the whole again"),
    ("n p", "next drill of the shelf, drill before"),
    ("t", "today: the day's set, and why each drill is in it"),
    ("s", "the shelf: choose a drill"),
    ("i", "listen without a drill"),
    ("g", "progress: what is getting better (m what is plotted, enter plot or table)"),
    ("h", "harps: the one in hand, its chart, and which reeds are off"),
    ("m", "microphone: choose one and see that it works"),
    (",", "settings: see and change all of them"),
    ("ctrl p", "find any of these by typing its words"),
    ("?", "this page"),
    ("q", "quit"),
)
WORDS = (
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


def table(rows: tuple[tuple[str, str], ...]) -> Content:
    """Two columns."""
    now = f"bold {PENS['now'].color}"
    lines = [Content.assemble((f"  {left:<13}", now), right) for left, right in rows]
    return Content("\n").join(lines)


def text() -> Content:
    """The whole page."""
    marks = tuple(
        (grade.shape, f"{grade.word}, from {grade.least:.0f}") for grade in GRADES if grade.least
    )
    rest = (
        (GRADES[-1].shape, GRADES[-1].word),
        (MISS.shape, MISS.word),
        (OLD_SHAPE, "from the pass before"),
    )
    return Content("\n").join(
        [
            Content.styled("Keys", "bold"),
            table(KEYS),
            Content.styled("\nMarks", "bold"),
            table(marks + rest),
            Content.styled("\nWords and signs", "bold"),
            table(WORDS),
            Content.styled(
                "\nKeep the sound in headphones moderate. If you feel light-headed, stop, "
                "breathe and sit down.",
                PENS["quiet"].color,
            ),
        ]
    )


class HelpScreen(Screen[None]):
    """The keys and the words."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,space", "dismiss", "back", key_display="esc"),
    ]

    def compose(self) -> ComposeResult:
        """The page, to scroll where it does not fit."""
        yield Static("Help", classes="title")
        with VerticalScroll(id="help"):
            yield Static(text())
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Let the arrow keys scroll."""
        self.query_one("#help").focus()
