"""What a soloist is shown: what is asked, bar, chord and holes, and why each criterion was so."""

from __future__ import annotations

from dataclasses import replace

from benchmarks.solos import Composer, form
from trainer.app.screens.result import solo_content
from trainer.drill import SOLO_CRITERIA
from trainer.harp import Harp
from trainer.report.solo_report import chords_at, solo_data, solo_guide, solo_lines
from trainer.report.tab_layout import tab_page_text

HARP = Harp.of("C")
DRILL = form(900)
MARK = Composer(DRILL, HARP, 900).mark(Composer(DRILL, HARP, 900).solo("scale", 1.0))


def test_the_guide_names_bar_chord_holes_and_what_is_next() -> None:
    assert solo_guide(DRILL, HARP, None).startswith("then your own: blues scale, phrases of up to")
    # C7 and the G blues scale share C, G and B flat.
    assert solo_guide(DRILL, HARP, 9.0) == (
        "your own, bar 3 of 8: IV7 on 1 -2 3 -3' 4 6 7 9 10'' 10; next I7"
    )
    assert solo_guide(DRILL, HARP, 33.0) == ""
    assert solo_guide(replace(DRILL, ground=None), HARP, 9.0).startswith(
        "your own, bar 3 of 8: blues on "
    )
    now, following = chords_at(DRILL, 16.0)
    assert now is not None
    assert following is not None
    assert (now.chord.in_key, following.chord.in_key) == ("I7", "V7")


def test_each_criterion_has_a_line_with_its_reason() -> None:
    lines = solo_lines(MARK, DRILL)
    assert lines[0].startswith("solo, bars 1 to 8: ")
    assert [line.split()[0] for line in lines[1:]] == list(SOLO_CRITERIA)
    assert "stay in the blues scale" in lines[1]
    shown = solo_content(MARK, DRILL, 70).plain
    assert all(max(map(len, shown.split("\n"))) <= 72 for _ in shown)
    assert all(name in shown for name in SOLO_CRITERIA)


def test_a_page_of_tab_shows_chords_and_solos() -> None:
    page = tab_page_text(DRILL, 80)
    assert page.count("solo") == 8
    assert "IV7" in page.split("\n")[0]


def test_the_data_of_a_solo_has_what_its_schema_says() -> None:
    data = solo_data(MARK, DRILL)
    assert set(data["parts"]) == set(data["sentences"]) == set(SOLO_CRITERIA)
    assert data["sentence"] == data["sentences"]["scale"]
    assert len(data["notes"]) == data["measured"]["notes"]
