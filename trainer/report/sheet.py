"""A drill or a transcription as a sheet to hand out: one page of HTML that prints well.

No network, no script; black on white, whatever the screen's colours.
"""

from __future__ import annotations

from html import escape
from itertools import groupby

from trainer.drill import Drill
from trainer.report.facts import facts
from trainer.report.page import COUNT, TAB, WORDS, Table, table

WORDS_OF_CAUTION = (
    "Breathe as for a quiet tune, rest often, and stop if you feel light-headed. Keep headphones "
    "at a moderate level."
)


def sheet_html(drill: Drill, notes: tuple[str, ...] = ()) -> str:
    """The sheet.

    Args:
        drill: what stands on it.
        notes: sentences under the page, such as how far to trust it.
    """
    laid = table(drill)
    about = " ".join(drill.about.split())
    body = [
        f"<h1>{escape(drill.title)}</h1>",
        f"<p>{escape(about)}</p>" if about else "",
        f"<p class=facts>{escape(facts(drill))}</p>",
        "<p class=who>Name <span></span> Date <span></span></p>",
        f'<main style="grid-template-columns: repeat({_bars_a_line(laid)}, auto)">',
        *(_bar(number, laid) for number in laid.bars),
        "</main>",
        *(f"<p class=facts>{escape(note)}</p>" for note in notes),
        "<h2>Signs</h2>",
        f"<pre>{escape(_PLAIN_TAB)}\n{escape(laid.legend)}</pre>",
        f"<p class=facts>{escape(WORDS_OF_CAUTION)}</p>",
    ]
    return _PAGE.format(title=escape(drill.title), body="\n".join(line for line in body if line))


def _bars_a_line(laid: Table) -> int:
    """As many as have room on paper, so that phrases start lines."""
    rows = [row for row, kind in enumerate(laid.kinds) if kind != WORDS]
    widest = max(
        sum(max(len(cell[row]) for row in rows) + GAP for cell in cells)
        for cells in laid.bars.values()
    )
    return next((count for count in BARS_A_LINE if count * widest <= COLUMNS), 1)


def _bar(number: int, laid: Table) -> str:
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


BARS_A_LINE = (4, 2, 1)
COLUMNS, GAP = 88, 3
"""Characters of tab that go on a line of paper, and between two notes."""
_ALONE = " class=alone"
_CLASSES = {TAB: "tab", COUNT: "count"}
_PLAIN_TAB = """4  blow hole 4     -4  draw hole 4
'  a half step of bend down, '' two    o  overblow, overdraw"""
_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
:root {{ color-scheme: light; }}
body {{ font: 11pt/1.45 Georgia, "DejaVu Serif", serif; color: #000; background: #fff;
  max-width: 50rem; margin: 2rem auto; padding: 0 1rem; }}
h1 {{ font-size: 1.7rem; margin: 0 0 .3rem; }}
h2 {{ font-size: 1rem; margin: 1.5rem 0 .3rem; }}
main {{ display: grid; align-items: end; row-gap: 1.1rem; margin: 1.2rem 0; overflow-x: auto; }}
table.alone {{ grid-column: 1 / -1; justify-self: start; }}
table {{ border-collapse: collapse; border-right: 2px solid #000; break-inside: avoid; }}
caption {{ text-align: left; font-size: .7rem; color: #444; padding-left: .4rem; }}
td {{ padding: .05rem .5rem; text-align: left; white-space: nowrap; }}
tr.tab td {{ font: 700 1.15rem/1.6 "DejaVu Sans Mono", Menlo, Consolas, monospace;
  border-bottom: 1px solid #000; }}
tr.count td {{ font-size: .8rem; color: #444; }}
tr.words td {{ font-size: .8rem; font-style: italic; }}
pre {{ font: .82rem/1.5 "DejaVu Sans Mono", Menlo, Consolas, monospace; white-space: pre-wrap; }}
.facts {{ font-size: .9rem; color: #333; }}
.who span {{ display: inline-block; min-width: 14rem; border-bottom: 1px solid #000; }}
@page {{ margin: 1.6cm; }}
@media print {{ body {{ margin: 0; max-width: none; }} h2 {{ break-after: avoid; }} }}
</style>
</head>
<body>
{body}
</body>
</html>
"""
