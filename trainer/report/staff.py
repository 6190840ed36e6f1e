"""Staff notation over the tab, engraved as SVG from the drill's own MusicXML.

The engraver is verovio, an optional extra: without it, sheets have the tab alone. Each line of the
music is a picture of its own, so that a page breaks between lines. Colours are those of the page.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from trainer.core import TrainerError
from trainer.drill import Drill
from trainer.exchange import drill_to_musicxml
from trainer.harp import Harp

if TYPE_CHECKING:
    from markupsafe import Markup


class StaffError(TrainerError):
    """Staff notation cannot be engraved."""


@dataclass(frozen=True, slots=True)
class StaffLayout:
    """Where a staff is shown.

    Attributes:
        name: CSS class.
        width: of a line in tenths of a millimetre, for a staff that is 7.2 mm high.
        bars_per_line: numbers of bars of a line, the preferred one first; where none fits, lines
            are filled.
        id_seed: of the names inside the pictures, which are different for each layout of a page.
    """

    name: str
    width: int
    bars_per_line: tuple[int, ...]
    id_seed: int


PAPER = StaffLayout("paper", 1780, (4, 2), 1)
"""A4 between margins of 16 mm."""
PHONE = StaffLayout("phone", 860, (2, 1), 2)
"""As wide as a phone, at half the height of a printed staff or more."""
LAYOUTS = (PAPER, PHONE)

_NAME = re.compile(r'^<svg [^>]*id="(\w+)"')
"""The name of a picture, which is part of the names of its glyphs."""
_OPTIONS: dict[str, Any] = {
    "inputFrom": "xml",
    "header": "none",
    "footer": "none",
    "breaks": "smart",
    "breaksSmartSb": 0.01,
    "systemMaxPerPage": 1,
    "adjustPageHeight": True,
    "svgViewBox": True,
    "svgRemoveXlink": True,
    "lyricSize": 5.0,
    "defaultBottomMargin": 2.5,
}
"""Options of the engraver: a page for each line, and breaks where the score has them."""


@dataclass(frozen=True, slots=True)
class Staff:
    """A drill on a staff.

    Attributes:
        name: of its layout, as a CSS class.
        lines: each line as SVG, with its description.
    """

    name: str
    lines: tuple[tuple[str, Markup], ...]


def engrave(drill: Drill, harp: Harp, layouts: Sequence[StaffLayout] = LAYOUTS) -> list[Staff]:
    """Return a drill on a staff, with its tab below each note, in some layouts.

    Raises:
        StaffError: the engraver is not installed.
        ExchangeError: notation cannot express a length.
        HarpError: the harp cannot play the drill.
    """
    return [_engraved(drill, harp, layout) for layout in layouts]


def _engraved(drill: Drill, harp: Harp, layout: StaffLayout) -> Staff:
    from markupsafe import Markup

    for count in (*layout.bars_per_line, None):
        pages = list(_pages(drill, harp, layout, count))
        if count is None or len(pages) == math.ceil(drill.bars / count):
            break
    numbered = enumerate(pages, 1)
    return Staff(layout.name, tuple((f"line {i} of the music", Markup(svg)) for i, svg in numbered))


def _pages(drill: Drill, harp: Harp, layout: StaffLayout, count: int | None) -> Iterator[str]:
    """Yield the lines of a drill as SVG.

    Args:
        drill: the drill.
        harp: the harp.
        layout: the layout.
        count: bars of a line; None fills the lines.
    """
    try:
        import verovio
    except ImportError as error:
        raise StaffError(
            "staff notation needs verovio, which is not installed: python -m pip install verovio, "
            "or leave out --staff"
        ) from error
    verovio.enableLog(verovio.LOG_OFF)
    engraver = verovio.toolkit()
    engraver.setOptions({**_OPTIONS, "pageWidth": layout.width, "xmlIdSeed": layout.id_seed})
    score = drill_to_musicxml(drill, harp, bars_per_line=count or drill.bars)
    if not engraver.loadData(score):
        raise StaffError(f"{drill.name} cannot be engraved; leave out --staff")
    for page in range(1, engraver.getPageCount() + 1):
        svg: str = engraver.renderToSVG(page)
        names = _NAME.search(svg)  # shared by all pages, but ids are of one element of the HTML
        yield svg.replace(names[1], f"{names[1]}-{page}") if names else svg
