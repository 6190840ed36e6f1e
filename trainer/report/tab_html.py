"""A page of tab as HTML: each bar a table of its own, which is not broken over lines."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from itertools import groupby

from trainer.report.legend import HELD, REST
from trainer.report.tab_layout import COUNT, TAB, WORDS, TabTable

BARS_A_LINE = (4, 2, 1)
COLUMNS, GAP = 88, 3
"""Characters of tab that go on a line of paper, and between two notes."""
_ALONE = " class=alone"
_CLASSES = {TAB: "tab", COUNT: "count"}
STYLE = """
.bars { display: grid; align-items: end; row-gap: 1.1rem; margin: 1.2rem 0; overflow-x: auto; }
.bars table { border-collapse: collapse; border-right: 2px solid currentColor;
  break-inside: avoid; }
.bars table.alone { grid-column: 1 / -1; justify-self: start; }
.bars caption { text-align: left; font-size: .7rem; padding-left: .4rem; }
.bars td { padding: .05rem .5rem; text-align: left; white-space: nowrap; }
.bars tr.tab td { font: 700 1.15rem/1.6 "DejaVu Sans Mono", Menlo, Consolas, monospace;
  border-bottom: 1px solid currentColor; }
.bars tr.count td, .bars tr.marks td { font-size: .8rem; }
.bars tr.words td { font-size: .8rem; font-style: italic; }
"""
"""What a page that holds bars needs in its style."""


def bars_html(laid: TabTable, under: Mapping[int, str] | None = None) -> str:
    """The bars of a page.

    Args:
        laid: the page.
        under: what stands under each step of the first part, as HTML, by the step's index.
    """
    steps = _steps(laid)
    bars = "".join(_bar(number, laid, steps[number], under or {}) for number in laid.bars)
    columns = f"grid-template-columns: repeat({_bars_a_line(laid)}, auto)"
    return f'<div class=bars style="{columns}">{bars}</div>'


def _steps(laid: TabTable) -> dict[int, list[int | None]]:
    """Which step of the first part begins in each cell of each bar."""
    row = laid.kinds.index(TAB)
    index = 0
    found: dict[int, list[int | None]] = {}
    for number, cells in laid.bars.items():
        found[number] = []
        for cell in cells:
            begins = cell[row] not in (HELD, REST, "")
            found[number].append(index if begins else None)
            index += begins
    return found


def _bars_a_line(laid: TabTable) -> int:
    """As many as have room on paper, so that phrases start lines."""
    rows = [row for row, kind in enumerate(laid.kinds) if kind != WORDS]
    widest = max(
        sum(max(len(cell[row]) for row in rows) + GAP for cell in cells)
        for cells in laid.bars.values()
    )
    return next((count for count in BARS_A_LINE if count * widest <= COLUMNS), 1)


def _bar(number: int, laid: TabTable, steps: list[int | None], under: Mapping[int, str]) -> str:
    """A bar as a table of its own, which is not broken over lines."""
    cells = laid.bars[number]
    rows = []
    for row, kind in enumerate(laid.kinds):
        texts = [cell[row] for cell in cells]
        if kind == WORDS:
            if any(texts):
                rows.append(f"<tr class=words>{_reaching(texts)}</tr>")
            continue
        inside = "".join(f"<td>{escape(text)}</td>" for text in texts)
        rows.append(f"<tr class={_CLASSES[kind]}>{inside}</tr>")
        if row == laid.kinds.index(TAB) and under:
            told = "".join(f"<td>{under.get(-1 if i is None else i, '')}</td>" for i in steps)
            rows.append(f"<tr class=marks>{told}</tr>")
    name = f"bar {number}" if number else "pick-up"
    return (
        f'<table aria-label="{name}"{_ALONE if number == 0 else ""}><caption>{number}</caption>'
        f"<tbody>{''.join(rows)}</tbody></table>"
    )


def _reaching(texts: list[str]) -> str:
    """Words that reach over the cells after theirs, as far as these have none."""
    starts = [i for i, text in enumerate(texts) if text] or [0]
    groups = [max([start for start in starts if start <= i], default=0) for i in range(len(texts))]
    cells = []
    for start, group in groupby(groups):
        count = len(list(group))
        cells.append(f"<td colspan={count}>{escape(texts[start])}</td>")
    return "".join(cells)
