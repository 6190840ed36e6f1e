"""The page of tab on the screens: techniques in the tab, directions above it, and the cursor."""

from __future__ import annotations

from trainer.app.canvas import TextRow
from trainer.app.widgets.tab_page import TabPageState, lay_out_tab, line_rows, top_row
from trainer.drill import Drill, parse_drill


def drill_of(tab: str) -> Drill:
    return parse_drill(f'title = "T"\nharp = "C"\ntempo = 90\ntab = """{tab}"""\n', "t")


def text(row: TextRow) -> str:
    return "".join(span for span, _ in row)


def rows_of(drill: Drill, width: int, position: float | None = None) -> list[str]:
    """Top row and tab of each line."""
    layout = lay_out_tab(drill, width, 8)
    rows = []
    for number, line in enumerate(layout.lines):
        rows.append(text(top_row(layout, number, position)))
        rows.append(text(line_rows(layout, line, TabPageState(drill))[0]))
    return rows


def test_directions_stand_above_their_notes() -> None:
    drill = drill_of("^-5 -4:1 {legato} 4:1 5:1 {} 6:1{accent} | -4<>5:2 4:1{scoop, fall} 5:1 |")
    top, tab, *below = rows_of(drill, 40)
    assert tab.startswith("│^-5 -4─")
    assert top.index("(legato") == tab.index("4───")
    assert top.index(")") == tab.index("5───")
    assert top.index("(accent)") == tab.index("6───")
    assert "-4<>5" in below[1]
    assert below[0].index("(sco") == below[1].index("4───", 8)


def test_words_without_room_are_cut_before_the_next() -> None:
    top, _ = rows_of(drill_of("4:0.5{staccato} 5:0.5{accent} 6:1 6:2 |"), 40)
    assert top.startswith(" (s… (accent)")


def test_the_cursor_is_over_the_directions() -> None:
    drill = drill_of("4:2{vibrato} 5:2{vibrato} |")
    layout = lay_out_tab(drill, 40, 8)
    row = top_row(layout, 0, 0.5)
    assert ("▼", "now") in row
    assert text(row).startswith(" (vib▼ato")
    assert text(top_row(layout, 0, None)).startswith(" (vibrato ")


def test_a_line_without_directions_has_only_the_cursor() -> None:
    layout = lay_out_tab(drill_of("4:2 5:2 |"), 40, 8)
    assert top_row(layout, 0, None) == ()
    assert text(top_row(layout, 0, 0.0)) == " ▼"
