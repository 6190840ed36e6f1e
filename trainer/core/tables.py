"""Cells of tables for spreadsheets: no text is taken for a formula.

A spreadsheet runs a cell that begins with ``=``, ``+``, ``-`` or ``@`` as a formula, wherever the
text came from. Such text gets an apostrophe in front (OWASP, "CSV Injection"). Numbers and tab,
such as ``-4'``, stay: they hold no letter that a formula could call.
"""

from __future__ import annotations

import re
from typing import Any

_FORMULA = re.compile(r"'*[=+\-@\t\r\n]")
"""Text that a spreadsheet may take for a formula, or that has been made safe already."""
_TAB = re.compile(r"[-+]?[\d.][\d'o+>=/@.:; -]*")
"""Tab and numbers: no letter but the sign of an overblow."""
_MADE_SAFE = re.compile(r"'+[=+\-@\t\r\n]")


def safe_cell(value: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula; :func:`read_cell` takes it back.

    Args:
        value: text, or a value of any other type, which stays as it is.
    """
    if isinstance(value, str) and _FORMULA.match(value) and not _TAB.fullmatch(value):
        return f"'{value}"
    return value


def read_cell(text: str) -> str:
    """Return the text that :func:`safe_cell` was given."""
    return text[1:] if _MADE_SAFE.match(text) else text
