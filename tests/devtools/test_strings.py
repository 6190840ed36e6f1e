"""The list of all texts is current, and has what players see and nothing else."""

from __future__ import annotations

from devtools.strings import PAGE, module_texts, strings_page, template_texts, toml_texts

SOURCE = '''
"""A docstring of a module."""

FIGURES = {"the key of a table": "how far off"}
"""A docstring of a constant."""
_PATTERN = re.compile("a pattern of two")


class Board:
    """A docstring of a class."""

    BINDINGS = [Binding("m", "measure", "measure", tooltip="measure its reeds")]
    DEFAULT_CSS = "Board { height: 1fr; }"

    def draw(self, name: str) -> str:
        """Draw a docstring."""
        log.info("opened the board")
        if name == "a name of two":
            raise HarpError(f"no harp is called \'{name}\'; "
                            f"there are {', '.join(names)}")
        return table["the key of a value"] + f"{name} harp" + "quiet"
'''


def test_texts_of_a_module_are_what_is_shown() -> None:
    texts = [(shown.owner, shown.text) for shown in module_texts(SOURCE, "trainer/app/board.py")]
    assert texts == [
        ("FIGURES", "how far off"),
        ("Board.BINDINGS", "measure: measure its reeds"),
        ("Board.draw", "no harp is called '{name}'; there are {', '.join(names)}"),
        ("Board.draw", "{name} harp"),
    ]


def test_the_store_shows_its_errors_only() -> None:
    source = 'QUERY = "of two words"\nraise JournalError(f"the journal {path} is damaged")\n'
    texts = module_texts(source, "trainer/store/journal.py")
    assert [shown.text for shown in texts] == ["the journal {path} is damaged"]


def test_texts_of_templates_and_drills_are_listed() -> None:
    template = '<style>p {}</style>{# note #}<p title="a hint">Hear <b>it</b> {{ step.tab }}</p>'
    assert {shown.text for shown in template_texts(template, "a")} == {"Hear it {tab}", "a hint"}
    drill = 'title = "Bell"\nabout = """\nTrains a\nlittle."""\nharp = "C"\n'
    assert [shown.text for shown in toml_texts(drill, "a")] == ["Bell", "Trains a little."]


def test_page_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == strings_page(), "run python -m devtools.strings"
