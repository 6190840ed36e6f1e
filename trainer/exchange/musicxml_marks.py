"""How the directions of a drill stand in a score: as marks of notation, or else as words.

A direction with its default numbers is a mark where MusicXML has one; all others are words above
the note. Words that several notes in a row share are written once, with dashes to the last note.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from xml.etree import ElementTree as ET

from trainer.drill import Solo, Step, step_directions

_NOTATIONS = {
    "accent": "articulations/accent",
    "staccato": "articulations/staccato",
    "tongued": "articulations/detached-legato",
    "scoop": "articulations/scoop",
    "fall": "articulations/falloff",
}
"""Elements of ``notations`` that stand for a direction."""
_OTHER_TECHNICALS = ("slap",)
"""Directions that are technical marks without an element of their own."""
WEDGES = {"swell": "crescendo", "fade": "diminuendo"}
"""Directions that are wedges, and their types."""
OPTIONAL = "optional"
"""Direction that is a note head in parentheses."""
CALL = "call"
"""Word above notes that the trainer plays."""
_MARKS = {*_NOTATIONS, *_OTHER_TECHNICALS, *WEDGES, OPTIONAL}
_NOT_ENGRAVED = {"scoop", "fall", "slap"}
"""Directions whose marks verovio 6.4 leaves out: on sheets they are words."""


def words_above(
    steps: Sequence[Step], solos: Sequence[Solo] = (), *, on_sheet: bool = False
) -> Iterator[tuple[str, bool, bool]]:
    """Yield the words above each step, and whether a run of the same words begins or ends with it.

    A single note is no run: it has words and neither beginning nor end. A solo ends a run.

    Args:
        steps: the steps.
        solos: the passages between them that are left to the player.
        on_sheet: whether the score is engraved for a sheet, and not for other programs.
    """
    marks = _MARKS - _NOT_ENGRAVED if on_sheet else _MARKS

    def words_and_solo(step: Step) -> tuple[str, int]:
        return _words(step, marks), sum(solo.start < step.start for solo in solos)

    for (text, _), run in groupby(steps, words_and_solo):
        count = len(list(run))
        for i in range(count):
            is_run = bool(text) and count > 1
            yield text if i == 0 else "", is_run and i == 0, is_run and i == count - 1


def _words(step: Step, marks: set[str]) -> str:
    words = [direction for direction in step_directions(step) if direction not in marks]
    return ", ".join([CALL] * step.call + words)


def wedge_of(step: Step) -> str | None:
    """Return the type of wedge under a step; None for none."""
    return next((WEDGES[word] for word in step_directions(step) if word in WEDGES), None)


def is_optional(step: Step) -> bool:
    """Whether the note heads of a step are in parentheses."""
    return step.optional


def write_marks(notations: ET.Element, step: Step) -> None:
    """Write the marks of a step's note to its notations."""
    directions = step_directions(step)
    paths = [_NOTATIONS[word].split("/") for word in directions if word in _NOTATIONS]
    for group, marks in groupby(sorted(paths), lambda path: path[0]):
        parent = ET.SubElement(notations, group)
        for _, tag in marks:
            ET.SubElement(parent, tag)
    for word in directions:
        if word in _OTHER_TECHNICALS:
            ET.SubElement(ET.SubElement(notations, "technical"), "other-technical").text = word


def read_marks(note: ET.Element) -> list[str]:
    """Return the directions for which a note has marks."""
    words = [
        word for word, path in _NOTATIONS.items() if note.find(f"notations/{path}") is not None
    ]
    technicals = {mark.text for mark in note.iterfind("notations/technical/other-technical")}
    words += [word for word in _OTHER_TECHNICALS if word in technicals]
    head = note.find("notehead")
    if head is not None and head.get("parentheses") == "yes":
        words.append(OPTIONAL)
    return words
