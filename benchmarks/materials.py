"""Materials: named sets of items, each for one question."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from benchmarks.conditions import CONDITIONS, HARPS, under
from benchmarks.corpus import Item, Player, bend, noisy, vibrato

PAIR_DB = (0, -6, -12, -20)
SPLITS = ((1, 0), (3, 0), (6, 0), (1, -10), (3, -10), (6, -10))
"""Cents from a pure octave, and dB of the upper reed."""
NOISE_DB = (40, 30, 20, 10)
"""Signal-to-noise ratios of the resynthesized reeds, in dB."""

Items = Callable[[Player], Iterator[Item]]


def _noisy(items: Items, snr_db: float) -> Items:
    return lambda player: (noisy(item, snr_db) for item in items(player))


def _half(player: Player) -> Iterator[Item]:
    return player.bends(100.0, 0.15)


def _whole(player: Player) -> Iterator[Item]:
    return player.bends(200.0, 0.12)


def _pairs(db: float, soft: bool = False) -> Items:
    return lambda player: player.pairs(db, soft)


def _splits(off: float, db: float) -> Items:
    return lambda player: player.splits(off, db)


def _under(material: str, condition: str, player: Player) -> Iterator[Item]:
    return under(MATERIALS[material](player), condition)


MATERIALS: dict[str, Items] = {
    "steady": Player.steady,
    "bend 100": _half,
    "bend 200": _whole,
    "steady 20 dB": _noisy(Player.steady, 20),
    "bend 100 20 dB": _noisy(_half, 20),
    "bend 200 20 dB": _noisy(_whole, 20),
    "hard": Player.hard_onsets,
    "hard 20 dB": _noisy(Player.hard_onsets, 20),
    "vibrato": Player.vibratos,
    "wah": Player.wahs,
    "leak in bend": lambda p: p.leaks_in_motion("bend", bend(100.0, 0.15)),
    "leak in whole-step bend": lambda p: p.leaks_in_motion("whole-step bend", bend(200.0, 0.12)),
    "leak in vibrato": lambda p: p.leaks_in_motion("vibrato", vibrato(40.0, 5.5)),
    "leak in wah": Player.leaks_in_wah,
    "chord 0": lambda p: p.chords(0.0),
    "chord 12": lambda p: p.chords(12.0),
    **{f"pair {db}": _pairs(db) for db in PAIR_DB},
    **{f"soft pair {db}": _pairs(db, True) for db in PAIR_DB},
    **{f"split {off} {db}": _splits(off, db) for off, db in SPLITS},
}
"""Materials that every harp plays."""

OFF_THEORY = ("hard", *(f"pair {db}" for db in PAIR_DB))
"""Materials for harps whose reeds are up to 40 cents away from theory."""

FROZEN: dict[str, Items] = {
    "frozen": Player.frozen,
    **{f"frozen {db} dB": _noisy(Player.frozen, db) for db in NOISE_DB},
}
"""Materials that are compared with the Cramér–Rao bound."""

IN_CONDITIONS = ("steady", "hard", "pair -12")
"""Materials that are used under every condition."""
UNDER: dict[str, Items] = {
    f"{material} | {condition}": (
        partial(_under, material, condition) if condition in CONDITIONS else MATERIALS[material]
    )
    for condition in (*CONDITIONS, *HARPS)
    for material in IN_CONDITIONS
}
"""Materials under conditions; a harp tuned differently is a different player."""

ALL: dict[str, Items] = {**MATERIALS, **FROZEN, **UNDER}
