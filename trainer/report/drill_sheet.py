"""A drill or a transcript as a sheet to hand out: one HTML page that prints well.

No network, no script; black on white on paper. The template is ``drill_sheet.html.j2``.
"""

from __future__ import annotations

from collections.abc import Sequence

from trainer.drill import Drill
from trainer.report.drill_report import sheet_summary
from trainer.report.legend import legend_text
from trainer.report.practice_plan import practice_plan
from trainer.report.rendering import render_page
from trainer.report.staff import Staff
from trainer.report.tab_bars import TabBars
from trainer.report.tab_layout import remark_lines, tab_table

HEALTH_ADVICE = (
    "Breathe as for a quiet tune, rest often, and stop if you feel light-headed. Keep headphones "
    "at a moderate level."
)
_PLAIN_TAB_SIGNS = """4  ↑ blow hole 4     -4  ↓ draw hole 4
'  a half step of bend down, '' two
o  an overblow or overdraw"""


def drill_sheet_html(
    drill: Drill,
    notes: tuple[str, ...] = (),
    staff: Sequence[Staff] = (),
    *,
    with_plan: bool = False,
) -> str:
    """Return the sheet of a drill.

    Args:
        drill: the drill.
        notes: sentences below the tab, such as warnings of a transcript.
        staff: staff notation over the tab, for paper and for a phone; empty shows the tab alone.
        with_plan: whether a practice plan follows the tab; it has the remarks.
    """
    table = tab_table(drill)
    return render_page(
        "drill_sheet.html.j2",
        drill=drill,
        about=" ".join(drill.about.split()),
        summary=sheet_summary(drill),
        tab=TabBars.of(table, breath=True),
        staff=staff,
        notes=notes if with_plan else (*remark_lines(drill), *notes),
        plan=practice_plan(drill) if with_plan else None,
        signs=_PLAIN_TAB_SIGNS,
        legend=legend_text(drill, set(), set()) if staff else table.legend,
        caution=HEALTH_ADVICE,
    )
