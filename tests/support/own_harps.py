"""Harps that are out of tune, and a walk along their reeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trainer.drill import Drill, parse_drill
from trainer.harp import Harp, Tab, natural_entries


def tab(text: str) -> Tab:
    return Tab.parse(text)


HOLES = range(1, 11)


def walk(times: int = 1, holes: range = HOLES) -> Drill:
    """All natural notes of some holes, each blow reed and then its draw reed."""
    words = " ".join(f"{hole}:1 r:1/2 -{hole}:1 r:1/2" for hole in holes)
    tab_text = f"{words} |\n" * times
    head = f'title = "Along the quay"\nharp = "C"\ntempo = 60\nmeter = "{3 * len(holes)}/4"'
    return parse_drill(f'{head}\ntab = """\n{tab_text}"""\n', "quay")


def off_by(shift: float, key: str = "C", **off: float) -> Harp:
    """Make a harp with an overall offset, and a few cents more for each reed."""
    plain = Harp.of(key)
    rng = np.random.default_rng(9)
    own = {entry: shift + float(rng.uniform(-9.0, 9.0)) for entry in natural_entries(plain)}
    own |= {tab(name): value for name, value in off.items()}
    return replace(plain, offsets=own)
