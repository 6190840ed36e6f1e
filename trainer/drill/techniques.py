"""Techniques that exclude each other on one note."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

from trainer.drill.model import Articulation, CleannessRule, Step, VibratoKind, format_sound

MIN_SLAP_HOLE = 3
"""Lowest hole of a slapped note: the two holes below it sound with its attack."""

_EXCLUDED: Mapping[str, frozenset[str]] = {
    "a shake": frozenset(
        {
            *("vibrato", "hand vibrato", "a wah", "a scoop", "a fall", "a slap", "staccato"),
            "a chord gesture",
        }
    ),
    "a glide": frozenset({"a scoop", "a fall", "a slap", "staccato", "a chord gesture"}),
    "a ladder": frozenset({"a scoop", "a fall", "a slap", "staccato", "a chord gesture"}),
    "a choice of notes": frozenset({"a scoop", "a fall", "a chord gesture"}),
    "a grace note": frozenset({"a scoop", "a slap", "a chord gesture"}),
    "a scoop": frozenset({"a slap", "a chord gesture"}),
    "a fall": frozenset({"a chord gesture"}),
    "a slap": frozenset({"a chord", "a chord gesture"}),
    "hand vibrato": frozenset({"a wah"}),
}
"""Techniques by name, each with those that it excludes: two of them would move the same thing, or
would sound alike."""


def find_conflict(step: Step) -> str:
    """Return what makes the techniques of a step contradict each other; empty for nothing."""
    for first, second in combinations(_techniques(step), 2):
        if second in _EXCLUDED.get(first, ()):
            return (
                f"'{step.tab}' cannot have both {first} and {second}; leave one of them out, or "
                "end the directions before it with {}"
            )
    if step.slap and step.first[0].hole < MIN_SLAP_HOLE:
        return (
            f"'{step.tab}' has no two holes below it to slap; write slap from hole "
            f"{MIN_SLAP_HOLE} up"
        )
    if step.grace and step.grace == step.first:
        grace = format_sound(step.grace)
        return f"the grace note ^{grace} is the same as its note; write another one, or none"
    return ""


def _techniques(step: Step) -> Iterator[str]:
    """Yield the names of a step's techniques, in the order of `_EXCLUDED`."""
    vibrato = step.vibrato.kind if step.vibrato else None
    techniques = {
        "a shake": step.shake,
        "a glide": step.is_glide,
        "a ladder": step.ladder,
        "a choice of notes": step.alternative,
        "a grace note": step.grace,
        "a scoop": step.scoop,
        "a fall": step.fall,
        "a slap": step.slap,
        "hand vibrato": vibrato is VibratoKind.HAND,
        "vibrato": vibrato is VibratoKind.THROAT,
        "a wah": step.wah_hz,
        "staccato": step.articulation is Articulation.STACCATO,
        "a chord": step.is_chord,
        "a chord gesture": step.cleanness_rule is CleannessRule.AROUND,
    }
    yield from (name for name, present in techniques.items() if present)
