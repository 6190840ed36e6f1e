"""No cell of a table is a formula, and every cell can be read back."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.tables import read_cell, safe_cell

HARMLESS = (
    "-4",
    "-4'",
    "-2+3+4",
    "-3''",
    "-4'>-4",
    "-3=-3'=-3''",
    "-3@-40",
    "-7o",
    "-4; -5",
    "-0.5",
)
FORMULAS = (
    "=1+1",
    "+1+cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "@SUM(1+9)",
    "\t=1+1",
    "\r=1+1",
    '=HYPERLINK("http://x","y")',
    "-4': pitch",
)
"""From OWASP, "CSV Injection", and a phrase of ours."""


@pytest.mark.parametrize("text", HARMLESS)
def test_tab_and_numbers_stay(text: str) -> None:
    assert safe_cell(text) == text


@pytest.mark.parametrize("text", FORMULAS)
def test_formulas_become_text(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


@pytest.mark.parametrize("value", [-4.5, 7, None, True])
def test_other_values_stay(value: object) -> None:
    assert safe_cell(value) is value


@given(st.text(alphabet="'=+-@\t\r\n 4oa|!(", max_size=8) | st.text(max_size=12))
def test_every_text_comes_back_and_none_can_call_anything(text: str) -> None:
    cell = safe_cell(text)
    assert read_cell(cell) == text
    if re.match(r"[=+\-@\t\r\n]", cell):
        assert not re.search(r"[^\W\do]|[(|!]", cell)
