"""A drill or a transcription as a sheet to hand out: one page of HTML that prints well.

No network, no script; black on white, whatever the screen's colours.
"""

from __future__ import annotations

from html import escape

from trainer.drill import Drill
from trainer.report.drill_report import drill_summary
from trainer.report.tab_html import STYLE, bars_html
from trainer.report.tab_layout import tab_table

WORDS_OF_CAUTION = (
    "Breathe as for a quiet tune, rest often, and stop if you feel light-headed. Keep headphones "
    "at a moderate level."
)


def drill_sheet_html(drill: Drill, notes: tuple[str, ...] = ()) -> str:
    """The sheet.

    Args:
        drill: what stands on it.
        notes: sentences under the page, such as how far to trust it.
    """
    laid = tab_table(drill)
    about = " ".join(drill.about.split())
    body = [
        f"<h1>{escape(drill.title)}</h1>",
        f"<p>{escape(about)}</p>" if about else "",
        f"<p class=facts>{escape(drill_summary(drill))}</p>",
        "<p class=who>Name <span></span> Date <span></span></p>",
        bars_html(laid),
        *(f"<p class=facts>{escape(note)}</p>" for note in notes),
        "<h2>Signs</h2>",
        f"<pre>{escape(_PLAIN_TAB)}\n{escape(laid.legend)}</pre>",
        f"<p class=facts>{escape(WORDS_OF_CAUTION)}</p>",
    ]
    text = "\n".join(line for line in body if line)
    return _PAGE.format(title=escape(drill.title), style=STYLE, body=text)


_PLAIN_TAB = """4  blow hole 4     -4  draw hole 4
'  a half step of bend down, '' two    o  overblow, overdraw"""
_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
{style}
:root {{ color-scheme: light; }}
body {{ font: 11pt/1.45 Georgia, "DejaVu Serif", serif; color: #000; background: #fff;
  max-width: 50rem; margin: 2rem auto; padding: 0 1rem; }}
h1 {{ font-size: 1.7rem; margin: 0 0 .3rem; }}
h2 {{ font-size: 1rem; margin: 1.5rem 0 .3rem; }}
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
