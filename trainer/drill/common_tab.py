"""Common ways of writing harmonica tab, rewritten in the notation of drills.

Players write tab in several ways (common practice, without a standard):

===================  ==============================  ==============
what                 ways                            here
===================  ==============================  ==============
blow                 ``4`` ``+4`` ``4b`` ``↑4``      ``4``
draw                 ``-4`` ``4d`` ``↓4`` ``(4)``    ``-4``
bend                 ``-4'`` ``-4"`` ``-4b`` ``4d'`` ``-4'`` ``-4''``
overblow             ``6o`` ``+6o`` ``6ob``          ``6o``
chord                ``(45)`` ``45`` ``-(45)``       ``4+5`` ``-4+5``
===================  ==============================  ==============

Two signs have two meanings. ``b`` is blow where the text has draw letters (``4d``), and a bend
elsewhere and on a draw note (``-4b``). A single hole in brackets is a draw note where no draw sign
is in the text, and a note without further meaning elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from trainer.harp import HOLES

MAX_CHARACTERS = 40
"""Maximum length of a word in characters; a chord of ten holes has 30."""
_ARROWS = {"↑": "+", "⬆": "+", "↓": "-", "⬇": "-", "▲": "+", "▼": "-"}
PLAIN_SIGNS = str.maketrans({"’": "'", "‘": "'", "′": "'", "″": '"', "−": "-", "–": "-", "—": "-"})
"""Typographic characters that word processors substitute, and their plain equivalents."""
_LETTERED = re.compile(r"[0-9]+['\"]*[dD]['\"]*")
_WORD = re.compile(
    r"(?P<sign>[+-]?)(?P<open>\(?)(?P<holes>[+-]?[0-9]+(?:[ +-]{1,2}[0-9]+)*)(?P<within>['\"]*)\)?"
    r"(?P<over>[oO][bBdD]?)?(?P<bend>['\"bB]*)(?P<letter>[dD]?)(?P<late>['\"]*)"
)


@dataclass(frozen=True, slots=True)
class TabStyle:
    """How a text writes breath.

    Attributes:
        lettered: draw notes have the letter d, so that b is blow.
        bracketed: draw notes are in brackets, and no other draw sign is used.
    """

    lettered: bool
    bracketed: bool

    @classmethod
    def of(cls, words: Iterable[str]) -> TabStyle:
        """Detect the style of a text from its words."""
        texts = [_plain(word) for word in words]
        lettered = any(_LETTERED.fullmatch(text) for text in texts)
        signed = any(text.startswith("-") or "(-" in text for text in texts)
        single = any(re.fullmatch(r"\([0-9]\)|\(10\)", text) for text in texts)
        return cls(lettered, single and not signed and not lettered)


PLAIN_STYLE = TabStyle(lettered=False, bracketed=False)
"""Style of a word whose text is not known."""


def rewrite_tab_word(word: str, style: TabStyle = PLAIN_STYLE) -> str | None:
    """Return a note or chord in the notation of drills; None if the word is no tab.

    Args:
        word: a word of the text, such as ``+4``, ``(45)`` or ``-4b``.
        style: how the text writes breath.
    """
    match = _WORD.fullmatch(_plain(word)) if len(word) <= MAX_CHARACTERS else None
    if match is None:
        return None
    holes = _holes(match["holes"])
    if not holes:
        return None
    in_brackets, bend, letter = bool(match["open"]), match["bend"], match["letter"]
    is_draw = match["sign"] == "-" or match["holes"].startswith("-") or letter.lower() == "d"
    if style.lettered and bend.lower() == "b" and not is_draw:
        bend = ""
    if style.bracketed and in_brackets:
        is_draw = True
    depth = sum(2 if sign == '"' else 1 for sign in match["within"] + bend + match["late"])
    over = "o" if match["over"] else ""
    if len(holes) > 1 and (depth or over):
        return None
    sign = "-" if is_draw else ""
    return sign + "+".join(f"{hole}{chr(39) * depth}{over}" for hole in holes)


def _plain(word: str) -> str:
    text = word.translate(PLAIN_SIGNS)
    for arrow, sign in _ARROWS.items():
        if arrow in text:
            return sign + text.replace(arrow, "")
    return text


def _holes(text: str) -> list[int]:
    """Return the holes of a chord or note; ``45`` is two holes, ``10`` is one."""
    holes = []
    for number in re.findall(r"[0-9]+", text):
        rest = number
        while rest:
            size = 2 if rest.startswith("10") else 1
            holes.append(int(rest[:size]))
            rest = rest[size:]
    valid = all(hole in HOLES for hole in holes) and len(set(holes)) == len(holes)
    return sorted(holes) if valid else []
