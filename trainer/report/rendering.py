"""Rendering of HTML pages from the jinja2 templates in ``templates/``.

Every value that enters a template is escaped (``autoescape``), and a name that a template uses and
the context lacks is an error. jinja2 is imported when the first page is rendered, so that commands
without pages start without it.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING, Any

from trainer.core.printable import printable_lines

if TYPE_CHECKING:
    from jinja2 import Environment


def render_page(template: str, **context: Any) -> str:
    """Return a page as HTML.

    Characters that turn the direction of writing, and other controls, are replaced: they would show
    a name as something else.

    Args:
        template: file name of the template in ``templates/``.
        context: values by the names that the template uses; plain text, never HTML.
    """
    return printable_lines(_environment().get_template(template).render(**context))


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("trainer.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["px"] = _px
    environment.filters["points"] = _points
    return environment


def _px(value: float) -> str:
    """Return a coordinate in pixels, to a tenth."""
    return f"{value:.1f}"


def _points(points: Iterable[tuple[float, float]]) -> str:
    """Return points as the value of an SVG ``points`` attribute."""
    return " ".join(f"{_px(x)},{_px(y)}" for x, y in points)
