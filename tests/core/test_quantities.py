"""Numbers with their units."""

from __future__ import annotations

from dataclasses import replace

from trainer.app.display_smoothing import DisplayedReading
from trainer.app.widgets.harp_chart import reed_offset_text
from trainer.app.widgets.readout import offset_words
from trainer.core.quantities import quantity_text, series_text


def test_a_unit_is_in_the_plural_unless_it_is_one() -> None:
    assert [quantity_text(n, "cent") for n in (0, 1, 1.5, 2)] == [
        *("0 cents", "1 cent", "1.5 cents", "2 cents")
    ]


def test_one_cent_is_no_plural_on_the_screen() -> None:
    assert reed_offset_text(-1.2) == "1 cent flat"
    reading = replace(DisplayedReading(), whole_cents=1, tolerance=10.0)
    assert offset_words(reading) == "in tune, 1 cent sharp"


def test_things_in_a_row_have_an_and_before_the_last() -> None:
    assert [series_text(list(names)) for names in ("", "a", "ab", "abc")] == [
        *("", "a", "a and b", "a, b and c")
    ]
